"""What is in each bay of devices now, how long it lasts, and the words for it; constant queries for many devices."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import Any

from company.clock import today
from company.templatetags.tape import day as day_words
from inventory.models import Item
from maintenance.calc.cell_advice import hours_down
from maintenance.calc.cell_forecast import life_from_full
from maintenance.calc.cell_words import CellError, CellKind, Draw, Life, System
from maintenance.cell_evidence import Told, cached_life, evidence_of, explained, fresh_told, lives
from maintenance.cell_hours import WINDOW
from maintenance.cell_querysets import counting_swaps, lots_to_take, stock_of_types
from maintenance.models import CellLot, CellPlan, CellReading, CellType, Charge, FittedSet
from maintenance.services.cell_swaps import fitted_words
from maintenance.services.cell_types import kind_of, sets_of, sizes_wanted

__all__ = ["BayState", "cached_life", "hours_words", "left_words", "state_of"]

FEW = 3  # so many devices are told with their reasons
SOON_EXPIRES = timedelta(days=60)


@dataclass(frozen=True, kw_only=True)
class BayState:
    """What is in one bay of a device, or in a device with a pack of its own (`pack`, bay 0).

    `life` is None where `fault` says why: nothing on record, a device without a draw, a type without a curve. `hours` have run
    since `since` (fitted, or last charged), give or take `hours_share` of them. `fresh` is the life of a new set of
    `fresh_type` in this device; `lot` what one tap takes, of `lots` that fit; `stock` how many such cells lie on the shelf.
    `empty`: by the record nothing is in it.
    """

    item: Item
    bay: int
    bays: int
    plan: CellPlan
    fitted: FittedSet | None = None
    kind: CellKind | None = None
    draw: Draw | None = None
    metered: bool = False
    sets_learnt: int = 0
    life: Life | None = None
    hours: float = 0.0
    hours_share: float = WINDOW
    since: datetime | None = None
    before_h: float = 0.0  # hours that its set ran in other devices since it was charged
    age_years: float = 0.0
    reading: CellReading | None = None
    below_floor: bool = False
    expired: bool = False
    expires_on: date | None = None
    fresh: Life | None = None
    fresh_type: CellType | None = None
    fresh_kind: CellKind | None = None
    size: str = ""
    lot: CellLot | None = None
    lots: tuple[CellLot, ...] = ()
    stock: int = 0
    empty: bool = False
    pack: bool = False
    fault: str = ""
    words: str = ""
    reasons: tuple[str, ...] = field(default=())


def state_of(items: Sequence[Item], at: datetime) -> dict[int, list[BayState]]:
    """Return {item: the state of each of its bays}, its types fetched; constant queries. A thing without cells has no bays.

    For up to FEW devices each life comes with its reasons.
    """
    items = list({item.pk: item for item in items}.values())
    now = list(
        FittedSet.objects.filter(item__in=[i.pk for i in items], removed_at=None)
        .select_related("type", "lot__type", "cell_set__type__cell_set_facts")
        .order_by("item", "bay")
    )
    evidence = evidence_of(items=items, sets=now, at=at)
    few = len(items) <= FEW
    told = {(one.fitted.item_id, one.fitted.bay): one for one in evidence.told}
    found = [explained(one) for one in evidence.told] if few else lives(evidence.told)
    life_of_set = {one.fitted.pk: life for one, life in zip(evidence.told, found, strict=True)}
    sizes = sizes_wanted([item.type for item in items])
    day = today(at)
    lots = lots_to_take(sizes=[size for size in sizes.values() if size], on=day)
    stock = stock_of_types()
    usual = {
        row.key: row for row in CellType.objects.filter(key__in={item.type.cell_size for item in items if item.type.cell_size})
    }
    kinds: dict[str, CellKind | None] = {key: _kind(row) for key, row in usual.items()}
    charges = dict(
        Charge.objects.filter(item__in=[i.pk for i in items], withdrawn_at=None, at__lte=at)
        .order_by("at")
        .values_list("item", "at")
    )
    # what was swapped once and holds no set now had it taken out
    swapped = set(counting_swaps().filter(item__in=[i.pk for i in items]).order_by().values_list("item", "bay").distinct())
    fresh_of: dict[int, Told] = {}
    answer: dict[int, list[BayState]] = {}
    for item in items:
        plan = evidence.plans[item.type_id]
        draw = evidence.draw(item.pk)
        own = evidence.own.get(item.pk)
        size = sizes[item.type_id]
        type_ = usual.get(item.type.cell_size)
        kind = kinds.get(item.type.cell_size)
        if kind is not None and type_ is not None and isinstance(draw, Draw):
            fresh_of[item.pk] = fresh_told(item, kind, draw, plan, type_, at)
        lot = _lot(lots.get(size, []), item, plan)
        common: dict[str, Any] = {
            "item": item,
            "plan": plan,
            "draw": draw if isinstance(draw, Draw) else None,
            "metered": own is not None and own.metered is not None,
            "sets_learnt": own.sets if own is not None else 0,
            "size": size,
            "lot": lot,
            "lots": tuple(_usable(lots.get(size, []))),
            "stock": sum(stock.get(pk, 0) for pk in {one.type_id for one in lots.get(size, [])}),
            "fresh_type": type_,
            "fresh_kind": kind,
        }
        many = sets_of(item.type, plan)
        rows = [
            _bay(
                told.get((item.pk, bay)),
                life_of_set,
                BayState(bay=bay, bays=many, empty=(item.pk, bay) in swapped, **common),
                draw,
                day,
            )
            for bay in range(1, many + 1)
        ]
        if not many and plan.full_charge_h:
            rows = [_pack(BayState(bay=0, bays=0, pack=True, **common), charges.get(item.pk), evidence, at)]
        answer[item.pk] = rows
    fresh = dict(zip(fresh_of, lives(list(fresh_of.values())), strict=True))
    return {
        pk: [replace(row, fresh=life if isinstance(life := fresh.get(pk), Life) else None) for row in rows]
        for pk, rows in answer.items()
    }


def _kind(row: CellType) -> CellKind | None:
    try:
        return kind_of(row)
    except (CellError, TypeError, ValueError, KeyError):
        return None


def _usable(lots: Sequence[CellLot]) -> list[CellLot]:
    return [lot for lot in lots if lot.type.system != System.ZINC_CARBON and not lot.type.rechargeable]


def _lot(lots: list[CellLot], item: Item, plan: CellPlan) -> CellLot | None:
    good = _usable(lots)
    enough = [lot for lot in good if lot.left >= plan.cells_a_bay] or good  # type: ignore[attr-defined]
    return next((lot for lot in enough if lot.type.key == item.type.cell_size), enough[0] if enough else None)


def _bay(one: Told | None, lives_: dict[int, Life | str], row: BayState, draw: Draw | str, day: date) -> BayState:
    which = f"Bay {row.bay}: " if row.bays > 1 else ""
    if one is None and row.empty:
        return replace(row, fault="No cells are in it.", words=f"{which}{'n' if which else 'N'}o cells are in it.")
    if one is None:
        words = f"{which}{'n' if which else 'N'}ot known what is in it."
        return replace(row, fault="What is in it is not on record.", words=words)
    life = lives_[one.fitted.pk]
    fitted, reading = one.fitted, one.reading
    floor = fitted.type.floor_v
    below = (
        reading is not None
        and floor is not None
        and not fitted.type.regulated
        and reading.volts < floor * fitted.cells
        and (reading.load_ohm is not None or reading.minutes_off == 0)
    )
    expires = fitted.lot.expires_on if fitted.lot else None
    known = life if isinstance(life, Life) else None
    said = [fitted_words(fitted), f"{hours_words(one.used.hours)} used"]
    if one.elsewhere_h >= 0.05:
        said[-1] += f", {hours_words(one.elsewhere_h)} of them in other devices"
    if fitted.cell_set_id and not one.full:
        said.append("never charged by the record, so nobody knows how full it is")
    if known is not None:
        said.append(left_words(known))
    if below and reading is not None:
        said.append(f"read {reading.volts:g} V on {day_words(reading.read_at)}: not for a show")
    if expires and expires < day:
        said.append(f"expired on {day_words(expires)}")
    return replace(
        row,
        empty=False,
        fitted=fitted,
        kind=one.kind,
        life=known,
        hours=one.used.hours,
        hours_share=one.used.share,
        since=max(one.since, fitted.fitted_at),
        before_h=one.elsewhere_h,
        age_years=one.age_years,
        reading=reading,
        below_floor=below,
        expired=expires is not None and expires < day,
        expires_on=expires,
        fault=life if isinstance(life, str) else "",
        words=", ".join(said) + ".",
        reasons=known.reasons if known is not None else (),
    )


def _pack(row: BayState, charged: datetime | None, evidence: object, at: datetime) -> BayState:
    if charged is None:
        return replace(row, fault="Nobody noted yet when it was charged.", words="Not known when it was charged.")
    used = evidence.book.between(row.item.pk, charged, at + timedelta(microseconds=1))  # type: ignore[attr-defined]
    try:
        life = life_from_full(row.plan.full_charge_h, hours=used.hours)
    except CellError as wrong:
        return replace(row, fault=str(wrong), since=charged)
    words = f"Charged {day_words(charged)}, {hours_words(used.hours)} used, {left_words(life)}."
    return replace(row, life=life, hours=used.hours, hours_share=used.share, since=charged, words=words)


def hours_words(hours: float) -> str:
    """Write hours used: up, in whole ones where there are many."""
    if hours < 0.05:
        return "0 h"
    return f"{hours:.1f} h" if hours < 9.95 else f"{hours:.0f} h"


def left_words(life: Life) -> str:
    """Write hours left: 62 h left, between 40 and 110. Rounded down, as everything left is."""
    low, middle, high = (hours_down(x) for x in (life.low_h, life.median_h, life.high_h))
    if high < 1:
        return "less than 1 h left"
    return f"{middle if middle >= 1 else 'less than 1'} h left, between {low} and {high}"
