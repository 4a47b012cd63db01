"""What the page of a show's swap list draws: strips of hours on one axis, cells to carry, the device in hand."""

import uuid as uuids
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from inventory.models import Item
from maintenance.calc.cell_advice import hours_down, hours_up
from maintenance.calc.cell_words import Advice, Life, Pool
from maintenance.cell_needs import Listed, Row
from maintenance.cell_querysets import lots_counted
from maintenance.cell_state import BayState
from maintenance.models import CellForecast, CellLot
from maintenance.services.cell_stock import lot_words

AXIS = 4  # times the longest need: what lasts longer runs off the edge
STEPS = (1, 2, 4, 5, 6, 8, 10, 12, 15, 16, 18, 20, 24, 30, 36, 40, 48, 60, 72, 96, 120)


@dataclass(frozen=True, kw_only=True)
class HoursStrip:
    """Hours of one set on the axis of its list, in per cent across: tape to `low`, stripes to `high`, a tick at `median`."""

    low: str
    median: str
    doubt: str
    need: str
    after_need: bool  # its figure fits behind the bracket's end
    over: bool  # the stripes run off the edge
    on_tape: bool  # the bracket ends over what is sure
    says: str
    needs: str


def axis_of(rows: list[Row]) -> float:
    """Return the hours that the list's axis spans: a few times its longest need, or as far as its sets reach."""
    need = max((row.need.need_h for row in rows), default=1.0)
    reach = max((row.life.high_h for row in rows if row.life is not None), default=0.0)
    wanted = min(max(reach, need * 1.25), need * AXIS)
    return float(next((step for step in STEPS if step >= wanted), hours_up(wanted)))


def strip_of(life: Life | None, need_h: float, axis: float) -> HoursStrip | None:
    """Return a set's strip; none where nobody can tell how long it lasts."""
    if life is None or axis <= 0:
        return None
    low, median, high = (min(h / axis, 1.0) * 100 for h in (life.low_h, life.median_h, life.high_h))
    said = f"{hours_down(life.low_h)} to {hours_down(life.high_h)} h left, likely {hours_down(life.median_h)}"
    need = min(need_h / axis, 1.0) * 100
    return HoursStrip(
        low=f"{low:.2f}%",
        median=f"{median:.2f}%" if life.median_h <= axis else "",
        doubt=f"{max(high - low, 0.0):.2f}%",
        need=f"{need:.2f}%",
        after_need=need < 80,
        over=life.high_h > axis,
        on_tape=need < low,
        says=said,
        needs=f"{hours_up(need_h)} h",
    )


def page_context(found: Listed, *, at: datetime, owner: bool) -> dict[str, Any]:
    """Return what the list's page draws, whoever asks; prices for an owner alone."""
    running = [row for row in found.rows if row.item is not None and row.need.feed == "cells"]
    axis = axis_of(running)
    drawn = {row.key: strip_of(row.life, row.need.need_h, axis) for row in running}
    made = CellForecast.objects.filter(show=found.needs.key).order_by("-made_at").values_list("made_at", flat=True).first()
    return {
        "show": found.needs,
        "listed": found,
        "at": at,
        "axis": f"{axis:g}",
        "swaps": [(row, drawn.get(row.key)) for row in found.swaps],
        "charges": [(row, drawn.get(row.key)) for row in found.charges],
        "spares": [(row, drawn.get(row.key)) for row in found.of(Advice.SPARE) if row.item is not None],
        "keeps": [(row, drawn.get(row.key)) for row in found.of(Advice.KEEP)],
        "phantoms": [row for row in found.rows if row.need.feed == "phantom"],
        "mains": [row for row in found.rows if row.need.feed == "mains"],
        "unchosen": [row for row in found.rows if row.item is None and row.need.feed == "cells"],
        "done": sorted(found.done, key=lambda row: row.done.at if row.done else at, reverse=True),
        "left": sum(row.to_do for row in found.rows),
        "did": len(found.done),
        "total": found.total,
        "carry": [_carry(one, found, owner) for one in found.found.carry],
        "made": made,
        "owner": owner,
    }


def _carry(one: Any, found: Listed, owner: bool) -> dict[str, Any]:
    type_ = None if one.labelled else found.types.get(one.key)
    price = type_.price_cents if owner and type_ is not None else None
    parts = [(one.fit, "to fit"), (one.spare, "spare"), (one.unchosen, "for what is not chosen yet")]
    return {
        "one": one,
        "parts": _parts([(count, what) for count, what in parts if count]),
        "cost": price * one.buy if price is not None and one.buy else None,
    }


def _parts(parts: list[tuple[int, str]]) -> str:
    """Say what they are for; the number stands before it already where they are all for one thing."""
    return parts[0][1] if len(parts) == 1 else ", ".join(f"{count} {what}" for count, what in parts)


def in_hand(found: Listed, item: Item | None) -> dict[str, Any] | None:
    """Return what is said and offered of a scanned device: its bays, what one tap does, where what comes out goes."""
    if item is None:
        return None
    rows = found.rows_of(item.pk)
    if not rows:
        return {"item": item, "rows": [], "uid": uuids.uuid4()}
    running = [row for row in found.rows if row.item is not None and row.need.feed == "cells"]
    axis = axis_of(running or rows)
    first = rows[0]
    mine = [row for row in rows if row.state is not None and row.item is not None and row.item.pk == item.pk]
    tapped = [row for row in mine if row.state is not None and not row.state.pack]
    swaps = [row.tap for row in tapped if row.tap is not None]
    usual = [row.state for row in tapped if row.state is not None]
    return {
        "item": item,
        "rows": [(row, strip_of(row.life, row.need.need_h, axis)) for row in rows],
        "first": first,
        "axis": f"{axis:g}",
        "charge": next((row.charge for row in rows if row.charge is not None), None),
        "bays": swaps,
        "fitted": any(state.fitted is not None for state in swaps),
        "one_bay": len(swaps) == 1,
        "take": _take(swaps, [row.cell_set for row in tapped]),
        "instead": _take(usual, []) if any(_other(row) for row in tapped) else "",
        "done": next((row.done for row in rows if row.done is not None), None),
        "policy": any(r.rule == "fresh every show" for row in rows for r in row.advised.device.rulings),
        "pool": part_used(found, swaps),
        "uid": uuids.uuid4(),
    }


def part_used(found: Listed, bays: list[Any]) -> CellLot | None:
    """Return the tub of part-used cells that would do at a rehearsal; none at a show, or with too few in it."""
    if not found.needs.rehearsal or not bays:
        return None
    wanted = sum(state.plan.cells_a_bay for state in bays)
    tubs = lots_counted(CellLot.objects.filter(pool=Pool.REHEARSAL, type__size=bays[0].size))
    return tubs.filter(left__gte=wanted).select_related("type").order_by("-left", "pk").first()


def _other(row: Row) -> bool:
    """Say whether what is advised is not what is usual, and what is usual lies here."""
    state = row.state
    if state is None or state.lot is None or row.type is None:
        return False
    return row.cell_set is not None or row.lot is None or row.lot.type_id != state.lot.type_id


def _take(bays: Sequence[BayState], sets: Sequence[Item | None]) -> str:
    """Say what one tap fits: 2 × AA alkaline from the lot of June, 22 left; a labelled set by its name."""
    if not bays:
        return ""
    if sets and sets[0] is not None:
        return f"{sets[0].label}, charged"
    cells = sum(state.plan.cells_a_bay for state in bays)
    lot = next((state.lot for state in bays if state.lot is not None), None)
    if lot is None:
        type_ = bays[0].fresh_type
        return f"{cells} × {type_}, none on record" if type_ is not None else ""
    return f"{cells} × {lot.type.name}, {lot_words(lot)}, {lot.left} left"  # type: ignore[attr-defined]
