"""What is left on the shelf each day, a key: what is owned, less what overlapping shows hold. Days are ordinals.

A key is whatever is counted apart: a type, or a type and a length.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np


@dataclass(frozen=True, kw_only=True)
class Hold:
    """A show holds so many of a key from its preparation day to its return day, both held."""

    key: Any
    show: int
    first: int
    last: int
    count: int


@dataclass(frozen=True, kw_only=True)
class Short:
    """A stretch of days on which a key is short by the same number, and the shows that hold it then."""

    key: Any
    first: int
    last: int
    size: int
    shows: tuple[int, ...]


def tides(holds: Iterable[Hold], owned: Mapping[Any, int], *, first: int, last: int) -> dict[Any, Any]:
    """Return what is left of each key each day from `first` to `last`: whole numbers, below nothing where it is short.

    Differences at both ends of each hold, summed once: the work grows with holds and days, not with their product.
    """
    if last < first:
        raise ValueError("The last day does not come before the first.")
    days = last - first + 1
    steps: dict[Any, Any] = {key: np.zeros(days + 1, dtype=np.int64) for key in owned}
    for hold in holds:
        if hold.last < hold.first or hold.count < 0:
            raise ValueError("A hold does not end before it begins, and counts are not below nothing.")
        if hold.last < first or hold.first > last:
            continue
        step = steps.setdefault(hold.key, np.zeros(days + 1, dtype=np.int64))
        step[max(hold.first, first) - first] += hold.count
        step[min(hold.last, last) - first + 1] -= hold.count
    return {key: owned.get(key, 0) - np.cumsum(step[:days]) for key, step in steps.items()}


def shorts(holds: Iterable[Hold], owned: Mapping[Any, int], *, first: int, last: int) -> list[Short]:
    """Return every stretch of days on which a key is short, the earliest first."""
    held = list(holds)
    of_key: dict[Any, list[Hold]] = {}
    for hold in held:
        of_key.setdefault(hold.key, []).append(hold)
    found = []
    for key, left in tides(held, owned, first=first, last=last).items():
        bounds = np.flatnonzero(np.diff(left)) + 1
        for start, end in zip([0, *bounds], [*bounds, len(left)], strict=True):
            if left[start] < 0:
                since, until = first + int(start), first + int(end) - 1
                shows = {h.show for h in of_key.get(key, ()) if h.count and h.first <= until and h.last >= since}
                found.append(Short(key=key, first=since, last=until, size=int(-left[start]), shows=tuple(sorted(shows))))
    return sorted(found, key=lambda one: one.first)
