"""Which lead lengths make each run: fewest joins, then least waste, from what is free that day.

An integer program over all runs at once (scipy.optimize.milp), because two runs want the same leads: what cannot be made at all
costs most, then each join, then each metre too much. Lengths are whole millimetres.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

ROUTE_FACTOR = 1.3  # along walls and round corners against straight across. Common practice, no source.
SLACK_MM = 2_000  # at both ends together: a stand is moved, a box stands on the floor. Common practice, no source.
MOST_RUNS, MOST_LENGTHS = 500, 60
LONGEST_MM = 1_000_000
_JOIN = 1_000.0  # metres of waste a join is worth: always more than any waste
_UNMET = 1_000_000.0
SECONDS = 5.0


class RunError(ValueError):
    """Runs or lengths that cannot be, in words for a person."""


@dataclass(frozen=True, kw_only=True)
class Run:
    """One run: its line, millimetres of lead it takes, whether it is balanced, the most joins anybody wants in it."""

    key: str
    need_mm: int
    balanced: bool = True

    def __post_init__(self) -> None:
        if not 0 <= self.need_mm <= LONGEST_MM:
            raise RunError(f"A run of {self.need_mm / 1000:g} m is not one a stage has.")


@dataclass(frozen=True, kw_only=True)
class Length:
    """Leads of one length that are free."""

    mm: int
    free: int

    def __post_init__(self) -> None:
        if not (0 < self.mm <= LONGEST_MM and self.free >= 0):
            raise RunError(f"{self.free} leads of {self.mm / 1000:g} m cannot be.")


@dataclass(frozen=True, kw_only=True)
class Made:
    """How a run is made: its lengths, longest first (none: it cannot be made), joins, and millimetres too much."""

    run: Run
    lengths_mm: tuple[int, ...]

    @property
    def met(self) -> bool:
        return bool(self.lengths_mm) or self.run.need_mm == 0

    @property
    def joins(self) -> int:
        return max(0, len(self.lengths_mm) - 1)

    @property
    def waste_mm(self) -> int:
        return sum(self.lengths_mm) - self.run.need_mm if self.lengths_mm else 0


def need_mm(straight_mm: float, *, route_factor: float = ROUTE_FACTOR, slack_mm: float = SLACK_MM) -> int:
    """Return millimetres of lead for a straight distance on the plan, rounded up."""
    if not 0 <= straight_mm <= LONGEST_MM:
        raise RunError(f"A distance of {straight_mm / 1000:g} m is not one a stage has.")
    if not (1 <= route_factor <= 5 and 0 <= slack_mm <= 100_000):
        raise RunError("A route is at least as long as the straight line, and slack is not below nothing.")
    return int(np.ceil(straight_mm * route_factor + slack_mm))


def runs_made(runs: Sequence[Run], lengths: Sequence[Length], *, seconds: float = SECONDS) -> list[Made]:
    """Return how each run is made, in their order: as many as can be, fewest leads, least waste, none taken twice.

    Exact unless `seconds` run out; then the best found until then, and where nothing was found yet the longest first.
    """
    if len(runs) > MOST_RUNS or len(lengths) > MOST_LENGTHS:
        raise RunError(f"At most {MOST_RUNS} runs and {MOST_LENGTHS} lengths can be worked out at once.")
    if len({one.mm for one in lengths}) < len(lengths):
        raise RunError("One length is named twice.")
    stock = [one for one in sorted(lengths, key=lambda one: -one.mm) if one.free]
    wanted = [(place, run) for place, run in enumerate(runs) if run.need_mm > 0]
    made = [Made(run=run, lengths_mm=()) for run in runs]
    if stock and wanted:
        counts = _solved([run for _place, run in wanted], stock, seconds)
        for (place, run), row in zip(wanted, counts, strict=True):
            made[place] = Made(
                run=run, lengths_mm=tuple(one.mm for one, count in zip(stock, row, strict=True) for _ in range(count))
            )
    return made


def _solved(runs: list[Run], stock: list[Length], seconds: float) -> list[list[int]]:
    """Return leads of each length for each run. Unknowns: counts, run by run, then one "not made" for each run."""
    many, kinds = len(runs), len(stock)
    mm = np.array([one.mm for one in stock], dtype=float)
    need = np.array([run.need_mm for run in runs], dtype=float)
    cost = np.concatenate([np.tile(_JOIN + mm / 1000, many), np.full(many, _UNMET)])
    least = np.zeros((many, many * kinds + many))
    for row in range(many):
        least[row, row * kinds : (row + 1) * kinds] = mm
        least[row, many * kinds + row] = need[row]
    of_kind = np.zeros((kinds, many * kinds + many))
    for kind in range(kinds):
        of_kind[kind, kind : many * kinds : kinds] = 1
    free = np.array([one.free for one in stock], dtype=float)
    top = np.minimum(np.tile(free, many), np.ceil(np.repeat(need, kinds) / np.tile(mm, many)))
    # imported late: it takes a second, and most pages solve nothing
    from scipy.optimize import Bounds, LinearConstraint, milp

    found = milp(
        cost,
        constraints=[LinearConstraint(least, lb=need), LinearConstraint(of_kind, ub=free)],
        integrality=np.ones(len(cost)),
        bounds=Bounds(0, np.concatenate([top, np.ones(many)])),
        options={"time_limit": seconds, "mip_rel_gap": 0.0},
    )
    if found.x is None:
        return _longest_first(runs, stock)
    counts = np.rint(found.x[: many * kinds]).astype(int).reshape(many, kinds)
    unmet = np.rint(found.x[many * kinds :]).astype(bool)
    counts[unmet] = 0
    return [[int(n) for n in row] for row in counts]


def _longest_first(runs: list[Run], stock: list[Length]) -> list[list[int]]:
    left = [one.free for one in stock]
    counts = [[0] * len(stock) for _ in runs]
    for row in sorted(range(len(runs)), key=lambda r: -runs[r].need_mm):
        missing, taken = runs[row].need_mm, [0] * len(stock)
        for kind, one in enumerate(stock):
            while missing > 0 and taken[kind] < left[kind]:
                taken[kind] += 1
                missing -= one.mm
        if missing <= 0:
            counts[row] = taken
            left = [have - used for have, used in zip(left, taken, strict=True)]
    return counts
