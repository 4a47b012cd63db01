from datetime import date, timedelta

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction

from company.models import Company, Person
from inventory.calc.kinds import Standing, Where
from inventory.models import Item
from shows.demo.build import demo_build
from shows.demo.redate import demo_redate
from shows.models import Checkout, Contradiction, Scan, Show
from tests.builders import NOW, make_person

DAY = NOW.date()


@pytest.fixture(scope="module")
def built(django_db_setup, django_db_blocker):
    """Build it once for all the tests here that read it: it takes seconds."""
    with django_db_blocker.unblock(), transaction.atomic():
        demo_build(at=NOW)
        yield
        transaction.set_rollback(True)


@pytest.fixture
def demo(built, db):
    """The demo, for one test; what the test writes is rolled back."""


def test_the_demo_is_refused_where_a_company_is(db):
    make_person("owner")
    with pytest.raises(CommandError, match="empty"):
        call_command("load_demo", verbosity=0)
    assert Item.objects.count() == 0


def test_a_real_company_is_never_redated(company):
    assert demo_redate(today=date(2030, 1, 1)) == 0
    assert Person.objects.count() == 0


def test_the_demo_is_the_same_every_time(db):
    seen = []
    for _ in range(2):
        with transaction.atomic():
            demo_build(at=NOW)
            seen.append(list(Item.objects.order_by("pk").values_list("code", "name", "custody")))
            transaction.set_rollback(True)
    assert seen[0] == seen[1]


def test_the_demo_shows_every_standing_and_every_whereabouts(demo):
    items = Item.objects.described(DAY)
    assert {item.standing for item in items} == {s.value for s in Standing}
    assert {item.where for item in items} == {w.value for w in Where}
    assert items.count() >= 350


def test_the_demo_has_a_show_under_way_one_later_today_and_two_that_overlap(demo):
    assert [s.name for s in Show.objects.under_way_at(NOW)] == ["Quarry street fair"]
    tonight = Show.objects.get(name="Harvest ceilidh")
    assert NOW < tonight.load_in < NOW + timedelta(hours=15)
    supper, dance = Show.objects.get(name="Harvest supper"), Show.objects.get(name="Barn dance")
    assert supper.hold_from <= dance.hold_until and dance.hold_from <= supper.hold_until
    assert Show.objects.count() == 8


def test_the_demo_s_record_is_true_but_for_the_one_thing_in_two_places(demo):
    assert [c.show.name for c in Contradiction.objects.all()] == ["Harvest ceilidh"]
    assert Scan.objects.filter(outcome="refused").count() == 0
    assert Checkout.objects.filter(closed_at=None).count() == Item.objects.exclude(custody="").count()


def test_a_stale_demo_moves_to_today_and_keeps_its_clock_times_over_a_change_of_the_clocks(demo):
    zone = Company.current().zone
    before = {s.name: s.load_in.astimezone(zone) for s in Show.objects.all()}
    later = DAY + timedelta(days=45)  # the clocks go back in between
    assert demo_redate(today=later) == 45
    for show in Show.objects.all():
        moved = show.load_in.astimezone(zone)
        assert moved.date() == before[show.name].date() + timedelta(days=45)
        assert moved.time() == before[show.name].time()
    assert demo_redate(today=later) == 0
    assert Company.current().demo_dated == later
