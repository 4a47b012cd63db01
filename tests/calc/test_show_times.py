"""Show times: wall clocks in gaps and overlaps, defaults, order."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shows.calc.lede import Facts, lede
from shows.calc.times import Reading, ShowTimes, out_of_order, running_time, shifted_weeks, show_times, wall_read

LONDON, NEW_YORK = ZoneInfo("Europe/London"), ZoneInfo("America/New_York")


@pytest.mark.parametrize(
    ("zone", "wall", "meant"),
    [(LONDON, datetime(2026, 3, 29, 1, 30), "02:30"), (NEW_YORK, datetime(2026, 3, 8, 2, 15), "03:15")],
)
def test_a_time_the_clocks_jump_over_is_named_with_what_was_meant(zone, wall, meant):
    read = wall_read(wall, zone)
    assert read.reading is Reading.NEVER
    assert meant in read.why


@pytest.mark.parametrize(
    ("zone", "wall", "first", "second"),
    [
        (LONDON, datetime(2026, 10, 25, 1, 30), datetime(2026, 10, 25, 0, 30), datetime(2026, 10, 25, 1, 30)),
        (NEW_YORK, datetime(2026, 11, 1, 1, 30), datetime(2026, 11, 1, 5, 30), datetime(2026, 11, 1, 6, 30)),
    ],
)
def test_a_time_that_comes_twice_has_two_meanings(zone, wall, first, second):
    read = wall_read(wall, zone)
    assert read.reading is Reading.TWICE
    assert (read.first, read.second) == (first.replace(tzinfo=UTC), second.replace(tzinfo=UTC))


@given(
    st.datetimes(datetime(2000, 1, 1), datetime(2099, 12, 1)), st.sampled_from([LONDON, NEW_YORK, ZoneInfo("Australia/Sydney")])
)
def test_an_ordinary_wall_time_reads_back_as_itself(wall, zone):
    read = wall_read(wall, zone)
    if read.reading is Reading.NEVER:
        assert read.first.astimezone(zone).replace(tzinfo=None) != wall
    else:
        assert read.first.astimezone(zone).replace(tzinfo=None) == wall
        assert read.second.astimezone(zone).replace(tzinfo=None) == wall


def at(hour, minute=0, day=25):
    return datetime(2026, 9, day, hour, minute, tzinfo=UTC)


def times(**kw) -> ShowTimes:
    return show_times(**{"load_in": at(12), "start": at(18), "end": at(21), "zone": LONDON, **kw})


def test_what_was_not_typed_follows_from_what_was():
    made = times()
    assert made.line_check == at(16)
    assert made.strike == at(21, 30)
    assert made.home_by == at(23, 30)
    assert made.hold_from == at(12).date()
    assert made.hold_until == at(23, 30).astimezone(LONDON).date() == at(0, day=26).date()
    assert not out_of_order(made, LONDON)


def test_line_check_is_never_before_load_in():
    assert times(load_in=at(17)).line_check == at(17)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("start", at(11)),
        ("end", at(17)),
        ("strike", at(20)),
        ("home_by", at(21)),
        ("line_check", at(11)),
    ],
)
def test_each_time_out_of_order_has_a_sentence_of_its_own(field, value):
    wrong = out_of_order(times(**{field: value}), LONDON)
    assert any("comes before" in sentence for sentence in wrong.values())


def test_a_show_ends_after_it_starts():
    assert "end" in out_of_order(times(end=at(18), strike=at(19)), LONDON)


def test_gear_is_held_for_all_of_the_show():
    wrong = out_of_order(times(hold_from=at(0, day=26).date(), hold_until=at(0, day=24).date()), LONDON)
    assert set(wrong) == {"hold_from", "hold_until"}


@given(st.datetimes(datetime(2020, 1, 1), datetime(2030, 1, 1)), st.datetimes(datetime(2020, 1, 1), datetime(2030, 1, 1)))
def test_a_copied_show_keeps_its_weekday_and_hour_and_lies_ahead(wall, after):
    moved = shifted_weeks(wall, after)
    assert moved > after
    assert (moved - wall) % timedelta(weeks=1) == timedelta(0)
    assert moved >= wall
    assert moved == wall or moved - timedelta(weeks=1) <= after


def test_today_is_said_with_its_numbers():
    now = datetime(2026, 9, 25, 9, 40)
    facts = Facts(now=now, outs=((datetime(2026, 9, 25, 11, 30), datetime(2026, 9, 26, 1, 30)),), late_things=2, wanting=2)
    assert lede(facts) == (
        "One show goes out at 11:30 and is home by Sat 26 Sep, 01:30. "
        "Two things are still out past their day, and two want a person."
    )


def test_an_empty_day_is_quiet_and_honest():
    now = datetime(2026, 9, 25, 9, 40)
    assert lede(Facts(now=now, any_show=False)) == "No show is planned yet."
    assert lede(Facts(now=now)) == "Nothing goes out today, and no show is planned ahead."
    ahead = Facts(now=now, next_load=datetime(2026, 10, 2, 8, 0), wanting=1)
    assert lede(ahead) == "Nothing goes out today; the next show loads Fri 2 Oct, 08:00. One thing wants a person."


def test_a_stage_is_on_from_line_check_to_end_but_not_the_nights_between():
    zone = ZoneInfo("Europe/London")

    def at(day, hour, minute=0):
        return datetime(2026, 10, day, hour, minute, tzinfo=zone)

    assert running_time(at(3, 17), at(3, 23), zone) == timedelta(hours=6)
    assert running_time(at(3, 17), at(4, 4, 30), zone) == timedelta(hours=11, minutes=30)  # a long night, not two days
    # 10:00 to 03:00, off, 10:00 to 22:00
    assert running_time(at(3, 10), at(4, 22), zone) == timedelta(hours=29)
    assert running_time(at(3, 10), at(5, 22), zone) == timedelta(hours=17 + 17 + 12)
    # the clocks go back in the night of 25 October: the night has an hour more, what ran has not
    assert running_time(at(24, 10), at(25, 22), zone) == timedelta(hours=29)
    assert running_time(at(3, 2), at(4, 22), zone) == timedelta(hours=44)  # checked in the night: no rule of thumb
