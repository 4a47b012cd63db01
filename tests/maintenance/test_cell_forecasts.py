"""Forecasts of cells: stored with the list, resolved by what happened; reckoned by night; what is to do between shows."""

import uuid
from datetime import timedelta
from types import SimpleNamespace

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from company.jobs import job_run
from company.models import Job
from inventory.calc.kinds import Kind
from inventory.models import CellSetFacts, Item
from inventory.registries import SHOPPING
from maintenance import cell_job
from maintenance.calc.cell_words import Advice
from maintenance.cell_between import between_shows
from maintenance.cell_evidence import cached_life
from maintenance.cell_hooks import life_entries, needs
from maintenance.models import CapacityTest, CellForecast, CellForecastOutcome, DeviceDraw, FittedSet
from maintenance.services import cell_night
from maintenance.services.cell_forecasts import lists_freeze_due, outcomes_resolve, swap_list_freeze
from maintenance.services.cell_night import cells_reckon
from maintenance.services.cell_reckon import item_cells_reckon
from maintenance.services.cells import draw_metered, swap_undo
from tests.builders import (
    NOW,
    a_day,
    fit_cells,
    make_box,
    make_cell_type,
    make_checkout,
    make_item,
    make_lot,
    make_pull_row,
    make_show,
    make_type,
    use_on_cells,
)

pytestmark = pytest.mark.django_db


def ago(**kw):
    return NOW - timedelta(**kw)


@pytest.fixture
def show(company):
    """A show of three days ago: line check to end, 4 h."""
    return make_show(load_in=ago(days=3), hours=8)


@pytest.fixture
def box(show):
    box = make_box()
    fit_cells(box, at=ago(days=20))
    return box


def forecast(item, show, **kw):
    given = {
        "set_uid": FittedSet.objects.get(item=item, removed_at=None).opened_uid,
        "made_at": show.load_in,
        "need_h": 4.0,
        "median_h": 60.0,
        "low_h": 30.0,
        "high_h": 110.0,
        "chance": 0.01,
        "said": Advice.KEEP,
    }
    return CellForecast.objects.create(item=item, show=show.pk, **{**given, **kw})


def used(item, show, **kw):
    return use_on_cells(item, 4, day=show.start.date(), occasion=f"show:{show.pk}", **kw)


def came():
    return list(CellForecastOutcome.objects.values_list("how", "hours"))


def test_a_set_that_came_through_survived_with_its_hours(box, show):
    forecast(box, show)
    used(box, show)
    assert outcomes_resolve(at=NOW) == 1 and came() == [("survived", pytest.approx(4))]
    assert outcomes_resolve(at=NOW) == 0


def test_a_set_that_died_in_the_show_died_at_its_hours(box, show):
    forecast(box, show)
    used(box, show)
    fit_cells(box, at=show.line_check + timedelta(hours=1.5), reason="died")
    outcomes_resolve(at=NOW)
    assert came() == [("died", pytest.approx(1.5))]


def test_a_set_swapped_before_line_check_was_swapped_unused(box, show):
    forecast(box, show)
    used(box, show)
    fit_cells(box, at=show.line_check - timedelta(minutes=20))
    outcomes_resolve(at=NOW)
    assert came() == [("swapped", 0.0)]


def test_a_box_behind_phantom_tells_nothing(box, show):
    forecast(box, show)
    used(box, show, fed_by="phantom")
    assert outcomes_resolve(at=NOW) == 0 and came() == []


def test_what_is_noted_late_or_taken_back_is_resolved_anew(box, show):
    forecast(box, show)
    used(box, show)
    outcomes_resolve(at=NOW)
    swap = fit_cells(box, at=show.line_check + timedelta(hours=1), reason="died").swap
    assert outcomes_resolve(at=NOW) == 1 and came()[0][0] == "died"
    swap_undo(swap=swap, person=None, at=NOW)
    assert outcomes_resolve(at=NOW) == 1 and came()[0][0] == "survived"


def test_a_show_that_is_not_over_is_not_resolved(company):
    box, show = make_box(), make_show(load_in=ago(hours=2), hours=8)
    fit_cells(box, at=ago(days=2))
    forecast(box, show)
    used(box, show)
    assert outcomes_resolve(at=NOW) == 0


def test_outcomes_cost_the_same_queries_for_one_and_for_fifty(box, show):
    counts = []
    for number in (1, 50):
        for _ in range(number):
            other = make_box(type=box.type)
            fit_cells(other, at=ago(days=20))
            forecast(other, show)
            used(other, show)
        with CaptureQueriesContext(connection) as queries:
            assert outcomes_resolve(at=NOW) == number
        counts.append(len(queries))
    assert counts[0] == counts[1] <= 12


def test_the_list_is_stored_once_at_load_in(company):
    show = make_show(load_in=ago(hours=1), hours=8)
    box = make_box()
    fit_cells(box, at=ago(days=9))
    make_pull_row(show, item=box, line="1", feed="cells")
    make_checkout(show, box, at=ago(hours=2))
    assert lists_freeze_due(at=NOW) == 1
    stored = CellForecast.objects.get()
    assert (stored.item, stored.show, stored.said) == (box, show.pk, Advice.KEEP)
    assert 0 <= stored.chance < 0.05 and stored.low_h < stored.median_h < stored.high_h and stored.why
    assert lists_freeze_due(at=NOW) == 0 and swap_list_freeze(show=show.pk, at=NOW + timedelta(minutes=1)) == 0
    fit_cells(box, at=NOW, received_at=NOW)
    assert swap_list_freeze(show=show.pk, at=NOW + timedelta(minutes=5)) == 1
    assert swap_list_freeze(show=999, at=NOW) == 0


# by night


def test_the_night_brings_hours_of_the_ledger_into_what_is_kept(box, show):
    before = cached_life(FittedSet.objects.get())
    used(box, show)
    done = cells_reckon(at=NOW)
    assert (done.sets, done.written) == (1, 1) and "1 set" in done.said
    after = cached_life(FittedSet.objects.get())
    assert after.hours == pytest.approx(4) and after.median_h < before.median_h
    assert cells_reckon(at=NOW).written == 0


def test_the_night_relearns_what_a_changed_ledger_touched(box, show):
    fit_cells(box, at=ago(days=2), reason="died")
    first = cached_life(FittedSet.objects.get(removed_at=None)).median_h
    use_on_cells(box, 45, day=a_day(-9))
    assert cells_reckon(at=NOW).learnt == 1
    assert cached_life(FittedSet.objects.get(removed_at=None)).median_h < 0.9 * first


def test_the_job_and_the_command_do_the_same(box, show, capsys):
    used(box, show)
    job = cell_job.nightly_start(at=NOW)
    assert job is not None and cell_job.nightly_start(at=NOW) is None
    assert job_run(job.pk) and Job.objects.get().state == Job.State.DONE
    assert FittedSet.objects.get().hours_used == pytest.approx(4)
    call_command("reckon_cells", type=box.type.name)
    assert "Worked out what is left in 1 set" in capsys.readouterr().out


def test_a_night_costs_the_same_queries_for_one_and_for_fifty(box, show):
    counts = []
    for number in (0, 49):
        for _ in range(number):
            fit_cells(make_box(type=box.type), at=ago(days=20))
        FittedSet.objects.update(reckoned_at=None)
        with CaptureQueriesContext(connection) as queries:
            cells_reckon(at=NOW)
        counts.append(len([q for q in queries if "UPDATE" not in q["sql"]]))
    assert counts[0] == counts[1] <= 30


def test_a_night_relearns_one_device_and_twenty_in_the_same_queries(box, show):
    counts = []
    for number in (1, 20):
        boxes = [make_box(type=box.type) for _ in range(number)]
        for one in boxes:
            fit_cells(one, at=ago(days=60))
            fit_cells(one, at=ago(days=2), reason="died")
            use_on_cells(one, 45, day=a_day(-9))
        with CaptureQueriesContext(connection) as queries:
            assert cells_reckon(at=NOW).learnt == number
        counts.append(len([q for q in queries if "UPDATE" not in q["sql"] and "INSERT" not in q["sql"]]))
    assert counts[0] == counts[1] <= 55


def test_what_a_night_learns_is_what_a_swap_learns(box, show):
    fit_cells(box, at=ago(days=2), reason="died")
    use_on_cells(box, 45, day=a_day(-9))
    cells_reckon(at=NOW)
    by_night = DeviceDraw.objects.get()
    item_cells_reckon(item=box, at=NOW)
    alone = DeviceDraw.objects.get()
    assert (by_night.mean_ln, by_night.var_ln, by_night.sets) == pytest.approx((alone.mean_ln, alone.var_ln, alone.sets))


def test_what_a_reading_moved_while_the_night_reckoned_is_left(box, show, monkeypatch):
    used(box, show)
    real = cell_night.lives

    def meanwhile(told):
        found = real(told)
        FittedSet.objects.update(mean_ln_h=1.25, reckoned_at=NOW + timedelta(seconds=30))
        return found

    monkeypatch.setattr(cell_night, "lives", meanwhile)
    assert cells_reckon(at=NOW + timedelta(minutes=1)).written == 0
    assert FittedSet.objects.get().mean_ln_h == 1.25


def test_a_metered_device_is_not_pooled_away(box):
    draw_metered(item=box, value=4.4, at=NOW)
    before = cached_life(FittedSet.objects.get(item=box)).mean_ln_h
    hungry = make_box(type=box.type)
    fit_cells(hungry, at=ago(days=90))
    use_on_cells(hungry, 30, day=a_day(-60))
    fit_cells(hungry, at=ago(days=50), reason="died")
    cells_reckon(at=NOW)
    assert cached_life(FittedSet.objects.get(item=box)).mean_ln_h == pytest.approx(before, abs=0.01)


# between shows


def asker(technician=True):
    return SimpleNamespace(user=SimpleNamespace(is_technician=technician))


def test_cells_left_in_stored_gear_are_named_after_the_types_weeks(company):
    old, lately, soon, out = (make_box() for _ in range(4))
    for box in (old, lately, soon, out):
        fit_cells(box, at=ago(days=90))
    use_on_cells(lately, 3, day=a_day(-5))
    use_on_cells(soon, 3, day=a_day(5), state="planned")
    Item.objects.filter(pk=out.pk).update(custody="show", custody_show=1)
    assert [one.fitted.item for one in between_shows(NOW).stored] == [old]
    said = list(needs(asker(), NOW))
    assert len(said) == 1 and "1 set of cells in stored gear" in said[0].name and "may leak" in said[0].why
    assert not list(needs(asker(False), NOW))


def test_sets_past_their_date_and_stock_about_to_expire_are_named(company):
    late, soon = make_lot(9, expires_on=a_day(-3)), make_lot(9, expires_on=a_day(30))
    make_lot(0, expires_on=a_day(30)), make_lot(9, expires_on=a_day(300))
    box = make_box()
    fit_cells(box, lot=late, at=ago(days=9))
    found = between_shows(NOW)
    assert [s.item for s in found.expired] == [box] and found.expiring == [late, soon]
    assert {n.key for n in needs(asker(), NOW)} == {"cells:expired", "cells:expiring"}


def test_labelled_sets_are_due_a_capacity_test_twice_a_year(company):
    type_ = make_type(Kind.CELL_SET, cell_size="HR6")
    CellSetFacts.objects.create(type=type_, cells=2, capacity_mah=2000)
    never, long_ago, lately, _new = (
        make_item(type=type_, name="A"),
        make_item(type=type_, name="B"),
        make_item(type=type_, name="C"),
        make_item(type=type_, added_at=ago(days=9)),
    )
    for item, days in ((long_ago, 200), (lately, 20)):
        CapacityTest.objects.create(uid=uuid.uuid4(), item=item, mah=1900, done_at=ago(days=days))
    assert {one.item for one in between_shows(NOW).capacity} == {never, long_ago}


def test_between_shows_costs_the_same_queries_for_one_and_for_fifty(company):
    counts = []
    box = make_box()
    for number in (1, 49):
        for _ in range(number):
            fit_cells(make_box(type=box.type), at=ago(days=90))
        with CaptureQueriesContext(connection) as queries:
            between_shows(NOW)
        counts.append(len(queries))
    assert counts[0] == counts[1] <= 14


def test_what_runs_low_is_on_the_shopping_list_only_where_such_cells_are_used(company):
    make_cell_type("LR6", keep_at_least=24)
    assert not list(SHOPPING["cells"](None, NOW))
    box = make_box()
    make_lot(5, price_cents=150)
    fit_cells(box, lot=box.type and make_lot(1, price_cents=150))
    wanted = list(SHOPPING["cells"](None, NOW))
    assert [(w.what, w.count, w.group, w.cents) for w in wanted] == [("9 V alkaline (6LR61)", 7, "Cells", 150)]


def test_swaps_and_readings_are_in_an_items_life(box, show):
    fit_cells(box, at=ago(days=1), reason="died", note="second song")
    entries = list(life_entries(box, NOW))
    assert [e.bad for e in entries] == [True, False] and "second song" in entries[0].small
