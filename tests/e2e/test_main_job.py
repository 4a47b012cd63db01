"""The main job in real Chromium, as people do it: own it, label it, scan it out, check the truck, scan it back."""

import re
import uuid
from datetime import timedelta
from pathlib import Path

import pypdfium2 as pdfium
import pytest
import zxingcpp
from django.urls import reverse
from playwright.sync_api import Page, expect

from company.clock import now
from company.models import Company
from inventory.calc.codes import parse, spell
from inventory.calc.kinds import Kind
from inventory.models import CountMove, Item
from inventory.services.cases import placement_record
from maintenance.models import Fault
from shows.models import Checkout, Rig, RigRow, Show
from tests.builders import make_case, make_counted_line, make_item, make_show, make_type
from tests.e2e.test_dock import opened, type_scan, wait_for

pytestmark = pytest.mark.django_db(transaction=True)
DPI = 300
expect.set_options(timeout=15_000)  # a busy machine is no broken page


def sign_in(page: Page, name: str) -> None:
    page.goto("/sign-in/")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill("saltmarsh")
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/")


def watch(page: Page) -> Page:
    """Fail at the end of the test when a page answered 500."""
    page.set_default_timeout(20_000)
    page.on("response", lambda r: r.status >= 500 and page.errors.append(f"{r.status} {r.url}"))
    return page


def codes_read_from(pdf: Path) -> set[str]:
    """Return the codes a reader finds on the pages as a printer prints them."""
    found = set()
    with pdfium.PdfDocument(pdf) as document:
        for sheet in document:
            picture = sheet.render(scale=DPI / 72).to_pil()
            found |= {parse(one.text).code for one in zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode)}
    return found


def hit_says(page: Page, signal: str, item: Item) -> None:
    """Wait until the dock answered for this very thing."""
    expect(page.locator("#hit > .name")).to_have_text(item.label)
    expect(page.locator("#hit")).to_have_attribute("data-signal", signal)


def wall(at, hours: float) -> str:
    return (at.astimezone(Company.current().zone) + timedelta(hours=hours)).strftime("%Y-%m-%dT%H:%M")


@pytest.mark.parametrize(("width", "height", "theme", "touch"), [(390, 844, "dark", True), (1440, 900, "paper", False)])
def test_own_it_label_it_scan_it_out_scan_it_back(open_page, owner, tmp_path, width, height, theme, touch):
    box, stage_box = make_type(name="active direct box"), make_type(name="stage box")
    lead = make_counted_line(24, type=make_type(Kind.LEAD, name="microphone lead"), length_mm=10_000)
    rig = Rig.objects.create(name="Small desk")
    RigRow.objects.create(rig=rig, type=stage_box)
    case = make_case(name="4")
    inside = [make_item(kind=Kind.MICROPHONE, name=str(n)) for n in range(3)]
    for thing in inside:
        placement_record(uid=uuid.uuid4(), item=thing, case=case, effective_at=now() - timedelta(days=1))
    desk = watch(open_page(None, width=1440, height=900, theme=theme))
    sign_in(desk, "owner")

    # own it: twenty-four of one form, one of another
    for name, count in (("active direct box", "24"), ("stage box", "1")):
        desk.goto("/gear/add/")
        kind = desk.get_by_label("What is it")
        kind.select_option(label=kind.locator("option", has_text=name).first.inner_text())
        desk.get_by_label("How many").fill(count)
        desk.get_by_role("button", name="Add", exact=True).click()
        expect(desk.get_by_role("status").first).to_contain_text("on record")
    boxes = list(Item.objects.filter(type=box).order_by("pk"))
    assert len(boxes) == 24

    # label it: print what has no label yet, and read the print as a phone would
    desk.goto(f"/labels/?what=type&type={box.pk}")
    desk.get_by_role("button", name=re.compile("^Print")).click()
    desk.wait_for_url("**/labels/runs/**")
    with desk.expect_download() as download:
        desk.get_by_role("link", name=re.compile("PDF", re.IGNORECASE)).first.click()
    download.value.save_as(tmp_path / "labels.pdf")
    assert codes_read_from(tmp_path / "labels.pdf") == {one.code for one in boxes}

    # plan it
    at = now()
    desk.goto("/shows/add/")
    desk.get_by_label("Name").fill("Harvest ceilidh")
    for label, hours in (("Load-in", 2), ("Start", 4), ("End", 7)):
        desk.get_by_label(label, exact=True).fill(wall(at, hours))
    desk.get_by_role("button", name="Plan it").click()
    expect(desk.get_by_role("heading", name="Pull list")).to_be_visible()
    show = Show.objects.get()
    for words in ("4 active direct box", "6 microphone lead 10 m"):
        desk.get_by_label("What", exact=True).fill(words)
        desk.get_by_role("button", name="Add it").click()
        expect(desk.locator("[data-rows]")).to_contain_text(words.split(maxsplit=1)[1].split(" 10")[0], ignore_case=True)
    desk.get_by_label("Add all of").select_option(label="Small desk")
    desk.get_by_role("button", name="Add all", exact=True).click()
    expect(desk.locator("[data-rows]")).to_contain_text("stage box", ignore_case=True)
    assert sum(row.count for row in show.pull_rows.all()) == 11

    # pack it, at the dock
    page = desk
    if touch:
        page = watch(open_page(owner, width=width, height=height, theme=theme, touch=True))
    opened(page, f"/dock/?show={show.pk}")
    stage = Item.objects.get(type=stage_box)
    for item in [*boxes[:4], stage]:
        type_scan(page, item.code)
        hit_says(page, "fine", item)
    expect(page.locator("#run")).to_contain_text("of 11")
    expect(page.locator("#done")).to_have_text("5")
    page.get_by_role("button", name="Undo last").click()
    wait_for(lambda: not Checkout.objects.filter(item=stage).exists())
    expect(page.locator("#done")).to_have_text("4")
    type_scan(page, stage.code)
    hit_says(page, "fine", stage)
    counted = page.get_by_label("How many: microphone lead 10 m")
    counted.fill("6")
    page.locator(f"#line-{lead.pk}").get_by_role("button", name="Out", exact=True).click()
    wait_for(lambda: CountMove.objects.filter(line=lead, show=show.pk).exists())
    expect(page.locator("#done")).to_have_text("11")
    type_scan(page, case.code)
    page.get_by_role("button", name="Yes, 3").click()
    wait_for(lambda: Checkout.objects.filter(item__in=inside, closed_at=None).count() == 3)
    desk.goto(f"/shows/{show.pk}/")
    expect(desk.get_by_text("11 of 11 scanned out")).to_be_visible()

    # load it
    later = make_show(load_in=now() + timedelta(hours=30), name="Quarry street fair")
    desk.goto(f"/shows/{show.pk}/truck/")
    expect(desk.get_by_role("heading", name="Still in the room")).to_be_visible()
    desk.get_by_label("Scan onto the truck").fill(boxes[0].code)
    desk.keyboard.press("Enter")
    expect(desk.get_by_text("1 of 9")).to_be_visible()
    desk.get_by_role("button", name=re.compile("All on")).click()
    expect(desk.get_by_role("heading", name="All on the truck")).to_be_visible()

    # one goes straight on
    desk.get_by_role("link", name="Straight on to the next show").click()
    desk.get_by_label("Only one thing or one case").fill(boxes[3].code)
    desk.keyboard.press("Enter")
    expect(desk.get_by_text("Only active direct box", exact=False)).to_be_visible()
    desk.get_by_role("radio", name=re.compile("Quarry")).check()
    desk.get_by_role("button", name="Send it on").click()
    expect(desk.get_by_text("1 straight on from")).to_be_visible()
    assert Checkout.objects.get(item=boxes[3], closed_at=None).show == later

    # the night is over: the show's times are past; the rest comes home, one of them hums, one stays away
    times = ("load_in", "line_check", "start", "end", "strike", "home_by")
    Show.objects.filter(pk=show.pk).update(**{name: getattr(show, name) - timedelta(hours=20) for name in times})
    opened(page, f"/dock/?show={show.pk}&way=back")
    for item in (stage, boxes[1], boxes[0]):
        type_scan(page, item.code)
        hit_says(page, "fine", item)
    page.locator("#hums").click()
    page.get_by_role("button", name="hums", exact=True).click()
    fault = wait_for(lambda: Fault.objects.first())
    assert (fault.item, fault.symptom) == (boxes[0], "hums")
    desk.goto("/missing/")
    expect(desk.get_by_role("main")).to_contain_text(spell(boxes[2].code))
    expect(desk.get_by_role("main")).not_to_contain_text(spell(boxes[1].code))
    expect(desk.get_by_role("main")).not_to_contain_text(spell(boxes[3].code))
    desk.goto("/needs/")
    expect(desk.get_by_role("main")).to_contain_text(re.compile("suspect|hums", re.IGNORECASE))
    desk.goto(reverse("item", args=[boxes[0].code]))
    expect(desk.get_by_role("main")).to_contain_text("uspect since")
    expect(desk.get_by_role("main")).to_contain_text("hums", ignore_case=True)


def test_sign_in_scan_out_and_back_and_report_without_script(open_page, hand):
    show = make_show(load_in=now() + timedelta(hours=2), name="Harvest ceilidh")
    item = make_item(name="A")
    page = watch(open_page(None, script=False))
    sign_in(page, "hand")
    page.goto(f"/dock/?show={show.pk}")
    page.get_by_label("Scan or type a code").fill(item.code)
    page.get_by_role("button", name="Scan it").click()
    expect(page.get_by_label("Last scan")).to_contain_text("fine")
    assert Checkout.objects.get(item=item).show == show
    page.get_by_role("button", name="Turn").click()
    page.get_by_role("button", name="Turn").click()
    page.get_by_label("Scan or type a code").fill(item.code)
    page.get_by_role("button", name="Scan it").click()
    expect(page.get_by_label("Last scan")).to_contain_text("fine")
    assert Checkout.objects.get(item=item).closed_at is not None
    page.get_by_role("link", name="It hums").click()
    page.get_by_role("button", name="hums", exact=True).click()
    assert Fault.objects.get().item == item
    page.goto(reverse("item", args=[item.code]))
    expect(page.get_by_role("main")).to_contain_text("uspect since")
