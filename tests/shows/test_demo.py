import json
from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.core import mail
from django.core.management import CommandError, call_command
from django.db import transaction
from django.db.models import Count

from company.models import Company, Person
from inventory.calc.kinds import Standing, Where
from inventory.models import Item
from maintenance.calc.cell_words import Advice
from maintenance.cell_between import between_shows
from maintenance.cell_needs import listed
from maintenance.cell_querysets import lots_counted
from maintenance.cell_score import cell_record, persistently_off_ones
from maintenance.models import Alert, CellLot, CellReading, Fault, FittedSet, Forecast, HoursNote, Repair, Risk, Swap, TestCall
from maintenance.querysets import telling_tests
from maintenance.services.alerts import alerts_run
from maintenance.services.cell_night import cells_reckon
from maintenance.services.outbox import deliveries_send, digests_make
from maintenance.services.retest import types_reckon
from maintenance.track_record import track_record
from shows.demo.build import TOLD, demo_build
from shows.demo.redate import demo_redate
from shows.models import Checkout, Contradiction, Scan, Show
from shows.services.scans import scans_record
from tests.builders import NOW, make_person

DAY = NOW.date()


def fingerprint():
    """Return what would differ first if chance or the order of rows had a hand in the demo."""
    items = list(Item.objects.order_by("pk").values_list("code", "name", "custody", "test_by", "excepts"))
    swaps = list(Swap.objects.order_by("done_at", "uid").values_list("uid", "item__code", "reason", "out_volts", "done_at"))
    return items, swaps


@pytest.fixture(scope="module")
def built_before(django_db_setup, django_db_blocker):
    """Build it a first time, and keep only what it looked like."""
    with django_db_blocker.unblock(), transaction.atomic():
        demo_build(at=NOW)
        seen = fingerprint()
        transaction.set_rollback(True)
    return seen


@pytest.fixture(scope="module")
def built(built_before, django_db_setup, django_db_blocker):
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


def test_the_demo_is_the_same_every_time(built_before, demo):
    items, swaps = fingerprint()
    assert items and swaps and (items, swaps) == built_before


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
    told = json.loads(TOLD.read_text(encoding="utf-8"))
    sessions = {name for name, _client, _venue in told["cells"]["sessions"]["names"]}
    assert Show.objects.exclude(name__in=sessions).count() == 8
    assert not Show.objects.filter(name__in=sessions).exclude(state="closed").exists()


def test_the_demo_s_record_is_true_but_for_the_one_thing_in_two_places(demo):
    assert [c.show.name for c in Contradiction.objects.all()] == ["Harvest ceilidh"]
    assert Scan.objects.filter(outcome="refused").count() == 0
    assert Checkout.objects.filter(closed_at=None).count() == Item.objects.exclude(custody="").count()


def test_the_demo_s_dates_come_from_its_bench_tests(demo):
    proved = Item.objects.filter(tested_on__isnull=False)
    newest = {test.item_id: test for test in telling_tests().order_by("done_at")}
    zone = Company.current().zone
    assert proved.count() > 150
    for item in proved:
        assert newest[item.pk].done_at.astimezone(zone).date() == item.tested_on
    risks = Risk.objects.in_bulk()
    assert all(item.test_by == risks[item.pk].test_by for item in Item.objects.filter(type__has_standing=True, retired_on=None))
    assert not Item.objects.filter(test_by__isnull=False, tested_on=None).exists()
    assert types_reckon(at=NOW).written == 0


def test_the_demo_s_bench_has_something_of_everything_to_show(demo):
    tests = telling_tests()
    assert 200 <= tests.count() <= 320 and {test.verdict for test in tests} == {"pass", "watch", "fail"}
    assert Item.objects.get(type__key="multicore-16").excepts == "14"
    assert Repair.objects.count() >= 4 and TestCall.objects.filter(why="wet", answered_by__isnull=False).count() == 12
    assert {"line check", "show"} <= set(Fault.objects.exclude(show=None).values_list("found", flat=True))
    swapped = tests.get(verdict="fail", findings__0__title__startswith="Legs swapped")
    assert swapped.item.suspect_since is None and swapped.item.repairs.count() == 1
    told = track_record(DAY)
    assert told.score.count >= 80 and told.score.seen_low <= told.score.seen <= told.score.seen_high and told.waiting > 100
    assert told.early >= 2
    charted = tests.filter(item__type__key="lead-mic").values("item").annotate(n=Count("pk")).filter(n__gte=3)
    assert charted.exists()  # a lead with a line on its chart


def test_moving_the_demo_moves_what_its_bench_knows(demo):
    before = dict(Item.objects.filter(test_by__isnull=False).values_list("pk", "test_by"))
    forecast = Forecast.objects.order_by("pk")[0]
    demo_redate(today=DAY + timedelta(days=31))
    for item in Item.objects.filter(pk__in=before).select_related("risk"):
        moved = (item.test_by - before[item.pk]).days
        # what the pace of shows sets is worked out afresh, by shows that fall on other days of the year's clock
        assert abs(moved - 31) <= 7 and item.risk.test_by == item.test_by
    later = Forecast.objects.get(pk=forecast.pk)
    assert (later.made_at.date() - forecast.made_at.date()).days == 31 and later.chance == forecast.chance
    assert Item.objects.get(type__key="multicore-16").excepts == "14"


def test_the_swap_list_of_the_demo_s_next_show_says_a_bit_of_everything(demo):
    found = listed(Show.objects.get(name="Harvest ceilidh").pk, NOW)
    said = {row.advised.advice for row in found.rows if row.item is not None}
    assert said >= {Advice.KEEP, Advice.SWAP, Advice.SPARE, Advice.NOTHING, Advice.ASK}
    swap = next(row for row in found.rows if row.advised.advice == Advice.SWAP and row.life is not None)
    assert "the" in swap.advised.why.lower() and " h left" in swap.advised.why


def test_the_demo_s_year_of_cells_is_scored_by_what_truly_happened(demo):
    record = cell_record()
    assert record.score.count >= 60 and record.score.seen >= 5
    assert record.score.seen_low <= record.score.seen <= record.score.seen_high
    assert [off.item.label for off in persistently_off_ones()] == ["Active direct box D"]
    reasons = set(Swap.objects.values_list("reason", flat=True))
    assert reasons >= {"first", "died", "precaution", "policy", "leaked"}
    assert CellReading.objects.count() >= 5 and HoursNote.objects.count() >= 2
    between = between_shows(NOW)
    assert between.stored and between.expiring and between.capacity
    assert all(lot.left >= 0 for lot in lots_counted())
    assert cells_reckon(at=NOW).written == 0


def test_moving_the_demo_moves_its_cells(demo):
    before = dict(Swap.objects.values_list("pk", "done_at"))
    fitted, lots = dict(FittedSet.objects.values_list("pk", "fitted_at")), dict(CellLot.objects.values_list("pk", "expires_on"))
    demo_redate(today=DAY + timedelta(days=31))
    zone = Company.current().zone

    def days(then, now):
        return (now.astimezone(zone).date() - then.astimezone(zone).date()).days

    assert {days(before[s.pk], s.done_at) for s in Swap.objects.all()} == {31}
    assert {days(fitted[s.pk], s.fitted_at) for s in FittedSet.objects.all()} == {31}
    assert {(lot.expires_on - lots[lot.pk]).days for lot in CellLot.objects.exclude(expires_on=None)} == {31}


def test_a_stale_demo_moves_to_today_and_keeps_its_clock_times_over_a_change_of_the_clocks(demo):
    zone = Company.current().zone
    before = {s.pk: s.load_in.astimezone(zone) for s in Show.objects.all()}
    later = DAY + timedelta(days=45)  # the clocks go back in between
    assert demo_redate(today=later) == 45
    for show in Show.objects.all():
        moved = show.load_in.astimezone(zone)
        assert moved.date() == before[show.pk].date() + timedelta(days=45)
        assert moved.time() == before[show.pk].time()
    assert demo_redate(today=later) == 0
    assert Company.current().demo_dated == later


def test_the_demo_s_shows_are_planned_down_to_the_supply_of_a_place(demo):
    lines = {show.name: show.lines.filter(way="in").count() for show in Show.objects.exclude(lines=None).distinct()}
    assert lines["Quarry street fair"] >= 16 and lines["Harvest ceilidh"] >= 12 and len(lines) == 5
    fair = Show.objects.get(name="Quarry street fair")
    assert all(line.place and line.type for line in fair.lines.filter(way="in").select_related("place", "type"))
    assert set(fair.feeds_pressed.values_list("feed__name", flat=True)) == {"Generator A", "Generator B"}
    pressed = fair.feeds_pressed.first()
    before = pressed.pressed_at
    demo_redate(today=DAY + timedelta(days=3))
    pressed.refresh_from_db()
    assert pressed.pressed_at - before == timedelta(days=3)


def test_the_demo_tells_whom_it_should_and_falls_silent_when_it_is_done(demo, settings):
    """Two days of Saltmarsh Sound with the clock moved by hand: what is raised, told, closed, and put in the digest."""
    settings.SITE_ADDRESS = "https://gear.example.org"
    for username, email in (("owner", "rowan@example.org"), ("technician", "ines@example.org")):
        Person.objects.filter(username=username).update(email=email)

    def tick(at):
        before = len(mail.outbox)
        alerts_run(at=at)
        digests_make(at=at)
        deliveries_send(at=at)
        return mail.outbox[before:]

    # The program is opened. What is urgent is told at once, to the owner and the technician, once each.
    first = tick(NOW)
    told = [(letter.to[0], letter.subject) for letter in first]
    assert len(told) == len(set(told)) and {to for to, _subject in told} == {"rowan@example.org", "ines@example.org"}
    assert any("not home from Chapel supper" in subject for _to, subject in told)
    rules = set(Alert.objects.filter(closed_at=None).values_list("rule", flat=True))
    assert rules >= {"not-home", "swap-before-show", "show-trouble", "give-back", "retest-overdue"}
    assert tick(NOW + timedelta(minutes=5)) == []

    # The chapel's things are found and scanned back: the alert closes by itself and says so; nobody is mailed for it.
    supper = Show.objects.get(name="Chapel supper")
    away = list(Item.objects.filter(custody_show=supper.pk).values_list("code", flat=True))
    back = [{"id": str(uuid4()), "code": code, "action": "back", "happened_at": NOW.isoformat()} for code in away]
    hand = Person.objects.get(username="hand")
    scans_record(actor=hand, device="dock", sent_at=None, scans=back, received_at=NOW + timedelta(minutes=6))
    assert away and tick(NOW + timedelta(minutes=10)) == []
    alert = Alert.objects.get(rule="not-home", subject=f"show:{supper.pk}")
    assert alert.closed_at == NOW + timedelta(minutes=10) and alert.closed_says.startswith("It is all home")

    # Tomorrow at the digest's hour both are told what came to its end, in one letter each, once.
    morning = (NOW + timedelta(days=1)).replace(hour=7, minute=0)  # eight in London
    digests = [letter for letter in tick(morning) if "It is all home" in letter.body]
    assert sorted(letter.to[0] for letter in digests) == ["ines@example.org", "rowan@example.org"]
    assert tick(morning + timedelta(minutes=5)) == []

    # A cause that is gone does not come back; one that is still there is not raised twice.
    assert Alert.objects.filter(rule="not-home", subject=f"show:{supper.pk}").count() == 1
    assert Alert.objects.count() == Alert.objects.values("rule", "subject", "occasion").distinct().count()
