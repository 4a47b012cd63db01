"""The chance of being bad by the next show, on the item's page and over HTTP; and what age does where that was found."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.api_fields import bench_fields
from maintenance.calc.retest import model_from
from maintenance.calc.retest_type import chance
from maintenance.chances import chances_of
from maintenance.models import Risk, TypeModel
from maintenance.services.retest import items_reckon
from maintenance.services.retest_wear import night_reckon
from tests.builders import NOW, a_day, make_item, make_type
from tests.maintenance.retest_rows import at_bench, days_before_now, used
from tests.maintenance.test_retest_wear import make_worn

pytestmark = pytest.mark.django_db

TODAY = days_before_now(0)


@pytest.fixture
def leads(company, clock_at_now):
    return make_type(Kind.LEAD, name="Microphone lead", replacement_cents=2000)


@pytest.fixture
def clock_at_now(monkeypatch):

    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


def make_tested(type_, *, booked=()):
    item = make_item(type=type_, added_at=NOW - timedelta(days=300), tested_on=a_day(-40))
    used(item, *(TODAY - ago for ago in (200, 150, 100, 60, 20)))
    used(item, *(TODAY + day for day in booked), state="planned")
    at_bench(item, TODAY - 120)
    at_bench(item, TODAY - 40)
    items_reckon(item_ids=[item.pk], at=NOW)
    return Item.objects.select_related("type").get(pk=item.pk)


def test_by_the_next_show_it_is_what_the_model_says_of_that_many_shows(leads):
    item = make_tested(leads, booked=(5, 9))
    found = chances_of([item], NOW)[item.pk]
    assert found.booked and found.by == a_day(5) and found.age == 5
    assert 0 < found.low < found.chance < found.high < 0.5
    risk, model = Risk.objects.get(), model_from(TypeModel.objects.get().posterior)
    since = chance(model, *(_one(v) for v in (risk.failures, risk.shows, risk.since + 1)))[0]
    assert found.chance == pytest.approx(since, rel=0.05)  # and a little that was there from the start
    later = chances_of([make_tested(leads, booked=(9,))], NOW)
    assert next(iter(later.values())).by == a_day(9)


def _one(value):
    import numpy as np

    return np.array([float(value)])


def test_with_nothing_booked_it_is_the_day_of_its_test(leads):
    item = make_tested(leads)
    found = chances_of([item], NOW)[item.pk]
    assert not found.booked and found.by == item.test_by > a_day(0)
    assert found.chance == pytest.approx(0.05, rel=0.6)


def test_of_what_is_suspect_retired_or_never_tested_nothing_is_said(leads):
    items = [make_tested(leads, booked=(5,)) for _ in range(3)]
    items[0].suspect_since = NOW
    items[1].retired_on = a_day(0)
    items[2].tested_on = items[2].test_by = None
    assert chances_of(items, NOW) == {}


def test_the_page_says_the_chance_by_the_next_show_with_its_range(leads, as_technician):
    item = make_tested(leads, booked=(5,))
    said = as_technician.get(item.get_absolute_url()).content.decode()
    found = chances_of([item], NOW)[item.pk]
    assert "By the end of its next show" in said and f"{100 * found.chance:.0f}\u202f%" in said
    assert "by how often it may fail" in said


def test_over_http_it_is_told_with_the_forecast_in_constant_queries(leads, as_technician):
    item = make_tested(leads, booked=(5,))

    def asked():
        items = list(Item.objects.select_related("type").order_by("pk"))
        with CaptureQueriesContext(connection) as caught:
            told = bench_fields(items, NOW)
        return len(caught), [one["forecast"]["ahead"] for one in told.values()]

    queries, (ahead,) = asked()
    assert as_technician.get(f"/api/items/{item.code}").json()["forecast"]["ahead"] == {**ahead, "by": ahead["by"].isoformat()}
    assert ahead["booked"] and ahead["by"] == a_day(5) and 0 < ahead["low"] < ahead["chance"] < ahead["high"]
    for _ in range(12):
        make_tested(leads, booked=(7,))
    again, told = asked()
    assert again == queries and sum(bool(one) for one in told) == 13


def test_where_age_was_found_to_matter_the_item_and_its_rule_say_so(leads, as_owner):
    item = make_tested(leads, booked=(5,))
    rule = f"/bench/rules/{leads.pk}/"
    assert "no evidence that age alone raises failure" not in as_owner.get(item.get_absolute_url()).content.decode()
    make_worn(leads)
    night_reckon(at=NOW)
    words = TypeModel.objects.get().said["wear"]["words"]
    assert "replacing at about" in words
    page = as_owner.get(item.get_absolute_url()).content.decode()
    assert words in page and "This one has been through 5." in page
    assert words in as_owner.get(rule).content.decode()


def test_with_too_few_failures_the_rule_says_that_age_is_no_reason_yet(leads, as_owner):
    make_worn(leads, count=4)
    night_reckon(at=NOW)
    said = as_owner.get(f"/bench/rules/{leads.pk}/").content.decode()
    assert "4 of the 8 failures it takes to look for wear: no evidence that age alone raises failure" in said
