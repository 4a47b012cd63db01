"""What is on record becomes the events of the failure model: the same as made by hand, in constant queries."""

import random
from datetime import timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.calc.retest_record import Event, What, fold
from maintenance.evidence import DAYS_A_MONTH, evidence_of
from maintenance.models import BenchSettings
from tests.builders import NOW, make_item, make_type
from tests.maintenance.bench_rows import taken_back
from tests.maintenance.retest_rows import START, at_bench, mended, on, said, used

pytestmark = pytest.mark.django_db

SEES_SHOW = 0.5
DEPTHS = ("lamps", "lamps-flexed", "ohms", "ohms-flexed")


@pytest.fixture
def lead(company):
    return make_item(kind=Kind.LEAD, added_at=START)


def sees(depth="ohms-flexed"):
    return BenchSettings().sensitivity()[depth]


def read(*items, at=NOW, **kw):
    found = evidence_of(
        items=Item.objects.filter(pk__in=[i.pk for i in items]), at=at, sees=BenchSettings().sensitivity(), **kw
    )
    records = found.records(sees_show=SEES_SHOW)
    order = {pk: n for n, pk in enumerate(found.keys.tolist())}
    return [records.at(order[item.pk]) for item in items]


def folded(*events):
    return fold(events, sees_show=SEES_SHOW)


def same(one, other):
    for name in one.__dataclass_fields__:
        assert np.allclose(np.array(getattr(one, name), float), np.array(getattr(other, name), float)), (name, one, other)


def show(count=1.0, clean=True):
    return Event(what=What.USE, shows=count, clean=clean)


def passed(depth="ohms-flexed"):
    return Event(what=What.PASS, sees=sees(depth))


FAIL, IN_USE = Event(what=What.FAIL), Event(what=What.FAIL, in_use=True)


def test_tests_and_shows_come_in_the_order_of_time(lead):
    at_bench(lead, 10)
    used(lead, 5, 12, 14)
    used(lead, 20, line=False)
    at_bench(lead, 30, depth="lamps")
    used(lead, 30, 41)
    same(read(lead)[0], folded(show(), passed(), show(2), show(1, clean=False), passed("lamps"), show(2)))


def test_a_planned_show_a_coming_one_and_a_test_that_could_not_tell_are_nothing(lead):
    at_bench(lead, 10)
    used(lead, 12)
    used(lead, 15, state="planned")
    at_bench(lead, 16, "cannot_tell")
    same(read(lead)[0], folded(passed(), show()))
    same(read(lead, at=on(11))[0], folded(passed()))


def test_a_test_taken_back_vanishes_and_so_does_what_corrected_it(lead):
    used(lead, 5, 12)
    wrong = at_bench(lead, 10, "fail")
    right = at_bench(lead, 10, corrects=wrong)
    same(read(lead)[0], folded(show(), passed(), show()))
    taken_back(right)
    same(read(lead)[0], folded(show(2)))


def test_a_failed_test_a_repair_and_a_pass(lead):
    used(lead, 3, 4, 5)
    at_bench(lead, 10, "fail", depth="lamps")
    used(lead, 11)  # out all the same: a thing that is bad gathers no exposure
    mended(lead, 12)
    at_bench(lead, 12)
    used(lead, 13, 14)
    record = read(lead)[0]
    same(record, folded(show(3), FAIL, show(), Event(what=What.REPAIR), passed(), show(2)))
    assert (record.failures, record.tests, record.down) == (1, 2, False)


def test_a_repair_as_new_starts_the_record_over_and_one_taken_back_does_not(lead):
    used(lead, 3, 4, 5)
    at_bench(lead, 10, "fail")
    rebuilt = mended(lead, 11, as_new=True)
    at_bench(lead, 11)
    record = read(lead)[0]
    same(record, folded(show(3), FAIL, Event(what=What.AS_NEW), passed()))
    assert record.failures == 0 and record.age == 0
    mended(lead, 12, takes_back=rebuilt)
    assert read(lead)[0].failures == 1


def test_found_at_line_check_comes_before_the_show_and_found_in_it_after_and_is_not_clean(lead):
    other = make_item(type=lead.type, added_at=START)
    for item in (lead, other):
        at_bench(item, 1)
        used(item, 5, 9)
    said(lead, 9, "line check", hour=17)
    said(other, 9, "show", hour=21)
    same(read(lead)[0], folded(passed(), show(), IN_USE))
    same(read(other)[0], folded(passed(), show(), show(clean=False), IN_USE))


def test_a_report_after_midnight_is_about_the_show_of_the_evening_before(lead):
    at_bench(lead, 1)
    used(lead, 9, 10)
    said(lead, 10, "show", hour=1, show=None)
    same(read(lead)[0], folded(passed(), show(clean=False), IN_USE))


def test_a_report_that_a_test_answered_with_nothing_mended_was_nothing(lead):
    used(lead, 9)
    report = said(lead, 9, "show")
    answer = at_bench(lead, 12)
    report.closed_at, report.closed_how, report.closed_by_test = answer.done_at, "Passed.", answer
    report.save()
    same(read(lead)[0], folded(show(), passed()))
    mended(lead, 11)  # something was wrong after all
    same(read(lead)[0], folded(show(clean=False), IN_USE, Event(what=What.REPAIR), passed()))


@pytest.mark.parametrize("symptom", ["got wet", "parts missing"])
def test_wet_and_missing_parts_are_no_failures(lead, symptom):
    used(lead, 9)
    said(lead, 9, "show", symptom=symptom)
    same(read(lead)[0], folded(show()))


def test_a_withdrawn_report_is_nothing_and_what_the_bench_found_counts_once(lead):
    used(lead, 9)
    said(lead, 9, "show", withdrawn_at=NOW)
    at_bench(lead, 12, "fail")
    said(lead, 12, "bench", hour=10)
    same(read(lead)[0], folded(show(), FAIL))


def test_a_report_closed_by_hand_puts_it_back_in_use(lead):
    used(lead, 9, 14)
    said(lead, 9, "show", closed_at=on(11), closed_how="Re-soldered.")
    record = read(lead)[0]
    same(record, folded(show(clean=False), IN_USE, Event(what=What.REPAIR), show()))
    assert not record.down


def test_what_was_proved_before_there_were_tests_counts_as_the_shallowest(lead):
    used(lead, 5, 12)
    Item.objects.filter(pk=lead.pk).update(tested_on=on(10).date())
    same(read(lead)[0], folded(show(), passed("lamps"), show()))
    at_bench(lead, 20)
    same(read(lead)[0], folded(show(2), passed()))


def test_dead_channels_are_a_failure_of_a_thing_that_stays_in_use_once(company):
    multicore = make_item(kind=Kind.MULTICORE, added_at=START)
    reach = {"effects": {"channels": 16, "confined": True}, "dead_channels": [14]}
    used(multicore, 5)
    at_bench(multicore, 10, "fail", **reach)
    used(multicore, 12)
    at_bench(multicore, 20, "fail", **reach)
    record = read(multicore)[0]
    same(record, folded(show(), FAIL, Event(what=What.REPAIR), show(), passed()))
    assert record.failures == 1 and not record.down
    # half of it dead is a thing that is bad
    at_bench(multicore, 30, "fail", effects={"channels": 16, "confined": True}, dead_channels=list(range(1, 9)))
    assert read(multicore)[0].down


def test_a_look_at_some_channels_sees_in_proportion(company):
    multicore = make_item(kind=Kind.MULTICORE, added_at=START)
    used(multicore, 5)
    at_bench(multicore, 10, effects={"channels": 16, "covers": [1, 2, 3, 4]})
    same(read(multicore)[0], folded(show(), Event(what=What.PASS, sees=sees() / 4)))


def test_months_on_the_shelf_count_as_the_rule_says_until_it_is_retired(lead):
    used(lead, 61)
    at_bench(lead, 122)
    Item.objects.filter(pk=lead.pk).update(retired_on=on(183).date(), retired_because="Crushed.")
    month = 1 / DAYS_A_MONTH
    record = read(lead, storage={lead.type_id: 0.5})[0]
    same(
        record, folded(show(1 + 0.5 * 61 * month), show(0.5 * 61 * month, clean=False), passed(), show(0.5 * 61 * month, False))
    )


def _by_hand(rows):
    """Fold a history of (day, place in the day, kind, more) with no cleverness: every show an event of its own."""
    events, doubted = [], set()
    rows = sorted(rows, key=lambda row: (row[0], row[1]))
    for n, (_day, _place, kind, _more) in enumerate(rows):
        if kind == "report":
            doubted |= {max((m for m in range(n) if rows[m][2] == "show"), default=-1)}
    for n, (_day, _place, kind, more) in enumerate(rows):
        if kind == "show":
            events.append(show(clean=more and n not in doubted))
        elif kind == "test":
            events.append(FAIL if more == "fail" else passed(more))
        else:
            events.append(IN_USE if kind == "report" else Event(what=What.REPAIR))
    return folded(*events)


def test_many_random_histories_at_once_are_the_same_as_by_hand(company):
    pick = random.Random(3)
    type_ = make_type(Kind.LEAD)
    items, wanted = [], []
    for _ in range(40):
        item = make_item(type=type_, added_at=START)
        rows = []
        days = pick.sample(range(2, 250), pick.randrange(0, 60))
        for day in days:
            match pick.randrange(8):
                case 0:
                    depth = pick.choice(DEPTHS)
                    at_bench(item, day, depth=depth)
                    rows.append((day, 0, "test", depth))
                case 1:
                    at_bench(item, day, "fail")
                    rows.append((day, 0, "test", "fail"))
                case 2:
                    mended(item, day)
                    rows.append((day, 0, "repair", None))
                case 3:
                    said(item, day, "show")
                    used(item, day)
                    rows += [(day, 1, "show", True), (day, 2, "report", None)]
                case _:
                    line = pick.random() < 0.6
                    used(item, day, line=line)
                    rows.append((day, 1, "show", line))
        items.append(item)
        wanted.append(_by_hand(rows))
    for one, other in zip(read(*items), wanted, strict=True):
        same(one, other)


def test_the_queries_are_as_many_for_fifty_items_as_for_one(company):
    type_ = make_type(Kind.LEAD)

    def full():
        item = make_item(type=type_, added_at=START)
        at_bench(item, 10, "fail")
        mended(item, 11)
        at_bench(item, 12)
        used(item, 20)
        said(item, 20, "show")
        return item

    def asked(items):
        with CaptureQueriesContext(connection) as caught:
            read(*items)
        return len(caught)

    items = [full()]
    one = asked(items)
    items += [full() for _ in range(49)]
    assert asked(items) == one <= 11


def test_a_record_begins_when_the_item_was_added_and_one_without_history_is_empty(lead):
    record = read(lead)[0]
    assert (record.failures, record.shows, record.since, record.tests) == (0, 0, 0, 0)
    assert read(lead, at=START + timedelta(days=1))[0].age == 0
