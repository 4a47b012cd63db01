"""A show's swap list in real Chromium on a phone, with the typed scanner: swap, keep, charge, undo, two people, no script."""

import re
import uuid
from datetime import timedelta

import pytest
from playwright.sync_api import expect

from company.clock import now
from inventory.calc.kinds import Kind
from maintenance.models import CellPlan, CellReading, Charge, HoursNote, Swap
from maintenance.services.cell_reckon import item_cells_reckon
from shows.models import PhantomSeen
from shows.services.scans import scans_record
from tests.builders import (
    fit_cells,
    make_box,
    make_checkout,
    make_item,
    make_lot,
    make_person,
    make_pull_row,
    make_show,
    make_type,
    use_on_cells,
)
from tests.e2e.test_dock import focused, type_scan

pytestmark = pytest.mark.django_db(transaction=True)
SLOW = 20_000


@pytest.fixture
def show(company):
    return make_show(now() + timedelta(hours=3), name="Harvest ceilidh")


@pytest.fixture
def boxes(show):
    """Three boxes whose sets have run long, one young one."""
    lot, made = make_lot(12), []
    for n, hours in enumerate((95, 96, 97, 3)):
        box = make_box(type=made[0].type if made else None, name="ABCD"[n])
        make_pull_row(show, item=box, line=str(n + 1), feed="cells")
        fit_cells(box, at=now() - timedelta(days=30), lot=lot, received_at=now())
        use_on_cells(box, hours, day=(now() - timedelta(days=9)).date())
        item_cells_reckon(item=box, at=now())
        made.append(box)
    return made


@pytest.fixture
def pack(show):
    type_ = make_type(Kind.TRANSMITTER, name="Body transmitter with built-in cell")
    CellPlan.objects.create(type=type_, full_charge_h=10)
    item = make_item(type=type_)
    make_pull_row(show, item=item, line="9", feed="cells")
    return item


def opened(page, show):
    page.goto(f"/cells/swaps/{show.pk}/")
    expect(page.locator("#code")).to_be_focused()


def stamp(page, words):
    expect(page.locator("#count .stamp")).to_have_text(re.compile(words), timeout=SLOW)


def test_a_list_is_worked_by_scans_and_taps_with_an_undo(open_page, hand, show, boxes, pack):
    page = open_page(hand)
    opened(page, show)
    stamp(page, "0 of 4")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390

    type_scan(page, boxes[0].code)
    tap = page.get_by_role("button", name=re.compile("Swap it"))
    expect(tap).to_be_visible(timeout=SLOW)
    assert tap.bounding_box()["height"] >= 44
    tap.click()
    stamp(page, "1 of 4")
    expect(page.locator("#now .told")).to_contain_text("tape the terminals")
    assert focused(page) == "code"

    type_scan(page, boxes[1].code)
    expect(page.locator("#now h2 .code")).to_contain_text(boxes[1].code[:4], timeout=SLOW)
    page.get_by_label("What the old set reads, V").fill("8.2")
    page.get_by_role("button", name=re.compile("Swap it")).click()
    stamp(page, "2 of 4")
    expect(page.locator("#now .told")).to_contain_text("rehearsal pool")

    type_scan(page, pack.code)
    stamp(page, "3 of 4")
    expect(page.locator("#now .told")).to_contain_text("on charge")

    page.get_by_role("button", name=f"Undo {boxes[1].label}").click()
    stamp(page, "2 of 4")
    type_scan(page, boxes[1].code)
    page.get_by_role("button", name="It leaked or is swollen: swap it").click()
    stamp(page, "3 of 4")
    expect(page.locator("#now .told")).to_contain_text("Gloves on")

    type_scan(page, boxes[2].code)
    page.get_by_role("button", name="It had died: swap it").click()
    stamp(page, "4 of 4 done")
    expect(page.locator("#list")).to_contain_text("All swapped.")
    assert Charge.objects.filter(show=show.pk, withdrawn_at=None).count() == 1
    assert Swap.objects.filter(show=show.pk, takes_back=None, taken_back_by=None).count() == 3


def test_bad_readings_and_strange_labels_are_said_and_nothing_is_written(open_page, hand, show, boxes):
    page = open_page(hand)
    opened(page, show)
    type_scan(page, "HTTP://EXAMPLE.ORG/NOT-OURS")
    expect(page.locator("#now .told")).to_contain_text("no label of ours", timeout=SLOW)
    type_scan(page, boxes[0].code)
    page.get_by_label("What the old set reads, V").fill("8400")
    page.get_by_role("button", name="Keep it, as read").click()
    expect(page.locator("#now .error")).to_contain_text("millivolts", timeout=SLOW)
    expect(page.get_by_label("What the old set reads, V")).to_have_value("8400")
    page.get_by_label("What the old set reads, V").fill("8.4")
    page.get_by_role("button", name="Keep it, as read").click()
    expect(page.locator("#now .error")).to_contain_text("Say what it was read on", timeout=SLOW)
    page.get_by_label("Read on").select_option("on a test load")
    page.get_by_role("button", name="Keep it, as read").click()
    expect(page.locator("#now .error")).to_contain_text("how many ohms", timeout=SLOW)
    expect(page.get_by_label("What the old set reads, V")).to_have_value("8.4")
    expect(page.get_by_label("Read on")).to_have_value("test")
    assert not Swap.objects.filter(show=show.pk).exists() and not CellReading.objects.exists()
    page.get_by_label("Test load, ohm").fill("620")
    page.get_by_role("button", name="Keep it, as read").click()
    expect(page.locator("#now .told")).to_contain_text("8.4 V", timeout=SLOW)
    assert CellReading.objects.get().load_ohm == 620


def test_two_phones_end_as_one_swap_and_the_second_is_told_by_whom(open_page, hand, show, boxes):
    other = make_person("hand", username="joss")
    first, second = open_page(hand), open_page(other)
    for page in (first, second):
        opened(page, show)
        type_scan(page, boxes[0].code)
        expect(page.get_by_role("button", name=re.compile("Swap it"))).to_be_visible(timeout=SLOW)
    first.get_by_role("button", name=re.compile("Swap it")).click()
    stamp(first, "1 of 3")
    second.get_by_role("button", name=re.compile("Swap it")).click()
    expect(second.locator("#now .error")).to_contain_text(f"Done already by {hand}", timeout=SLOW)
    assert Swap.objects.filter(show=show.pk).count() == 1


def test_without_a_script_the_forms_do_the_same(open_page, hand, show, boxes):
    page = open_page(hand, script=False)
    page.goto(f"/cells/swaps/{show.pk}/")
    page.fill("#code", boxes[0].code)
    page.press("#code", "Enter")
    page.get_by_role("button", name=re.compile("Swap it")).click()
    expect(page.locator(".messages")).to_contain_text("recycling tub")
    stamp(page, "1 of 3")


def test_the_dock_takes_not_used_in_one_tap_after_the_scan_back(open_page, hand, company):
    show = make_show(now() - timedelta(hours=14), name="Harvest ceilidh")
    box = make_box()
    make_pull_row(show, item=box, line="5", feed="cells")
    out = {"id": str(uuid.uuid4()), "code": box.code, "action": "out", "show": show.pk}
    out["happened_at"] = show.load_in.isoformat()
    scans_record(actor=None, device="test", sent_at=show.load_in, scans=[out], received_at=show.load_in)
    page = open_page(hand)
    page.goto(f"/dock/?show={show.pk}&way=back")
    expect(page.locator("#code")).to_be_focused()
    type_scan(page, box.code)
    page.get_by_role("button", name="Not used").click(timeout=SLOW)
    expect(page.locator("#hit")).to_contain_text("was not used at Harvest ceilidh", timeout=SLOW)
    assert HoursNote.objects.get().why == "unused"
    box.refresh_from_db()
    assert box.custody == "" and focused(page) == "code"


def test_the_dock_takes_phantom_seen_in_one_tap_and_takes_it_back(open_page, hand, company):
    show = make_show(now() - timedelta(minutes=30), name="Harvest ceilidh")
    box = make_box()
    make_pull_row(show, item=box, line="5", feed="phantom")
    make_checkout(show, box)
    page = open_page(hand)
    page.goto(f"/dock/?show={show.pk}&way=out")
    expect(page.locator("#code")).to_be_focused()
    type_scan(page, box.code)
    tap = page.locator("#hit").get_by_role("button", name="Phantom seen at it")
    expect(tap).to_be_visible(timeout=SLOW)
    assert tap.bounding_box()["height"] >= 56 and page.evaluate("document.documentElement.scrollWidth") <= 390
    tap.click()
    expect(page.locator("#hit")).to_contain_text("phantom seen at Harvest ceilidh", timeout=SLOW)
    assert PhantomSeen.objects.get().item == box and focused(page) == "code"
    page.get_by_role("button", name="Not seen after all").click()
    expect(page.locator("#hit")).to_contain_text("phantom is not seen there", timeout=SLOW)
    assert not PhantomSeen.objects.exists()
