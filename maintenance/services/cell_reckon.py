"""What is known of a device's sets now, kept with them; its draw learnt from its finished sets. Many at once: `cell_night`."""

import logging
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from math import exp
from typing import Any
from uuid import UUID

from django.db import transaction

from company.rows import rows_put, rows_update
from inventory.models import Item
from maintenance.calc import cell_pool
from maintenance.calc.cell_forecast import Finished, learn, metered
from maintenance.calc.cell_words import CellError, Draw, Life
from maintenance.cell_evidence import Evidence, Told, evidence_of, finished_of, guess_of, lives
from maintenance.cell_querysets import counting_swaps
from maintenance.models import DeviceDraw, FittedSet, TypeDraw
from maintenance.services.cell_refused import CellRefused
from maintenance.services.cell_types import plan_of

log = logging.getLogger(__name__)

LEARNT_FROM = 12  # of a device's newest sets
KEPT = ("hours_used", "hours_sigma", "mean_ln_h", "var_ln_h", "reckoned_at")
DRAW = ("item_id", "mean_ln", "var_ln", "sets", "metered", "metered_at", "made_at")
WITH = ("type", "lot", "cell_set__type__cell_set_facts")


@transaction.atomic
def item_cells_reckon(*, item: Item, at: datetime) -> dict[UUID, Life]:
    """Learn a device's draw from its finished sets, and work out what sits in it now; answers {uid of the set: its life}.

    Constant queries. Call it inside the transaction that changed the device's record.
    """
    mine = FittedSet.objects.filter(item=item).select_related(*WITH)
    over = list(mine.exclude(removed_at=None).order_by("-removed_at", "-fitted_at")[:LEARNT_FROM])
    now = list(mine.filter(removed_at=None).order_by("bay"))
    evidence = evidence_of(items=[item], sets=[*over, *now], at=at)
    _learn(item, evidence, evidence.told[: len(over)], at)
    draw = evidence.draw(item.pk)  # as it is now learnt
    told = [replace(one, draw=draw) if isinstance(draw, Draw) else one for one in evidence.told]
    found = lives(told)
    rows = [kept_row(one, life, at) for one, life in zip(told, found, strict=True)]
    rows_update(FittedSet, KEPT, [row for row in rows if row is not None])
    for fitted, one, life in zip([*over, *now], told, found, strict=True):
        fitted.hours_used = one.used.hours
        if isinstance(life, Life):
            fitted.mean_ln_h, fitted.var_ln_h, fitted.hours_sigma = life.mean_ln_h, life.var_ln_h, life.hours_sigma
    return {
        one.fitted.opened_uid: life
        for one, life in zip(told[len(over) :], found[len(over) :], strict=True)
        if isinstance(life, Life)
    }


def kept_row(one: Told, life: Life | str, at: datetime) -> list[Any] | None:
    """Return the columns kept with a set; None where nothing changed."""
    if isinstance(life, Life):
        values: list[Any] = [one.used.hours, life.hours_sigma, life.mean_ln_h, life.var_ln_h]
    else:
        values = [one.used.hours, one.used.sigma, None, None]
    kept = one.fitted
    before = [kept.hours_used, kept.hours_sigma, kept.mean_ln_h, kept.var_ln_h]
    if kept.reckoned_at is not None and all(same(a, b) for a, b in zip(values, before, strict=True)):
        return None
    return [*values, at, kept.pk]


def same(a: float | None, b: float | None) -> bool:
    return a is b or (a is not None and b is not None and abs(a - b) < 1e-4)


def _learn(item: Item, evidence: Evidence, over: Sequence[Told], at: datetime) -> None:
    """Learn a device's draw anew from the guess of its type and all its finished sets, and move its type's pool by it."""
    guess = evidence.guesses[item.type_id]
    if isinstance(guess, str):
        return
    before = evidence.own.get(item.pk)
    try:
        after = draw_learnt(item.pk, guess, before, finished_of(over, ends_of([item.pk])), at)
    except CellError as wrong:
        log.warning("the draw of %s could not be learnt: %s", item, wrong)
        return
    if after is not None:
        rows_put(DeviceDraw, DRAW, [draw_row(after)], unique=["item_id"])
        evidence.own[item.pk] = after
    elif before is not None:
        before.delete()
        del evidence.own[item.pk]
    _pool_move(item, evidence, guess, before, after, at)


def draw_learnt(
    item: int, guess: Draw, before: DeviceDraw | None, finished: Sequence[Finished], at: datetime
) -> DeviceDraw | None:
    """Return what a device's finished sets say of its draw, from its metered figure or its type's guess on; None: nothing."""
    value = before.metered if before is not None else None
    if not finished and value is None:
        return None
    got = learn(metered(guess, value) if value is not None else guess, finished)
    return DeviceDraw(
        item_id=item,
        mean_ln=got.mean_ln,
        var_ln=got.var_ln,
        sets=len(finished),
        metered=value,
        metered_at=before.metered_at if before is not None else None,
        made_at=at,
    )


def draw_row(draw: DeviceDraw) -> list[Any]:
    """Return a draw's columns as DRAW names them."""
    return [getattr(draw, name) for name in DRAW]


def ends_of(items: Sequence[int]) -> dict[tuple[int, int, datetime], float]:
    """Return what was read when sets were taken out, {(item, bay, when): volts}, in one query."""
    swaps = counting_swaps().filter(item__in=items, out_volts__isnull=False)
    return {
        (item, bay, done_at): volts for item, bay, done_at, volts in swaps.values_list("item", "bay", "done_at", "out_volts")
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
    pool_put(item.type_id, pool, at)


def pool_put(type_id: int, pool: cell_pool.Pool, at: datetime) -> None:
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
