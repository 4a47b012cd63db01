"""Show times: what a wall clock's reading means in a zone, the times nobody needs to type, and whether they run in order."""

from collections.abc import Collection
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from itertools import pairwise
from zoneinfo import ZoneInfo

# Judgement of the trade, no published source; every one of them can be overtyped.
LINE_CHECK_BEFORE_START = timedelta(hours=2)
STRIKE_AFTER_END = timedelta(minutes=30)
HOME_AFTER_STRIKE = timedelta(hours=2)
NIGHT_FROM = time(3, 0)  # a stage that goes on next day is off from then, at the latest, to the clock time of its line check
FIRST_YEAR, LAST_YEAR = 2000, 2099


class Reading(StrEnum):
    """How often a wall clock shows a time on that day."""

    ONCE = "once"
    NEVER = "never"
    TWICE = "twice"


@dataclass(frozen=True, kw_only=True)
class WallTime:
    """What a wall clock's reading means: `first` and `second` are the same instant unless it comes twice."""

    reading: Reading
    first: datetime
    second: datetime
    why: str = ""


def wall_read(wall: datetime, zone: ZoneInfo) -> WallTime:
    """Work out the instant a naive wall time stands for; say so if it never comes or comes twice that day."""
    early, late = wall.replace(tzinfo=zone, fold=0), wall.replace(tzinfo=zone, fold=1)
    first, second = early.astimezone(UTC), late.astimezone(UTC)
    said = f"{wall:%H:%M} on {wall:%a} {wall.day} {wall:%b}"
    if first.astimezone(zone).replace(tzinfo=None) != wall:
        # the clock jumps over it: with fold 0 the old offset is used, which lands as much too late as the clock jumped
        onward = first.astimezone(zone)
        why = f"{said} does not exist: the clocks go forward then. Did you mean {onward:%H:%M}?"
        return WallTime(reading=Reading.NEVER, first=first, second=first, why=why)
    if first != second:
        why = f"{said} comes twice: the clocks go back then. Say which one."
        return WallTime(reading=Reading.TWICE, first=first, second=second, why=why)
    return WallTime(reading=Reading.ONCE, first=first, second=first)


@dataclass(frozen=True, kw_only=True)
class ShowTimes:
    """A show's six instants in UTC and the first and last day its gear is held."""

    hold_from: date
    load_in: datetime
    line_check: datetime
    start: datetime
    end: datetime
    strike: datetime
    home_by: datetime
    hold_until: date

    def as_fields(self) -> dict[str, date | datetime]:
        return {f.name: getattr(self, f.name) for f in fields(self)}


def show_times(
    *,
    load_in: datetime,
    start: datetime,
    end: datetime,
    zone: ZoneInfo,
    line_check: datetime | None = None,
    strike: datetime | None = None,
    home_by: datetime | None = None,
    hold_from: date | None = None,
    hold_until: date | None = None,
) -> ShowTimes:
    """Fill in what was not typed: line check 2 h before the start but not before load-in, strike 30 min after the end, home
    2 h after that, gear held from the day of load-in to the day it is home (days in the company's zone)."""
    line_check = line_check or max(load_in, start - LINE_CHECK_BEFORE_START)
    strike = strike or end + STRIKE_AFTER_END
    home_by = home_by or strike + HOME_AFTER_STRIKE
    return ShowTimes(
        hold_from=hold_from or load_in.astimezone(zone).date(),
        load_in=load_in,
        line_check=line_check,
        start=start,
        end=end,
        strike=strike,
        home_by=home_by,
        hold_until=hold_until or home_by.astimezone(zone).date(),
    )


def running_time(first: datetime, last: datetime, zone: ZoneInfo) -> timedelta:
    """Return how long a stage is on between its line check and `last`: of a show of several days, not the nights between.

    A night is from 03:00 to the clock time of the line check, where the show goes on after that; both in `zone`.
    """
    on = last - first
    checked = first.astimezone(zone)
    if checked.time() <= NIGHT_FROM:
        return on
    day = checked.date() + timedelta(days=1)
    while (again := datetime.combine(day, checked.time(), tzinfo=zone)) < last:
        on -= again.astimezone(UTC) - datetime.combine(day, NIGHT_FROM, tzinfo=zone).astimezone(UTC)
        day += timedelta(days=1)
    return on


_ORDER = ["load_in", "line_check", "start", "end", "strike", "home_by"]
_WORDS = {
    "load_in": "the load-in",
    "line_check": "the line check",
    "start": "the start",
    "end": "the end",
    "strike": "the strike",
    "home_by": "the time to be home",
}


def out_of_order(times: ShowTimes, zone: ZoneInfo, *, typed: Collection[str] = ()) -> dict[str, str]:
    """Return a sentence for each time that comes before the one it must follow, by field; empty when all is well.

    Times that were `typed` are told against each other first, so that nobody reads of a time that was filled in for them.
    """
    wrong: dict[str, str] = {}
    for before, after in [*pairwise(name for name in _ORDER if name in typed), *pairwise(_ORDER)]:
        earlier, later = getattr(times, before), getattr(times, after)
        if after in wrong:
            continue
        if later < earlier:
            said = _say(after, later, zone)
            wrong[after] = f"{said[0].upper()}{said[1:]} comes before {_say(before, earlier, zone)}."
        elif after == "end" and later == earlier:
            wrong[after] = "It ends at the minute it starts."
    if times.hold_from > times.load_in.astimezone(zone).date():
        wrong["hold_from"] = "Gear must be held from the day of load-in at the latest."
    if times.hold_until < times.home_by.astimezone(zone).date():
        wrong["hold_until"] = "Gear must be held until the day it is home at the earliest."
    return wrong


def _say(name: str, at: datetime, zone: ZoneInfo) -> str:
    local = at.astimezone(zone)
    return f"{_WORDS[name]} ({local:%a} {local.day} {local:%b}, {local:%H:%M})"


def shifted_weeks(wall: datetime, after: datetime) -> datetime:
    """Move a naive wall time on by whole weeks until it lies after another: the same weekday and hour, next time."""
    weeks = max(0, (after - wall).days // 7)
    moved = wall + timedelta(weeks=weeks)
    while moved <= after:
        moved += timedelta(weeks=1)
    return moved
