"""Bring what is derived from swaps in step: what sits in which bay, and the moves in and out of lots."""

import uuid as uuids
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from inventory.models import Item
from maintenance.calc.cell_fold import Change, Stay, stays_of
from maintenance.calc.cell_words import Pool
from maintenance.models import CellMove, FittedSet, Swap
from maintenance.services.cell_stock import pool_lot

_COLUMNS = ("bay", "type_id", "lot_id", "cell_set_id", "cells", "was_new", "fitted_at", "removed_at", "removed_because")
_TUBS = frozenset({Pool.REHEARSAL, Pool.RECYCLE, Pool.QUARANTINE})


@dataclass(frozen=True, kw_only=True)
class Folded:
    """What an item's swaps come to: its sets by the uid that fitted them, and what each swap took out."""

    sets: dict[uuids.UUID, FittedSet]
    ended: dict[uuids.UUID, FittedSet]


def item_refold(*, item: Item, at: datetime) -> Folded:
    """Work out an item's sets from its swaps, whatever order they came in; write what differs. The item is held by the caller.

    The changed tail is deleted and written again, so that a bay never holds two sets, not even in between. What is known of a
    set (its hours, its life) stays with it where the set itself is the same; nothing points at its row.
    """
    swaps = list(Swap.objects.filter(item=item, takes_back=None).order_by("done_at", "pk"))
    gone = {pk for pk in Swap.objects.filter(item=item).values_list("takes_back", flat=True) if pk is not None}
    counting = [swap for swap in swaps if swap.pk not in gone]
    stays, ended = stays_of(
        Change(
            uid=s.uid,
            bay=s.bay,
            type=s.type_id,
            lot=s.lot_id,
            cell_set=s.cell_set_id,
            cells=s.cells,
            was_new=s.was_new,
            reason=s.reason,
            at=s.done_at,
        )
        for s in counting
    )
    there = {row.opened_uid: row for row in FittedSet.objects.filter(item=item)}
    wanted = {stay.opened_uid: _values(stay) for stay in stays}
    wrong = [
        uid for uid, row in there.items() if uid not in wanted or any(getattr(row, n) != v for n, v in wanted[uid].items())
    ]
    if wrong:
        FittedSet.objects.filter(opened_uid__in=wrong).delete()
    missing = [stay for stay in stays if stay.opened_uid not in there or stay.opened_uid in wrong]
    made = [FittedSet(item=item, opened_uid=stay.opened_uid, **wanted[stay.opened_uid]) for stay in missing]
    # sets that are over go in first: the one that sits there now may share a bay with a row that was open
    FittedSet.objects.bulk_create(sorted(made, key=lambda row: row.removed_at is None))
    sets = {uid: row for uid, row in there.items() if uid in wanted and uid not in wrong} | {
        row.opened_uid: row for row in made
    }
    _moves_refold(swaps, gone, ended, at)
    return Folded(sets=sets, ended={uid: sets[stay.opened_uid] for uid, stay in ended.items()})


def _values(stay: Stay) -> dict[str, Any]:
    return {
        "bay": stay.bay,
        "type_id": stay.type,
        "lot_id": stay.lot,
        "cell_set_id": stay.cell_set,
        "cells": stay.cells,
        "was_new": stay.was_new,
        "fitted_at": stay.fitted_at,
        "removed_at": stay.removed_at,
        "removed_because": stay.removed_because,
    }


def _moves_refold(swaps: list[Swap], gone: set[int], ended: Any, at: datetime) -> None:
    """Write the moves that swaps cause: out of the lot, into the pool of what came out, and back where a swap was taken back.

    A swap's moves have names made from its uid, so that they are written once; where a swap that came in late changed what
    another took out, that one's move is put right.
    """
    wanted: dict[uuids.UUID, tuple[int, int, str, Swap]] = {}
    for swap in swaps:
        if swap.lot_id is not None:
            wanted[_name(swap, "fitted")] = (swap.lot_id, -swap.cells, CellMove.Why.FITTED, swap)
            if swap.pk in gone:
                wanted[_name(swap, "undone")] = (swap.lot_id, swap.cells, CellMove.Why.UNDONE, swap)
        if swap.out_to in _TUBS:
            out = ended.get(swap.uid)
            if out is not None and out.cell_set is None:
                lot = pool_lot(type_id=out.type, pool=Pool(swap.out_to), at=at)
                wanted[_name(swap, "returned")] = (lot.pk, out.cells, CellMove.Why.RETURNED, swap)
        elif swap.out_to == Pool.NEW and swap.pk not in gone:
            out = ended.get(swap.uid)
            if out is not None and out.lot is not None:  # never used: back to the lot it came from
                wanted[_name(swap, "returned")] = (out.lot, out.cells, CellMove.Why.RETURNED, swap)
    names = {_name(swap, what) for swap in swaps for what in ("fitted", "undone", "returned")}
    there = {move.uid: move for move in CellMove.objects.filter(uid__in=names)}
    for uid, move in there.items():
        if uid not in wanted:
            # what was put back was never taken out: the row stays, and says so
            if move.delta and move.why == CellMove.Why.RETURNED:
                CellMove.objects.filter(pk=move.pk).update(delta=0)
        elif (move.lot_id, move.delta) != wanted[uid][:2]:
            CellMove.objects.filter(pk=move.pk).update(lot=wanted[uid][0], delta=wanted[uid][1])
    CellMove.objects.bulk_create(
        CellMove(uid=uid, lot_id=lot, delta=delta, why=why, at=swap.done_at, person_id=swap.person_id)
        for uid, (lot, delta, why, swap) in wanted.items()
        if uid not in there
    )


def _name(swap: Swap, what: str) -> uuids.UUID:
    return uuids.uuid5(swap.uid, what)
