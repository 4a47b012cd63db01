"""A device's cells on pages: swapped with one tap, read, hours told, taken back; what cannot be is a sentence."""

import re
import uuid
from datetime import timedelta

import pytest
from django.urls import reverse

from inventory.calc.kinds import Kind
from inventory.models import CellSetFacts
from maintenance.calc.cell_words import Pool, SwapReason
from maintenance.cell_state import state_of
from maintenance.models import CellMove, CellPlan, CellReading, Charge, DeviceDraw, FittedSet, HoursNote, Swap
from tests.builders import NOW, a_day, fit_cells, make_box, make_cell_type, make_item, make_lot, make_type, use_on_cells

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def still(monkeypatch, company):
    """Stop the clock at NOW."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


def page(client, item, name: str = "item-cells") -> str:
    answer = client.get(reverse(name, args=[item.code]))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def post(client, item, name: str, **given):
    return client.post(reverse(name, args=[item.code]), {"uid": str(uuid.uuid4()), **given})


def test_one_tap_takes_the_oldest_lot_that_is_good(as_hand, hand):
    box = make_box()
    make_lot(5, bought_on=a_day(-900), expires_on=a_day(-1))
    oldest = make_lot(5, expires_on=a_day(300))
    make_lot(5, expires_on=a_day(900))
    fit_cells(box)
    taken = re.search(r'value="([^"]+)"[^>]*checked', page(as_hand, box, "item-swap"))
    assert taken and taken[1] == f"lot.{oldest.pk}"
    post(as_hand, box, "item-swap", what=f"lot.{oldest.pk}", reason="precaution")
    fitted = FittedSet.objects.get(removed_at=None)
    assert fitted.lot == oldest and fitted.was_new is True
    assert Swap.objects.latest("pk").person == hand
    assert sum(CellMove.objects.filter(lot=oldest).values_list("delta", flat=True)) == 4


def test_the_same_form_sent_twice_is_one_swap(as_hand):
    box, lot, uid = make_box(), make_lot(6), str(uuid.uuid4())
    for _ in range(2):
        assert post(as_hand, box, "item-swap", uid=uid, what=f"lot.{lot.pk}").status_code == 302
    assert Swap.objects.count() == 1


def test_a_leaked_set_goes_to_quarantine_with_gloves(as_hand):
    box, lot = make_box(), make_lot(6)
    fit_cells(box)
    answer = as_hand.post(
        reverse("item-swap", args=[box.code]), {"uid": uuid.uuid4(), "what": f"lot.{lot.pk}", "reason": "leaked"}, follow=True
    )
    assert "gloves" in answer.content.decode().lower()
    swap = Swap.objects.latest("pk")
    assert swap.reason == SwapReason.LEAKED and swap.out_to == Pool.QUARANTINE


def test_safety_words_stand_where_cells_come_out(as_hand):
    box = make_box()
    fit_cells(box)
    shown = page(as_hand, box, "item-swap")
    assert "Gloves on" in shown and "tape the terminals" in shown and "Never charge primaries" in shown


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"volts": "12"}, "9"),
        ({"volts": "8400"}, "millivolts"),
        ({"volts": "much"}, "A reading is a number of volts"),
        ({"volts": ""}, "Say what it reads."),
        ({"volts": "8.1", "load": "test"}, "Say how many ohms"),
        ({"volts": "8.1", "load": "test", "load_ohm": "0"}, "short circuit"),
        ({"volts": "8.1", "when": "2999-01-01T10:00"}, "still to come"),
        ({"volts": "-3"}, "V"),
    ],
)
def test_a_reading_that_cannot_be_gets_a_sentence_and_what_was_typed_stays(as_hand, given, said):
    box = make_box()
    fit_cells(box)
    answer = post(as_hand, box, "item-reading", **{"load": "on", **given})
    assert answer.status_code == 422
    shown = answer.content.decode()
    assert said in shown and "Nothing was written." in shown
    assert not given["volts"] or f'value="{given["volts"]}"' in shown
    assert CellReading.objects.count() == 0


def test_a_reading_tightens_what_is_said_and_is_taken_back(as_hand, hand):
    box = make_box()
    fit_cells(box)
    use_on_cells(box, 20, day=a_day(-5))
    before = FittedSet.objects.get().var_ln_h
    answer = post(as_hand, box, "item-reading", volts="8,2 V", load="on")
    assert answer.status_code == 302 and "did=reading." in answer.url
    reading = CellReading.objects.get()
    assert (reading.volts, reading.load_ohm, reading.minutes_off, reading.person) == (8.2, None, 0, hand)
    assert FittedSet.objects.get().var_ln_h < before
    assert "Take it back" in as_hand.get(answer.url).content.decode()
    post(as_hand, box, "item-cells-undo", did=f"reading.{reading.uid}")
    assert CellReading.objects.filter(takes_back=reading).exists()
    assert "taken back" in page(as_hand, box)


def test_a_reading_on_nothing_is_not_taken_for_the_device_itself(as_hand):
    box = make_box()
    fit_cells(box)
    post(as_hand, box, "item-reading", volts="8.9", load="none", minutes_off="0")
    assert CellReading.objects.get().minutes_off != 0


def test_a_swap_dated_before_the_set_was_fitted_gets_a_sentence_and_nothing_is_written(as_hand):
    box, lot = make_box(), make_lot(6, bought_on=a_day(-100))
    fit_cells(box, at=NOW - timedelta(days=3))
    given = {"what": f"lot.{lot.pk}", "reason": "precaution", "when": "2026-09-12T10:00"}
    answer = post(as_hand, box, "item-swap", **given)
    assert answer.status_code == 422 and "noted late" in answer.content.decode()
    assert Swap.objects.count() == 1
    assert post(as_hand, box, "item-swap", anyway="yes", **given).status_code == 302
    assert Swap.objects.count() == 2


def test_a_swap_is_taken_back_with_its_cell(as_hand):
    box, lot = make_box(), make_lot(6)
    answer = post(as_hand, box, "item-swap", what=f"lot.{lot.pk}")
    did = answer.url.split("did=")[1]
    post(as_hand, box, "item-cells-undo", did=did)
    assert not FittedSet.objects.filter(removed_at=None).exists()
    assert sum(CellMove.objects.filter(lot=lot).values_list("delta", flat=True)) == 6
    post(as_hand, box, "item-cells-undo", did=did)  # asked twice: once


@pytest.mark.parametrize("did", ["", "swap.", "swap.x", "swap.4c0ffee0-0000-4000-8000-000000000001", "reading.\0", "nothing.1"])
def test_what_is_not_there_cannot_be_taken_back(as_hand, did):
    box = make_box()
    answer = as_hand.post(reverse("item-cells-undo", args=[box.code]), {"did": did}, follow=True)
    assert "nothing to take back" in answer.content.decode()


def test_another_devices_swap_is_not_taken_back_here(as_hand):
    box, other = make_box(), make_box()
    swap = fit_cells(other).swap
    post(as_hand, box, "item-cells-undo", did=f"swap.{swap.uid}")
    assert not Swap.objects.filter(takes_back=swap).exists()


def test_hours_are_logged_left_in_and_taken_back(as_hand):
    box = make_box()
    fit_cells(box)
    post(as_hand, box, "item-hours", why="left in", hours="9,5")
    note = HoursNote.objects.get()
    assert note.minutes == 570 and FittedSet.objects.get().hours_used == pytest.approx(9.5)
    post(as_hand, box, "item-cells-undo", did=f"hours.{note.uid}")
    assert FittedSet.objects.get().hours_used == 0


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"why": "logged"}, "Say how long, in hours."),
        ({"why": "logged", "hours": "-2"}, "Say how long it was on"),
        ({"why": "logged", "hours": "99999"}, "Say how long it was on"),
        ({"why": "unused"}, "which show"),
        ({"why": "nonsense", "hours": "2"}, "Pick one from the list."),
    ],
)
def test_hours_that_cannot_be_get_a_sentence(as_hand, given, said):
    box = make_box()
    answer = post(as_hand, box, "item-hours", **given)
    assert answer.status_code == 422 and said in answer.content.decode()
    assert HoursNote.objects.count() == 0


def test_on_day_one_it_is_fresh_today_or_nobody_knows(as_hand):
    fresh, unknown = make_box(name="F"), make_box(name="U")
    post(as_hand, fresh, "item-day-one", **{"is": "fresh"})
    post(as_hand, unknown, "item-day-one", **{"is": "unknown"})
    assert FittedSet.objects.get(item=fresh).was_new is True
    assert FittedSet.objects.get(item=unknown).was_new is None
    post(as_hand, fresh, "item-day-one", **{"is": "fresh"})
    assert Swap.objects.filter(item=fresh).count() == 1


def test_cells_are_taken_out_before_a_device_is_put_away(as_hand):
    box = make_box()
    fit_cells(box)
    post(as_hand, box, "item-take-out")
    assert FittedSet.objects.get().removed_because == SwapReason.STORED
    answer = as_hand.post(reverse("item-take-out", args=[box.code]), follow=True)
    assert "no cells in it" in answer.content.decode()


def test_a_metered_draw_is_a_technicians_and_tightens_the_band(as_hand, as_technician):
    box = make_box()
    fit_cells(box)
    before = FittedSet.objects.get().var_ln_h
    assert post(as_hand, box, "item-draw", draw="4.1").status_code == 403
    for odd in ("4100", "much", "-1"):
        answer = post(as_technician, box, "item-draw", draw=odd)
        assert answer.status_code == 422 and not DeviceDraw.objects.exclude(metered=None).exists()
    post(as_technician, box, "item-draw", draw="4,1")
    assert DeviceDraw.objects.get().metered == 4.1 and FittedSet.objects.get().var_ln_h < before
    assert "Metered: 4.1 mA" in page(as_technician, box)
    post(as_technician, box, "item-draw", draw="")
    assert DeviceDraw.objects.filter(metered__isnull=False).count() == 0


def test_the_item_page_draws_tape_and_curve_and_offers_a_swap(as_hand):
    box = make_box()
    fit_cells(box)
    use_on_cells(box, 12, day=a_day(-5))
    shown = " ".join(as_hand.get(box.get_absolute_url()).content.decode().split())
    assert "Its cell" in shown and "hours left, likely" in shown and "Hours left over hours used" in shown
    assert "Swap cells" in shown and "new cell" in shown
    assert "battery" not in shown.lower()


def test_the_curve_is_answered_as_numbers_with_readings_and_need(as_hand):
    box = make_box()
    fit_cells(box)
    use_on_cells(box, 12, day=a_day(-5))
    post(as_hand, box, "item-reading", volts="8.2", load="on")
    (picture,) = as_hand.get(reverse("item-cells-chart", args=[box.code])).json()["pictures"]
    assert len(picture["hours"]) == len(picture["volts"]) == len(picture["left"])
    assert picture["now"] == pytest.approx(12, abs=0.1) and picture["readings"][0][1] == 8.2
    assert all(low <= middle <= high for low, middle, high in picture["left"])


def test_what_runs_on_no_cells_has_no_such_page(as_hand):
    assert as_hand.get(reverse("item-cells", args=[make_item().code])).status_code == 404


def test_a_device_whose_draw_nobody_knows_says_so(as_hand):
    box = make_box(facts={"draw_ma": None})
    from maintenance.services.cells import plan_save

    plan_save(type=box.type, values={"draw": None})
    fit_cells(box)
    shown = page(as_hand, box)
    assert "Nobody has said what it draws" in shown


def test_two_bays_are_swapped_together_all_or_none(as_hand):
    box, lot = make_box(), make_lot(6)
    type(box.type).objects.filter(pk=box.type_id).update(bays=2)
    post(as_hand, box, "item-swap", what=f"lot.{lot.pk}")
    assert sorted(FittedSet.objects.filter(removed_at=None).values_list("bay", flat=True)) == [1, 2]
    swap = Swap.objects.first()
    post(as_hand, box, "item-cells-undo", did=f"swap.{swap.uid}")
    assert not FittedSet.objects.filter(removed_at=None).exists()


def labelled_pair():
    type_ = make_type(Kind.CELL_SET, name="Rechargeable pair", cell_size="HR6")
    CellSetFacts.objects.create(type=type_, cells=2, capacity_mah=2000, chemistry="NiMH")
    make_cell_type("HR6")
    return make_item(type=type_, name="C")


def two_receivers():
    make_cell_type("LR6")
    type_ = make_type(Kind.TRANSMITTER, name="In-ear receiver", bays=2, cell_size="LR6")
    CellPlan.objects.create(type=type_, load="power", draw=400, sigma=0.15, stops_below_v=1.9, cells_a_bay=2)
    return make_item(type=type_, name="A"), make_item(type=type_, name="B")


def state(item):
    return state_of([item], NOW)[item.pk][0]


def test_a_labelled_set_that_was_never_charged_is_not_taken_for_full():
    receiver, pair = two_receivers()[0], labelled_pair()
    fit_cells(receiver, at=NOW - timedelta(days=3), cell_set=pair)
    never = state(receiver)
    assert "never charged by the record" in never.words
    Charge.objects.create(uid=uuid.uuid4(), item=pair, at=NOW - timedelta(days=4))
    full = state(receiver)
    assert full.life.low_h > 2 * never.life.low_h and "never charged" not in full.words


def test_a_labelled_set_that_is_moved_keeps_the_hours_it_ran_elsewhere_since_its_charge():
    first, second = two_receivers()
    pair = labelled_pair()
    Charge.objects.create(uid=uuid.uuid4(), item=pair, at=NOW - timedelta(days=9))
    fit_cells(first, at=NOW - timedelta(days=8), cell_set=pair)
    use_on_cells(first, 4, day=a_day(-6))
    before = state(first)
    fit_cells(first, at=NOW - timedelta(days=4), type=None)
    fit_cells(second, at=NOW - timedelta(days=3), cell_set=pair)
    after = state(second)
    assert after.hours == before.hours == pytest.approx(4)
    assert after.life.median_h == pytest.approx(before.life.median_h, rel=0.02)
    assert "4.0 h of them in other devices" in after.words
    Charge.objects.create(uid=uuid.uuid4(), item=pair, at=NOW - timedelta(days=2))
    assert state(second).hours == 0


def test_a_place_whose_cells_were_taken_out_is_empty_and_one_never_written_down_is_not_known():
    taken, never = make_box(name="T"), make_box(name="N")
    fit_cells(taken)
    fit_cells(taken, at=NOW - timedelta(days=2), type=None)
    assert (state(taken).words, state(never).words) == ("No cells are in it.", "Not known what is in it.")
    assert state(taken).empty and not state(never).empty
