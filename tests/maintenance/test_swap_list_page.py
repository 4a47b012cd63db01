"""A show's swap list: what it says, worked scan by scan, undone, by two people at once; who may and what is refused."""

import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from company.clock import now
from inventory.calc import codes
from inventory.calc.kinds import Kind
from inventory.models import CellSetFacts, InterfaceBoxFacts
from maintenance.calc.cell_words import Pool, SwapReason
from maintenance.cell_needs import listed
from maintenance.models import CellForecast, CellPlan, CellReading, Charge, FittedSet, HoursNote, Swap
from maintenance.services.cells import lot_left
from shows.models import Show
from tests.builders import (
    fit_cells,
    make_box,
    make_cell_type,
    make_item,
    make_lot,
    make_pull_row,
    make_show,
    make_type,
    use_on_cells,
)
from tests.conftest import signed_in

pytestmark = pytest.mark.django_db
DAYS = timedelta(days=1)


@pytest.fixture
def show(company):
    """A show that loads in tonight."""
    return make_show(now() + timedelta(hours=3), name="Harvest ceilidh")


@pytest.fixture
def lot(company):
    return make_lot(10)


def a_box(show, lot=None, *, hours=0.0, line="1", feed="cells", type=None, fitted=True, **kw):
    """A box on a line, with a set that has run so many hours."""
    box = make_box(type=type, **kw)
    make_pull_row(show, item=box, line=line, feed=feed)
    if fitted:
        fit_cells(box, at=now() - 30 * DAYS, lot=lot, received_at=now())
    if hours:
        use_on_cells(box, hours, day=(now() - 10 * DAYS).date())
        from maintenance.services.cell_reckon import item_cells_reckon

        item_cells_reckon(item=box, at=now())
    return box


def page(client, show, **query):
    return client.get(f"/cells/swaps/{show.pk}/", query)


def do(client, show, item, what, **more):
    given = {"uid": str(uuid.uuid4()), "code": item.code, "do": what, **more}
    return client.post(f"/cells/swaps/{show.pk}/do/", given, follow=True)


def scan(client, show, text, **more):
    return client.post(f"/cells/swaps/{show.pk}/scan/", {"scan": text, "uid": str(uuid.uuid4()), **more}, follow=True)


def words(answer):
    return " ".join(answer.content.decode().split())


def test_it_says_keep_and_swap_in_hours_left_and_what_to_take_along(as_hand, show, lot):
    young, old = a_box(show, lot), a_box(show, lot, hours=95, line="2")
    found = listed(show.pk, now())
    assert [row.item for row in found.swaps] == [old] and (found.total, len(found.done)) == (1, 0)
    said = words(page(as_hand, show))
    assert "Harvest ceilidh needs" in said and "it dies: swap" in said and "0 of 1" in said
    assert young.code[:4] in said and "cells to take along" in said and '<b>1</b> <span class="quiet">to fit' in said


def test_a_scan_brings_the_device_in_hand_and_one_tap_swaps_from_the_oldest_lot(as_hand, hand, show, lot):
    box = a_box(show, lot, hours=95)
    later = make_lot(10, added_at=now() - DAYS)
    answer = scan(as_hand, show, f"{box.code[:4]}-{box.code[4:]}")
    assert "Swap it" in words(answer) and "8 left" not in words(answer) and f"{lot_left(lot)} left" in words(answer)
    before = lot_left(lot)
    done = words(do(as_hand, show, box, "swap"))
    swap = Swap.objects.get(show=show.pk)
    assert (swap.lot, swap.person, swap.out_to) == (lot, hand, Pool.RECYCLE)
    assert (lot_left(lot), lot_left(later)) == (before - 1, 10)
    assert "recycling tub: tape the terminals" in done and "Never charge primaries" in done
    assert "1 of 1 done" in done and listed(show.pk, now()).swaps == []


def test_what_was_read_and_is_good_enough_goes_to_the_part_used_pool(as_hand, show, lot):
    box = a_box(show, lot, hours=95)
    done = words(do(as_hand, show, box, "swap", volts="8,1"))
    swap = Swap.objects.get(show=show.pk)
    assert (swap.out_to, swap.out_volts) == (Pool.REHEARSAL, 8.1) and "rehearsal pool" in done
    assert Swap.objects.get(show=show.pk).reason == SwapReason.PRECAUTION


def test_what_reads_low_goes_to_the_tub(as_hand, show, lot):
    do(as_hand, show, a_box(show, lot, hours=95), "swap", volts="6.8")
    assert Swap.objects.get(show=show.pk).out_to == Pool.RECYCLE


@pytest.mark.parametrize(
    ("how", "pool", "says"), [("died", Pool.RECYCLE, "recycling tub"), ("leaked", Pool.QUARANTINE, "Gloves on")]
)
def test_why_it_came_out_is_one_tap_and_says_how_to_be_safe(as_hand, show, lot, how, pool, says):
    done = words(do(as_hand, show, a_box(show, lot, hours=95), how))
    swap = Swap.objects.get(show=show.pk)
    assert (swap.reason, swap.out_to) == (how, pool) and says in done


def test_a_swap_is_undone_and_the_lot_has_its_cell_back(as_hand, show, lot):
    box = a_box(show, lot, hours=95)
    before = lot_left(lot)
    do(as_hand, show, box, "swap")
    uid = listed(show.pk, now()).done[0].done.uid
    said = words(as_hand.post(f"/cells/swaps/{show.pk}/do/", {"do": "undo", "uid": str(uid)}, follow=True))
    assert "taken back" in said and lot_left(lot) == before
    assert [row.item for row in listed(show.pk, now()).swaps] == [box]
    again = words(as_hand.post(f"/cells/swaps/{show.pk}/do/", {"do": "undo", "uid": str(uuid.uuid4())}, follow=True))
    assert "nothing to take back" in again


def test_two_phones_make_one_swap_and_the_second_is_told_by_whom(as_hand, as_technician, hand, show, lot):
    box = a_box(show, lot, hours=95)
    do(as_hand, show, box, "swap")
    second = do(as_technician, show, box, "swap")
    assert second.status_code == 422 and f"Done already by {hand}" in words(second)
    assert Swap.objects.filter(show=show.pk).count() == 1
    assert "swapped already by" in words(scan(as_technician, show, box.code))


def test_the_same_tap_sent_twice_is_one_swap(as_hand, show, lot):
    box, uid = a_box(show, lot, hours=95), str(uuid.uuid4())
    do(as_hand, show, box, "swap", uid=uid)
    do(as_hand, show, box, "swap", uid=uid)
    assert Swap.objects.filter(show=show.pk).count() == 1


def test_a_set_that_reads_well_is_kept_as_read(as_hand, show, lot):
    box = a_box(show, lot, hours=60)
    assert listed(show.pk, now()).rows[0].done is None
    said = words(do(as_hand, show, box, "keep", volts="9.2", load="on"))
    found = listed(show.pk, now())
    assert CellReading.objects.get().volts == 9.2 and found.done[0].done.word == "kept"
    assert "read 9.2 V" in said


def test_a_set_nobody_wrote_down_is_asked_about_and_may_be_kept_by_its_reading(as_hand, show, lot):
    box = a_box(show, fitted=False)
    assert "never written down" in words(page(as_hand, show))
    do(as_hand, show, box, "keep", volts="9.1", load="on")
    fitted = FittedSet.objects.get(item=box)
    assert (fitted.was_new, fitted.lot) == (False, None)
    assert listed(show.pk, now()).done[0].done.word == "kept"


def test_without_cells_on_the_shelf_the_crew_still_goes_on_and_is_told(as_hand, show):
    box = a_box(show, hours=95)
    said = words(do(as_hand, show, box, "swap"))
    assert "No such cells are on the shelf by the record" in said and Swap.objects.filter(show=show.pk).exists()


@pytest.mark.parametrize(
    ("volts", "says"),
    [
        ("12", "12"),
        ("8400", "between 0 and 60 V"),
        ("lots", "a number of volts"),
        ("-3", "between 0 and 60 V"),
        ("nan", "between 0 and 60 V"),
        ("", "Say what it reads"),
    ],
)
def test_a_reading_that_cannot_be_is_said_and_nothing_is_written(as_hand, show, lot, volts, says):
    box = a_box(show, lot, hours=95)
    answer = do(as_hand, show, box, "keep", volts=volts, load="on")
    assert answer.status_code == 422 and says in words(answer)
    assert not CellReading.objects.exists() and not Swap.objects.filter(show=show.pk).exists()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "Scan a device"),
        ("mint", "Nothing has this label yet"),
        ("http://x/y z", "no label of ours"),
        ("\x00", "no label"),
    ],
)
def test_what_is_no_device_is_said(as_hand, show, text, says):
    assert says in words(scan(as_hand, show, codes.mint() if text == "mint" else text))


def test_a_device_that_needs_nothing_here_is_said(as_hand, show):
    assert "needs nothing for Harvest ceilidh" in words(scan(as_hand, show, make_item().code))


def test_on_phantom_it_needs_nothing_and_says_what_happens_without(as_hand, show, lot):
    with_cell = a_box(show, lot, feed="phantom")
    a_box(show, feed="phantom", line="2", fitted=False)
    said = words(page(as_hand, show))
    assert "Behind phantom; alone the cell lasts about" in said and "never written down: take it for dead" in said
    bare = a_box(show, lot, feed="phantom", line="3")
    assert "No cell: dead if phantom is off" not in said
    fit_cells(bare, at=now() - DAYS, type=None, lot=None, received_at=now())
    assert "No cell: dead if phantom is off" in words(page(as_hand, show))
    assert listed(show.pk, now()).total == 0
    as_hand.post(f"/shows/{show.pk}/phantom/{with_cell.code}/")
    assert "Phantom seen" in words(page(as_hand, show))


def test_a_pack_is_ticked_on_the_charge_list_by_its_scan_and_unticked(as_hand, show):
    type_ = make_type(Kind.TRANSMITTER, name="Body transmitter with built-in cell")
    CellPlan.objects.create(type=type_, full_charge_h=10)
    pack = make_item(type=type_)
    make_pull_row(show, item=pack, line="9", feed="cells")
    assert "charge the night before" in words(page(as_hand, show))
    said = words(scan(as_hand, show, pack.code))
    charge = Charge.objects.get()
    assert (charge.item, charge.show) == (pack, show.pk) and "on charge" in said and "1 of 1 done" in said
    as_hand.post(f"/cells/swaps/{show.pk}/do/", {"do": "undo", "uid": str(charge.uid)})
    assert len(listed(show.pk, now()).charges) == 1


def test_primaries_are_never_charged(as_hand, show, lot):
    answer = do(as_hand, show, a_box(show, lot), "charge")
    assert answer.status_code == 422 and "never charged" in words(answer) and not Charge.objects.exists()


def test_devices_not_chosen_yet_are_counted_with_what_to_buy(as_hand, as_owner, show):
    make_cell_type(price_cents=180)
    make_lot(2)
    make_pull_row(show, type=make_box().type, count=5, line="4", feed="cells")
    assert "5 of them are not chosen yet: carry 5 sets." in words(page(as_hand, show))
    carried = listed(show.pk, now()).found.carry[0]
    assert (carried.total, carried.stock, carried.buy) == (5, 2, 3)
    assert "5.40" in words(page(as_owner, show))


def a_transmitter(show, *, sets=0, **kw):
    """A transmitter whose fresh alkaline pair cannot last the show's hours, on a line, used once."""
    type_ = make_type(Kind.TRANSMITTER, name="Hand-held transmitter", bays=2, cell_size="LR6")
    CellPlan.objects.create(
        type=type_, load="power", draw=900, sigma=0.15, stops_below_v=1.9, cells_a_bay=2, transmitter=True, **kw
    )
    item = make_item(type=type_)
    make_pull_row(show, item=item, line="7", feed="cells")
    return item


@pytest.fixture
def alkaline(company):
    return make_lot(20, type=make_cell_type("LR6"))


def test_where_alkaline_does_not_last_one_tap_fits_the_lithium_that_is_advised(as_hand, show, alkaline):
    hand_held = a_transmitter(show)
    lithium = make_lot(6, type=make_cell_type("FR6"))
    said = words(scan(as_hand, show, hand_held.code))
    assert "Even a fresh set of AA alkaline" in said and "What would do: fit AA lithium" in said
    tap = said.split('value="swap"')[1].split("</button>")[0]
    assert "AA lithium" in tap and "6 left" in tap
    assert "Fit the usual instead" in said and "20 left" in said.split('value="usual"')[1].split("</button>")[0]
    carry = {one.key: one for one in listed(show.pk, now()).found.carry}
    assert set(carry) == {"FR6"} and (carry["FR6"].total, carry["FR6"].buy) == (2, 0)
    printed = words(as_hand.get(f"/cells/swaps/{show.pk}/print/"))
    assert ": fit 2 × AA lithium (FR6)" in printed and "line check " in printed
    do(as_hand, show, hand_held, "swap")
    assert Swap.objects.get(show=show.pk).lot == lithium and (lot_left(lithium), lot_left(alkaline)) == (4, 20)


def test_the_usual_cells_are_one_tap_away_from_what_is_advised(as_hand, show, alkaline):
    hand_held, lithium = a_transmitter(show), make_lot(6, type=make_cell_type("FR6"))
    do(as_hand, show, hand_held, "usual")
    assert Swap.objects.get(show=show.pk).lot == alkaline and lot_left(lithium) == 6


def test_lithium_that_is_advised_and_not_here_is_bought_though_alkaline_lies_on_the_shelf(as_hand, show, alkaline):
    a_transmitter(show)
    make_cell_type("FR6")
    said = words(page(as_hand, show))
    carry = {one.key: one for one in listed(show.pk, now()).found.carry}
    assert (carry["FR6"].stock, carry["FR6"].buy) == (0, 2) and "(to buy)" in said and "LR6" not in carry


def a_labelled_set(**kw):
    type_ = make_type(Kind.CELL_SET, name="Rechargeable pair", cell_size="HR6")
    CellSetFacts.objects.create(type=type_, cells=2, capacity_mah=2400, chemistry="NiMH")
    make_cell_type("HR6")
    return make_item(type=type_, **kw)


def test_a_charged_labelled_set_is_advised_by_name_and_goes_in_by_one_tap(as_hand, show, alkaline):
    Show.objects.filter(pk=show.pk).update(rehearsal=True)
    hand_held, pair = a_transmitter(show), a_labelled_set(name="C")
    CellPlan.objects.filter(type=hand_held.type).update(draw=800)
    assert f"or charge {pair.label} and fit it" in words(page(as_hand, show))
    assert listed(show.pk, now()).rows[0].cell_set is None
    Charge.objects.create(uid=uuid.uuid4(), item=pair, at=now() - DAYS)
    row = listed(show.pk, now()).rows[0]
    assert row.cell_set == pair and f"fit {pair.label}, charged" in row.advised.why
    assert f"{pair.label}, charged" in words(scan(as_hand, show, hand_held.code))
    assert [(one.name, one.buy) for one in listed(show.pk, now()).found.carry] == [(pair.label, 0)]
    do(as_hand, show, hand_held, "swap")
    assert Swap.objects.get(show=show.pk).cell_set == pair


def test_unchosen_devices_are_not_taken_for_nothing_to_swap(as_hand, show, lot):
    make_pull_row(show, type=make_box().type, count=6, line="4", feed="cells")
    said = words(page(as_hand, show))
    assert "Nothing to swap yet" in said and "6 devices that run on cells are not chosen yet" in said
    assert "No channel of this show hangs on a cell" not in said


def test_a_show_under_way_needs_what_is_left_of_it(as_hand, show, lot, monkeypatch):
    a_box(show, lot)
    whole = listed(show.pk, now()).rows[0].need.need_h
    later = show.end - timedelta(hours=1)
    found = listed(show.pk, later)
    assert found.needs.under_way and not listed(show.pk, show.line_check - timedelta(hours=1)).needs.under_way
    assert found.rows[0].need.need_h < whole and 1 <= found.rows[0].need.need_h <= 2
    assert "the rest of Harvest ceilidh needs" in found.rows[0].advised.why
    monkeypatch.setattr("django.utils.timezone.now", lambda: later)
    assert "Hours run from now to the end" in words(page(as_hand, show))


def test_of_a_show_of_several_days_the_nights_are_left_out_and_that_is_said(as_hand, lot):
    show = make_show((now() + DAYS).replace(hour=13), name="Quarry street fair")
    a_box(show, lot)
    assert "The nights between" not in words(page(as_hand, show))
    Show.objects.filter(pk=show.pk).update(end=show.end + DAYS, strike=show.strike + DAYS, home_by=show.home_by + DAYS)
    said = words(page(as_hand, show))
    assert "The nights between, from 03:00 to the next day’s line check, are left out." in said
    noon = show.line_check + timedelta(hours=18)
    last, first = listed(show.pk, noon).rows[0].need.need_h, listed(show.pk, now()).rows[0].need.need_h
    assert 0 < last < first < (show.end + DAYS - show.line_check) / timedelta(hours=1) - 5


def test_what_is_left_of_a_show_stands_still_by_night():
    from datetime import UTC, datetime
    from zoneinfo import ZoneInfo

    from shows.cells import reached

    zone, checked = ZoneInfo("UTC"), datetime(2026, 6, 5, 16, tzinfo=UTC)
    night = datetime(2026, 6, 6, 3, tzinfo=UTC)
    assert reached(checked, datetime(2026, 6, 6, 9, tzinfo=UTC), zone) == night
    for other in (datetime(2026, 6, 6, 1, tzinfo=UTC), datetime(2026, 6, 6, 17, tzinfo=UTC)):
        assert reached(checked, other, zone) == other


def test_prices_are_for_an_owner_alone(as_hand, as_technician, show):
    make_cell_type(price_cents=7777)
    make_pull_row(show, type=make_box().type, count=5, feed="cells")
    for client in (as_hand, as_technician):
        assert "388.85" not in words(page(client, show))


def test_the_owners_limit_decides(as_owner, show, lot, company):
    boxes = [a_box(show, lot, hours=55, line=str(n)) for n in range(4)]
    strict_before = len(listed(show.pk, now()).swaps)
    company.cell_show_limit = 10_000
    company.save()
    assert len(listed(show.pk, now()).swaps) > strict_before
    assert "1 show in 10000" in words(page(as_owner, show)) and len(boxes) == 4


def test_it_prints_with_boxes_to_tick_by_place(as_hand, show, lot):
    a_box(show, lot, hours=95)
    said = words(as_hand.get(f"/cells/swaps/{show.pk}/print/"))
    assert 'class="box"' in said and "Never charge primaries" in said and "No place of its own" in said


def test_the_shows_page_and_the_running_order_lead_to_it(as_technician, show, lot):
    a_box(show, lot, hours=95)
    assert f"/cells/swaps/{show.pk}/" in words(as_technician.get(f"/shows/{show.pk}/"))
    needs = words(as_technician.get("/needs/"))
    assert f"/cells/swaps/{show.pk}/" in needs and "Swap 1 set" in needs
    box = listed(show.pk, now()).swaps[0].item
    do(as_technician, show, box, "swap")
    assert "Swap 1 set" not in words(as_technician.get("/needs/"))


def test_no_such_show_is_not_found(as_hand):
    assert page(as_hand, type("S", (), {"pk": 987654})).status_code == 404


def test_an_empty_list_says_so(as_hand, show):
    assert "Nothing on this show’s pull list runs on cells" in words(page(as_hand, show))


def test_fifty_devices_cost_no_more_queries_than_one(as_hand, show, lot):
    type_ = make_box().type
    InterfaceBoxFacts.objects.filter(type=type_).update(draw_ma=5)
    a_box(show, lot, hours=95, type=type_)
    page(as_hand, show)
    with CaptureQueriesContext(connection) as one:
        page(as_hand, show)
    for n in range(49):
        a_box(show, lot, hours=10 + n, line=str(n + 2), type=type_)
    with CaptureQueriesContext(connection) as many:
        answer = page(as_hand, show)
    assert answer.status_code == 200 and len(listed(show.pk, now()).rows) == 50
    assert len(many) == len(one), [q["sql"][:120] for q in many.captured_queries[len(one) :]]


def test_looking_writes_nothing(as_hand, show, lot):
    box = a_box(show, lot, hours=95)
    before = list(FittedSet.objects.values_list())
    page(as_hand, show, on=box.code)
    as_hand.get(f"/cells/swaps/{show.pk}/print/")
    assert list(FittedSet.objects.values_list()) == before and not HoursNote.objects.exists()


def test_a_script_gets_parts_of_the_page_a_sound_and_a_sentence(hand, show, lot):
    box = a_box(show, lot, hours=95)
    client = signed_in(hand)
    answer = client.post(
        f"/cells/swaps/{show.pk}/scan/", {"scan": box.code, "uid": str(uuid.uuid4())}, headers={"X-Fragments": "swaps"}
    ).json()
    assert set(answer["parts"]) == {"now", "list", "count", "carry-part"} and answer["on"] == box.code
    assert answer["sound"] == "fine" and "Swap it" in answer["parts"]["now"]


def test_at_a_rehearsal_part_used_cells_go_in_and_at_a_show_they_do_not(as_hand, show, lot):
    box = a_box(show, lot, hours=140)
    tub = make_lot(3, pool=Pool.REHEARSAL)
    assert "From the rehearsal pool" not in words(page(as_hand, show, on=box.code))
    assert do(as_hand, show, box, "pool").status_code == 422 and lot_left(tub) == 3
    Show.objects.filter(pk=show.pk).update(rehearsal=True)
    assert "From the rehearsal pool" in words(page(as_hand, show, on=box.code))
    do(as_hand, show, box, "pool")
    swap = Swap.objects.get(show=show.pk)
    assert (swap.lot, swap.was_new, lot_left(tub)) == (tub, False, 2)


def test_a_technician_keeps_the_list_as_forecast_once_and_a_hand_may_not(as_hand, as_technician, show, lot):
    box = a_box(show, lot, hours=95)
    url = f"/cells/swaps/{show.pk}/keep/"
    assert as_hand.post(url).status_code == 403 and not CellForecast.objects.exists()
    page(as_technician, show)
    assert not CellForecast.objects.exists()
    assert "Kept for 1 device" in words(as_technician.post(url, follow=True))
    row = CellForecast.objects.get()
    assert (row.item, row.show, row.said) == (box, show.pk, "swap") and 0 < row.chance < 1 and "h left" in row.why
    assert "Nothing is new" in words(as_technician.post(url, follow=True)) and CellForecast.objects.count() == 1


def test_a_show_is_not_ready_while_its_list_is_not_worked(as_hand, show, lot):
    box = a_box(show, lot, hours=95)
    because = as_hand.get(f"/api/shows/{show.pk}/readiness").json()["not_ready_because"]
    assert any(box.code in one and "it dies: swap" in one for one in because)
    do(as_hand, show, box, "swap")
    because = as_hand.get(f"/api/shows/{show.pk}/readiness").json()["not_ready_because"]
    assert not any("swap" in one for one in because)
