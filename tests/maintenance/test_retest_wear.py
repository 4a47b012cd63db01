"""Wear: looked for by night where enough failed, kept with what it was found from, and the same clock in all that follows."""

import random
from datetime import timedelta

import pytest
from django.db import connection

from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.calc.retest import Clock, Record, forecast_given, type_fit
from maintenance.evidence import evidence_of
from maintenance.models import BenchSettings, BenchTest, Forecast, RetestRule, Risk, TypeModel
from maintenance.services import retest_wear
from maintenance.services.retest import item_reckon, types_reckon
from maintenance.services.retest_models import clock_used, clock_wanted
from maintenance.services.retest_wear import night_reckon, wear_look
from tests.builders import NOW, make_item, make_type
from tests.maintenance.bench_rows import taken_back
from tests.maintenance.retest_rows import at_bench, days_before_now, mended, used

pytestmark = pytest.mark.django_db

TODAY = days_before_now(0)
YEARS = 900  # days on record


def make_worn(type_, seed=3, *, count=10, shape=4.0, scale=60.0):
    """Make leads that go out every other day, are tested after five shows, and fail by age: a Weibull's times, in shows."""
    pick = random.Random(seed)
    items = []
    for _ in range(count):
        item = make_item(type=type_, added_at=NOW - timedelta(days=YEARS + 10))
        first = TODAY - YEARS
        life = pick.weibullvariate(scale, shape)
        shows = min(int(life) + 5, 120)
        used(item, *(first + 2 * n for n in range(1, shows + 1)))
        for n in range(0, shows + 1, 5):
            if n > life:
                at_bench(item, first + 2 * n + 1, "fail")
                break
            at_bench(item, first + 2 * n + 1)
        items.append(item)
    return items


@pytest.fixture
def leads(company):
    return make_type(Kind.LEAD, name="Microphone lead", replacement_cents=2000)


def wear_of(type_):
    return TypeModel.objects.get(type=type_).said.get("wear")


def test_by_night_wear_is_found_and_everything_goes_by_its_clock(leads):
    items = make_worn(leads)
    night_reckon(at=NOW)
    row = TypeModel.objects.get(type=leads)
    wear = row.said["wear"]
    assert wear["on"]["failures"] == 10 and wear["rising"] > 0.9 and "replacing at about" in wear["words"]
    assert wear["replace_low"] <= wear["replace_at"] <= (wear["replace_high"] or 1e9)
    clock = clock_wanted(row)
    assert clock.power > 1.5 and clock_used(row) == clock
    # what the type has learnt of each, by that clock, adds up to what the model was learnt from
    by_clock = sum(Risk.objects.values_list("shows", flat=True))
    assert by_clock == pytest.approx(float(_learnt_shows(clock, items)), rel=1e-9)
    assert row.shows == pytest.approx(_learnt_shows(None, items), rel=1e-9)  # and it is told in shows


def _learnt_shows(clock, items):
    settings = BenchSettings.current()
    evidence = evidence_of(items=Item.objects.filter(pk__in=[i.pk for i in items]), at=NOW, sees=settings.sensitivity())
    records = evidence.records(sees_show=settings.sees_show)
    return (clock.records(records) if clock else records).shows.sum()


def test_one_more_test_moves_a_model_by_the_clock_it_is_by_and_its_forecast_names_the_clock(leads):
    items = make_worn(leads)
    night_reckon(at=NOW - timedelta(hours=1))
    mended(items[0], TODAY - 1)
    at_bench(items[0], TODAY - 1)
    Item.objects.filter(pk=items[0].pk).update(tested_on=NOW.date())
    item_reckon(item=items[0], at=NOW)
    moved = TypeModel.objects.get(type=leads)
    clock = clock_used(moved)
    forecast = Forecast.objects.get(item=items[0])
    assert (forecast.given["power"], forecast.given["unit"]) == (clock.power, clock.unit) and forecast.given["age"] > 10
    types_reckon(at=NOW + timedelta(hours=1))
    fitted = TypeModel.objects.get(type=leads)
    assert clock_used(fitted) == clock

    def mean(row):
        return sum(w * a / b for w, a, b in row.posterior["cells"]) / sum(w for w, _a, _b in row.posterior["cells"])

    assert mean(moved) == pytest.approx(mean(fitted), rel=0.03)
    assert moved.posterior["start_bad"] == pytest.approx(fitted.posterior["start_bad"])


def test_an_old_one_of_a_type_that_wears_is_tested_sooner_than_a_young_one(leads):
    make_worn(leads)
    young, old = (make_item(type=leads, added_at=NOW - timedelta(days=YEARS)) for _ in range(2))
    used(young, *range(TODAY - 4, TODAY - 1, 2))
    used(old, *range(TODAY - 101, TODAY - 1, 2))
    for item in (young, old):
        for day in range(TODAY - 101, TODAY, 10):
            at_bench(item, day)
        item.tested_on = (NOW - timedelta(days=1)).date()
        item.save(update_fields=["tested_on"])
    night_reckon(at=NOW)
    left = {pk: (now, shows) for pk, now, shows in Risk.objects.values_list("item", "chance_now", "shows_left")}
    assert left[old.pk][1] < left[young.pk][1]


def test_wear_is_looked_for_again_only_when_something_it_is_found_from_changed(leads, monkeypatch):
    items = make_worn(leads)
    night_reckon(at=NOW)
    fitted = []
    real = retest_wear.wear_of
    monkeypatch.setattr(retest_wear, "wear_of", lambda *a, **kw: fitted.append(1) or real(*a, **kw))
    assert wear_look(at=NOW).types == 0
    mended(items[1], TODAY - 3)
    at_bench(items[1], TODAY - 2)  # a pass is no failure
    night_reckon(at=NOW + timedelta(hours=1))
    assert not fitted
    used(items[1], TODAY - 1)
    at_bench(items[1], TODAY, "fail", at=NOW + timedelta(hours=2))
    night_reckon(at=NOW + timedelta(hours=3))
    assert len(fitted) == 1 and wear_of(leads)["on"]["failures"] == 11
    RetestRule.objects.create(type=leads, show_cents=99_000)
    night_reckon(at=NOW + timedelta(hours=4))
    assert len(fitted) == 2


def test_a_type_with_few_failures_is_not_looked_at_and_one_that_had_enough_says_so(leads):
    items = make_worn(leads, count=7)
    night_reckon(at=NOW)
    assert wear_of(leads) is None
    items += make_worn(leads, seed=5, count=3)
    night_reckon(at=NOW)
    assert clock_used(TypeModel.objects.get()) is not None
    for test in list(BenchTest.objects.filter(item__in=items, verdict="fail"))[:4]:
        taken_back(test)
    night_reckon(at=NOW + timedelta(hours=1))
    row = TypeModel.objects.get()
    assert clock_wanted(row) is None and clock_used(row) is None
    assert row.said["wear"]["words"].startswith("6 of the 8 failures it takes to look for wear")


def test_no_transaction_is_open_while_wear_is_looked_for_and_one_type_that_breaks_stops_no_other(
    leads, company, monkeypatch, caplog, transactional_db
):
    other = make_type(Kind.LEAD, name="Loudspeaker lead")
    make_worn(leads, count=8)
    make_worn(other, count=8)
    real, seen = retest_wear.wear_of, []

    def broken(rule, records, **kw):
        seen.append(connection.in_atomic_block)
        if len(seen) == 1:
            raise ValueError("no sum comes out")
        return real(rule, records, **kw)

    monkeypatch.setattr(retest_wear, "wear_of", broken)
    done = night_reckon(at=NOW)
    assert seen == [False, False] and not done.failed and "could not be worked out" in caplog.text
    assert sorted(row.said.get("wear") is not None for row in TypeModel.objects.all()) == [False, True]


def test_a_forecast_of_no_clock_names_none():
    model = type_fit(median_shows=150, pessimistic_shows=40, failures=[], shows=[])
    assert "power" not in forecast_given(model, Record()) and "power" in forecast_given(model, Record(), Clock(power=2, unit=9))
