"""What sat in which bay from when to when: an item's swaps folded, the same in whatever order they arrived."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from maintenance.calc.cell_words import SwapReason


@dataclass(frozen=True, kw_only=True)
class Change:
    """One swap that counts. `type` None: only taken out. Keys of types, lots and sets are the caller's."""

    uid: UUID
    bay: int
    type: int | None
    lot: int | None = None
    cell_set: int | None = None
    cells: int = 1
    was_new: bool | None = True
    reason: str = SwapReason.PRECAUTION
    at: datetime


@dataclass(frozen=True, kw_only=True)
class Stay:
    """A set in a bay, from the change that fitted it (its uid) to the one that took it out; `removed_at` None: still there."""

    opened_uid: UUID
    bay: int
    type: int
    lot: int | None
    cell_set: int | None
    cells: int
    was_new: bool | None
    fitted_at: datetime
    removed_at: datetime | None = None
    removed_because: str = ""


def stays_of(changes: Iterable[Change]) -> tuple[list[Stay], Mapping[UUID, Stay]]:
    """Return the stays in the order they began, and what each change took out: {its uid: the stay it ended}.

    Changes are ordered by (at, uid). A first set fitted where something sat already ended that too.
    """
    here: dict[int, tuple[Change, int]] = {}
    stays: list[Stay] = []
    ended: dict[UUID, Stay] = {}
    for change in sorted(changes, key=lambda one: (one.at, one.uid)):
        before = here.pop(change.bay, None)
        if before is not None:
            because = SwapReason.PRECAUTION if change.reason == SwapReason.FIRST else change.reason
            closed = _stay(before[0], removed_at=change.at, because=because)
            stays[before[1]] = ended[change.uid] = closed
        if change.type is not None:
            here[change.bay] = (change, len(stays))
            stays.append(_stay(change))
    return stays, ended


def _stay(change: Change, *, removed_at: datetime | None = None, because: str = "") -> Stay:
    return Stay(
        opened_uid=change.uid,
        bay=change.bay,
        type=change.type or 0,
        lot=change.lot,
        cell_set=change.cell_set,
        cells=change.cells,
        was_new=change.was_new,
        fitted_at=change.at,
        removed_at=removed_at,
        removed_because=str(because),
    )
