"""Absence, sleep and silence are told apart by the machine's own clocks."""

from datetime import timedelta

import pytest

from company.models import Absence, Pulse
from company.pulses import (
    CLOCK,
    SILENT_S,
    WORKER,
    Beats,
    Watch,
    absence_now,
    pulse_write,
    silence_ended,
)
from tests.builders import NOW

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


def beats(awake_s, asleep_s=0.0, boot="first"):
    return Beats(boot=boot, awake_s=awake_s, since_boot_s=awake_s + asleep_s)


def worker(at, of, **kw):
    return pulse_write(name=WORKER, at=at, beats=of, **kw)


def clock(at, of, started_at=NOW - HOUR):
    pulse_write(name=CLOCK, at=at, beats=of, started_at=started_at)


def test_a_short_gap_is_nothing(django_assert_num_queries):
    worker(NOW, beats(1000))
    with django_assert_num_queries(2):
        assert worker(NOW + timedelta(seconds=30), beats(1030)) is None
    assert Pulse.objects.get().at == NOW + timedelta(seconds=30) and not Absence.objects.exists()


def test_a_machine_that_slept_was_away_though_its_clock_process_lived():
    worker(NOW, beats(1000))
    clock(NOW + 8 * HOUR, beats(1010, 8 * 3600))
    assert worker(NOW + 8 * HOUR, beats(1020, 8 * 3600)) is not None
    kept = Absence.objects.get()
    assert (kept.since, kept.until, kept.machine_on) == (NOW, NOW + 8 * HOUR, False)
    assert absence_now(NOW + 8 * HOUR + timedelta(seconds=50)) == kept
    assert absence_now(NOW + 8 * HOUR + timedelta(minutes=6)) is None, "the next run of the rules is an ordinary one"
    assert silence_ended(NOW + 8 * HOUR) is None


def test_a_program_that_was_closed_was_away():
    worker(NOW, beats(1000))
    clock(NOW, beats(1000))
    clock(NOW + 2 * HOUR, beats(8200), started_at=NOW + 2 * HOUR)
    worker(NOW + 2 * HOUR, beats(8201))
    assert not Absence.objects.get().machine_on


def test_a_machine_that_was_off_was_away():
    worker(NOW, beats(90_000))
    clock(NOW, beats(90_000))
    clock(NOW + 2 * HOUR, beats(60, boot="second"), started_at=NOW + 2 * HOUR)
    worker(NOW + 2 * HOUR, beats(61, boot="second"))
    assert not Absence.objects.get().machine_on


def test_a_worker_that_alone_stood_still_is_no_absence_but_a_silence_to_tell_of():
    worker(NOW, beats(1000))
    clock(NOW + 2 * HOUR, beats(8200))
    worker(NOW + 2 * HOUR, beats(8201))
    kept = Absence.objects.get()
    assert kept.machine_on and absence_now(NOW + 2 * HOUR) is None
    assert silence_ended(NOW + 2 * HOUR + timedelta(minutes=1)) == kept
    assert silence_ended(NOW + 27 * HOUR) is None


def test_a_calendar_set_forward_or_back_is_no_absence():
    worker(NOW, beats(1000))
    assert worker(NOW + 5 * HOUR, beats(1030)) is None
    assert worker(NOW - 5 * HOUR, beats(1060)) is None
    assert Pulse.objects.get().at == NOW - 5 * HOUR, "the pulse goes on at the new time"
    assert not Absence.objects.exists()


def test_two_workers_that_wake_at_once_keep_one_absence():
    worker(NOW, beats(1000))
    until = NOW + 8 * HOUR
    worker(until, beats(1020, 8 * 3600))
    worker(until + timedelta(milliseconds=3), beats(1020, 8 * 3600))
    assert Absence.objects.count() == 1


def test_silence_is_said_after_awake_minutes_alone_and_ends_with_the_next_pulse(django_assert_num_queries):
    watch = Watch(started_s=500)
    worker(NOW, beats(1000))
    later = NOW + timedelta(seconds=SILENT_S)
    with django_assert_num_queries(1):
        assert watch.look(later, beats(1000 + SILENT_S)) is None
    assert watch.look(later, beats(1001 + SILENT_S)) == NOW
    worker(later, beats(1010 + SILENT_S))
    assert watch.look(later, beats(1011 + SILENT_S)) is None and watch.silent_since is None


def test_no_alarm_on_waking():
    watch = Watch(started_s=500)
    worker(NOW, beats(1000))
    assert watch.look(NOW, beats(1001)) is None
    assert watch.look(NOW + 8 * HOUR, beats(1004, 8 * 3600)) is None, "eight hours on the wall, three seconds awake"


def test_no_alarm_when_the_program_was_just_opened_again():
    worker(NOW, beats(1000))
    watch = Watch(started_s=8000)
    assert watch.look(NOW + 2 * HOUR, beats(8010)) is None
    assert watch.look(NOW + 2 * HOUR, beats(8001 + SILENT_S)) == NOW, "but a worker that never comes is said"


def test_a_pulse_from_another_machine_counts_from_when_it_was_seen():
    worker(NOW, beats(77, boot="other"))
    watch = Watch(started_s=500)
    assert watch.look(NOW, beats(9000)) is None
    assert watch.look(NOW, beats(9000 + SILENT_S)) is None
    assert watch.look(NOW, beats(9001 + SILENT_S)) == NOW


def test_a_worker_that_was_never_heard_is_silent_since_the_pages_began():
    watch = Watch(started_s=1000)
    assert watch.look(NOW, beats(1000 + SILENT_S)) is None
    assert watch.look(NOW, beats(1001 + SILENT_S)) == NOW - timedelta(seconds=SILENT_S + 1)
