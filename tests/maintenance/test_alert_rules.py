"""What the bench and cells speak up about: true, not true, at the very instant, and at the same cost for one as for fifty."""

import uuid
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from company.registries import ALERT_RULES, NEEDS, RuleTerms
from inventory.calc.kinds import Kind
from inventory.models import CellSetFacts, Item
from maintenance.calc.bench import Procedure, Verdict
from maintenance.models import BenchTest, CapacityTest, CellMove, CellType
from shows.calc.words import ShowState
from tests.builders import (
    NOW,
    a_day,
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

pytestmark = pytest.mark.django_db
HOUR, DAY, SECOND = timedelta(hours=1), timedelta(days=1), timedelta(seconds=1)
LONDON = ZoneInfo("Europe/London")


@pytest.fixture(autouse=True)
def shop(company):
    return company


def found(key, at=NOW, terms=None):
    rule = ALERT_RULES[key]()
    return list(rule.find(at, terms or rule.terms))


def a_bench_test(item, at=NOW - 100 * DAY, **kw):
    given = {"uid": uuid.uuid4(), "item": item, "procedure": "word", "depth": "ohms", "verdict": "pass", **kw}
    return BenchTest.objects.create(done_at=at, received_at=at, **given)


def midnight(day):
    return datetime(day.year, day.month, day.day, tzinfo=LONDON)


# ---- to be tested


def test_a_test_by_day_is_told_a_week_before_from_the_shops_midnight_on():
    item = make_item(type=make_type(name="Lead"), test_by=a_day(7))
    last = a_bench_test(item)
    start = midnight(a_day(0))
    assert not found("retest-soon", start - SECOND)
    (cause,) = found("retest-soon", start)
    assert cause.title == "Lead: test by Fri 2 Oct" and cause.url == f"/a/{item.code}"
    assert (cause.subject, cause.occasion) == (f"item:{item.pk}", f"test:{last.pk}")
    assert cause.by == datetime(2026, 10, 2, 17, tzinfo=LONDON)


def test_on_its_day_it_stops_being_soon_and_is_past():
    make_item(test_by=a_day(7))
    eve = midnight(a_day(7))
    assert found("retest-soon", eve - SECOND) and not found("retest-overdue", eve - SECOND)
    assert not found("retest-soon", eve) and found("retest-overdue", eve)


def test_an_owner_may_let_it_lie_some_days_past():
    make_item(test_by=a_day(0))
    terms = RuleTerms(lead=3 * DAY)
    assert found("retest-overdue") and not found("retest-overdue", terms=terms)
    assert found("retest-overdue", midnight(a_day(3)), terms)


def test_a_new_test_is_a_new_occasion_and_one_taken_back_is_not():
    item = make_item(test_by=a_day(-1))
    assert found("retest-overdue")[0].occasion == "test:none"
    first = a_bench_test(item)
    second = a_bench_test(item, NOW - DAY, verdict=Verdict.CANNOT_TELL)
    assert found("retest-overdue")[0].occasion == f"test:{first.pk}" != f"test:{second.pk}"
    third = a_bench_test(item, NOW - HOUR)
    assert found("retest-overdue")[0].occasion == f"test:{third.pk}"
    a_bench_test(item, NOW, procedure=Procedure.UNDO, verdict="", corrects=third)
    assert found("retest-overdue")[0].occasion == f"test:{first.pk}"


@pytest.mark.parametrize(
    "kw",
    [
        {"suspect_since": NOW},
        {"missing_since": NOW},
        {"lent_to": "a school", "lent_on": a_day(-3)},
        {"retired_on": a_day(-3), "retired_because": "dead"},
        {"gone_home_on": a_day(-3), "borrowed_from": "a friend"},
        {"test_by": None},
    ],
)
def test_what_cannot_be_tested_or_is_news_of_its_own_is_left_out(kw):
    make_item(**{"test_by": a_day(-1), **kw})
    assert not found("retest-overdue") and not found("retest-soon")


# ---- the swap list


@pytest.fixture
def listed():
    show = make_show(NOW + 24 * HOUR, name="Ceilidh")
    box = make_box(name="A")
    make_pull_row(show, item=box, line="5", feed="cells", critical="critical")
    return show, box


def test_a_swap_list_is_told_a_day_before_load_in_and_again_four_hours_before(listed):
    show, box = listed
    assert not found("swap-before-show", NOW - SECOND)
    (cause,) = found("swap-before-show", NOW)
    assert (cause.stage, cause.by, cause.show, cause.url) == (0, show.load_in, show.pk, f"/cells/swaps/{show.pk}/")
    assert cause.title == "Ceilidh: swap 1 set" and box.label in cause.says and "swap list" in cause.says
    assert found("swap-before-show", NOW + 20 * HOUR - SECOND)[0].stage == 0
    (again,) = found("swap-before-show", NOW + 20 * HOUR)
    assert again.stage == 1 and again.says.startswith("Still to do: swap 1 set")
    assert (again.subject, again.occasion) == (cause.subject, cause.occasion)


def test_the_hours_are_the_owners(listed):
    terms = RuleTerms(lead=36 * HOUR, stages=(12 * HOUR, 2 * HOUR))
    assert found("swap-before-show", NOW - 12 * HOUR, terms) and not found("swap-before-show", NOW - 12 * HOUR - SECOND, terms)
    assert [found("swap-before-show", NOW + h * HOUR, terms)[0].stage for h in (11, 12, 22)] == [0, 1, 2]


def test_once_swapped_for_this_show_it_is_done(listed):
    show, box = listed
    fit_cells(box, at=NOW - HOUR, show=show.pk)
    assert not found("swap-before-show", NOW)


def test_once_it_is_over_or_cancelled_nothing_is_to_swap(listed):
    show, _box = listed
    assert found("swap-before-show", show.end - SECOND) and not found("swap-before-show", show.end)
    show.state = ShowState.CANCELLED
    show.save()
    assert not found("swap-before-show", NOW)


def test_the_start_page_and_the_alert_say_the_same_of_a_swap_list(listed, technician, rf):
    request = rf.get("/")
    request.user = technician
    (need,) = NEEDS["swaps"](request, NOW)
    (cause,) = found("swap-before-show")
    assert need.name.lower() in cause.title.lower() and need.why in cause.says and need.url == cause.url and need.by == cause.by


# ---- cells between shows


def test_cells_that_run_low_are_told_once_a_lot():
    type_ = make_cell_type(keep_at_least=10)
    lot = make_lot(10)
    assert not found("cells-low")
    CellMove.objects.create(uid=uuid.uuid4(), lot=lot, delta=-1, why=CellMove.Why.COUNTED, at=NOW)
    (cause,) = found("cells-low")
    assert (cause.subject, cause.occasion) == (f"cell-type:{type_.pk}", f"lot:{lot.pk}")
    assert cause.says.startswith("9 are left, and you keep at least 10. Buy 1 or more")
    CellMove.objects.create(uid=uuid.uuid4(), lot=lot, delta=-9, why=CellMove.Why.COUNTED, at=NOW)
    assert found("cells-low")[0].says.startswith("None is left")
    newer = make_lot(3)
    assert found("cells-low")[0].occasion == f"lot:{newer.pk}"


def test_a_lots_date_is_told_sixty_days_before_and_not_of_an_empty_lot():
    lot = make_lot(6, expires_on=a_day(60))
    make_lot(0, expires_on=a_day(9))
    start = midnight(a_day(0))
    assert not found("cells-expiring", start - SECOND)
    (cause,) = found("cells-expiring", start)
    assert cause.subject == f"lot:{lot.pk}" and "Use them first" in cause.says and "expire soon" in cause.title
    (past,) = found("cells-expiring", midnight(a_day(61)))
    assert past.occasion == cause.occasion and "Take them out of stock" in past.says


def test_cells_left_in_stored_gear_are_told_by_set():
    old, lately = make_box(), make_box()
    fit_cells(old, at=NOW - 90 * DAY), fit_cells(lately, at=NOW - 90 * DAY)
    use_on_cells(lately, 3, day=a_day(-5))
    (cause,) = found("cells-stored")
    assert cause.subject == f"item:{old.pk}" and "may leak" in cause.says and cause.url == f"/a/{old.code}/cells/"
    first = cause.occasion
    fit_cells(old, at=NOW - 80 * DAY)
    assert found("cells-stored")[0].occasion != first
    Item.objects.filter(pk=old.pk).update(custody="show", custody_show=1)
    assert not found("cells-stored")


def test_a_set_past_its_date_is_told_the_day_after():
    box = make_box()
    fit_cells(box, lot=make_lot(9, expires_on=a_day(0)), at=NOW - 9 * DAY)
    assert not found("cells-expired", midnight(a_day(1)) - SECOND)
    (cause,) = found("cells-expired", midnight(a_day(1)))
    assert "expired on Fri 25 Sep. Swap it" in cause.says and cause.subject == f"item:{box.pk}"


def a_set(**kw):
    type_ = make_type(Kind.CELL_SET, cell_size="HR6")
    CellSetFacts.objects.create(type=type_, cells=2, capacity_mah=2000)
    return make_item(type=type_, **kw)


def test_a_labelled_set_is_told_of_half_a_year_after_its_last_capacity_test():
    item = a_set()
    assert found("capacity-due")[0].occasion == "capacity:none"
    test = CapacityTest.objects.create(uid=uuid.uuid4(), item=item, mah=1900, done_at=NOW)
    assert not found("capacity-due", NOW + 182 * DAY)
    (cause,) = found("capacity-due", NOW + 183 * DAY)
    assert cause.occasion == f"capacity:{test.pk}" and "Fri 25 Sep" in cause.says
    assert cause.url == f"/a/{item.code}/cells/capacity/"


# ---- cost


def many(number):
    type_ = make_box().type
    CellType.objects.filter(key="6LR61").update(keep_at_least=0)
    for _ in range(number):
        late = make_lot(3, expires_on=a_day(-1), added_at=NOW - 200 * DAY)
        a_bench_test(make_item(test_by=a_day(-1))), a_bench_test(make_item(test_by=a_day(3)))
        box = make_box(type=type_)
        fit_cells(box, lot=late, at=NOW - 90 * DAY)
        a_set()
        low = CellType.objects.get(key="6LR61")
        low.pk, low.key, low.name, low.keep_at_least = None, f"low-{late.pk}", f"low {late.pk}", 5
        low.save()
        make_lot(1, type=low)
        make_pull_row(make_show(NOW + 12 * HOUR), item=make_box(type=type_), feed="cells", line="1")


@pytest.mark.parametrize(
    "key",
    [
        *("retest-soon", "retest-overdue", "swap-before-show"),
        *("cells-low", "cells-expiring", "cells-stored", "cells-expired", "capacity-due"),
    ],
)
def test_one_and_fifty_cost_the_same_queries(key):
    counts, causes = [], []
    for number in (1, 49):
        many(number)
        with CaptureQueriesContext(connection) as caught:
            causes.append(len(found(key)))
        counts.append(len(caught))
    assert causes == [1, 50]
    assert counts[0] == counts[1] <= 40
