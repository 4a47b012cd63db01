"""Quiet hours, the hour of the digest, pauses: also on the nights the clocks change."""

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.calc.telling import PAUSES, digest_day, instant_of, pause_after, quiet_end

LONDON = ZoneInfo("Europe/London")
# a whole hour, half an hour, at midnight itself, none at all
ZONES = [ZoneInfo(name) for name in ("Europe/London", "Australia/Lord_Howe", "America/Havana", "Asia/Kolkata", "UTC")]


def utc(*parts):
    return datetime(*parts, tzinfo=UTC)


def test_quiet_hours_across_midnight():
    assert quiet_end(utc(2026, 6, 5, 21, 30), LONDON, time(22), time(7)) == utc(2026, 6, 6, 6)
    assert quiet_end(utc(2026, 6, 6, 5, 59), LONDON, time(22), time(7)) == utc(2026, 6, 6, 6)
    assert quiet_end(utc(2026, 6, 6, 6), LONDON, time(22), time(7)) is None
    assert quiet_end(utc(2026, 6, 5, 20, 59), LONDON, time(22), time(7)) is None


def test_quiet_hours_within_a_day_and_none():
    assert quiet_end(utc(2026, 1, 5, 13), LONDON, time(12), time(14)) == utc(2026, 1, 5, 14)
    assert quiet_end(utc(2026, 1, 5, 14), LONDON, time(12), time(14)) is None
    assert quiet_end(utc(2026, 1, 5, 13), LONDON, None, time(14)) is None
    assert quiet_end(utc(2026, 1, 5, 13), LONDON, time(12), time(12)) is None


def test_quiet_hours_end_by_the_new_clock_when_it_changes_in_the_night():
    assert quiet_end(utc(2026, 3, 28, 23), LONDON, time(22), time(7)) == utc(2026, 3, 29, 6)
    assert quiet_end(utc(2026, 10, 24, 22), LONDON, time(22), time(7)) == utc(2026, 10, 25, 7)


def test_an_hour_that_is_leapt_over_and_one_that_comes_twice_are_one_instant():
    assert instant_of(date(2026, 3, 29), time(1, 30), LONDON) == utc(2026, 3, 29, 1, 30)
    assert instant_of(date(2026, 10, 25), time(1, 30), LONDON) == utc(2026, 10, 25, 0, 30)


@pytest.mark.parametrize("night", [date(2026, 3, 29), date(2026, 10, 25)], ids=str)
@pytest.mark.parametrize("hour", [time(0), time(0, 59), time(1), time(1, 30), time(2), time(8), time(23, 59)], ids=str)
def test_each_day_has_one_digest_on_both_nights_the_clock_changes(night, hour):
    at, seen = utc(night.year, night.month, night.day) - timedelta(days=2), []
    while at < utc(night.year, night.month, night.day) + timedelta(days=2):
        day = digest_day(at, LONDON, hour)
        if not seen or day != seen[-1]:
            seen.append(day)
        at += timedelta(minutes=1)
    assert seen == sorted(set(seen)), "no day comes twice, none goes back"
    assert night in seen and all(b - a == timedelta(days=1) for a, b in pairwise(seen))


moments = st.datetimes(datetime(2024, 1, 1), datetime(2030, 1, 1)).map(lambda at: at.replace(tzinfo=UTC))


@given(moments, st.sampled_from(ZONES), st.times(), st.times())
def test_the_end_of_quiet_hours_is_later_within_a_day_and_out_of_them(at, zone, start, end):
    over = quiet_end(at, zone, start, end)
    if over is not None:
        assert at < over <= at + timedelta(hours=25)
        assert over.astimezone(zone).time() >= end or over.astimezone(zone).time() < start


@given(moments, st.sampled_from(ZONES), st.times())
def test_the_day_of_a_digest_is_due_and_the_next_is_not(at, zone, hour):
    day = digest_day(at, zone, hour)
    assert instant_of(day, hour, zone) <= at < instant_of(day + timedelta(days=1), hour, zone)


def test_pauses_grow_to_an_hour():
    assert [pause_after(n) for n in (1, 2, 3, 4, 5, 99)] == [*PAUSES, PAUSES[-1], PAUSES[-1]]
