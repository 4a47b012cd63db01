"""Cells over HTTP: readings and swaps as they were done, and what an item's answer says of its cells."""

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from django.http import HttpRequest
from ninja import Body, Router, Schema, Status
from pydantic import Field

from company.api import PROBLEMS, CleanText, Instant, Problem, person_of
from company.clock import now
from inventory.calc import codes
from inventory.models import Item
from inventory.search import item_of_code
from maintenance.calc.cell_words import Life, Pool, SwapReason
from maintenance.cell_state import BayState, state_of
from maintenance.models import CellLot, CellReading, CellType, FittedSet, Swap
from maintenance.services.cell_where import goes_to, where_words
from maintenance.services.cells import CellRefused, Swapped, SwapRefused, oldest_lot, reading_record, set_at, swap_record

router = Router(tags=["cells"])

Number = Annotated[float, Field(allow_inf_nan=False)]
Code = Annotated[CleanText, Field(max_length=4096)]
Bay = Annotated[int, Field(ge=1, le=24)]
Key = Annotated[int, Field(ge=1, le=2**63 - 1)]


class HoursOut(Schema):
    """Hours left: 5, 50 and 95 of 100."""

    median_h: float | None
    low_h: float | None
    high_h: float | None


class CellReadingIn(Schema):
    """Volts read at the whole set of a bay."""

    id: UUID = Field(description="Made where it was read; the same id is stored once, however often it is sent.")
    code: Code = Field(description="What was read off the device's label.")
    bay: Bay = 1
    volts: Number
    load_ohm: Number | None = Field(None, description="The test load; left out: the device's own, or none.")
    minutes_off: Number | None = Field(None, description="Since it was switched off; 0 without a test load: read while on.")
    read_at: Instant
    anyway: bool = Field(False, description="Send it again with this after a refusal that a person may overrule, as of 0 V.")


class CellReadingOut(HoursOut):
    id: UUID
    code: str
    charge_left: float | None = Field(description="Share of a full set, 0 to 1; none where volts do not tell.")
    charge_sigma: float | None
    hours_used: float | None
    said: list[str]
    again: bool


class SwapIn(Schema):
    """A swap as it was done. With neither `lot`, `type`, `set` nor `taken_out`, the oldest suitable lot is taken."""

    id: UUID = Field(description="Made where it was done; the same id is stored once, however often it is sent.")
    code: Code = Field(description="What was read off the device's label.")
    bay: Bay = 1
    lot: Key | None = Field(None, description="The key of a lot.")
    type: Annotated[CleanText, Field(max_length=24)] = Field("", description="A type of cell by its letters, of no known lot.")
    set: Code = Field("", description="The code of a labelled rechargeable set.")
    taken_out: bool = Field(False, description="Only taken out: nothing went in.")
    was_new: bool | None = Field(True, description="Fresh or fully charged; null: nobody knows.")
    reason: SwapReason = SwapReason.PRECAUTION
    out_to: Pool | None = Field(None, description="Where what came out went.")
    out_volts: Number | None = Field(None, description="What came out read.")
    done_at: Instant
    show: Key | None = None
    note: Annotated[CleanText, Field(max_length=300)] = ""
    anyway: bool = Field(False, description="Send it again with this after a refusal that a person may overrule.")


class CameOut(Schema):
    """What came out of the bay: the type of cell, how long it had run, where it goes (a pool), and that in words."""

    type: str
    set: str = Field("", description="The code of a labelled set.")
    hours_used: float
    to: Pool | None
    words: str


class SwapOut(HoursOut):
    """What a swap did; hours are what the new set promises in this device."""

    id: UUID
    code: str
    bay: int
    type: str
    lot: int | None
    out: CameOut | None = Field(description="What came out and where it went; none where the bay was empty.")
    said: list[str]
    again: bool


class SwapProblem(Problem):
    """`may_insist`: the same swap with `anyway` is taken."""

    may_insist: bool = False


@router.post("/cell-readings", response={200: CellReadingOut, **PROBLEMS, 422: SwapProblem}, summary="Send a reading of cells")
def cell_readings(request: HttpRequest, body: Body[CellReadingIn]) -> Any:
    """Take one reading and answer the charge left and the hours left. Sending the same id again gives the same answer.

    What cannot be (12 V from a 9 V cell, millivolts, a bay that is not there, a date still to come) is 422 with a sentence.
    """
    try:
        known = CellReading.objects.select_related("item__type").filter(uid=body.id).first()
        read = reading_record(
            uid=body.id,
            item=known.item if known else _item(body.code),
            bay=body.bay,
            volts=body.volts,
            load_ohm=body.load_ohm,
            minutes_off=body.minutes_off,
            read_at=body.read_at,
            received_at=now(),
            person=person_of(request),
            anyway=body.anyway,
        )
    except CellRefused as refused:
        return Status(422, SwapProblem(field=refused.field, detail=str(refused), may_insist=refused.anyway))
    return {
        "id": body.id,
        "code": read.reading.item.code,
        "charge_left": read.left,
        "charge_sigma": read.left_sigma,
        **_hours(read.life),
        "hours_used": read.life.hours if read.life else None,
        "said": [*read.words, *(read.life.reasons if read.life else ())],
        "again": read.again,
    }


@router.post("/swaps", response={200: SwapOut, **PROBLEMS, 422: SwapProblem}, summary="Send a swap of cells")
def swaps(request: HttpRequest, body: Body[SwapIn]) -> Any:
    """Take one swap and answer what it did. Sending the same id again gives the same answer.

    What cannot be is 422 with its field and a sentence, and nothing of it is written; where `may_insist` is true, a person may
    send it again with `anyway`. Two phones that swap one device at once make one swap: the second is told who did it.
    """
    at = now()
    try:
        known = Swap.objects.select_related("item__type").filter(uid=body.id).first()
        item = known.item if known else _item(body.code)
        lot, cell_set, type_ = (None, None, None) if known else _goes_in(body, item, at)
        done = swap_record(
            uid=body.id,
            item=item,
            bay=body.bay,
            lot=lot,
            cell_set=cell_set,
            type=type_,
            was_new=body.was_new,
            reason=body.reason,
            out_to=body.out_to or ("" if known else _out_to(body, item)),
            out_volts=body.out_volts,
            done_at=body.done_at,
            received_at=at,
            person=person_of(request),
            show=body.show,
            note=body.note,
            anyway=body.anyway,
        )
    except CellRefused as refused:
        return Status(422, SwapProblem(field=refused.field, detail=str(refused), may_insist=refused.anyway))
    swap = done.swap
    return {
        "id": body.id,
        "code": swap.item.code,
        "bay": swap.bay,
        "type": swap.type.key if swap.type else "",
        "lot": swap.lot_id,
        **_hours(done.life),
        "out": _came_out(done),
        "said": [*done.words, *(_otherwise(swap, body) if done.again else ())],
        "again": done.again,
    }


def _out_to(body: SwapIn, item: Item) -> str:
    """Return where what comes out goes, where nobody said."""
    here = set_at(item, body.bay, body.done_at)
    return goes_to(here, reason=body.reason, volts=body.out_volts)


def _came_out(done: Swapped) -> dict[str, Any] | None:
    if done.removed is None:
        return None
    # its hours were worked out after the swap was written
    out = FittedSet.objects.select_related("type", "cell_set").get(opened_uid=done.removed.opened_uid)
    where = done.swap.out_to
    words = where_words(out, where, done.swap.out_volts)
    return {
        "type": out.type.key,
        "set": out.cell_set.code if out.cell_set else "",
        "hours_used": round(out.hours_used, 2),
        "to": where or None,
        "words": words or "Nobody said where what came out went.",
    }


def _otherwise(swap: Swap, body: SwapIn) -> list[str]:
    """Say what was sent with a known id that is not what it was first sent with: it is not kept."""
    off = []
    if body.out_volts is not None and (swap.out_volts is None or abs(body.out_volts - swap.out_volts) > 1e-9):
        off.append(f"{body.out_volts:g} V came out")
    if body.lot is not None and body.lot != swap.lot_id:
        off.append(f"lot {body.lot}")
    if body.bay != swap.bay:
        off.append(f"bay {body.bay}")
    if body.reason != swap.reason and "reason" in body.model_fields_set and swap.reason != SwapReason.FIRST:
        off.append(f"reason {body.reason}")
    return [f"That id is on record as said above: {', '.join(off)} was not kept. Give it a new id."] if off else []


def _goes_in(body: SwapIn, item: Item, at: datetime) -> tuple[CellLot | None, Item | None, CellType | None]:
    if sum((body.lot is not None, bool(body.type), bool(body.set), body.taken_out)) > 1:
        raise SwapRefused("Give one of lot, type, set and taken_out.", "lot")
    if body.taken_out:
        return None, None, None
    if body.set:
        return None, _item(body.set, "set"), None
    if body.type:
        type_ = CellType.objects.filter(key__iexact=body.type).first()
        if type_ is None:
            raise SwapRefused("That type of cell is not one we have.", "type")
        return None, None, type_
    lot = CellLot.objects.select_related("type").filter(pk=body.lot).first() if body.lot else oldest_lot(item, body.bay, at)
    if lot is None:
        words = "There is no such lot." if body.lot else "No lot of that size has any left: name the type of cell instead."
        raise SwapRefused(words, "lot")
    return lot, None, None


def _item(text: str, where: str = "code") -> Item:
    read = codes.parse(text)
    if read.read is not codes.Read.CODE:
        raise CellRefused(read.why or "That is a card, not the label of a thing.", where)
    found = item_of_code(read.code)
    if found is None:
        raise CellRefused("Nothing has this label yet. Bind the label to a thing first.", where)
    return found


def _hours(life: Life | None) -> dict[str, float | None]:
    return {
        "median_h": round(life.median_h, 2) if life else None,
        "low_h": round(life.low_h, 2) if life else None,
        "high_h": round(life.high_h, 2) if life else None,
    }


def cell_fields(items: list[Item], at: datetime) -> dict[int, dict[str, Any]]:
    """What is in each bay of these items and how long it lasts, in a constant number of queries."""
    return {pk: {"cells": [_bay(row) for row in rows]} for pk, rows in state_of(items, at).items()}


def _bay(row: BayState) -> dict[str, Any]:
    fitted = row.fitted
    return {
        "bay": row.bay,
        "type": fitted.type.key if fitted else "",
        "lot": fitted.lot_id if fitted else None,
        "fitted_at": fitted.fitted_at if fitted else None,
        "hours_used": round(row.hours, 2),
        **_hours(row.life),
        "words": row.words,
        "fault": row.fault,
    }
