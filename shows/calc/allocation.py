"""Which actual things go to which lines, over all overlapping shows at once.

An integer program (scipy.optimize.milp): each line gets at most one thing of its type, a thing is with one show at a time. What
costs, the dearest first: a line without, a thing that is suspect or has too little left, one whose proof runs out before the
show is home, one never proved; then one swapped for another without need, a case opened for one thing, and wear. Small
problems are solved as one and exactly; large ones type by type, then each show again for the sake of its cases.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix

# Points. Ours: each step outweighs what stands below it on a line of its own.
WITHOUT, UNFIT, RUNS_OUT, UNPROVED, CHANGED, CASE_OPENED, WORN = 1_000.0, 120.0, 30.0, 10.0, 4.0, 2.0, 1.0
AT_ONCE = 4_000  # pairs of a line and a thing up to which all types are solved together
SECONDS = 20.0
GAP = 1e-4  # of the whole cost: the solver may stop this near the best


@dataclass(frozen=True, kw_only=True)
class Thing:
    """One thing that may go. Days are ordinals; `wear` from 0 (new) to 1 (worn); `hours_left`: what its cells are sure to last,
    None where it has none or nothing is known of them."""

    key: int
    type: int
    case: int | None = None
    suspect: bool = False
    proved: bool = True
    test_by: int | None = None
    hours_left: float | None = None
    wear: float = 0.0
    away: tuple[tuple[int, int], ...] = ()  # days it is not to be had: lent, at the repairer, on another show already


@dataclass(frozen=True, kw_only=True)
class Want:
    """A line that wants a thing of a type from its show's preparation day to its return day. `had`: what it was given before.

    `weight`: how much the line matters, 1 for an ordinary one. `hours`: what it needs of cells.
    """

    key: str
    show: int
    type: int
    first: int
    last: int
    weight: float = 1.0
    hours: float = 0.0
    had: int | None = None

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise ValueError("A show is not home before it is prepared.")
        if not 0 < self.weight <= 10:
            raise ValueError("A line's weight lies above 0 and is at most 10.")


@dataclass(frozen=True, kw_only=True)
class Given:
    """What a line gets, and what speaks against it; `thing` None: nothing is left for it."""

    want: Want
    thing: int | None
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Allocation:
    """Every line with what it gets, in the order asked; the cost of it all; whether it is proved to be the best."""

    given: tuple[Given, ...]
    cost: float
    best: bool

    @property
    def without(self) -> tuple[Want, ...]:
        return tuple(one.want for one in self.given if one.thing is None)


def allocate(
    wants: Sequence[Want],
    things: Iterable[Thing],
    *,
    seconds: float = SECONDS,
    progress: Callable[[int, int], None] | None = None,
) -> Allocation:
    """Return who gets what. `progress` is told (lines done, lines in all) after each part that is solved."""
    if len({want.key for want in wants}) < len(wants):
        raise ValueError("Two lines have one key.")
    of_type: dict[int, list[Thing]] = defaultdict(list)
    for thing in sorted(things, key=lambda one: one.key):
        of_type[thing.type].append(thing)
    asked: dict[int, list[Want]] = defaultdict(list)
    for want in wants:
        asked[want.type].append(want)
    pairs = sum(len(some) * len(of_type[key]) for key, some in asked.items())
    if pairs <= AT_ONCE:
        chosen, best = _solve(list(wants), [thing for some in of_type.values() for thing in some], seconds)
    else:
        chosen, best = _by_parts(asked, of_type, seconds, progress), False
    if progress:
        progress(len(wants), len(wants))
    given = tuple(_given(want, chosen[want.key]) for want in wants)
    return Allocation(given=given, cost=cost_of([(want, chosen[want.key]) for want in wants]), best=best)


def _by_parts(
    asked: dict[int, list[Want]], of_type: dict[int, list[Thing]], seconds: float, progress: Callable[[int, int], None] | None
) -> dict[str, Thing | None]:
    """Solve each type for all shows without a thought of cases, which is quick and all but exact; then each show again with
    its cases, among what the others leave free: it never gets worse."""
    chosen, done = dict[str, Thing | None](), 0
    total = sum(len(some) for some in asked.values())
    for key, some in sorted(asked.items(), key=lambda pair: -len(pair[1])):
        found, _proved = _solve(some, of_type[key], seconds / 2 / len(asked), cases=False)
        chosen |= found
        done += len(some)
        if progress:
            progress(done // 2, total)
    of_show: dict[int, list[Want]] = defaultdict(list)
    for some in asked.values():
        for want in some:
            of_show[want.show].append(want)
    for wants in of_show.values():
        first, last = min(want.first for want in wants), max(want.last for want in wants)
        others = {
            thing.key
            for some in asked.values()
            for want in some
            if want.show != wants[0].show and want.first <= last and want.last >= first and (thing := chosen[want.key])
        }
        free = [thing for key in {want.type for want in wants} for thing in of_type[key] if thing.key not in others]
        found, _proved = _solve(wants, free, seconds / 2 / len(of_show))
        if _cost(wants, found) <= _cost(wants, chosen):
            chosen |= found
        done += len(wants)
        if progress:
            progress(done // 2, total)
    return chosen


def _cost(wants: Sequence[Want], chosen: dict[str, Thing | None]) -> float:
    return cost_of((want, chosen[want.key]) for want in wants)


def cost_of(pairs: Iterable[tuple[Want, Thing | None]]) -> float:
    """Return the points of a whole assignment; what it may not do (two shows at once) is not looked at."""
    total, opened = 0.0, set()
    for want, thing in pairs:
        total += WITHOUT * want.weight if thing is None else _points(want, thing)
        if thing is not None and thing.case is not None:
            opened.add((thing.case, want.show))
    return total + CASE_OPENED * len(opened)


def may(want: Want, thing: Thing) -> bool:
    """Say whether a thing is of the line's type and to be had on all the show's days."""
    return thing.type == want.type and not any(since <= want.last and until >= want.first for since, until in thing.away)


def _points(want: Want, thing: Thing) -> float:
    points = WORN * thing.wear
    if thing.suspect or (thing.hours_left is not None and thing.hours_left < want.hours):
        points += UNFIT * want.weight
    if not thing.proved:
        points += UNPROVED * want.weight
    elif thing.test_by is not None and thing.test_by < want.last:
        points += RUNS_OUT * want.weight
    if want.had is not None and want.had != thing.key:
        points += CHANGED
    return points


def _given(want: Want, thing: Thing | None) -> Given:
    if thing is None:
        return Given(want=want, thing=None)
    doubts = []
    if thing.suspect:
        doubts.append("it is suspect")
    if thing.hours_left is not None and thing.hours_left < want.hours:
        doubts.append(f"its cells may last only {thing.hours_left:.0f} h more and the line needs {want.hours:.0f}")
    if not thing.proved:
        doubts.append("it was never proved")
    elif thing.test_by is not None and thing.test_by < want.last:
        doubts.append("its proof runs out before the show is home")
    return Given(want=want, thing=thing.key, doubts=tuple(doubts))


def _solve(
    wants: list[Want], things: list[Thing], seconds: float, *, cases: bool = True
) -> tuple[dict[str, Thing | None], bool]:
    """Solve one part. Unknowns: a pair of line and thing each, then a line without each, then a case opened for a show each."""
    if not wants:
        return {}, True
    pairs = [(w, t) for w, want in enumerate(wants) for t, thing in enumerate(things) if may(want, thing)]
    boxes = sorted({(case, wants[w].show) for w, t in pairs if (case := things[t].case) is not None}) if cases else []
    place: dict[tuple[int | None, int], int] = {box: number for number, box in enumerate(boxes)}
    many, lines = len(pairs), len(wants)
    cost = np.array(
        [_points(wants[w], things[t]) for w, t in pairs]
        + [WITHOUT * want.weight for want in wants]
        + [CASE_OPENED] * len(boxes)
    )
    rows, cols, values = [], [], []
    low, high = [], []

    def row(entries: Iterable[tuple[int, float]], least: float, most: float) -> None:
        for col, value in entries:
            rows.append(len(low))
            cols.append(col)
            values.append(value)
        low.append(least)
        high.append(most)

    of_line: dict[int, list[int]] = defaultdict(list)
    of_thing: dict[int, list[int]] = defaultdict(list)
    of_box: dict[tuple[int | None, int], list[int]] = defaultdict(list)
    for number, (w, t) in enumerate(pairs):
        of_line[w].append(number)
        of_thing[t].append(number)
        box = (things[t].case, wants[w].show)
        if box in place:
            of_box[box].append(number)
    for w in range(lines):
        row([*((number, 1.0) for number in of_line[w]), (many + w, 1.0)], 1, 1)
    for numbers in of_thing.values():
        for clique in _cliques([(wants[pairs[n][0]].first, wants[pairs[n][0]].last, n) for n in numbers]):
            row(((n, 1.0) for n in clique), 0, 1)
    for box, numbers in of_box.items():
        # one row for each pair is tighter than one for the case: the relaxed answer is whole far more often
        for number in numbers:
            row([(number, 1.0), (many + lines + place[box], -1.0)], -np.inf, 0)
    matrix = coo_matrix((values, (rows, cols)), shape=(len(low), len(cost))).tocsr()
    # imported late: it takes a second, and most pages solve nothing
    from scipy.optimize import Bounds, LinearConstraint, milp

    found = milp(
        cost,
        constraints=LinearConstraint(matrix, low, high),
        integrality=np.ones(len(cost)),
        bounds=Bounds(0, 1),
        options={"time_limit": max(0.1, seconds), "mip_rel_gap": 0.0 if len(cost) <= AT_ONCE else GAP},
    )
    if found.x is None:
        return _by_hand(wants, things), False
    chosen: dict[str, Thing | None] = {want.key: None for want in wants}
    for taken in np.flatnonzero(found.x[:many] > 0.5):
        w, t = pairs[int(taken)]
        chosen[wants[w].key] = things[t]
    return chosen, found.status == 0


def _cliques(spans: list[tuple[int, int, int]]) -> list[list[int]]:
    """Return the greatest sets of spans that share a day; sets of one are left out. Spans on a line need no others."""
    found: list[list[int]] = []
    held: list[tuple[int, int, int]] = []
    grown = False
    for since, until, number in sorted(spans):
        ended = [one for one in held if one[1] < since]
        if ended:
            if grown and len(held) > 1:
                found.append([one[2] for one in held])
            held, grown = [one for one in held if one[1] >= since], False
        held.append((since, until, number))
        grown = True
    if grown and len(held) > 1:
        found.append([one[2] for one in held])
    return found


def _by_hand(wants: list[Want], things: list[Thing]) -> dict[str, Thing | None]:
    """Give the weightiest lines first what costs least: for when the solver found nothing in its time."""
    taken: dict[int, list[tuple[int, int]]] = defaultdict(list)
    chosen: dict[str, Thing | None] = {}
    for want in sorted(wants, key=lambda one: (-one.weight, one.first, one.key)):
        free = [
            thing
            for thing in things
            if may(want, thing) and not any(a <= want.last and b >= want.first for a, b in taken[thing.key])
        ]
        best = min(free, key=lambda thing: (_points(want, thing), thing.key), default=None)
        chosen[want.key] = best
        if best is not None:
            taken[best.key].append((want.first, want.last))
    return chosen
