"""Many sets of cells at once, by night: what changed is written, and what a changed ledger touched is learnt anew.

The sums take a second for a hundred thousand; to read the record and write it back is what takes the time. So things are read
as columns, types, lots and labelled sets once each, and written by prepared statements in transactions of a few rows.
"""

import logging
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import QuerySet

from company.rows import rows_put, rows_update
from inventory.models import GearType, Item
from maintenance.calc import cell_pool
from maintenance.calc.cell_words import CellError, Draw
from maintenance.cell_evidence import Thing, Told, evidence_of, finished_of, guess_of, lives
from maintenance.cell_querysets import fitted_now
from maintenance.models import CellLot, CellType, DeviceDraw, FittedSet, TypeDraw
from maintenance.services.cell_reckon import (
    DRAW,
    KEPT,
    LEARNT_FROM,
    draw_learnt,
    draw_row,
    ends_of,
    kept_row,
    pool_put,
    same,
)
from maintenance.services.cell_types import plan_of

log = logging.getLogger(__name__)

JOB_KIND = "cells"
AT_ONCE = 4_000  # sets held in memory together
LEARNT_AT_ONCE = 500  # devices
WRITTEN = 500  # rows a transaction
LATELY = timedelta(days=21)  # a ledger may still change so long after a set was taken out


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
        wanted, recent, types = wanted.filter(item__type__in=keys), recent.filter(item__type__in=keys), keys
    known = _Known()
    done.learnt = _relearn(recent, known, at)
    _pools_reckon(at, types)
    total = wanted.count()
    for part in _parts(wanted):
        told = evidence_of(items=known.attach(part), sets=part, at=at).told
        done.written += _keep(told, at)
        done.sets += len(part)
        if progress is not None:
            progress(done.sets, total)
    return done


def _parts(sets: QuerySet[FittedSet]) -> Iterable[list[FittedSet]]:
    after = 0
    while part := list(sets.filter(pk__gt=after).order_by("pk")[:AT_ONCE]):
        after = part[-1].pk
        yield part


class _Known:
    """What sets point at, each read once: types of cells and of gear, lots, labelled sets."""

    def __init__(self) -> None:
        self.cell_types = {row.pk: row for row in CellType.objects.all()}
        self.gear_types: dict[int, GearType] = {}
        self.lots: dict[int, CellLot] = {}
        self.cell_sets: dict[int, Item] = {}

    def attach(self, sets: Sequence[FittedSet]) -> list[Thing]:
        """Hang on sets what they point at, and answer the things they sit in; four queries at most."""
        type_of = dict(Item.objects.filter(pk__in={one.item_id for one in sets}).order_by().values_list("pk", "type_id"))
        self._more(self.gear_types, GearType.objects.all(), type_of.values())
        self._more(self.lots, CellLot.objects.all(), (one.lot_id for one in sets))
        labelled = Item.objects.select_related("type__cell_set_facts")
        self._more(self.cell_sets, labelled, (one.cell_set_id for one in sets))
        for one in sets:
            kept = one._state.fields_cache
            kept["type"] = self.cell_types[one.type_id]
            kept["lot"] = self.lots[one.lot_id] if one.lot_id else None
            kept["cell_set"] = self.cell_sets[one.cell_set_id] if one.cell_set_id else None
        return [Thing(pk, type_id, self.gear_types[type_id]) for pk, type_id in type_of.items()]

    def _more(self, known: dict[int, Any], rows: QuerySet[Any], keys: Iterable[int | None]) -> None:
        missing = {key for key in keys if key and key not in known}
        if missing:
            known |= rows.in_bulk(missing)


def _keep(told: Sequence[Told], at: datetime) -> int:
    """Write what changed of sets, and answer how many rows; what a person's swap or reading has moved meanwhile is left."""
    rows = [row for row in (kept_row(one, life, at) for one, life in zip(told, lives(told), strict=True)) if row is not None]
    before = {one.fitted.pk: one.fitted.reckoned_at for one in told}
    written = 0
    for start in range(0, len(rows), WRITTEN):
        some = rows[start : start + WRITTEN]
        with transaction.atomic():
            now = dict(
                FittedSet.objects.select_for_update(no_key=True)
                .filter(pk__in=[row[-1] for row in some])
                .order_by("pk")
                .values_list("pk", "reckoned_at")
            )
            fresh = [row for row in some if row[-1] in now and now[row[-1]] == before[row[-1]]]
            rows_update(FittedSet, KEPT, fresh)
        written += len(fresh)
    return written


def _relearn(recent: QuerySet[FittedSet], known: _Known, at: datetime) -> int:
    """Learn anew from the devices whose hours of a set that is over are no longer what they were when it was taken out."""
    learnt = 0
    for part in _parts(recent):
        things = {thing.pk: thing for thing in known.attach(part)}
        told = evidence_of(items=list(things.values()), sets=part, at=at).told
        changed = sorted({one.fitted.item_id for one in told if not same(one.used.hours, one.fitted.hours_used)})
        for start in range(0, len(changed), LEARNT_AT_ONCE):
            _learn_many([things[pk] for pk in changed[start : start + LEARNT_AT_ONCE]], known, at)
        learnt += len(changed)
    return learnt


def _learn_many(things: list[Thing], known: _Known, at: datetime) -> None:
    """Learn the draws of some devices anew from all their finished sets; constant queries. Pools are reckoned afterwards."""
    keys = [thing.pk for thing in things]
    over: dict[int, list[FittedSet]] = defaultdict(list)
    ended = FittedSet.objects.filter(item__in=keys, removed_at__isnull=False)
    for one in ended.order_by("item", "-removed_at", "-fitted_at"):
        if len(over[one.item_id]) < LEARNT_FROM:
            over[one.item_id].append(one)
    sets = [one for some in over.values() for one in some]
    known.attach(sets)
    evidence = evidence_of(items=things, sets=sets, at=at)
    told: dict[int, list[Told]] = defaultdict(list)
    for each in evidence.told:
        told[each.fitted.item_id].append(each)
    ends = ends_of(keys)
    before = {pk: draw.made_at for pk, draw in evidence.own.items()}
    after: list[DeviceDraw] = []
    gone: list[int] = []
    for thing in things:
        guess = evidence.guesses[thing.type_id]
        if isinstance(guess, str):
            continue
        try:
            draw = draw_learnt(thing.pk, guess, evidence.own.get(thing.pk), finished_of(told[thing.pk], ends), at)
        except CellError as wrong:
            log.warning("the draw of item %s could not be learnt: %s", thing.pk, wrong)
            continue
        if draw is not None:
            after.append(draw)
            evidence.own[thing.pk] = draw
        elif evidence.own.pop(thing.pk, None) is not None:
            gone.append(thing.pk)
    with transaction.atomic():
        # the item is the row that whoever changes a device's record holds
        list(Item.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=keys).order_by("pk").values_list("pk"))
        now = dict(DeviceDraw.objects.filter(item__in=keys).values_list("item", "made_at"))
        rows_put(
            DeviceDraw,
            DRAW,
            [draw_row(draw) for draw in after if now.get(draw.item_id) == before.get(draw.item_id)],
            unique=["item_id"],
        )
        DeviceDraw.objects.filter(item__in=[pk for pk in gone if now.get(pk) == before.get(pk)]).delete()
    draws = {thing.pk: evidence.draw(thing.pk) for thing in things}
    believed = {pk: found if isinstance(found, Draw) else None for pk, found in draws.items()}
    _keep([replace(each, draw=believed[each.fitted.item_id]) for each in evidence.told], at)


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
            pool_put(type_.pk, cell_pool.pooled(draws, guess), at)


def plan_changed(*, type: GearType, at: datetime) -> None:
    """Learn and work out all of a type's devices anew, once its plan was saved: what is believed of them starts there."""
    TypeDraw.objects.filter(type=type).delete()
    mine = Item.objects.filter(type=type)
    told = (mine.filter(fitted_sets__removed_at__isnull=False) | mine.filter(draw__isnull=False)).distinct()
    keys = list(told.order_by("pk").values_list("pk", flat=True))
    known = _Known()
    for start in range(0, len(keys), LEARNT_AT_ONCE):
        _learn_many([Thing(pk, type.pk, type) for pk in keys[start : start + LEARNT_AT_ONCE]], known, at)
    cells_reckon(at=at, types=[type.pk])
