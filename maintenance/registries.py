"""What maintenance asks the floor above: shows fills these in its `ready()`."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime

from company.registry import Registry
from inventory.models import Item
from maintenance.calc.cell_words import Stakes
from maintenance.calc.symptoms import Found

# Of a show's key and an instant: line check, show, after; empty before load-in, for what is no show, or a cancelled one.
WHEN_FOUND: Registry[Callable[[int, datetime], str]] = Registry("when in that show was this?")


def when_found(show: int | None, at: datetime) -> str:
    """Say as a `Found` when in a show an instant was, asking the floor above; empty where nobody knows."""
    if show is None:
        return ""
    return next((Found(said) for answer in WHEN_FOUND if (said := answer(show, at))), "")


@dataclass(frozen=True, kw_only=True)
class Coming:
    """So many of a type and length that a coming show takes along, or one particular item (`item_id`).

    `day` is the day it loads in, at `load_in`: by then it must be proved. `length_mm` 0 is any length. `count` is what is still
    to go; `out` went out to it already.
    """

    type_id: int
    length_mm: int = 0
    item_id: int | None = None
    count: int = 1
    critical: bool = False
    show: int
    name: str
    url: str
    day: date
    load_in: datetime | None = None
    out: int = 0


# Of a first and a last day: what the shows that begin to hold gear in between take along, the soonest first.
COMING: Registry[Callable[[date, date], Iterable[Coming]]] = Registry("what do coming shows take along?")


def coming_between(first: date, last: date) -> list[Coming]:
    """Return what shows from a day to a day take along and have not got yet, asking the floor above; the soonest first."""
    return [one for one in coming_all(first, last) if one.count > 0]


def coming_all(first: date, last: date) -> list[Coming]:
    """Return what shows from a day to a day take along, what is out to them already too; the soonest first."""
    found = [one for answer in COMING for one in answer(first, last)]
    return sorted(found, key=lambda one: (one.day, one.show, one.type_id, one.length_mm, one.item_id or 0))


# Of a show's key and an instant: the items that were out to it then (at its end, once it is over); None for what is no show.
OUT_WITH: Registry[Callable[[int, datetime], list[Item] | None]] = Registry("what was out to this show then?")


def out_with(show: int, at: datetime) -> list[Item] | None:
    """Return the items that were out to a show at an instant, asking the floor above; None where there is no such show."""
    return next((found for answer in OUT_WITH if (found := answer(show, at)) is not None), None)


@dataclass(frozen=True, kw_only=True)
class DeviceNeed:
    """What a show asks of one powered thing, or of so many of a type that nobody has chosen yet (`item` none).

    `need_h` runs from line check (once under way: from now) to the end, to strike where it stays on (`to_strike`). `feed` is
    cells, phantom or mains; `assumed` where nobody said so for this line. `on_line` is false for what only comes along.
    """

    type_id: int
    item: Item | None = None
    count: int = 1
    line: str = ""
    need_h: float
    to_strike: bool = False
    feed: str = "cells"
    assumed: bool = False
    phantom_seen: bool = False
    phantom_url: str = ""  # where "phantom seen at this box" is ticked
    stakes: Stakes = Stakes.NORMAL
    spare: bool = False
    on_line: bool = True
    out: bool = False


@dataclass(frozen=True, kw_only=True)
class ShowNeeds:
    """A show and what it asks of powered things, by line."""

    key: int
    name: str
    url: str
    load_in: datetime
    line_check: datetime
    start: datetime
    end: datetime
    strike: datetime
    rehearsal: bool
    over: bool
    needs: tuple[DeviceNeed, ...]
    under_way: bool = False  # line check is past and it is not over: needs are what is left of it
    nights_out: bool = False  # it runs over more than a day, and the nights between are not counted


# Of shows' keys: what each asks of powered things; what is no show, or a cancelled one, is left out. Constant queries.
SHOW_NEEDS: Registry[Callable[[list[int], datetime], list[ShowNeeds]]] = Registry("what do these shows ask of powered things?")
# Of a first and a last instant: the keys of planned shows that load in between, the soonest first.
COMING_SHOWS: Registry[Callable[[datetime, datetime], list[int]]] = Registry("which shows are coming?")


def show_needs(show: int, at: datetime) -> ShowNeeds | None:
    """Return what a show asks of powered things; None for what is no show or a cancelled one."""
    return next((found for answer in SHOW_NEEDS for found in answer([show], at)), None)


def coming_needs(at: datetime, until: datetime) -> list[ShowNeeds]:
    """Return what the shows that are not over by `at` and load in by `until` ask of powered things, the soonest first.

    The first that names an item is that item's next show. Constant queries.
    """
    keys = [key for answer in COMING_SHOWS for key in answer(at, until)]
    found = [one for answer in SHOW_NEEDS for one in answer(keys, at)] if keys else []
    return sorted(found, key=lambda one: (one.load_in, one.key))


# Of names in the use ledger (`show:17`): when what was used then was on, from line check to end.
USED_WHEN: Registry[Callable[[set[str]], dict[str, tuple[datetime, datetime]]]] = Registry("when was it on then?")


def used_when(occasions: set[str]) -> dict[str, tuple[datetime, datetime]]:
    """Return {occasion: (on from, off at)}, asking the floor above; what it does not know is left out."""
    found: dict[str, tuple[datetime, datetime]] = {}
    for answer in USED_WHEN if occasions else ():
        found.update(answer(occasions))
    return found
