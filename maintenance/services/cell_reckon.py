"""What is known of sets now, kept with them; draws learnt from finished sets; many at once by night."""

import logging
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import exp
from typing import Any
from uuid import UUID

from django.db import transaction

from company.rows import rows_put, rows_update
from inventory.models import GearType, Item
from maintenance.calc import cell_pool
from maintenance.calc.cell_forecast import learn, metered
from maintenance.calc.cell_words import CellError, Draw, Life
from maintenance.cell_evidence import Evidence, Told, evidence_of, finished_of, guess_of, lives
from maintenance.cell_querysets import counting_swaps, fitted_now
from maintenance.models import DeviceDraw, FittedSet, TypeDraw
from maintenance.services.cell_refused import CellRefused
from maintenance.services.cell_types import plan_of

log = logging.getLogger(__name__)

JOB_KIND = "cells"
AT_ONCE = 4_000
WRITTEN = 500
LEARNT_FROM = 12  # of a device's newest sets
LATELY = timedelta(days=21)  # a ledger may still change so long after a set was taken out
_KEPT = ("hours_used", "hours_sigma", "mean_ln_h", "var_ln_h", "reckoned_at")
_WITH = ("type", "lot", "cell_set__type__cell_set_facts")


@dataclass(kw_only=True)
class Done:
    """What a reckoning of many did."""

    sets: int = 0
    written: int = 0
    learnt: int = 0
    resolved: int = 0

    @property
    def said(self) -> str:
        many = "1 set" if self.sets == 1 else f"{self.sets} sets"
        return f"Worked out what is left in {many} of cells; {self.written or 'nothing'} changed, {self.learnt} draws learnt."


# one device


@transaction.atomic
def item_cells_reckon(*, item: Item, at: datetime) -> dict[UUID, Life]:
    """Learn a device's draw from its finished sets, and work out what sits in it now; answers {uid of the set: its life}.

    Constant queries. Call it inside the transaction that changed the device's record.
    """
    mine = FittedSet.objects.filter(item=item).select_related(*_WITH)
    over = list(mine.exclude(removed_at=None).order_by("-removed_at", "-fitted_at")[:LEARNT_FROM])
    now = list(mine.filter(removed_at=None).order_by("bay"))
    evidence = evidence_of(items=[item], sets=[*over, *now], at=at)
    _learn(item, evidence, evidence.told[: len(over)], at)
    draw = evidence.draw(item.pk)  # as it is now learnt
    told = [replace(one, draw=draw) if isinstance(draw, Draw) else one for one in evidence.told]
    found = lives(told)
    rows = [_row(one, life, at) for one, life in zip(told, found, strict=True)]
    rows_update(FittedSet, _KEPT, [row for row in rows if row is not None])
    for fitted, one, life in zip([*over, *now], told, found, strict=True):
        fitted.hours_used = one.used.hours
        if isinstance(life, Life):
            fitted.mean_ln_h, fitted.var_ln_h, fitted.hours_sigma = life.mean_ln_h, life.var_ln_h, life.hours_sigma
    return {
        one.fitted.opened_uid: life
        for one, life in zip(told[len(over) :], found[len(over) :], strict=True)
        if isinstance(life, Life)
    }


def _row(one: Told, life: Life | str, at: datetime) -> list[Any] | None:
    """Return the columns kept with a set; None where nothing changed."""
    if isinstance(life, Life):
        values: list[Any] = [one.used.hours, life.hours_sigma, life.mean_ln_h, life.var_ln_h]
    else:
        values = [one.used.hours, one.used.sigma, None, None]
    kept = one.fitted
    before = [kept.hours_used, kept.hours_sigma, kept.mean_ln_h, kept.var_ln_h]
    if kept.reckoned_at is not None and all(_same(a, b) for a, b in zip(values, before, strict=True)):
        return None
    return [*values, at, kept.pk]


def _same(a: float | None, b: float | None) -> bool:
    return a is b or (a is not None and b is not None and abs(a - b) < 1e-4)


def _learn(item: Item, evidence: Evidence, over: Sequence[Told], at: datetime) -> None:
    """Learn a device's draw anew from the guess of its type and all its finished sets, and move its type's pool by it."""
    guess = evidence.guesses[item.type_id]
    if isinstance(guess, str):
        return
    before = evidence.own.get(item.pk)
    value = before.metered if before is not None else None
    start = metered(guess, value) if value is not None else guess
    finished = finished_of(over, _ends(item.pk, over))
    if not finished and value is None:
        if before is not None:
            before.delete()
            del evidence.own[item.pk]
        after = None
    else:
        try:
            got = learn(start, finished)
        except CellError as wrong:
            log.warning("the draw of %s could not be learnt: %s", item, wrong)
            return
        after = DeviceDraw(
            item=item,
            mean_ln=got.mean_ln,
            var_ln=got.var_ln,
            sets=len(finished),
            metered=value,
            metered_at=before.metered_at if before is not None else None,
            made_at=at,
        )
        rows_put(
            DeviceDraw,
            ["item_id", "mean_ln", "var_ln", "sets", "metered", "metered_at", "made_at"],
            [[item.pk, after.mean_ln, after.var_ln, after.sets, after.metered, after.metered_at, at]],
            unique=["item_id"],
        )
        evidence.own[item.pk] = after
    _pool_move(item, evidence, guess, before, after, at)


def _ends(item: int, over: Sequence[Told]) -> dict[UUID, float | None]:
    """Return what was read when sets were taken out."""
    swaps = counting_swaps().filter(item=item, out_volts__isnull=False).values_list("bay", "done_at", "out_volts")
    read = {(bay, done_at): volts for bay, done_at, volts in swaps}
    return {
        one.fitted.opened_uid: read.get((one.fitted.bay, one.fitted.removed_at))
        for one in over
        if one.fitted.removed_at is not None
    }


def _pool_move(
    item: Item, evidence: Evidence, guess: Draw, before: DeviceDraw | None, after: DeviceDraw | None, at: datetime
) -> None:
    def told(row: DeviceDraw | None) -> tuple[float, float] | None:
        return None if row is None else cell_pool.told_of(replace(guess, mean_ln=row.mean_ln, var_ln=row.var_ln), guess)

    out, put = told(before), told(after)
    if out is None and put is None:
        return
    row = TypeDraw.objects.select_for_update().filter(type=item.type_id).first()
    pool = cell_pool.empty(guess)
    if row is not None:
        pool = cell_pool.Pool(mean_ln=row.mean_ln, var_ln=row.var_ln, spread_ln=row.spread_ln, devices=row.devices)
    else:
        out = None
    pool = cell_pool.moved(pool, out=out, put=put)
    evidence.pools[item.type_id] = pool
    _pool_put(item.type_id, pool, at)


def _pool_put(type_id: int, pool: cell_pool.Pool, at: datetime) -> None:
    rows_put(
        TypeDraw,
        ["type_id", "mean_ln", "var_ln", "spread_ln", "devices", "made_at"],
        [[type_id, pool.mean_ln, pool.var_ln, pool.spread_ln, pool.devices, at]],
        unique=["type_id"],
    )


def draw_metered(*, item: Item, value: float | None, at: datetime) -> dict[UUID, Life]:
    """Keep what a meter in series with the clip read, in the unit of the type's load; None takes it back.

    Raises CellRefused where the reading cannot be: not above nothing, or thirty times off what such things draw.
    """
    guess = guess_of(plan_of([item.type])[item.type_id])
    guess_value = None if isinstance(guess, str) else exp(guess.mean_ln)
    if value is not None:
        if not 0 < value < 1e6:
            raise CellRefused("A draw is above 0.", "draw")
        if guess_value is not None and not guess_value / 30 <= value <= guess_value * 30:
            unit = {"current": "mA", "power": "mW", "resistor": "ohm"}[str(guess.load)]  # type: ignore[union-attr]
            raise CellRefused(
                f"{value:g} {unit} is far from the {guess_value:.3g} {unit} such things draw: was it read on another range?",
                "draw",
            )
    with transaction.atomic():
        list(Item.objects.select_for_update(of=("self",), no_key=True).filter(pk=item.pk).values_list("pk"))
        if isinstance(guess, str):
            raise CellRefused(guess, "draw")
        DeviceDraw.objects.update_or_create(
            item=item,
            defaults={"metered": value, "metered_at": at if value is not None else None, "made_at": at},
            create_defaults={
                "metered": value,
                "metered_at": at if value is not None else None,
                "made_at": at,
                "mean_ln": guess.mean_ln,
                "var_ln": guess.var_ln,
            },
        )
        return item_cells_reckon(item=item, at=at)


# many


def cells_reckon(
    *, at: datetime, progress: Callable[[int, int], None] | None = None, types: Iterable[int] | None = None
) -> Done:
    """Work out every set that is fitted, or those in things of some types, and relearn what a changed ledger touched.

    Only what changed is written, in transactions of a few rows; AT_ONCE sets are held at a time.
    """
    done = Done()
    wanted = fitted_now()
    recent = FittedSet.objects.filter(removed_at__gte=at - LATELY)
    if types is not None:
        keys = list(types)
        wanted, recent = wanted.filter(item__type__in=keys), recent.filter(item__type__in=keys)
    done.learnt = _relearn(recent, at)
    _pools_reckon(at, types)
    total = wanted.count()
    after = 0
    while True:
        part = list(wanted.filter(pk__gt=after).order_by("pk").select_related(*_WITH, "item__type")[:AT_ONCE])
        if not part:
            break
        after = part[-1].pk
        items = list({fitted.item_id: fitted.item for fitted in part}.values())
        told = evidence_of(items=items, sets=part, at=at).told
        rows = [row for row in (_row(one, life, at) for one, life in zip(told, lives(told), strict=True)) if row is not None]
        for start in range(0, len(rows), WRITTEN):
            with transaction.atomic():
                rows_update(FittedSet, _KEPT, rows[start : start + WRITTEN])
        done.sets += len(part)
        done.written += len(rows)
        if progress is not None:
            progress(done.sets, total)
    return done


def _relearn(recent: Any, at: datetime) -> int:
    """Learn anew from the devices whose hours of a set that is over are no longer what they were when it was taken out."""
    learnt = after = 0
    while True:
        part = list(recent.filter(pk__gt=after).order_by("pk").select_related(*_WITH, "item__type")[:AT_ONCE])
        if not part:
            return learnt
        after = part[-1].pk
        items = {fitted.item_id: fitted.item for fitted in part}
        told = evidence_of(items=list(items.values()), sets=part, at=at).told
        changed = {one.fitted.item_id for one in told if not _same(one.used.hours, one.fitted.hours_used)}
        for pk in sorted(changed):
            item_cells_reckon(item=items[pk], at=at)
        learnt += len(changed)


def _pools_reckon(at: datetime, types: Iterable[int] | None) -> None:
    """Work out each type's pool anew from its devices, how far they differ included."""
    rows = DeviceDraw.objects.order_by()
    kinds = GearType.objects.filter(items__draw__isnull=False).distinct()
    if types is not None:
        kinds, rows = kinds.filter(pk__in=list(types)), rows.filter(item__type__in=list(types))
    known = list(kinds)
    plans = plan_of(known)
    by_type: dict[int, list[tuple[float, float]]] = defaultdict(list)
    for type_id, mean, var in rows.values_list("item__type", "mean_ln", "var_ln"):
        by_type[type_id].append((mean, var))
    for type_ in known:
        guess = guess_of(plans[type_.pk])
        if isinstance(guess, Draw):
            draws = [replace(guess, mean_ln=mean, var_ln=var) for mean, var in by_type[type_.pk]]
            _pool_put(type_.pk, cell_pool.pooled(draws, guess), at)


def plan_changed(*, type: GearType, at: datetime) -> None:
    """Learn and work out all of a type's devices anew, once its plan was saved: what is believed of them starts there."""
    TypeDraw.objects.filter(type=type).delete()
    mine = Item.objects.filter(type=type).filter(fitted_sets__removed_at__isnull=False) | Item.objects.filter(
        type=type, draw__isnull=False
    )
    for item in mine.distinct().select_related("type"):
        item_cells_reckon(item=item, at=at)
    cells_reckon(at=at, types=[type.pk])
