"""Forecasts: stored once when a test puts an item back in use, resolved by what came first, opened again by an undo."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.calc.retest import forecast_chance
from maintenance.models import Forecast, ForecastOutcome
from maintenance.services.retest import item_reckon, types_reckon
from maintenance.track_record import track_record
from tests.builders import NOW, a_day, make_item, make_type
from tests.maintenance.bench_rows import taken_back
from tests.maintenance.retest_rows import at_bench, days_before_now, mended, on, said, used

pytestmark = pytest.mark.django_db

TODAY = days_before_now(0)


@pytest.fixture
def lead(company):
    return make_item(type=make_type(Kind.LEAD, name="Microphone lead"), added_at=NOW - timedelta(days=260))


def proof(item, ago, verdict="pass", **kw):
    """Test an item so many days ago and reckon it then, as recording a test does."""
    test = at_bench(item, TODAY - ago, verdict, **kw)
    good = verdict in ("pass", "watch")
    Item.objects.filter(pk=item.pk).update(tested_on=a_day(-ago) if good else None)
    item_reckon(item=item, at=test.done_at + timedelta(minutes=5))
    return test


def came(test):
    outcome = ForecastOutcome.objects.get(forecast__test=test)
    return outcome.failed, outcome.how, outcome.shows


def test_a_pass_stores_what_is_foretold_once(lead):
    used(lead, TODAY - 90, TODAY - 80)
    test = proof(lead, 60)
    forecast = Forecast.objects.get()
    assert (forecast.test, forecast.item, forecast.version) == (test, lead, 1)
    assert forecast.test_by == Item.objects.get().test_by and forecast.shows > 0 and 0 < forecast.prior_share <= 1
    assert forecast.chance == pytest.approx(forecast_chance(forecast.given, forecast.shows)) and 0 < forecast.chance < 0.1
    before = Forecast.objects.values().get()
    used(lead, TODAY - 50)
    item_reckon(item=lead, at=NOW)
    types_reckon(at=NOW)
    assert Forecast.objects.values().get() == before and not ForecastOutcome.objects.exists()


@pytest.mark.parametrize("verdict", ["fail", "cannot_tell"])
def test_what_puts_nothing_in_use_foretells_nothing(lead, verdict):
    proof(lead, 60, verdict)
    assert not Forecast.objects.exists()


@pytest.mark.parametrize(("verdict", "failed"), [("pass", False), ("watch", False), ("fail", True)])
def test_the_next_test_resolves_it_at_the_true_exposure(lead, verdict, failed):
    used(lead, TODAY - 90)
    first = proof(lead, 60)
    used(lead, TODAY - 60, TODAY - 40, TODAY - 30)
    used(lead, TODAY - 25, line=False)
    second = proof(lead, 20, verdict, depth="lamps")
    used(lead, TODAY - 20, TODAY - 3)
    item_reckon(item=lead, at=NOW)
    outcome = ForecastOutcome.objects.get(forecast__test=first)
    assert (outcome.failed, outcome.how, outcome.shows, outcome.test) == (failed, "bench", 4, second)
    assert outcome.resolved_at == second.done_at
    assert outcome.chance == pytest.approx(forecast_chance(outcome.forecast.given, 4, sees=0.6))
    assert Forecast.objects.filter(outcome=None).count() == (not failed)


@pytest.mark.parametrize(("found", "shows"), [("line check", 1), ("show", 2), ("after", 2)])
def test_failing_in_use_before_any_test_resolves_it(lead, found, shows):
    test = proof(lead, 60)
    used(lead, TODAY - 50, TODAY - 40, TODAY - 30)
    said(lead, TODAY - 40, found, closed_at=on(TODAY - 39), closed_how="New plug.")
    types_reckon(at=NOW)
    assert came(test) == (True, found, shows)
    proof(lead, 20)  # comes too late to say anything of it
    assert came(test) == (True, found, shows)


def test_a_report_that_was_nothing_leaves_it_to_the_test(lead):
    test = proof(lead, 60)
    report = said(lead, TODAY - 40, "show")
    types_reckon(at=NOW - timedelta(days=30))
    assert came(test)[:2] == (True, "show")
    answer = at_bench(lead, TODAY - 20)
    report.closed_at, report.closed_how, report.closed_by_test = answer.done_at, "Passed.", answer
    report.save()
    item_reckon(item=lead, at=NOW)
    assert came(test)[:2] == (False, "bench")


def test_a_test_taken_back_opens_it_again_and_the_next_one_resolves_it(lead):
    first = proof(lead, 60)
    wrong = proof(lead, 20, "fail")
    assert came(first)[:2] == (True, "bench")
    taken_back(wrong)
    Item.objects.filter(pk=lead.pk).update(tested_on=a_day(-60))
    item_reckon(item=lead, at=NOW - timedelta(days=15))
    assert ForecastOutcome.objects.get().withdrawn_at == NOW - timedelta(days=15)
    told = track_record()
    assert told.score is None and told.waiting == 1
    right = proof(lead, 5)
    outcome = ForecastOutcome.objects.get(forecast__test=first)
    assert (outcome.test, outcome.failed, outcome.withdrawn_at) == (right, False, None)


def test_a_forecast_whose_own_test_was_taken_back_counts_for_nothing(lead):
    first = proof(lead, 60)
    proof(lead, 20)
    taken_back(first)
    item_reckon(item=lead, at=NOW)
    told = track_record()
    assert told.score is None and told.waiting == 1 and not told.types


def test_what_was_made_as_new_is_another_thing(lead):
    first = proof(lead, 60)
    mended(lead, TODAY - 40, as_new=True)
    proof(lead, 30)
    assert not ForecastOutcome.objects.filter(forecast__test=first).exists()


def test_the_interval_before_is_what_the_next_may_grow_from(lead):
    used(lead, *range(TODAY - 200, TODAY - 60, 5))
    proof(lead, 60)
    planned = Forecast.objects.get().shows
    Forecast.objects.update(shows=2)
    proof(lead, 30)
    # twice two shows, held up by the rule's least of three
    assert Forecast.objects.order_by("-made_at")[0].shows == 4 < planned


def test_how_they_fared_by_type_in_constant_queries(lead):
    box = make_type(Kind.INTERFACE_BOX, name="Direct box")

    def history(item, last):
        proof(item, 60)
        used(item, TODAY - 50)
        proof(item, 20, last)

    def asked():
        with CaptureQueriesContext(connection) as caught:
            answer = track_record(NOW.date())
        return len(caught), answer

    history(lead, "fail")
    queries, told = asked()
    assert (told.score.count, told.score.seen, told.waiting, told.lost) == (1, 1, 0, 0)
    for n in range(7):
        history(make_item(type=box, added_at=NOW - timedelta(days=260)), "pass" if n else "fail")
    last = Item.objects.filter(type=box).order_by("pk").last()
    Item.objects.filter(pk=last.pk).update(retired_on=a_day(), retired_because="Crushed.")
    again, told = asked()
    assert again == queries == 3
    assert (told.score.count, told.score.seen, told.waiting, told.lost) == (8, 2, 6, 1)
    assert [(one.name, one.score.count, one.score.seen) for one in told.types] == [
        ("Direct box", 7, 1),
        ("Microphone lead", 1, 1),
    ]
    assert "too few to judge" in told.score.words and told.score.expected == pytest.approx(
        sum(ForecastOutcome.objects.values_list("chance", flat=True))
    )


def test_a_failure_in_use_counts_from_the_day_its_test_was_due(lead):
    proof(lead, 60)
    used(lead, TODAY - 50)
    said(lead, TODAY - 50, "show")
    types_reckon(at=NOW)
    due = Forecast.objects.get().test_by
    before, after = track_record(due - timedelta(days=1)), track_record(due)
    assert (before.score, before.early) == (None, 1)
    assert (after.score.seen, after.early) == (1, 0)
