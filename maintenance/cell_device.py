"""What a device's page says of its cells, asked once a page: a row for each bay, its pictures, its history."""

from dataclasses import dataclass
from datetime import date, datetime

from inventory.models import Item
from maintenance.calc.cell_advice import LINE_LIMITS
from maintenance.calc.cell_forecast import metering_worth
from maintenance.calc.cell_plots import Plot, left_plot, volts_plot
from maintenance.calc.cell_words import LOAD_UNITS, SWAP_REASON_WORDS, CellError, Load, Stakes, SwapReason
from maintenance.cell_early import MEASURE, Early
from maintenance.cell_fleet import FleetRow, fleet, stored_since
from maintenance.cell_pictures import picture_of
from maintenance.cell_state import BayState
from maintenance.cell_tape import Tape, axis_hours, tape_of
from maintenance.models import CellPlan, CellReading, Charge, HoursNote, Swap
from maintenance.services.cell_stock import lot_words
from maintenance.services.cell_types import plan_of

FINISHED = frozenset({"swap", "reading", "test"})  # taken back by a row of their own
SHOWN = 40
NOTED = {"logged": "logged", "left in": "left plugged in", "unused": "not used"}
POOLS = {
    "rehearsal": "to the rehearsal pool",
    "recycle": "to the recycling tub",
    "charge": "on charge",
    "quarantine": "to quarantine",
    "new": "back to the lot",
}


@dataclass(frozen=True, kw_only=True)
class Bay:
    """One bay as it is drawn."""

    row: FleetRow
    tape: Tape | None
    volts: Plot | None
    left: Plot | None
    stored: date | None
    earlier: str = ""  # where earlier sets came out, in words
    doubt: str = ""  # which readings contradict each other
    number: int = 0  # which of the device's pictures this is

    @property
    def state(self) -> BayState:
        return self.row.state


@dataclass(frozen=True, kw_only=True)
class Shown:
    """All of a device's bays."""

    rows: list[FleetRow]
    plan: CellPlan
    axis: float

    @property
    def known(self) -> bool:
        """Say whether every place has something on record."""
        return all(row.state.fitted is not None or row.state.pack for row in self.rows)

    @property
    def can_tell(self) -> bool:
        return any(row.state.fresh_type is not None for row in self.rows)

    @property
    def fitted(self) -> bool:
        return any(row.state.fitted is not None for row in self.rows)

    @property
    def pack(self) -> bool:
        return any(row.state.pack for row in self.rows)

    @property
    def many(self) -> bool:
        """Say whether it takes more than one cell."""
        return sum(row.state.plan.cells_a_bay for row in self.rows) > 1

    @property
    def chargeable(self) -> bool:
        return any(row.state.pack or (row.state.fitted and row.state.fitted.type.rechargeable) for row in self.rows)

    @property
    def below(self) -> bool:
        return any("below" in row.troubles or "expired" in row.troubles for row in self.rows)

    @property
    def sets_learnt(self) -> int:
        return self.rows[0].state.sets_learnt if self.rows else 0

    @property
    def early(self) -> Early | None:
        """Say that its fresh cells died on it, time after time."""
        return next((row.early for row in self.rows if row.early is not None), None)

    @property
    def metering(self) -> str:
        """Say what measuring its draw once would buy; empty where it is known well enough."""
        for row in self.rows:
            state = row.state
            if state.fresh_kind is None or state.draw is None or state.metered:
                continue
            need = row.need_h or 5.0
            limit = row.advised.limit if row.advised is not None else LINE_LIMITS[Stakes.NORMAL]
            try:
                worth = metering_worth(state.fresh_kind, state.draw, need, limit)
            except CellError:
                return ""
            return worth.words if worth else MEASURE if row.early is not None else ""
        return ""


def shown_of(item: Item, at: datetime) -> Shown:
    """Return a device's bays in their order; one that runs on no cells has none."""
    known = getattr(item, "_cells_shown", None)
    if known is None:
        rows = sorted(fleet([item], at), key=lambda row: row.state.bay)
        plan = rows[0].state.plan if rows else plan_of([item.type])[item.type_id]
        known = item._cells_shown = Shown(rows=rows, plan=plan, axis=axis_hours(rows))  # type: ignore[attr-defined]
    return known


def bays_of(item: Item, at: datetime, *, pictures: bool = True) -> list[Bay]:
    """Return each bay with what is drawn of it."""
    shown = shown_of(item, at)
    found: list[Bay] = []
    for row in shown.rows:
        picture = picture_of(row, at) if pictures else None
        found.append(
            Bay(
                row=row,
                tape=tape_of(row.state.life, row.need_h, shown.axis),
                volts=volts_plot(picture) if picture else None,
                left=left_plot(picture) if picture else None,
                stored=stored_since(row.state, row.next, row.last_on, at),
                doubt=picture.doubt if picture else "",
                earlier=", ".join(said for _hours, said, _died in picture.ends) if picture else "",
                number=sum(bay.left is not None for bay in found),
            )
        )
    return found


def unit_words(load: str) -> str:
    """Return the unit a load is said in."""
    return LOAD_UNITS[Load(load)]


@dataclass(frozen=True, kw_only=True)
class Past:
    """One thing noted of a device's cells; `did` names it for taking back, empty where it was."""

    at: datetime
    what: str
    small: str
    did: str
    struck: bool


def history_of(item: Item, at: datetime) -> list[Past]:
    """Return what was noted of a device's cells, the newest first: swaps, readings, hours, charges. Four queries."""
    found = [_swap(one) for one in swaps_of(item)]
    readings = CellReading.objects.filter(item=item, takes_back=None).select_related("person", "taken_back_by")[:SHOWN]
    for one in readings:
        struck = getattr(one, "taken_back_by", None) is not None
        how = f"on {one.load_ohm:g} ohm" if one.load_ohm else "in it, switched on" if one.minutes_off == 0 else "without a load"
        off = f"{one.minutes_off:g} min after switching off" if one.minutes_off else ""
        small = "; ".join(part for part in (how, off, str(one.person or "")) if part)
        found.append(
            Past(
                at=one.read_at,
                what=f"read {one.volts:g} V",
                small=small,
                did="" if struck else f"reading.{one.uid}",
                struck=struck,
            )
        )
    for note in HoursNote.objects.filter(item=item).select_related("person")[:SHOWN]:
        what = "not used after all" if not note.minutes else f"{note.minutes / 60:.3g} h {NOTED[note.why]}"
        struck = note.withdrawn_at is not None
        found.append(
            Past(at=note.at, what=what, small=str(note.person or ""), did="" if struck else f"hours.{note.uid}", struck=struck)
        )
    for charge in Charge.objects.filter(item=item).select_related("person")[:SHOWN]:
        struck = charge.withdrawn_at is not None
        small = str(charge.person or "")
        found.append(
            Past(at=charge.at, what="charged", small=small, did="" if struck else f"charge.{charge.uid}", struck=struck)
        )
    return sorted(found, key=lambda one: one.at, reverse=True)[:SHOWN]


def swaps_of(item: Item) -> list[Swap]:
    """Return a device's swaps, the newest first, those taken back among them."""
    rows = Swap.objects.filter(item=item, takes_back=None)
    return list(rows.select_related("type", "lot__type", "cell_set__type", "person", "taken_back_by")[:SHOWN])


def _swap(one: Swap) -> Past:
    struck = getattr(one, "taken_back_by", None) is not None
    what, small = swap_said(one)
    return Past(at=one.done_at, what=what, small=small, did="" if struck else f"swap.{one.uid}", struck=struck)


def swap_said(one: Swap) -> tuple[str, str]:
    """Say what a swap was: what went in, and in small why, from where, by whom."""
    what = "cells taken out" if one.type is None else one.type.name
    if one.type is not None and one.cells > 1:
        what = f"{one.cells} × {what}"
    whence = lot_words(one.lot) if one.lot else str(one.cell_set) if one.cell_set else ""
    old = "" if one.was_new or one.type is None else "part-used" if one.was_new is False else "nobody knew how used"
    why = SWAP_REASON_WORDS[SwapReason(one.reason)] if one.reason != SwapReason.FIRST else ""
    out = f"{one.out_volts:g} V came out" if one.out_volts is not None else ""
    parts = (
        f"bay {one.bay}" if one.bay > 1 else "",
        whence,
        old,
        why,
        out,
        POOLS.get(one.out_to, ""),
        str(one.person or ""),
        one.note,
    )
    return what, "; ".join(part for part in parts if part)
