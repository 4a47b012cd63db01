"""The digest: once a day, what was raised and what closed by itself since the one before, for whom it is."""

from datetime import UTC, datetime, time, timedelta

import pytest
from django.core import mail
from django.db import connection
from django.test.utils import CaptureQueriesContext

from maintenance.models import Alert, Delivery, Digest, RuleRun, Telling
from maintenance.services.digests import CLOSED_MOST, GROUP_MOST
from maintenance.services.outbox import deliveries_send, digests_make
from tests.builders import make_person

EIGHT = datetime(2026, 6, 5, 7, 0, tzinfo=UTC)  # London: 08:00
NIGHTS = [datetime(2026, 3, 29, tzinfo=UTC), datetime(2026, 10, 25, tzinfo=UTC)]
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


def make_alert(**kw):
    kw = {"rule": "retest-soon", "subject": "item:1", "title": "Test lead A", "says": "Test it.", "url": "/a/x/", **kw}
    return Alert.objects.create(**{"occasion": f"{Alert.objects.count()}", "raised_at": EIGHT - HOUR, **kw})


def close(alert, at, how="gone", says="It was tested."):
    Alert.objects.filter(pk=alert.pk).update(closed_at=at, closed_how=how, closed_says=says)


@pytest.fixture
def bo(company, settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    return make_person("technician", username="bo", email="bo@example.org")


def letters(at):
    """Make what is due, send it, and return what arrived of it."""
    before = len(mail.outbox)
    digests_make(at=at)
    deliveries_send(at=at)
    return [letter for letter in mail.outbox[before:] if letter.to == ["bo@example.org"]]


def days_of(bo, start, end, step=timedelta(minutes=10)):
    """Ask every few minutes from one instant to another, raising an alert each time; return how many letters a local day."""
    at, counts = start, {}
    while at < end:
        make_alert(raised_at=at - timedelta(minutes=1))
        for _ in letters(at):
            day = Digest.objects.filter(person=bo).latest("day").day
            counts[day] = counts.get(day, 0) + 1
        at += step
    return counts


def test_it_lists_what_is_new_what_closed_and_why_and_how_many_are_open(bo):
    make_alert(raised_at=EIGHT - 3 * DAY, title="Test lead old")
    closed = make_alert(raised_at=EIGHT - 2 * DAY, title="Test lead B")
    close(closed, EIGHT - HOUR, says="It was tested, and is known good.")
    make_alert(title="Test lead A", says="Test it before Friday.")
    (letter,) = letters(EIGHT)
    assert letter.subject == "Fri 5 Jun: 1 new, 1 seen to"
    for body in (letter.body, letter.alternatives[0][0]):
        assert "Test lead A" in body and "Test it before Friday." in body
        assert "Test lead B" in body and "It was tested, and is known good." in body
        assert "Test lead old" not in body
        assert "1 is new, 1 closed by itself, 2 are open now." in body


def test_nobody_is_told_twice_that_day_and_the_next_day_lists_the_rest(bo):
    make_alert(title="Test lead A")
    assert len(letters(EIGHT)) == 1
    make_alert(title="Test lead B", raised_at=EIGHT + HOUR)
    assert letters(EIGHT + 2 * HOUR) == [] and letters(EIGHT + 23 * HOUR) == []
    (letter,) = letters(EIGHT + DAY)
    assert "Test lead B" in letter.body and "Test lead A" not in letter.body


def test_an_empty_digest_is_not_sent(bo):
    make_alert(raised_at=EIGHT - 3 * DAY)
    by_hand = make_alert(raised_at=EIGHT - 3 * DAY)
    close(by_hand, EIGHT - HOUR, how="hand")
    assert letters(EIGHT) == []
    make_alert(raised_at=EIGHT + HOUR)
    assert letters(EIGHT + 2 * HOUR) == [], "that waits for the next day's hour"
    assert len(letters(EIGHT + DAY)) == 1


def test_what_is_told_by_itself_is_not_listed_as_new(bo):
    make_alert(digest=False)
    assert letters(EIGHT) == []


def test_a_hand_is_not_told_what_is_a_technicians(bo):
    make_person("hand", username="joss", email="joss@example.org")
    make_alert()
    letters(EIGHT)
    assert [letter.to for letter in mail.outbox] == [["bo@example.org"]]


def test_it_goes_at_ones_own_hour_in_ones_own_zone_also_in_quiet_hours(bo):
    Telling.objects.create(person=bo, time_zone="Asia/Tokyo", digest_at=time(6), quiet_from=time(22), quiet_until=time(7))
    make_alert(raised_at=EIGHT - 12 * HOUR)
    six = datetime(2026, 6, 4, 21, 0, tzinfo=UTC)  # Tokyo: the 5th, 06:00
    digests_make(at=six - DAY)
    assert letters(six - timedelta(minutes=1)) == []
    (letter,) = letters(six)
    assert letter.subject.startswith("Fri 5 Jun")


def test_no_hour_no_digest(bo):
    Telling.objects.create(person=bo, digest_at=None)
    make_alert()
    assert letters(EIGHT) == [] and not Digest.objects.exists()


def test_a_machine_asleep_at_that_hour_sends_it_once_on_waking(bo):
    letters(EIGHT)
    make_alert(title="Test lead A", raised_at=EIGHT + HOUR)
    make_alert(title="Test lead B", raised_at=EIGHT + 3 * DAY)
    (letter,) = letters(EIGHT + 3 * DAY + 5 * HOUR)
    assert "Test lead A" in letter.body and "Test lead B" in letter.body
    assert letters(EIGHT + 3 * DAY + 6 * HOUR) == []


@pytest.mark.parametrize("hour", [time(0, 30), time(1, 30), time(2, 30)], ids=str)
@pytest.mark.parametrize(
    "night", [datetime(2026, 3, 29, tzinfo=UTC), datetime(2026, 10, 25, tzinfo=UTC)], ids=["spring", "autumn"]
)
def test_exactly_once_a_day_on_the_nights_the_clock_changes(bo, night, hour):
    Telling.objects.create(person=bo, digest_at=hour)
    digests_make(at=night - 26 * HOUR)
    counts = days_of(bo, night - 20 * HOUR, night + 30 * HOUR, timedelta(minutes=30))
    assert set(counts.values()) == {1} and night.date() in counts and len(counts) >= 2, counts


def test_long_groups_are_cut_with_a_number(bo):
    for n in range(GROUP_MOST + 12):
        make_alert(title=f"Test lead {n}.")
    for _ in range(CLOSED_MOST + 3):
        close(make_alert(raised_at=EIGHT - 2 * DAY, title="Closed"), EIGHT - HOUR)
    (letter,) = letters(EIGHT)
    assert "and 12 more of these." in letter.body and "and 3 more of these." in letter.body
    assert letter.body.count("Test lead ") == GROUP_MOST


def test_a_run_under_way_hides_nothing_from_the_digest(bo):
    """What a run writes after the digest was made, with the instant it began at, stands in the next digest."""
    RuleRun.objects.create(rule="retest-soon", began_at=EIGHT - timedelta(seconds=5))
    make_alert(title="Early", raised_at=EIGHT - HOUR)
    (letter,) = letters(EIGHT)
    assert "Early" in letter.body
    make_alert(title="Late", raised_at=EIGHT - timedelta(seconds=5))
    RuleRun.objects.update(ended_at=EIGHT + timedelta(seconds=5))
    (letter,) = letters(EIGHT + DAY)
    assert "Late" in letter.body


def test_two_at_once_make_one(bo):
    make_alert()
    assert digests_make(at=EIGHT) == 1
    assert digests_make(at=EIGHT) == 0
    assert Delivery.objects.count() == 1


def test_who_has_left_gets_none_that_was_made(bo):
    make_alert()
    digests_make(at=EIGHT)
    type(bo).objects.filter(pk=bo.pk).update(is_active=False)
    assert deliveries_send(at=EIGHT).dropped == 1 and mail.outbox == []


def test_asking_again_costs_the_same_for_many_people(bo):
    letters(EIGHT)
    with CaptureQueriesContext(connection) as one:
        digests_make(at=EIGHT + HOUR)
    for n in range(30):
        make_person("technician", username=f"t{n}", email=f"t{n}@example.org")
    letters(EIGHT + DAY)
    with CaptureQueriesContext(connection) as many:
        digests_make(at=EIGHT + DAY + HOUR)
    assert len(one) == len(many) <= 9
