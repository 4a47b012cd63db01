"""From an empty show to the pack: the plan of a show as its owner makes it, one story."""

import re
from datetime import timedelta
from io import BytesIO

import pypdfium2
import pytest
from django.core.management import call_command

from inventory.models import GearType, Item
from shows.models import InputLine, Promised, PullRow, SourceType, StagePlace, Venue, VenueFeed
from shows.planning.advice import advice_of
from tests.builders import make_company, make_item, make_person, make_pull_row, make_show

pytestmark = pytest.mark.django_db(transaction=True)

SIXTEEN = """Number\tSource\tKind\tSide\tWhere
1\tKick\tkick\t\tDrums
2\tSnare\tsnare\t\tDrums
3\tOver left\toverheads\tleft\tDrums
4\tOver right\toverheads\tright\tDrums
5\tBass\tbass-passive\t\tBass
6\tGuitar\tamp-mic\t\tGuitar
7\tBouzouki\tguitar-piezo\t\tGuitar
8\tKeys left\tkeys\tleft\tKeys
9\tKeys right\tkeys\tright\tKeys
10\tFiddle\tfiddle-piezo\t\tFront
11\tTrumpet\ttrumpet\t\tBrass
12\tTrombone\ttrombone\t\tBrass
13\tSax\tsax\t\tBrass
14\tLead voice\tvoice\t\tFront
15\tVoice 2\tvoice\t\tFront
16\tVoice 3\tvoice\t\tKeys
"""
OWNED = {
    "mic-dynamic-vocal": 6,
    "mic-dynamic-instrument": 8,
    "mic-kick": 1,
    "mic-pencil": 4,
    "active-box": 4,
    "active-box-piezo": 2,
    "passive-box-stereo": 1,
}


@pytest.fixture
def shop(transactional_db):
    """A small shop with a venue, an empty show, and another on the same day that takes one of two piezo boxes."""
    make_company()
    call_command("load_catalogue", verbosity=0)
    types = {one.key: one for one in GearType.objects.exclude(key=None)}
    for key, count in OWNED.items():
        for number in range(count):
            make_item(type=types[key], name=chr(65 + number))
    venue = Venue.objects.create(
        name="Lower mill", stage_width_mm=8000, stage_depth_mm=5000, house_desk_type=types["desk-digital-16"]
    )
    VenueFeed.objects.create(venue=venue, name="Stage left", amps=16, residual=True)
    show = make_show(name="Lantern walk", venue=venue)
    other = make_show(name="Chapel tea", load_in=show.load_in + timedelta(hours=1))
    make_pull_row(other, type=types["active-box-piezo"], count=1)
    return show


def test_from_an_empty_show_to_the_pack(open_page, shop):
    page = open_page(make_person("owner"), width=1440, height=1000, script=False)

    # sixteen lines, pasted as a sheet
    page.goto(f"/shows/{shop.pk}/lines/")
    page.fill("#grid", SIXTEEN)
    page.get_by_role("button", name="Save", exact=True).click()
    lines = list(InputLine.objects.filter(show=shop, way="in").select_related("type"))
    assert len(lines) == 16 and all(line.type and line.place for line in lines)

    # each has a microphone or box with its reason
    told = advice_of(shop)
    assert all(one.pickup is not None and (one.why or one.shares) for one in told.lines)
    page.goto(f"/shows/{shop.pk}/advice/")
    words = page.locator("main").inner_text()
    assert all(one.line.source.lower() in words.lower() for one in told.lines)

    # two crosses and the mix are put on the floor by their figures
    page.goto(f"/shows/{shop.pk}/stage/")
    rows = page.locator(".place-row")
    for name, x, y in (("Front", "4", "1"), ("Guitar", "2", "2.5")):
        row = rows.nth(names_of(page).index(name))
        row.locator("[name=place-x]").fill(x)
        row.locator("[name=place-y]").fill(y)
    new = rows.nth(names_of(page).index(""))
    new.locator("[name=place-name]").fill("Mix")
    new.locator("summary").click()
    new.locator("[name=place-sort]").select_option("mix")
    new.locator("[name=place-x]").fill("4")
    new.locator("[name=place-y]").fill("-9")
    page.locator(".stage-form .save-bar button").click()
    placed = {one.name: (one.x_mm, one.y_mm) for one in StagePlace.objects.filter(show=shop).exclude(x_mm=None)}
    assert placed == {"Front": (4000, 1000), "Guitar": (2000, 2500), "Mix": (4000, -9000)}
    assert {one.line.source: one.run_mm for one in advice_of(shop).lines}["Fiddle"] == 15_000  # 10 m, 1.3 of it, 2 m of slack

    # the list is made; of two piezo boxes one is at the other show
    page.goto(f"/shows/{shop.pk}/make-pull/")
    page.get_by_role("button", name="Make the list").click()
    piezo = PullRow.objects.filter(show=shop, type__key="active-box-piezo")
    assert sorted(row.line for row in piezo) == ["10", "7"] and all("dB into it" in row.reason for row in piezo)
    page.goto(f"/shows/{shop.pk}/ready/")
    assert "Short 1 Active piezo direct box" in page.locator("main").inner_text()

    # the bouzouki takes another box, and the list is made again
    bouzouki = InputLine.objects.get(show=shop, number=7)
    page.goto(f"/shows/{shop.pk}/advice/{bouzouki.pk}/")
    page.get_by_label("Take this mic/DI").select_option("Active direct box")
    page.get_by_role("button", name="Take it").click()
    page.goto(f"/shows/{shop.pk}/make-pull/")
    page.get_by_role("button", name="Make it again").click()
    page.goto(f"/shows/{shop.pk}/ready/")
    assert "Short 1 Active piezo direct box" not in page.locator("main").inner_text()

    # and the pack says it all on paper
    page.goto(f"/shows/{shop.pk}/pack/")
    assert page.locator(".pack-part").count() >= 6
    answer = page.request.get(f"/shows/{shop.pk}/pack.pdf")
    text = "\n".join(p.get_textpage().get_text_range() for p in pypdfium2.PdfDocument(BytesIO(answer.body())))
    for said in ("LANTERN WALK", "Bouzouki", "Active direct box", "Desk (Rack digital desk 16)", "Stage left", "15 m"):
        assert said in text, said
    assert re.search(r"page 1 of \d", text)


def names_of(page):
    return [page.locator("[name=place-name]").nth(n).input_value() for n in range(page.locator("[name=place-name]").count())]


def test_the_pages_from_plan_to_truck_fit_a_phone(open_page, shop):
    page = open_page(make_person("technician"), width=390)
    for number, kind in ((1, "voice"), (2, "fiddle-piezo")):
        InputLine.objects.create(show=shop, number=number, source=f"Source {number}", type=SourceType.objects.get(key=kind))
    for room in ("make-pull", "ready", "pack"):
        page.goto(f"/shows/{shop.pk}/{room}/")
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), room


def test_things_leads_and_the_shelf_on_a_phone_without_script(open_page, shop):
    kinds = {one.key: one for one in GearType.objects.exclude(key=None)}
    for length in (5_000, 15_000):
        make_item(type=kinds["lead-mic"], name="a", length_mm=length)
    for number, source, kind in ((1, "Lead voice", "voice"), (2, "Fiddle", "fiddle-piezo")):
        InputLine.objects.create(show=shop, number=number, source=source, type=SourceType.objects.get(key=kind))
    page = open_page(make_person("technician"), script=False)
    fits = "document.documentElement.scrollWidth <= innerWidth"

    # who gets what: worked out, one given by hand, and left to the program again
    page.goto(f"/shows/{shop.pk}/promised/")
    page.get_by_role("button", name="Work out who gets what").click()
    assert "each has its thing" in page.locator(".messages, [role=status]").first.inner_text()
    fiddle = InputLine.objects.get(show=shop, number=2)
    had = Promised.objects.get(line=fiddle).item
    other = Item.objects.filter(type=had.type).exclude(pk=had.pk).get()
    row = page.locator(".promised-lines li").nth(1)
    row.locator("summary").click()
    row.get_by_label("Its code").fill(other.code)
    row.get_by_role("button", name="This one").click()
    assert Promised.objects.get(line=fiddle).item == other
    row = page.locator(".promised-lines li").nth(1)
    assert "by hand" in row.inner_text()
    row.locator("summary").click()
    row.get_by_role("button", name="Leave it to the program").click()
    assert not Promised.objects.filter(line=fiddle, by_hand=True).exists()

    # the runs from what is free, and the shelf by lengths
    page.goto(f"/shows/{shop.pk}/leads/")
    leads = page.locator("main section", has_text="Microphone lead")
    assert leads.locator(".runs li").count() == 2
    assert "Free on these days: 1 of 5\u2009m, 1 of 15\u2009m" in leads.inner_text()
    make_pull_row(shop, type=kinds["lead-mic"], length_mm=5_000, count=2)
    page.goto(f"/shelf-days/?from={shop.hold_from:%Y-%m-%d}")
    lead = page.locator(".types li", has_text="5\u2009m")
    assert "Short 1" in lead.inner_text() and "1 fit to go" in lead.inner_text()
    looked = open_page(make_person("technician", username="looks"))
    for address in (f"/shows/{shop.pk}/promised/", f"/shows/{shop.pk}/leads/", f"/shows/{shop.pk}/spares/", "/shelf-days/"):
        looked.goto(address)
        assert looked.evaluate(fits), address
