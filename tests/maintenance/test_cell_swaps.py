"""Swaps: what is fitted follows from them, stock follows, and what cannot be is a sentence."""

import uuid
from datetime import timedelta

import pytest

from inventory.calc.kinds import Kind
from inventory.models import CellSetFacts, Item
from maintenance.calc.cell_words import Pool, SwapReason
from maintenance.cell_querysets import lots_counted
from maintenance.models import CellLot, CellMove, DeviceDraw, FittedSet, Swap
from maintenance.services.cell_bench import swap_at_bench
from maintenance.services.cells import SwapRefused, lot_count, lot_left, oldest_lot, reading_record, swap_record, swap_undo
from tests.builders import (
    NOW,
    a_day,
    fit_cells,
    make_box,
    make_cell_type,
    make_item,
    make_lot,
    make_person,
    make_type,
    use_on_cells,
)

pytestmark = pytest.mark.django_db


def ago(**kw):
    return NOW - timedelta(**kw)


def make_transmitter(**kw):
    make_cell_type("LR6")
    return make_item(type=make_type(Kind.TRANSMITTER, bays=2, cell_size="LR6"), **kw)


def make_set(cells=2, chemistry="NiMH", mah=2000, **kw):
    make_cell_type("HR6")
    type_ = make_type(Kind.CELL_SET, cell_size="HR6")
    CellSetFacts.objects.create(type=type_, cells=cells, chemistry=chemistry, capacity_mah=mah)
    return make_item(type=type_, **kw)


def refused(**kw):
    with pytest.raises(SwapRefused) as caught:
        fit_cells(kw.pop("item"), **kw)
    return caught.value


def test_a_set_from_a_lot_sits_in_the_bay_and_the_lot_has_one_less(company):
    box, lot = make_box(), make_lot(6)
    done = fit_cells(box, lot=lot)
    assert FittedSet.objects.get(removed_at=None).opened_uid == done.swap.uid
    assert done.life.median_h > 40 and done.life.low_h < done.life.median_h < done.life.high_h
    assert lot_left(lot) == 5 and "from the lot of" in done.words[0]


def test_a_new_set_ends_the_old_one_and_says_why(company):
    box = make_box()
    first = fit_cells(box, at=ago(days=9)).swap
    fit_cells(box, at=ago(days=2), reason=SwapReason.DIED)
    old = FittedSet.objects.get(opened_uid=first.uid)
    assert (old.removed_at, old.removed_because) == (ago(days=2), "died")
    assert FittedSet.objects.filter(removed_at=None).count() == 1


def test_the_same_id_twice_is_one_swap_with_one_answer(company):
    box, lot = make_box(), make_lot(6)
    key = uuid.uuid4()
    first = fit_cells(box, lot=lot, uid=key)
    again = fit_cells(box, lot=lot, uid=key)
    assert again.again and not first.again and again.swap == first.swap and again.words[0] == first.words[0]
    assert again.life.median_h == pytest.approx(first.life.median_h)
    assert Swap.objects.count() == 1 and lot_left(lot) == 5


def test_cells_only_taken_out_leave_the_bay_empty(company):
    box = make_box()
    fit_cells(box, at=ago(days=9))
    fit_cells(box, at=ago(days=1), type=None, reason=SwapReason.STORED)
    assert not FittedSet.objects.filter(removed_at=None).exists()


def test_an_undo_puts_back_what_sat_there_and_fills_the_lot(company):
    box, lot = make_box(), make_lot(6)
    first = fit_cells(box, lot=lot, at=ago(days=9)).swap
    second = fit_cells(box, lot=lot, at=ago(days=1)).swap
    row = swap_undo(swap=second, person=None, at=NOW)
    assert FittedSet.objects.get(removed_at=None).opened_uid == first.uid and lot_left(lot) == 5
    assert swap_undo(swap=second, person=None, at=NOW) == row and lot_left(lot) == 5
    with pytest.raises(SwapRefused, match="note it again"):
        swap_undo(swap=row, person=None, at=NOW)


def test_two_phones_at_once_are_one_swap_and_the_second_is_told(company):
    box, lot = make_box(), make_lot(6)
    ann, bob = make_person(username="ann"), make_person(username="bob")
    fit_cells(box, lot=lot, at=ago(minutes=3), person=ann)
    second = refused(item=box, lot=lot, at=ago(minutes=1), person=bob)
    assert "Done already by ann at" in str(second) and second.anyway
    assert Swap.objects.count() == 1 and lot_left(lot) == 5
    fit_cells(box, lot=lot, at=ago(minutes=1), person=bob, anyway=True)
    assert Swap.objects.count() == 2


def test_a_reading_in_between_makes_it_two_swaps(company):
    box = make_box()
    ann, bob = make_person(username="ann"), make_person(username="bob")
    fit_cells(box, at=ago(minutes=4), person=ann)
    reading_record(uid=uuid.uuid4(), item=box, volts=6.1, load_ohm=620, read_at=ago(minutes=3), received_at=NOW, person=ann)
    fit_cells(box, at=ago(minutes=1), person=bob)
    assert Swap.objects.count() == 2


def test_one_person_with_two_phones_is_one_swap_and_may_swap_again_after_moments(company):
    box, ann = make_box(), make_person(username="ann")
    fit_cells(box, at=ago(minutes=5), person=ann)
    error = refused(item=box, at=ago(minutes=4), person=ann)
    assert "Done already by you" in str(error) and error.anyway and Swap.objects.count() == 1
    fit_cells(box, at=ago(minutes=4), person=ann, anyway=True)
    fit_cells(box, at=ago(minutes=1), person=ann)
    assert Swap.objects.count() == 3


def test_another_cell_right_after_is_a_correction_and_day_one_is_no_swap(company):
    box, ann = make_box(), make_person(username="ann")
    fit_cells(box, at=ago(minutes=3), person=ann, was_new=None, reason="first")
    fit_cells(box, at=ago(minutes=2), person=ann)
    fit_cells(box, at=ago(minutes=1), person=ann, type=make_cell_type("9V-lithium"))
    assert Swap.objects.count() == 3


@pytest.mark.parametrize(
    ("words", "field", "kw"),
    [
        ("still to come", "done_at", {"at": NOW + timedelta(days=1), "received_at": NOW}),
        ("was bought on", "done_at", {"at": ago(days=500)}),
        ("no place 2", "bay", {"bay": 2}),
        ("no place 0", "bay", {"bay": 0}),
        ("takes 9 V", "type", {"type": "LR6"}),
        ("is 1 cell, not 2", "cells", {"cells": 2}),
        ("12 V cannot come from", "out_volts", {"out_volts": 12}),
        ("looks like millivolts", "out_volts", {"out_volts": 8740}),
        ("under 301", "note", {"note": "x" * 301}),
    ],
)
def test_what_cannot_be_is_a_sentence_and_nothing_is_written(company, words, field, kw):
    box = make_box(bought_on=a_day(-400))
    fit_cells(box, at=ago(days=90))
    if "type" in kw:
        kw = {**kw, "type": make_cell_type(kw["type"])}
    error = refused(item=box, **kw)
    assert words in str(error) and error.field == field and not error.anyway
    assert Swap.objects.count() == 1 and FittedSet.objects.count() == 1


def test_a_swap_dated_before_the_set_was_fitted_is_asked_about(company):
    box = make_box()
    fit_cells(box, at=ago(days=2))
    error = refused(item=box, at=ago(days=5))
    assert "was fitted Wed 23 Sep" in str(error) and "Sun 20 Sep" in str(error) and error.anyway and error.field == "done_at"
    fit_cells(box, at=ago(days=5), anyway=True)
    assert [s.removed_at for s in FittedSet.objects.order_by("fitted_at")] == [ago(days=2), None]


def test_a_thing_without_bays_is_refused(company):
    error = refused(item=make_item(kind=Kind.INTERFACE_BOX), type=make_cell_type())
    assert "no place for cells" in str(error)


def test_what_is_retired_or_gone_takes_no_cells_but_gives_them_up(company):
    box = make_box()
    fit_cells(box, at=ago(days=9))
    Item.objects.filter(pk=box.pk).update(retired_on=a_day(-1), retired_because="worn")
    assert "was retired" in str(refused(item=box, at=NOW))
    fit_cells(box, at=NOW, type=None, reason=SwapReason.STORED)
    assert not FittedSet.objects.filter(removed_at=None).exists()


def test_zinc_carbon_never_goes_in_a_transmitter_and_in_a_box_only_if_insisted(company):
    make_cell_type("R6", size="AA", system="zinc-carbon", name="AA zinc-carbon", nominal_v=1.5, fresh_most_v=1.7)
    error = refused(item=make_transmitter(), type=make_cell_type("R6"), anyway=True)
    assert "for minutes" in str(error) and not error.anyway
    zinc = make_cell_type("6F22")
    assert refused(item=make_box(), type=zinc, show=7).anyway
    assert any("not for shows" in words for words in fit_cells(make_box(), type=zinc).words)


def test_expired_cells_are_refused_for_a_show_and_said_otherwise(company):
    lot = make_lot(6, expires_on=a_day(-31))
    error = refused(item=make_box(), lot=lot, show=7, at=ago(days=1))
    assert "expired on" in str(error) and error.anyway
    assert any("expired on" in words for words in fit_cells(make_box(), lot=lot, at=ago(days=1)).words)
    assert any("expired on" in words for words in fit_cells(make_box(), lot=lot, show=7, at=ago(days=1), anyway=True).words)


def test_an_empty_lot_is_said_and_the_swap_kept(company):
    lot = make_lot(0)
    done = fit_cells(make_box(), lot=lot)
    assert any("was empty" in words for words in done.words) and lot_left(lot) == -1
    lot_count(uid=uuid.uuid4(), lot=lot, count=4, at=NOW, person=None)
    assert lot_left(lot) == 4


def two_bays():
    make_cell_type()
    return make_item(type=make_type(Kind.INTERFACE_BOX, bays=2, cell_size="6LR61"))


def test_types_are_not_mixed_in_one_device(company):
    box = two_bays()
    fit_cells(box, at=ago(minutes=9))
    error = refused(item=box, bay=2, type=make_cell_type("9V-lithium"), at=ago(minutes=8), anyway=True)
    assert "types are not mixed" in str(error)


def test_makes_and_ages_are_mixed_only_if_insisted(company):
    box = two_bays()
    fit_cells(box, lot=make_lot(make="gold"), at=ago(minutes=9))
    assert "another make" in str(refused(item=box, bay=2, lot=make_lot(make="silver"), at=ago(minutes=8)))
    old = make_lot(make="gold", bought_on=a_day(-500), added_at=ago(days=500))
    assert "a year older" in str(refused(item=box, bay=2, lot=old, at=ago(minutes=8)))
    fit_cells(box, bay=2, lot=old, at=ago(minutes=8), anyway=True)


def test_whoever_changes_one_of_two_bays_is_told_to_change_the_other(company):
    box = two_bays()
    fit_cells(box, at=ago(days=9))
    fit_cells(box, bay=2, at=ago(days=9) + timedelta(minutes=2))
    assert any("Change bay 2 too" in words for words in fit_cells(box, at=NOW).words)


def test_one_tap_takes_the_oldest_lot_that_fits(company):
    box = make_box()
    make_lot(6, "LR6")
    make_lot(6, bought_on=a_day(-900), expires_on=a_day(-10))
    empty = make_lot(0, bought_on=a_day(-800))
    newer, older = make_lot(6, bought_on=a_day(-10)), make_lot(6, bought_on=a_day(-100))
    lithium = make_lot(6, "9V-lithium", bought_on=a_day(-300))
    assert oldest_lot(box, 1, NOW) == older and empty.pk
    CellMove.objects.filter(lot__in=[newer, older]).delete()
    assert oldest_lot(box, 1, NOW) == lithium
    CellMove.objects.all().delete()
    assert oldest_lot(box, 1, NOW) is None


def test_part_used_cells_go_to_the_rehearsal_pool_once_they_were_read(company):
    box, lot = make_box(), make_lot(6)
    fit_cells(box, lot=lot, at=ago(days=9))
    error = refused(item=box, lot=lot, out_to=Pool.REHEARSAL, at=ago(days=1))
    assert "Read them under load first" in str(error) and error.field == "out_volts"
    assert "recycling" in str(refused(item=box, lot=lot, out_to=Pool.REHEARSAL, out_volts=6.2, at=ago(days=1)))
    fit_cells(box, lot=lot, out_to=Pool.REHEARSAL, out_volts=8.4, at=ago(days=1))
    pool = lots_counted().get(pool=Pool.REHEARSAL)
    assert pool.left == 1 and pool.type.key == "6LR61"
    other = make_box(type=box.type)
    assert "for rehearsals" in str(refused(item=other, lot=pool, show=3))
    done = fit_cells(other, lot=pool, at=ago(hours=3))
    assert done.swap.was_new is False and lots_counted().get(pool=Pool.REHEARSAL).left == 0


def test_the_dead_are_recycled_the_leaking_quarantined_with_the_safety_wording(company):
    box = make_box()
    fit_cells(box, at=ago(days=9))
    died = fit_cells(box, at=ago(days=5), reason=SwapReason.DIED)
    assert any("Tape the terminals" in words for words in died.words)
    leaked = fit_cells(box, at=ago(days=1), reason=SwapReason.LEAKED)
    assert any("gloves" in words for words in leaked.words)
    left = {lot.pool: lot.left for lot in lots_counted()}
    assert left == {Pool.RECYCLE: 1, Pool.QUARANTINE: 1}
    assert "on their way out" in str(refused(item=make_box(), lot=CellLot.objects.get(pool=Pool.RECYCLE)))


def test_a_labelled_set_is_in_one_device_at_a_time(company):
    first, second, pair = make_transmitter(), make_transmitter(), make_set()
    fit_cells(first, cell_set=pair, at=ago(days=9))
    done = fit_cells(second, cell_set=pair, at=ago(days=1))
    assert any("taken out there" in words for words in done.words)
    assert FittedSet.objects.get(removed_at=None).item == second
    swap_undo(swap=done.swap, person=None, at=NOW)
    assert FittedSet.objects.get(removed_at=None).item == first


def test_a_set_of_the_wrong_number_a_retired_or_no_set_is_refused(company):
    tx = make_transmitter()
    assert "a set of" in str(refused(item=tx, cell_set=make_set(cells=4)))
    assert "retired" in str(refused(item=tx, cell_set=make_set(retired_on=a_day(-40), retired_because="weak")))
    assert "no set of cells" in str(refused(item=tx, cell_set=make_box(), type=make_cell_type("LR6")))


def test_a_set_that_died_teaches_the_draw_and_an_early_swap_raises_the_estimate(company):
    hungry, frugal = make_box(), make_box()
    start = {}
    for box in (hungry, frugal):
        start[box.pk] = fit_cells(box, at=ago(days=60)).life.median_h
        assert not DeviceDraw.objects.exists() or box is frugal
        use_on_cells(box, 60 if box is hungry else 150, day=a_day(-50))
        reason = SwapReason.DIED if box is hungry else SwapReason.PRECAUTION
        after = fit_cells(box, at=ago(days=40), reason=reason).life
        assert (after.median_h < start[box.pk]) is (box is hungry)
    assert DeviceDraw.objects.get(item=hungry).sets == 1


def test_an_undone_death_is_unlearnt(company):
    box = make_box()
    before = fit_cells(box, at=ago(days=60)).life
    use_on_cells(box, 40, day=a_day(-50))
    died = fit_cells(box, at=ago(days=40), reason=SwapReason.DIED)
    assert DeviceDraw.objects.filter(item=box).exists()
    swap_undo(swap=died.swap, person=None, at=NOW)
    assert not DeviceDraw.objects.filter(item=box).exists()
    kept = FittedSet.objects.get(removed_at=None)
    assert kept.hours_used == pytest.approx(40) and kept.mean_ln_h == pytest.approx(before.mean_ln_h, abs=0.02)


def test_a_device_without_a_draw_keeps_its_swap_and_says_why_there_are_no_hours(company):
    make_cell_type()
    desk = make_item(type=make_type(Kind.DESK, bays=1, cell_size="6LR61"))
    done = fit_cells(desk)
    assert done.life is None and FittedSet.objects.get().mean_ln_h is None


def test_a_swap_uses_a_constant_number_of_queries(company, django_assert_max_num_queries):
    box, lot = make_box(), make_lot(200)
    for day in range(30, 3, -1):
        fit_cells(box, lot=lot, at=ago(days=day))
    with django_assert_max_num_queries(60):
        fit_cells(box, lot=lot, at=ago(days=1))


def test_what_a_set_of_cells_is_is_asked_of_its_type(company):
    tx, pair = make_transmitter(), make_set()
    swap_record(uid=uuid.uuid4(), item=tx, cell_set=pair, done_at=ago(days=1), received_at=NOW, person=None)
    assert FittedSet.objects.get().type.key == "HR6" and FittedSet.objects.get().cells == 2


def test_a_cell_swapped_at_the_bench_is_a_swap_from_the_oldest_lot(company):
    lot = make_lot(3)
    box, key = make_box(), uuid.uuid4()
    assert "from the lot of" in swap_at_bench(uid=key, item=box, at=NOW, person=None)
    swap_at_bench(uid=key, item=box, at=NOW, person=None)
    assert lot_left(lot) == 2 and FittedSet.objects.get().item == box
    assert swap_at_bench(uid=uuid.uuid4(), item=two_bays(), at=NOW, person=None) == ""
    CellMove.objects.all().delete()
    assert swap_at_bench(uid=uuid.uuid4(), item=make_box(), at=NOW, person=None) == ""
