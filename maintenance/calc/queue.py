"""I have so many minutes: what do I test? A list that fits, by what a minute at the bench catches before it costs something."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from maintenance.calc.retest_record import Floats, Ints
from maintenance.calc.retest_words import per_cent

# Proposals, all of them: how much a symptom somebody heard or a wetting says, how fast a show draws near, what a role weighs.
CHANCE_HEARD = 0.6  # of those reported from a stage, at least so many are bad
CHANCE_WET = 0.2
HALVES_EVERY_DAYS = 7.0  # a show a week further off is half as urgent
NO_SHOW = 0.1  # nothing is planned for it
OVERDUE_DOUBLES_DAYS = 60.0
SETUP_MINUTES = 3.0  # fetching a kind, its adapters and the procedure; once for all of a type
ROLE_WEIGHT = {"critical": 3.0, "normal": 1.0, "spare": 0.3}


@dataclass(frozen=True, kw_only=True, slots=True)
class Candidate:
    """One item that could be tested.

    `chance` that it is bad now, `sees` the share of what is bad that the test finds, `cost` cents of one failing in use.
    `show_on` and `show` are the first coming show that wants it or its kind, `role` how critical it is there (a key of
    ROLE_WEIGHT); `blocks` says that this show lacks known good ones unless it passes. `overdue_days` is negative before its
    day, None without one. `symptom` is what was heard; `called` why it was called in, such as wet.
    """

    item: int
    type: int
    noun: str = "item"
    minutes: float = 3.0
    chance: float = 0.0
    sees: float = 1.0
    cost: float = 1.0
    show_on: date | None = None
    show: str = ""
    role: str = "normal"
    blocks: bool = False
    overdue_days: int | None = None
    symptom: str = ""
    called: str = ""

    @property
    def wanted(self) -> bool:
        """Whether somebody or something waits for its test, beside the mere chance that it is bad."""
        return bool(self.blocks or self.symptom or self.called) or (self.overdue_days is not None and self.overdue_days >= 0)


@dataclass(frozen=True, kw_only=True)
class Pick:
    """One item on the list, why it is there, and the minutes that are gone once it is done."""

    candidate: Candidate
    why: str
    catches: float  # the chance that the test finds it bad
    done_at_minutes: float


@dataclass(frozen=True, kw_only=True)
class Plan:
    """The list in the order to work through it; `left_out` says in words what is not on it and what it would take."""

    picks: tuple[Pick, ...]
    minutes: float
    expected_bad: float
    left_out: tuple[str, ...]
    left_count: int
    left_minutes: float


def worth(candidates: Sequence[Candidate], today: date) -> Floats:
    """Return what testing each is worth: chance it is caught x what it would cost x how near the show is.

    A symptom or a wetting raises the chance to what such a thing is worth at least; being overdue raises it gently, to twice.
    """
    count = len(candidates)
    chance = np.fromiter((c.chance for c in candidates), np.float64, count)
    heard = np.fromiter((bool(c.symptom) for c in candidates), bool, count)
    called = np.fromiter((bool(c.called) for c in candidates), bool, count)
    sees = np.fromiter((c.sees for c in candidates), np.float64, count)
    cost = np.fromiter((c.cost * ROLE_WEIGHT.get(c.role, 1.0) for c in candidates), np.float64, count)
    days = np.fromiter((np.inf if c.show_on is None else (c.show_on - today).days for c in candidates), np.float64, count)
    overdue = np.fromiter((c.overdue_days or 0 for c in candidates), np.float64, count)
    chance = np.maximum(chance, np.where(heard, CHANCE_HEARD, np.where(called, CHANCE_WET, 0.0)))
    near = np.maximum(2.0 ** (-np.maximum(days, 0.0) / HALVES_EVERY_DAYS), NO_SHOW)
    return chance * sees * cost * near * (1.0 + np.clip(overdue / OVERDUE_DOUBLES_DAYS, 0.0, 1.0))


@dataclass(slots=True)
class _Shelf:
    """What is left to choose of one type, best first: worth and minutes of each, and where choosing has come to."""

    type: int
    index: Ints
    value: Floats
    minutes: Floats
    opened: bool = False


def plan(candidates: Sequence[Candidate], *, minutes: float, today: date, setup_minutes: float = SETUP_MINUTES) -> Plan:
    """Choose what to test in so many minutes, in order, with why; the same answer for the same question.

    Types are fetched once: a type's first item costs `setup_minutes` besides its own. What blocks a show comes first, the
    soonest show's before others; the rest by worth a minute. Greedy: the type whose best run of items, its set-up included, is
    worth most a minute is taken in hand, then the next; what still fits at the end fills up. Items take no part whose minutes
    or chance are nothing. Ties go to the lower item number.
    """
    usable = [c for c in candidates if c.minutes > 0 and (c.chance > 0 or c.wanted)]
    count = len(usable)
    value = worth(usable, today)
    spent = np.fromiter((c.minutes for c in usable), np.float64, count)
    kind = np.fromiter((c.type for c in usable), np.int64, count)
    number = np.fromiter((c.item for c in usable), np.int64, count)
    day = np.fromiter((c.show_on.toordinal() if c.blocks and c.show_on else 10**7 for c in usable), np.int64, count)
    chosen: list[int] = []
    left = float(minutes)
    open_types: set[int] = set()
    for show_day in [*np.unique(day[day < 10**7]).tolist(), None]:
        among = np.flatnonzero(day == show_day) if show_day is not None else np.flatnonzero(day == 10**7)
        left = _fill(among, value, spent, kind, number, left, setup_minutes, open_types, chosen)
    return _told(usable, chosen, value, today, minutes, setup_minutes)


def _fill(
    among: Ints,
    value: Floats,
    spent: Floats,
    kind: Ints,
    number: Ints,
    left: float,
    setup: float,
    open_types: set[int],
    chosen: list[int],
) -> float:
    """Choose from `among` what fits in `left`, add it to `chosen` and `open_types`, and return the minutes left."""
    rate = value[among] / spent[among]
    order = among[np.lexsort((number[among], -rate, kind[among]))]
    shelves = []
    cuts = np.flatnonzero(np.diff(kind[order])) + 1
    for part in np.split(order, cuts) if len(order) else []:
        # no more of a type than would fit if nothing else were done
        most = int(np.searchsorted(np.cumsum(np.sort(spent[part])), left, side="right"))
        keep = part[: max(most * 2, 1) + 8]
        shelves.append(_Shelf(int(kind[part[0]]), keep, value[keep], spent[keep], int(kind[part[0]]) in open_types))
    while True:
        best: tuple[float, int, int] | None = None
        for place, shelf in enumerate(shelves):
            room = left if shelf.opened else left - setup
            fits = shelf.minutes <= room
            if not fits.any():
                continue
            if shelf.opened:
                first = int(np.argmax(fits))
                found = (float(shelf.value[first] / shelf.minutes[first]), -place, first)
            else:
                total, used = np.cumsum(shelf.value), np.cumsum(shelf.minutes)
                whole = used <= room
                rates = np.where(whole, total / (used + setup), -1.0)
                run = int(np.argmax(rates))
                if rates[run] < 0:  # the best one alone does not fit: the first that does
                    run = int(np.argmax(fits))
                    found = (float(shelf.value[run] / (shelf.minutes[run] + setup)), -place, run)
                else:
                    found = (float(rates[run]), -place, 0)
            if best is None or found[:2] > best[:2]:
                best = found
        if best is None:
            return left
        shelf = shelves[-best[1]]
        take = best[2]
        if not shelf.opened:
            left -= setup
            shelf.opened = True
            open_types.add(shelf.type)
        chosen.append(int(shelf.index[take]))
        left -= float(shelf.minutes[take])
        keep = np.arange(len(shelf.index)) != take
        shelf.index, shelf.value, shelf.minutes = shelf.index[keep], shelf.value[keep], shelf.minutes[keep]


def _shown(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b}"


def why_of(candidate: Candidate, today: date) -> str:
    """Say in one sentence why an item is worth testing."""
    said = []
    if candidate.symptom:
        said.append(f"somebody reported: {candidate.symptom}")
    if candidate.called:
        said.append(f"called in: {candidate.called}")
    if candidate.blocks and candidate.show_on is not None:
        said.append(f"{candidate.show or 'the show'} on {_shown(candidate.show_on)} lacks known good ones without it")
    elif candidate.show_on is not None:
        role = {"critical": ", where it is critical", "spare": ", as a spare"}.get(candidate.role, "")
        said.append(f"wanted for {candidate.show or 'a show'} on {_shown(candidate.show_on)}{role}")
    if candidate.overdue_days is not None and candidate.overdue_days > 0:
        days = f"{candidate.overdue_days} {'day' if candidate.overdue_days == 1 else 'days'}"
        said.append(f"its test is {days} overdue")
    elif candidate.overdue_days == 0:
        said.append("its test is due today")
    said.append(f"{per_cent(candidate.chance)} that it is bad")
    whole = "; ".join(said)
    return whole[0].upper() + whole[1:]


def _told(usable: list[Candidate], chosen: list[int], value: Floats, today: date, minutes: float, setup: float) -> Plan:
    """Put the chosen in working order, types together in the order they were first chosen, and say what was left out."""
    rank: dict[int, int] = {}
    for index in chosen:
        rank.setdefault(usable[index].type, len(rank))
    place = {index: at for at, index in enumerate(chosen)}
    picks = []
    gone, at_hand = 0.0, None
    for index in sorted(chosen, key=lambda i: (rank[usable[i].type], place[i])):
        pick = usable[index]
        gone += pick.minutes + (setup if pick.type != at_hand else 0.0)
        at_hand = pick.type
        catches = pick.sees * max(pick.chance, CHANCE_HEARD if pick.symptom else CHANCE_WET if pick.called else 0.0)
        picks.append(Pick(candidate=pick, why=why_of(pick, today), catches=catches, done_at_minutes=round(gone, 6)))
    taken = set(chosen)
    waiting = [i for i, c in enumerate(usable) if c.wanted and i not in taken]
    fetched = {usable[i].type for i in chosen}
    more = sum(usable[i].minutes for i in waiting) + setup * len({usable[i].type for i in waiting} - fetched)
    said = []
    if waiting:
        said.append(
            f"{len(waiting)} more {'waits' if len(waiting) == 1 else 'wait'} for a test and would need {more:.0f} minutes."
        )
        blocking = sum(usable[i].blocks for i in waiting)
        if blocking:
            said.append(f"{blocking} of them {'holds' if blocking == 1 else 'hold'} up a show.")
        long = sum(usable[i].minutes + (0 if usable[i].type in fetched else setup) > minutes for i in waiting)
        if long:
            said.append(f"{long} {'takes' if long == 1 else 'take'} longer alone than the {minutes:.0f} minutes there are.")
    quiet = len(usable) - len(taken) - len(waiting)
    if quiet:
        said.append(f"{quiet} more could be tested, though nothing asks for it yet.")
    if not usable:
        said.append("Nothing asks for a test.")
    return Plan(
        picks=tuple(picks),
        minutes=round(gone, 6),
        expected_bad=sum(p.catches for p in picks),
        left_out=tuple(said),
        left_count=len(waiting),
        left_minutes=more,
    )
