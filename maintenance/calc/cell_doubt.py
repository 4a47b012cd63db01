"""Readings of one set that cannot all be right: cells do not fill up by themselves."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

from maintenance.calc import cells
from maintenance.calc.cell_words import CellError, CellKind

APART = 2.0  # spreads of both together: nineteen pairs in twenty lie nearer


@dataclass(frozen=True, kw_only=True)
class Read:
    """One reading as it was made; `ma` is what the set gave meanwhile, 0 without a load; `when` is its day in words."""

    volts: float
    ma: float = 0.0
    minutes_off: float | None = None
    when: str = ""


def doubted(kind: CellKind, readings: Sequence[Read], in_series: int = 1) -> list[int]:
    """Return which of a set's readings, in their order in time, the newest says cannot be: it shows more left than they did.

    A kind whose volts say little is doubted late, as its spread is wide; a regulated one never.
    """
    told = [_depth(kind, one, in_series) for one in readings]
    if not told or told[-1] is None:
        return []
    newest, spread = told[-1]
    found = []
    for number, before in enumerate(told[:-1]):
        if before is not None and before[0] - newest > APART * hypot(before[1], spread):
            found.append(number)
    return found


def doubt_words(earlier: Sequence[Read], newest: Read) -> str:
    """Say which readings do not fit the newest, and what to do; empty where all do."""
    if not earlier:
        return ""
    what = " and ".join(f"{one.volts:g} V{_on(one.when)}" for one in earlier[-2:])
    fits = "does" if len(earlier[-2:]) == 1 else "do"
    return (
        f"{what} {fits} not fit the newer {newest.volts:g} V{_on(newest.when)}: cells do not fill up by themselves. Only the "
        "newest counts. Take back the one that was wrong; if another set is in it now, note the swap."
    )


def _on(when: str) -> str:
    return f" of {when}" if when else ""


def _depth(kind: CellKind, one: Read, in_series: int) -> tuple[float, float] | None:
    try:
        return cells.depth_from_reading(kind, one.volts, one.ma, in_series, one.minutes_off)
    except CellError:
        return None
