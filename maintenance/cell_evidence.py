"""All that is known of some sets of cells, read in a constant number of queries, and what it comes to: their lives."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import nan
from typing import Any, NamedTuple

import numpy as np

from inventory.models import GearType, Item
from maintenance.calc import cell_pool, cells
from maintenance.calc.cell_arrays import LOADS, fleet_of, lives_of
from maintenance.calc.cell_forecast import (
    Ended,
    Finished,
    capacity_sigma,
    draw_of,
    life,
    life_from_full,
    life_of,
    standby_hours,
)
from maintenance.calc.cell_words import CellError, CellKind, Draw, Life, Load, Seen, SwapReason, System
from maintenance.cell_hours import WINDOW, Book, Used, book_of
from maintenance.cell_querysets import counting_capacity_tests, counting_readings
from maintenance.models import CellPlan, CellReading, Charge, DeviceDraw, FittedSet, TypeDraw
from maintenance.services.cell_types import kind_of, plan_of

YEAR = timedelta(days=365.25)
# years from making to the printed date, from memory: how old a lot is when only its date of expiry is known
SHELF_YEARS = {System.ALKALINE: 7.0, System.ZINC_CARBON: 3.0, System.LITHIUM_IRON: 15.0, System.LITHIUM_MANGANESE: 10.0}


class Thing(NamedTuple):
    """As much of an item as the sums want: making a hundred thousand items whole takes longer than to reckon them."""

    pk: int
    type_id: int
    type: GearType


@dataclass(frozen=True, kw_only=True)
class Told:
    """What is known of one set up to an instant, as the sums want it. `fault` says why it cannot be reckoned.

    `full`: it was fresh or full at `since`. `elsewhere_h`: of its hours since then, those that it ran in other devices.
    """

    fitted: FittedSet
    plan: CellPlan
    kind: CellKind | None
    draw: Draw | None
    since: datetime  # fitted, or last charged
    used: Used
    reading: CellReading | None = None
    seen: Seen | None = None
    age_years: float = 0.0
    fault: str = ""
    full: bool = True
    elsewhere_h: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """Plans by type, draws by item, the runs of devices, and what is told of each set, in the order asked for."""

    plans: dict[int, CellPlan]
    guesses: dict[int, Draw | str]  # by type; a sentence where its draw is not known
    pools: dict[int, cell_pool.Pool]
    own: dict[int, DeviceDraw]
    types: dict[int, int]  # {item: its type}
    book: Book
    told: list[Told]

    def draw(self, item: int) -> Draw | str:
        """Return what is believed of a device's draw, or the sentence why nothing is."""
        type_ = self.types[item]
        guess = self.guesses[type_]
        if isinstance(guess, str):
            return guess
        own = self.own.get(item)
        mine = None if own is None else replace(guess, mean_ln=own.mean_ln, var_ln=own.var_ln)
        if own is not None and own.metered is not None:
            return mine or guess
        return cell_pool.carried(mine, guess, self.pools.get(type_) or cell_pool.empty(guess))


def guess_of(plan: CellPlan) -> Draw | str:
    """Return what a type's plan says of its draw; a sentence where it says nothing."""
    try:
        return draw_of(
            load=Load(plan.load),
            draw=plan.draw,
            sigma=plan.sigma,
            standby_ma=plan.standby_ma,
            stops_below_v=plan.stops_below_v or 0.0,
            in_series=plan.cells_a_bay,
        )
    except CellError as wrong:
        return str(wrong)


def evidence_of(*, items: Sequence[Item | Thing], sets: Sequence[FittedSet], at: datetime) -> Evidence:
    """Read all that is known of these sets of these items, their types fetched; constant queries.

    `sets` come with type, lot and cell_set fetched; those that are over are told as they were when they were taken out.
    """
    types: dict[int, GearType] = {item.type_id: item.type for item in items}
    type_of = {item.pk: item.type_id for item in items}
    plans = plan_of(types.values())
    keys = list(type_of)
    own = {row.item_id: row for row in DeviceDraw.objects.filter(item__in=keys)}
    pools = {
        row.type_id: cell_pool.Pool(mean_ln=row.mean_ln, var_ln=row.var_ln, spread_ln=row.spread_ln, devices=row.devices)
        for row in TypeDraw.objects.filter(type__in=list(types))
    }
    labelled = {fitted.cell_set_id for fitted in sets if fitted.cell_set_id}
    stays: dict[int, list[FittedSet]] = {}
    for stay in FittedSet.objects.filter(cell_set__in=labelled).order_by("fitted_at") if labelled else ():
        stays.setdefault(stay.cell_set_id or 0, []).append(stay)
    held_by = {stay.item_id for some in stays.values() for stay in some}
    evidence = Evidence(
        plans=plans,
        guesses={pk: guess_of(plan) for pk, plan in plans.items()},
        pools=pools,
        own=own,
        types=type_of,
        book=book_of(list({*keys, *held_by}), at),
        told=[],
    )
    if not sets:
        return evidence
    earliest = min(fitted.fitted_at for fitted in sets)
    readings: dict[tuple[int, int], list[CellReading]] = {}
    for reading in counting_readings().filter(item__in=keys, read_at__gte=earliest, read_at__lte=at).order_by("read_at", "pk"):
        readings.setdefault((reading.item_id, reading.bay), []).append(reading)
    charged: dict[int, list[datetime]] = {}
    measured: dict[int, float] = {}
    for item, when in (
        Charge.objects.filter(item__in=labelled | set(keys), withdrawn_at=None, at__lte=at)
        .order_by("at")
        .values_list("item", "at")
    ):
        charged.setdefault(item, []).append(when)
    if labelled:
        tests = counting_capacity_tests().filter(item__in=labelled, done_at__lte=at).order_by("done_at", "pk")
        measured = dict(tests.values_list("item", "mah"))
    kinds: dict[int, CellKind | str] = {}
    draws: dict[int, Draw | str] = {}
    for fitted in sets:
        draws.setdefault(fitted.item_id, evidence.draw(fitted.item_id))
        evidence.told.append(_told(fitted, evidence, draws[fitted.item_id], kinds, readings, charged, measured, stays, at))
    return evidence


def _told(
    fitted: FittedSet,
    evidence: Evidence,
    draw: Draw | str,
    kinds: dict[int, CellKind | str],
    readings: dict[tuple[int, int], list[CellReading]],
    charged: dict[int, list[datetime]],
    measured: dict[int, float],
    stays: Mapping[int, Sequence[FittedSet]],
    at: datetime,
) -> Told:
    item, plan = fitted.item_id, evidence.plans[evidence.types[fitted.item_id]]
    last = min(fitted.removed_at or at, at)
    since, full = fitted.fitted_at, fitted.was_new is True
    if fitted.cell_set_id:
        # a labelled set is full from its last charge alone, whatever it sat in since; never charged, nobody knows
        mine = [when for when in charged.get(fitted.cell_set_id, ()) if when <= last]
        since, full = max(mine, default=since), bool(mine)
    elif fitted.type.rechargeable:
        mine = [when for when in charged.get(item, ()) if since < when <= last]
        since, full = max(mine, default=since), full or bool(mine)
    here_since = max(since, fitted.fitted_at)
    before = [
        evidence.book.between(stay.item_id, max(since, stay.fitted_at), min(stay.removed_at or last, here_since))
        for stay in stays.get(fitted.cell_set_id or 0, ())
        if stay.opened_uid != fitted.opened_uid and stay.fitted_at < here_since and (stay.removed_at or last) > since
    ]
    elsewhere_h, elsewhere_sigma = sum(one.hours for one in before), sum(one.sigma for one in before)
    if fitted.type_id not in kinds:
        kinds[fitted.type_id] = _kind(fitted)
    kind = kinds[fitted.type_id]
    if isinstance(kind, CellKind) and fitted.cell_set is not None:
        facts = getattr(fitted.cell_set.type, "cell_set_facts", None)
        mah = measured.get(fitted.cell_set_id or 0) or (facts.capacity_mah if facts else None)
        if mah:
            kind = cells.rated(kind, mah)
    fault = kind if isinstance(kind, str) else draw if isinstance(draw, str) else ""
    known_kind = kind if isinstance(kind, CellKind) else None
    known_draw = draw if isinstance(draw, Draw) else None

    def used(until: datetime) -> Used:
        ran = evidence.book.between(item, here_since, until)
        ran = Used(hours=ran.hours + elsewhere_h, sigma=ran.sigma + elsewhere_sigma)
        if known_draw is None or known_kind is None or not known_draw.standby_ma or not known_kind.curve:
            return ran
        off = max((until - here_since).total_seconds() / 3600 - (ran.hours - elsewhere_h), 0.0)
        idle = standby_hours(known_kind, known_draw, off)
        return Used(hours=ran.hours + idle, sigma=ran.sigma + WINDOW * idle)

    mine_read = [one for one in readings.get((item, fitted.bay), ()) if here_since <= one.read_at <= last]
    reading = mine_read[-1] if mine_read else None
    return Told(
        fitted=fitted,
        plan=plan,
        kind=known_kind,
        draw=known_draw,
        since=since,
        used=used(last + timedelta(microseconds=1)),
        reading=reading,
        seen=None if reading is None else seen_of(reading, used(reading.read_at)),
        age_years=_age(fitted, since, last),
        fault=fault,
        full=full,
        elsewhere_h=elsewhere_h,
    )


def seen_of(reading: CellReading, used: Used) -> Seen:
    """Return a reading as the sums want it: with no test load and not a minute off, the device was its load."""
    return Seen(
        volts=reading.volts,
        hours=used.hours,
        hours_share=used.share,
        load_ohm=reading.load_ohm,
        own_load=reading.load_ohm is None and reading.minutes_off == 0,
        minutes_off=reading.minutes_off,
    )


def _kind(fitted: FittedSet) -> CellKind | str:
    try:
        kind = kind_of(fitted.type)
        if kind.curve or kind.capacity or fitted.type.size != "pack":
            cells.table_of(kind)
    except CellError as wrong:
        return str(wrong)
    except (TypeError, ValueError, KeyError):
        return f"The figures of {fitted.type} cannot be read: put them right on its page."
    return kind


def _age(fitted: FittedSet, since: datetime, last: datetime) -> float:
    """Return years on the shelf and in the device: since bought or by the date of expiry, the more; or since charged."""
    if fitted.type.rechargeable:
        return max((last - since) / YEAR, 0.0)
    lot = fitted.lot
    ages = [(last - since) / YEAR]
    if lot is not None and lot.bought_on:
        ages.append((last.date() - lot.bought_on) / YEAR)
    shelf = SHELF_YEARS.get(System(fitted.type.system))
    if lot is not None and lot.expires_on and shelf:
        ages.append(shelf - (lot.expires_on - last.date()) / YEAR)
    return max(0.0, *ages)


# what it comes to


def lives(told: Sequence[Told]) -> list[Life | str]:
    """Return each set's life, or the sentence why there is none; all at once."""
    found: list[Life | str] = [one.fault for one in told]
    kinds: dict[CellKind, int] = {}
    rows: list[int] = []
    for n, one in enumerate(told):
        if one.fault and not (one.kind is not None and not one.kind.curve):
            continue
        if one.kind is not None and not one.kind.curve:
            found[n] = _from_full(one)
        elif one.kind is not None and one.draw is not None:
            kinds.setdefault(one.kind, len(kinds))
            rows.append(n)
    if rows:
        some = [told[n] for n in rows]
        named = list(kinds)
        fleet = fleet_of(len(some), **_columns(some, kinds))
        got = lives_of(named, fleet)
        for n, place in enumerate(rows):
            if np.isnan(got.mean_ln_h[n]):
                found[place] = got.faults.get(kinds[some[n].kind], "This set cannot be reckoned.")  # type: ignore[index]
                continue
            found[place] = Life(
                mean_ln_h=float(got.mean_ln_h[n]),
                var_ln_h=float(got.var_ln_h[n]),
                hours=float(got.hours[n]),
                low_h=float(got.low_h[n]),
                median_h=float(got.median_h[n]),
                high_h=float(got.high_h[n]),
                hours_sigma=float(got.hours_sigma[n]),
            )
    return found


def _columns(some: Sequence[Told], kinds: dict[CellKind, int]) -> dict[str, Any]:
    """Return the columns of a Fleet."""
    draws = [one.draw for one in some]
    seen = [one.seen for one in some]
    return {
        "kind": np.array([kinds[one.kind] for one in some]),  # type: ignore[index]
        "load": np.array([LOADS.index(draw.load) for draw in draws]),  # type: ignore[union-attr]
        "mean_ln": np.array([draw.mean_ln for draw in draws]),  # type: ignore[union-attr]
        "var_ln": np.array([draw.var_ln for draw in draws]),  # type: ignore[union-attr]
        "stops_below_v": np.array([draw.stops_below_v for draw in draws]),  # type: ignore[union-attr]
        "in_series": np.array([draw.in_series for draw in draws]),  # type: ignore[union-attr]
        "hours": np.array([one.used.hours for one in some]),
        "hours_share": np.array([one.used.share for one in some]),
        "age_years": np.array([one.age_years for one in some]),
        "sigma_capacity": np.array([_sigma(one) for one in some]),
        "n_cells": np.array([one.fitted.cells for one in some]),
        "same_batch": np.array([_same_batch(one.fitted) for one in some]),
        "was_new": np.array([one.full for one in some]),
        "seen_volts": np.array([nan if s is None else s.volts for s in seen]),
        "seen_hours": np.array([0.0 if s is None else s.hours for s in seen]),
        "seen_share": np.array([WINDOW if s is None else s.hours_share for s in seen]),
        "seen_load_ohm": np.array([nan if s is None or s.load_ohm is None else s.load_ohm for s in seen]),
        "seen_own_load": np.array([s is not None and s.own_load for s in seen]),
        "seen_minutes_off": np.array([nan if s is None or s.minutes_off is None else s.minutes_off for s in seen]),
    }


def _sigma(one: Told) -> float:
    lot = one.fitted.lot
    return capacity_sigma(one.kind, same_make=lot is not None and bool(lot.make))  # type: ignore[arg-type]


def _same_batch(fitted: FittedSet) -> bool:
    return fitted.lot_id is not None or fitted.cell_set_id is not None


def explained(one: Told) -> Life | str:
    """Return one set's life with its reasons in sentences; as `lives` has it, more slowly."""
    if one.kind is not None and not one.kind.curve:
        return _from_full(one)
    if one.fault or one.kind is None or one.draw is None:
        return one.fault
    try:
        return life(
            one.kind,
            one.draw,
            hours=one.used.hours,
            hours_share=one.used.share,
            seen=() if one.seen is None else (one.seen,),
            age_years=one.age_years,
            sigma_capacity=_sigma(one),
            n_cells=one.fitted.cells,
            same_batch=_same_batch(one.fitted),
            was_new=one.full,
        )
    except CellError as wrong:
        return str(wrong)


def _from_full(one: Told) -> Life | str:
    try:
        return life_from_full(one.plan.full_charge_h, hours=one.used.hours)
    except CellError as wrong:
        return str(wrong)


def cached_life(fitted: FittedSet) -> Life | None:
    """Return the life kept with a set since something about it last changed."""
    if fitted.mean_ln_h is None or fitted.var_ln_h is None:
        return None
    return life_of(
        mean_ln_h=fitted.mean_ln_h, var_ln_h=fitted.var_ln_h, hours=fitted.hours_used, hours_sigma=fitted.hours_sigma
    )


def fresh_told(item: Item, kind: CellKind, draw: Draw, plan: CellPlan, cell_type: Any, at: datetime) -> Told:
    """Return what a fresh set of a kind in this device would be, for its life."""
    fitted = FittedSet(item=item, type=cell_type, cells=plan.cells_a_bay, was_new=True, fitted_at=at)
    return Told(fitted=fitted, plan=plan, kind=kind, draw=draw, since=at, used=Used())


def finished_of(told: Iterable[Told], ends: Mapping[tuple[int, int, datetime], float]) -> list[Finished]:
    """Return what finished sets say of a device's draw: only those that were fresh, ran, and did not leak.

    `ends`: {(item, bay, when it was taken out): volts read then}, where somebody read them.
    """
    found = []
    for one in told:
        if not one.full or one.elsewhere_h > 0 or one.kind is None or one.used.hours <= 0 or not one.kind.curve:
            continue
        if one.fitted.removed_because == SwapReason.LEAKED:
            continue
        ended, hours, share, seen = Ended.CENSORED, one.used.hours, one.used.share, one.seen
        out_at = one.fitted.removed_at
        volts = None if out_at is None else ends.get((one.fitted.item_id, one.fitted.bay, out_at))
        if one.fitted.removed_because == SwapReason.DIED:
            ended, seen = Ended.DIED, None
        elif volts is not None and not one.kind.flat:
            ended, seen = Ended.READING, Seen(volts=volts, hours=hours, hours_share=share)
        elif seen is not None and not one.kind.flat and seen.hours > 0:
            ended, hours, share = Ended.READING, seen.hours, seen.hours_share
        else:
            seen = None
        found.append(
            Finished(
                kind=one.kind,
                hours=hours,
                ended=ended,
                seen=seen,
                hours_share=share,
                age_years=one.age_years,
                sigma_capacity=_sigma(one),
                n_cells=one.fitted.cells,
                same_batch=_same_batch(one.fitted),
            )
        )
    return found
