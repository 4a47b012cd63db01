"""What is done from a show's swap list: a device's sets swapped together, kept as read, charged, and each of it undone."""

import uuid as uuids
from collections.abc import Sequence
from datetime import datetime
from enum import StrEnum

from django.db import transaction

from company.models import Person
from inventory.models import Item
from maintenance.calc.cell_words import SwapReason
from maintenance.cell_state import BayState
from maintenance.models import CellLot, Charge, Swap
from maintenance.services.cell_where import goes_to, where_words
from maintenance.services.cells import (
    CellRefused,
    SwapRefused,
    charge_record,
    charge_withdraw,
    reading_record,
    swap_record,
    swap_undo,
)


class How(StrEnum):
    """Why the old set came out, as one tap says it."""

    SWAP = "swap"
    POOL = "pool"  # as a swap, with part-used cells
    DIED = "died"
    LEAKED = "leaked"


REASONS = {
    How.SWAP: SwapReason.PRECAUTION,
    How.POOL: SwapReason.PRECAUTION,
    How.DIED: SwapReason.DIED,
    How.LEAKED: SwapReason.LEAKED,
}


@transaction.atomic
def device_swap(
    *,
    uid: uuids.UUID,
    bays: Sequence[BayState],
    how: How,
    show: int,
    person: Person | None,
    at: datetime,
    out_volts: float | None = None,
    cell_set: Item | None = None,
    pool: CellLot | None = None,
    policy: bool = False,
    anyway: bool = False,
) -> list[str]:
    """Fit fresh sets in these bays of one device for a show, all or none, from the oldest lots.

    `cell_set`: a labelled set goes in; `pool`: part-used cells of the rehearsal pool do.

    Answers what was done and where what came out goes. SwapRefused with a sentence and a field; the same uid is one swap.
    """
    said: list[str] = []
    for state in bays:
        lot = pool or (state.lot if cell_set is None else None)
        if lot is None and cell_set is None and state.fresh_type is None:
            raise SwapRefused(f"What {state.item} takes is not known: name its cell on its type, such as 6LR61.", "lot")
        reason = SwapReason.POLICY if policy and how in (How.SWAP, How.POOL) else REASONS.get(how, SwapReason.PRECAUTION)
        if state.fitted is None:
            reason = SwapReason.FIRST
        done = swap_record(
            uid=uuids.uuid5(uid, f"bay {state.bay}"),
            item=state.item,
            bay=state.bay,
            lot=lot,
            cell_set=cell_set,
            type=state.fresh_type if lot is None and cell_set is None else None,
            was_new=pool is None,
            reason=reason,
            out_to=out_to(state, how, out_volts),
            out_volts=out_volts if state.fitted is not None else None,
            done_at=at,
            received_at=at,
            person=person,
            show=show,
            anyway=anyway or pool is not None,
        )
        said += [word for word in done.words if word not in said]
        if lot is None and cell_set is None:
            said.append("No such cells are on the shelf by the record: count them, or add the lot they came from.")
        said += [words for words in (out_words(state, how, out_volts),) if words and words not in said]
    return said


def out_to(state: BayState, how: How, volts: float | None) -> str:
    """Say where what comes out goes."""
    reason = REASONS.get(how, SwapReason.PRECAUTION)
    return goes_to(state.fitted, reason=reason, volts=volts, expired=state.expired)


def out_words(state: BayState, how: How, volts: float | None) -> str:
    """Say where what came out goes, with the safety wording."""
    return where_words(state.fitted, out_to(state, how, volts), volts)


@transaction.atomic
def device_keep(
    *,
    uid: uuids.UUID,
    bays: Sequence[BayState],
    volts: float,
    load_ohm: float | None = None,
    minutes_off: float | None = None,
    show: int,
    person: Person | None,
    at: datetime,
    anyway: bool = False,
) -> list[str]:
    """Keep what is in a device, as read: on a test load, switched on (0 minutes off), or on nothing (neither).

    A set that was never written down goes in as part-used. CellRefused in words.
    """
    if len(bays) != 1:
        raise CellRefused("It has more than one set: read them one by one on its own page.", "volts")
    state = bays[0]
    if state.fitted is None:
        swap_record(
            uid=uuids.uuid5(uid, "there already"),
            item=state.item,
            bay=state.bay,
            type=state.fresh_type,
            was_new=False,
            reason=SwapReason.FIRST,
            done_at=at,
            received_at=at,
            person=person,
            note="was in it already, part-used",
            anyway=True,
        )
    read = reading_record(
        uid=uid,
        item=state.item,
        bay=state.bay,
        volts=volts,
        load_ohm=load_ohm,
        minutes_off=minutes_off,
        read_at=at,
        received_at=at,
        person=person,
        anyway=anyway,
    )
    return [f"{state.item}: kept, read {volts:g} V.", *read.words]


def thing_charge(*, uid: uuids.UUID, item: Item, show: int, person: Person | None, at: datetime) -> str:
    """Note that a thing of the charge list is on charge for a show."""
    charge_record(uid=uid, item=item, at=at, received_at=at, person=person, show=show)
    return f"{item}: on charge."


def step_undo(*, uid: uuids.UUID, show: int, person: Person | None, at: datetime) -> str:
    """Take back a swap, or a charge, of a show's list; CellRefused when there is none such."""
    swap = Swap.objects.filter(uid=uid, show=show).select_related("item__type", "type", "cell_set").first()
    if swap is not None:
        swap_undo(swap=swap, person=person, at=at)
        return f"{swap.item}: the swap is taken back. What was in it before is in it again, and the lot has its cells back."
    charge = Charge.objects.filter(uid=uid, show=show, withdrawn_at=None).select_related("item__type").first()
    if charge is None:
        raise CellRefused("There is nothing to take back: it was taken back already.")
    charge_withdraw(charge=charge, at=at)
    return f"{charge.item}: not on charge after all."
