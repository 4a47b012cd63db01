"""Readings, hours, charges, capacity tests: what they say, what cannot be, and that each can be taken back."""

import uuid
from datetime import timedelta

import pytest
from django.core.management import call_command

from inventory.calc.kinds import Kind
from inventory.models import CellSetFacts
from maintenance.cell_evidence import cached_life
from maintenance.cell_state import state_of
from maintenance.models import CapacityTest, CellPlan, CellReading, CellType, Charge, FittedSet, HoursNote
from maintenance.services.cell_types import cell_types_load
from maintenance.services.cells import (
    CellRefused,
    capacity_test_record,
    cell_type_save,
    charge_record,
    charge_withdraw,
    draw_metered,
    hours_note,
    hours_withdraw,
    lot_add,
    lot_take_out,
    plan_changed,
    plan_of,
    plan_save,
    reading_record,
    reading_take_back,
)
from tests.builders import (
    NOW,
    a_day,
    fit_cells,
    make_box,
    make_cell_type,
    make_item,
    make_lot,
    make_show,
    make_type,
    use_on_cells,
)

pytestmark = pytest.mark.django_db


def ago(**kw):
    return NOW - timedelta(**kw)


def read(item, volts=8.3, at=NOW - timedelta(hours=1), **kw):
    given = {"uid": uuid.uuid4(), "load_ohm": 620.0, "person": None, "received_at": NOW, **kw}
    return reading_record(item=item, volts=volts, read_at=at, **given)


def note(item, why, minutes=0, at=NOW - timedelta(hours=2), **kw):
    return hours_note(uid=uuid.uuid4(), item=item, why=why, minutes=minutes, at=at, received_at=NOW, person=None, **kw)


def hours_of(item):
    return state_of([item], NOW)[item.pk][0].hours


@pytest.fixture
def box(company):
    box = make_box()
    fit_cells(box, at=ago(days=20))
    use_on_cells(box, 20, day=a_day(-10), occasion="show:7")
    return box


# readings


def test_a_reading_tightens_the_band(box):
    before = state_of([box], NOW)[box.pk][0].life
    said = read(box)
    after = state_of([box], NOW)[box.pk][0].life
    assert 0.6 < said.left < 0.95 and said.life.median_h == pytest.approx(after.median_h)
    assert after.high_h - after.low_h < before.high_h - before.low_h
    assert cached_life(FittedSet.objects.get()).median_h == pytest.approx(after.median_h, rel=1e-6)


def test_a_reading_taken_back_says_nothing_any_more(box):
    before = state_of([box], NOW)[box.pk][0].life
    said = read(box, 6.4)
    row = reading_take_back(reading=said.reading, person=None, at=NOW)
    assert reading_take_back(reading=said.reading, person=None, at=NOW) == row
    assert state_of([box], NOW)[box.pk][0].life.median_h == pytest.approx(before.median_h)


def test_the_same_reading_sent_twice_is_answered_the_same(box):
    key = uuid.uuid4()
    first = read(box, uid=key)
    use_on_cells(box, 5, day=a_day(-1))
    second = read(box, uid=key, volts=7.0)
    assert second.again and second.left == first.left and CellReading.objects.count() == 1


@pytest.mark.parametrize(
    ("words", "field", "kw"),
    [
        ("cannot come from", "volts", {"volts": 12}),
        ("millivolts", "volts", {"volts": 8740}),
        ("below 0 V", "volts", {"volts": -8}),
        ("number of volts", "volts", {"volts": float("nan")}),
        ("number of volts", "volts", {"volts": 1e30}),
        ("no place 3", "bay", {"bay": 3}),
        ("short circuit", "load_ohm", {"load_ohm": 0}),
        ("not below nothing", "minutes_off", {"minutes_off": -1}),
        ("still to come", "read_at", {"at": NOW + timedelta(days=1)}),
        ("was bought on", "read_at", {"at": NOW - timedelta(days=3000)}),
    ],
)
def test_what_cannot_be_read_is_a_sentence(box, words, field, kw):
    box.bought_on = a_day(-300)
    box.save(update_fields=["bought_on"])
    with pytest.raises(CellRefused, match=words) as caught:
        read(box, **kw)
    assert caught.value.field == field and not CellReading.objects.exists()


def test_a_reading_of_a_bay_nobody_knows_tells_the_charge_alone(company):
    said = read(make_box())
    assert said.left and said.life is None and "not on record" in said.words[-1]


def test_loaded_volts_below_the_floor_are_not_for_a_show(box):
    assert any("not for a show" in words for words in read(box, 7.2).words)
    state = state_of([box], NOW)[box.pk][0]
    assert state.below_floor and "not for a show" in state.words


def test_volts_of_a_regulated_cell_say_nothing(company):
    box = make_box()
    fit_cells(box, type=make_cell_type("9V-Li-ion"))
    said = read(box, 8.95)
    assert said.left is None and any("says nothing" in words for words in said.words)


# hours


def test_hours_come_from_lines_that_ran_on_cells_alone(box):
    use_on_cells(box, 9, day=a_day(-8), fed_by="phantom")
    use_on_cells(box, 9, day=a_day(-7), basis="carried")
    use_on_cells(box, 9, day=a_day(5), state="planned")
    use_on_cells(box, 9, day=a_day(-200))
    assert hours_of(box) == 20
    use_on_cells(box, 2, day=a_day(-1))
    assert hours_of(box) == 22


def test_a_show_is_counted_by_its_times_as_far_as_the_set_was_in(company):
    show = make_show(load_in=ago(days=3), hours=8)  # line check to end: 4 h
    box = make_box()
    use_on_cells(box, 4, day=show.start.date(), occasion=f"show:{show.pk}")
    fit_cells(box, at=ago(days=9))
    assert hours_of(box) == pytest.approx(4)
    fit_cells(box, at=show.line_check + timedelta(hours=1), reason="died")
    first, second = FittedSet.objects.order_by("fitted_at")
    assert (first.hours_used, second.hours_used) == (pytest.approx(1), pytest.approx(3))


def test_a_show_under_way_counts_as_far_as_it_has_got(company):
    show = make_show(load_in=ago(hours=3), hours=8)
    box = make_box()
    fit_cells(box, at=ago(days=9))
    use_on_cells(box, 4, day=show.start.date(), occasion=f"show:{show.pk}", state="planned")
    assert hours_of(box) == 0
    box.custody, box.custody_show = "show", show.pk
    box.save(update_fields=["custody", "custody_show"])
    assert hours_of(box) == pytest.approx(2)


def test_not_used_after_all_takes_the_hours_away_and_can_be_taken_back(box):
    told = note(box, HoursNote.Why.UNUSED, occasion="show:7")
    assert hours_of(box) == 0 and FittedSet.objects.get().hours_used == 0
    hours_withdraw(note=told, at=NOW)
    assert hours_of(box) == 20 and FittedSet.objects.get().hours_used == 20


def test_a_logged_figure_stands_in_for_its_row_and_is_better_known(box):
    note(box, HoursNote.Why.LOGGED, 15 * 60, occasion="show:7")
    state = state_of([box], NOW)[box.pk][0]
    assert state.hours == 15 and state.hours_share == pytest.approx(0.05)


def test_left_plugged_in_overnight_is_added(box):
    note(box, HoursNote.Why.LEFT_IN, 10 * 60, occasion="show:7")
    assert hours_of(box) == 30


@pytest.mark.parametrize(
    ("words", "why", "kw"),
    [
        ("how long", "logged", {}),
        ("which show", "unused", {}),
        ("not on a line", "unused", {"occasion": "show:99"}),
        ("logged, left plugged in", "slept", {"minutes": 9}),
        ("how long", "left in", {"minutes": 10_000_000}),
        ("still to come", "logged", {"minutes": 9, "at": NOW + timedelta(days=2)}),
    ],
)
def test_hours_that_cannot_be_are_a_sentence(box, words, why, kw):
    with pytest.raises(CellRefused, match=words):
        note(box, why, **kw)
    assert not HoursNote.objects.exists()


def test_hours_of_what_has_no_cells_are_refused(company):
    with pytest.raises(CellRefused, match="does not run on cells"):
        note(make_item(kind=Kind.LEAD), "logged", 60)


# charges, capacity tests


def make_pair(**kw):
    type_ = make_type(Kind.CELL_SET, cell_size="HR6")
    CellSetFacts.objects.create(type=type_, cells=2, chemistry="NiMH", capacity_mah=2000)
    make_cell_type("HR6")
    return make_item(type=type_, **kw)


def make_transmitter():
    make_cell_type("LR6")
    return make_item(type=make_type(Kind.TRANSMITTER, bays=2, cell_size="LR6"))


def charge(item, at=NOW - timedelta(hours=3)):
    return charge_record(uid=uuid.uuid4(), item=item, at=at, received_at=NOW, person=None)


def test_a_charge_begins_the_hours_anew(company):
    tx, pair = make_transmitter(), make_pair()
    fit_cells(tx, cell_set=pair, at=ago(days=20))
    use_on_cells(tx, 4, day=a_day(-10))
    assert hours_of(tx) == 4
    told = charge(tx)
    assert told.item == pair and hours_of(tx) == 0
    charge_withdraw(charge=told, at=NOW)
    assert hours_of(tx) == 4


def test_primaries_are_never_charged(box):
    with pytest.raises(CellRefused, match="never charged"):
        charge(box)
    assert not Charge.objects.exists()


def test_a_pack_of_its_own_is_known_by_its_hours_from_full(company):
    tx = make_item(type=make_type(Kind.TRANSMITTER, key="tx-built-in"))
    assert "Not known when" in state_of([tx], NOW)[tx.pk][0].words
    charge(tx, at=ago(days=1))
    state = state_of([tx], NOW)[tx.pk][0]
    assert state.pack and state.life.median_h == pytest.approx(8, rel=0.05)


def test_a_capacity_test_shortens_what_a_set_gives_and_may_retire_it(company):
    tx, pair = make_transmitter(), make_pair(bought_on=a_day(-700))
    before = fit_cells(tx, cell_set=pair).life.median_h
    given = {"uid": uuid.uuid4(), "item": pair, "done_at": ago(days=1), "received_at": NOW, "person": None}
    _test, trend = capacity_test_record(mah=1100, **given)
    assert cached_life(FittedSet.objects.get()).median_h < 0.7 * before
    assert trend.tests == 1 and "mAh" in trend.words
    assert capacity_test_record(mah=1900, **given)[0].mah == 1100
    for wrong, words in ((0, "between 1"), (9000, "cannot come from")):
        with pytest.raises(CellRefused, match=words):
            capacity_test_record(mah=wrong, **{**given, "uid": uuid.uuid4()})
    with pytest.raises(CellRefused, match="no rechargeable set"):
        capacity_test_record(mah=900, **{**given, "uid": uuid.uuid4(), "item": tx})
    assert CapacityTest.objects.count() == 1


# draws, plans, types


def test_a_metered_draw_moves_the_estimate_and_tightens_it(company):
    box = make_box()
    before = fit_cells(box).life
    after = next(iter(draw_metered(item=box, value=6.0, at=NOW).values()))
    assert after.median_h < before.median_h and after.var_ln_h < before.var_ln_h
    for wrong, words in ((0, "above 0"), (4500, "another range")):
        with pytest.raises(CellRefused, match=words):
            draw_metered(item=box, value=wrong, at=NOW)


def test_a_device_goes_by_what_its_types_other_devices_say(company):
    first = make_box()
    fresh = fit_cells(first, at=ago(days=300)).life.median_h
    for start in (250, 200, 150):
        use_on_cells(first, 45, day=a_day(-start - 20))
        fit_cells(first, at=ago(days=start), reason="died")
    other = make_box(type=first.type)
    assert fit_cells(other).life.median_h < 0.85 * fresh


def test_a_plan_is_shipped_guessed_or_the_shops_own(company):
    box, desk = make_type(key="active-box"), make_type(Kind.DESK)
    own = make_box(facts={"draw_ma": 7.0}).type
    plans = plan_of([box, desk, own])
    assert (plans[box.pk].draw, plans[box.pk].sigma, plans[box.pk].pk) == (4.5, 0.45, None)
    assert plans[desk.pk].draw is None and (plans[own.pk].draw, plans[own.pk].sigma) == (7.0, 0.15)
    plan_save(type=box, values={"draw": 3.0, "fresh_every_show": True})
    assert plan_of([box])[box.pk].draw == 3.0 and CellPlan.objects.get().stops_below_v == 6.0
    with pytest.raises(CellRefused) as caught:
        plan_save(type=box, values={"draw": -1.0})
    assert caught.value.field == "draw" and CellPlan.objects.get().draw == 3.0


def test_a_changed_plan_is_reckoned_with(box):
    before = cached_life(FittedSet.objects.get()).median_h
    plan_save(type=box.type, values={"draw": 9.0})
    plan_changed(type=box.type, at=NOW)
    assert cached_life(FittedSet.objects.get()).median_h < 0.6 * before


def test_loading_types_again_changes_nothing_and_leaves_the_shops_own(company):
    added, _renewed = cell_types_load()
    assert len(added) == CellType.objects.count() > 10
    mine = CellType.objects.get(key="6LR61")
    cell_type_save(row=mine, values={"floor_v": 7.8})
    CellType.objects.filter(key="LR6").update(floor_v=1.1)
    assert cell_types_load() == ([], ["AA alkaline (LR6)"])
    assert CellType.objects.get(key="6LR61").floor_v == 7.8 and CellType.objects.get(key="LR6").floor_v == 1.3
    assert cell_types_load() == ([], [])


def test_the_catalogue_brings_the_types_of_cells(db, capsys):
    call_command("load_catalogue")
    call_command("load_catalogue")
    assert CellType.objects.count() > 10 and "0 types of cells added" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"curve": [[0, 9.0], [1, 9.5]]}, "must fall"),
        ({"curve": [[0, 9.0]]}, "no curve"),
        ({"capacity": [[5, 300], [10, 400]]}, "not grow"),
        ({"capacity": "many"}, "pairs of numbers"),
        ({"nominal_v": 900}, "60"),
    ],
)
def test_figures_of_a_type_that_cannot_be_are_a_sentence(company, values, words):
    row = make_cell_type()
    with pytest.raises(CellRefused, match=words):
        cell_type_save(row=row, values=values)
    assert CellType.objects.get(key="6LR61").shipped


def test_a_type_without_a_curve_says_so(company):
    box = make_box()
    fit_cells(box, type=make_cell_type("odd", size="9 V", system="alkaline", nominal_v=9, fresh_most_v=10, name="Odd block"))
    state = state_of([box], NOW)[box.pk][0]
    assert state.life is None and "no curve" in state.fault


# lots


def test_a_lot_that_cannot_be_is_a_sentence(company):
    given = {"uid": uuid.uuid4(), "type": make_cell_type(), "at": NOW, "person": None}
    for kw, field in (
        ({"count": 0}, "count"),
        ({"count": 9, "bought_on": a_day(3)}, "bought_on"),
        ({"count": 9, "bought_on": a_day(-3), "expires_on": a_day(-30)}, "expires_on"),
        ({"count": 9, "make": "x" * 50}, "make"),
    ):
        with pytest.raises(CellRefused) as caught:
            lot_add(**given, **kw)
        assert caught.value.field == field
    lot = lot_add(**given, count=9)
    assert lot_add(**given, count=9) == lot
    assert lot_take_out(uid=uuid.uuid4(), lot=lot, count=2, at=NOW, person=None) == 7
    with pytest.raises(CellRefused, match="There are 7"):
        lot_take_out(uid=uuid.uuid4(), lot=lot, count=8, at=NOW, person=None)


def test_an_old_lot_has_lost_some_of_what_it_held(company):
    new, old = make_lot(9), make_lot(9, bought_on=a_day(-1000), added_at=ago(days=1000))
    assert fit_cells(make_box(), lot=old).life.median_h < 0.93 * fit_cells(make_box(), lot=new).life.median_h
