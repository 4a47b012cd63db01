"""Which way gear moves now, guessed from a show's times: out before load-in, on the truck from strike, back once home."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum


class Way(StrEnum):
    OUT = "out"
    TRUCK = "truck"
    BACK = "back"


WAY_WORDS = {Way.OUT: "Out", Way.TRUCK: "On the truck", Way.BACK: "Back"}
_NEXT = {Way.OUT: Way.TRUCK, Way.TRUCK: Way.BACK, Way.BACK: Way.OUT}

# Hands begin to load while the last song plays: the truck is meant from this long before strike.
TRUCK_BEFORE_STRIKE = timedelta(minutes=30)
# A truck that is early is unloaded at the shop before "home by": back is meant from this share of the way home on.
HOMEWARD_SHARE = 0.75
# A show is near from two days before its load-in until two days after it should be home.
NEAR_BEFORE = timedelta(days=2)
NEAR_AFTER = timedelta(days=2)


@dataclass(frozen=True, kw_only=True)
class Times:
    """The instants of a show that direction follows from."""

    load_in: datetime
    end: datetime
    strike: datetime
    home_by: datetime


@dataclass(frozen=True, kw_only=True)
class Step:
    """From an instant on, gear goes this way, and why."""

    since: datetime | None
    way: Way
    why: str


def steps(times: Times) -> tuple[Step, ...]:
    """Return the ways of a show in order of time; the first has no beginning. A device picks the last that has begun."""
    truck_at = max(times.end, times.strike - TRUCK_BEFORE_STRIKE)
    back_at = times.strike + (times.home_by - times.strike) * HOMEWARD_SHARE
    return (
        Step(since=None, way=Way.OUT, why="it has not loaded in yet"),
        Step(since=times.load_in, way=Way.OUT, why="the show is under way: what is fetched later goes out too"),
        Step(since=truck_at, way=Way.TRUCK, why="the show is being struck"),
        Step(since=back_at, way=Way.BACK, why="the truck should be home"),
    )


def guess(times: Times, at: datetime) -> Step:
    """Return the step that holds at an instant."""
    return [step for step in steps(times) if step.since is None or step.since <= at][-1]


def turned(way: Way) -> Way:
    """Return the way one tap turns to: out, on the truck, back, and out again."""
    return _NEXT[way]


def is_near(times: Times, at: datetime) -> bool:
    """Say whether a hand at the dock could mean this show."""
    return times.load_in - NEAR_BEFORE <= at <= times.home_by + NEAR_AFTER


def distance(times: Times, at: datetime) -> timedelta:
    """Return how far an instant is from what happens next at the dock: nothing between load-in and home, else the gap."""
    if at < times.load_in:
        return times.load_in - at
    if at > times.home_by:
        return at - times.home_by
    return timedelta(0)
