"""Borrowed gear to give back, lent gear to get back: true, not true, at the very instant, one cost."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from company.registries import ALERT_RULES, NEEDS
from inventory.models import Item
from tests.builders import NOW, a_day, make_company, make_item, make_type

pytestmark = pytest.mark.django_db
SECOND = timedelta(seconds=1)
LONDON = ZoneInfo("Europe/London")


@pytest.fixture(autouse=True)
def shop(company):
    return company


def found(key, at=NOW):
    rule = ALERT_RULES[key]()
    return list(rule.find(at, rule.terms))


def midnight(offset):
    day = a_day(offset)
    return datetime(day.year, day.month, day.day, tzinfo=LONDON)


def test_borrowed_gear_is_told_three_days_before_by_lender_and_day():
    type_ = make_type(name="Desk")
    for lender in ("a friend", "a friend", "a school"):
        make_item(type=type_, borrowed_from=lender, give_back_by=a_day(3))
    assert not found("give-back", midnight(0) - SECOND)
    friend, school = found("give-back", midnight(0))
    assert friend.title == "Give back 2 things to a friend" and school.title == "Give back 1 thing to a school"
    assert friend.says.startswith("Is to be back by Mon 28 Sep. Take them back to a friend")
    assert friend.by == datetime(2026, 9, 28, 17, tzinfo=LONDON) and friend.url == "/gear/?borrowed=1"
    assert friend.subject != school.subject and friend.occasion == school.occasion == "give-back:2026-09-28"


def test_after_its_day_it_is_late_and_once_gone_home_it_is_quiet():
    item = make_item(borrowed_from="a friend", give_back_by=a_day(-1))
    (cause,) = found("give-back")
    assert cause.says.startswith("Was to be back by Thu 24 Sep. Take it back")
    Item.objects.filter(pk=item.pk).update(gone_home_on=a_day(0))
    assert not found("give-back")


def test_a_long_name_of_a_lender_fits():
    make_item(borrowed_from="f" * 80, give_back_by=a_day(0))
    (cause,) = found("give-back")
    assert len(cause.subject) <= 60 and len(cause.title) <= 160 and len(cause.says) <= 500


def test_lent_gear_is_told_the_day_before_it_is_to_be_home():
    item = make_item(type=make_type(name="Desk"), lent_to="a school", lent_on=a_day(-9), lent_home_by=a_day(1))
    assert not found("get-back", midnight(0) - SECOND)
    (cause,) = found("get-back", midnight(0))
    assert cause.title == "Desk: lent to a school" and "Ask a school for it" in cause.says
    assert (cause.subject, cause.occasion) == (f"item:{item.pk}", "lent:2026-09-16") and cause.url == f"/a/{item.code}"
    Item.objects.filter(pk=item.pk).update(lent_home_by=a_day(9))
    assert not found("get-back")
    assert found("get-back", midnight(9))[0].occasion == cause.occasion  # lent for longer: the same loan
    Item.objects.filter(pk=item.pk).update(lent_to="", lent_on=None, lent_home_by=None)
    assert not found("get-back", midnight(9))


def test_the_start_page_and_the_alerts_agree(technician, rf):
    for n in range(3):
        make_item(borrowed_from=f"friend {n}", give_back_by=a_day(n + 1))
        make_item(lent_to="a school", lent_on=a_day(-9), lent_home_by=a_day(n))
    request = rf.get("/")
    request.user, request.company = technician, make_company()
    for name, key in (("give-back", "give-back"), ("lent-home", "get-back")):
        assert sorted(need.by for need in NEEDS[name](request, NOW)) == sorted(cause.by for cause in found(key))


@pytest.mark.parametrize("key", ["give-back", "get-back"])
def test_one_and_fifty_cost_the_same_queries(key):
    counts, causes = [], []
    type_ = make_type()
    for number in (1, 49):
        for n in range(number):
            make_item(type=type_, borrowed_from=f"friend {number} {n}", give_back_by=a_day(1))
            make_item(type=type_, lent_to="a school", lent_on=a_day(-9), lent_home_by=a_day(0))
        with CaptureQueriesContext(connection) as caught:
            causes.append(len(found(key)))
        counts.append(len(caught))
    assert causes == [1, 50] and counts[0] == counts[1] <= 5
