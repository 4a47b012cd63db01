"""Which way the dock points, by the show's times."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shows.calc.direction import NEAR_AFTER, Times, Way, distance, guess, is_near, steps, turned

LOAD_IN = datetime(2026, 9, 25, 11, 30, tzinfo=UTC)
TIMES = Times(
    load_in=LOAD_IN,
    end=LOAD_IN + timedelta(hours=9),
    strike=LOAD_IN + timedelta(hours=10),
    home_by=LOAD_IN + timedelta(hours=14),
)


@pytest.mark.parametrize(
    ("hours", "way"),
    [(-30, Way.OUT), (-0.1, Way.OUT), (0, Way.OUT), (8, Way.OUT), (9.4, Way.OUT), (9.5, Way.TRUCK), (10, Way.TRUCK)],
)
def test_out_until_the_show_is_being_struck(hours, way):
    assert guess(TIMES, LOAD_IN + timedelta(hours=hours)).way == way


@pytest.mark.parametrize("hours", [13, 14, 15, 200])
def test_back_once_the_truck_should_be_home(hours):
    assert guess(TIMES, LOAD_IN + timedelta(hours=hours)).way == Way.BACK


def test_still_the_truck_on_the_way_home():
    assert guess(TIMES, LOAD_IN + timedelta(hours=12, minutes=59)).way == Way.TRUCK


def test_every_guess_says_why():
    assert all(step.why for step in steps(TIMES))


def test_three_taps_turn_all_the_way_round():
    assert [turned(Way.OUT), turned(Way.TRUCK), turned(Way.BACK)] == [Way.TRUCK, Way.BACK, Way.OUT]


def test_a_show_without_time_for_a_strike_still_has_an_answer():
    times = Times(load_in=LOAD_IN, end=LOAD_IN, strike=LOAD_IN, home_by=LOAD_IN)
    assert guess(times, LOAD_IN).way == Way.BACK
    assert guess(times, LOAD_IN - timedelta(seconds=1)).way == Way.OUT


@given(st.lists(st.integers(0, 600), min_size=3, max_size=3), st.integers(-3000, 6000), st.integers(0, 3000))
def test_time_never_turns_a_show_round(gaps, minute, later):
    """As time passes a show goes out, on the truck, back: never the other way."""
    minutes = [sum(gaps[: i + 1]) for i in range(3)]
    times = Times(
        load_in=LOAD_IN,
        end=LOAD_IN + timedelta(minutes=minutes[0]),
        strike=LOAD_IN + timedelta(minutes=minutes[1]),
        home_by=LOAD_IN + timedelta(minutes=minutes[2]),
    )
    order = [Way.OUT, Way.TRUCK, Way.BACK]
    first = guess(times, LOAD_IN + timedelta(minutes=minute)).way
    second = guess(times, LOAD_IN + timedelta(minutes=minute + later)).way
    assert order.index(first) <= order.index(second)
    since = [step.since for step in steps(times)[1:]]
    assert since == sorted(since)


def test_near_until_two_days_after_home():
    assert is_near(TIMES, LOAD_IN)
    assert is_near(TIMES, TIMES.home_by + NEAR_AFTER)
    assert not is_near(TIMES, TIMES.home_by + NEAR_AFTER + timedelta(seconds=1))
    assert not is_near(TIMES, LOAD_IN - timedelta(days=2, seconds=1))


def test_a_show_under_way_is_nearest_of_all():
    assert distance(TIMES, LOAD_IN + timedelta(hours=1)) == timedelta(0)
    assert distance(TIMES, LOAD_IN - timedelta(hours=2)) == timedelta(hours=2)
    assert distance(TIMES, TIMES.home_by + timedelta(hours=3)) == timedelta(hours=3)
