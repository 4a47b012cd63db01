"""A cell swapped at the bench, said by one command: a swap, where it is plain what went in."""

import uuid as uuids
from datetime import datetime

from company.models import Person
from inventory.models import Item
from maintenance.calc.cell_words import SwapReason
from maintenance.cell_querysets import fitted_now
from maintenance.services.cell_refused import CellRefused
from maintenance.services.cell_swaps import oldest_lot, swap_record
from maintenance.services.cell_types import plan_of, sets_of


def swap_at_bench(*, uid: uuids.UUID, item: Item, at: datetime, person: Person | None) -> str:
    """Record a swap from the oldest suitable lot where the item has one bay and there is such a lot; answers it in words.

    Empty where it is not plain what went in: the repair that says "cell swapped" stands by itself. `uid` is the repair's.
    """
    if sets_of(item.type, plan_of([item.type])[item.type_id]) != 1:
        return ""
    lot = oldest_lot(item, 1, at)
    if lot is None:
        return ""
    reason = SwapReason.PRECAUTION if fitted_now().filter(item=item).exists() else SwapReason.FIRST
    try:
        done = swap_record(
            uid=uuids.uuid5(uid, "swap"),
            item=item,
            lot=lot,
            reason=reason,
            done_at=at,
            received_at=at,
            person=person,
        )
    except CellRefused:
        return ""
    return done.words[0]
