"""The stored model of how a type fails: learnt from all its items by night, moved on by one item after its own test."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from django.db import transaction

from company.rows import rows_put
from inventory.models import GearType
from maintenance.calc.retest import Clock, Guard, Rule, TypeModel, guard_of, model_from, model_of
from maintenance.calc.retest_guard import guard
from maintenance.calc.retest_record import Records
from maintenance.calc.retest_update import Share, model_moved, records_joined, share_of
from maintenance.circumstances import RiskRow
from maintenance.models import Risk
from maintenance.models import TypeModel as StoredModel

_NO_COUNTS: dict[str, float] = {"intervals": 0, "good": 0, "interval_shows": 0.0}
_NONE = np.zeros(0, dtype=np.int64)
_COLUMNS = ("type_id", "made_at", "version", "failures", "shows", "tests", "posterior", "said", "guard_factor")


@dataclass(frozen=True, kw_only=True)
class Learnt:
    """What is known of a type: its model, its guard, and the records of all its items where they were read."""

    model: TypeModel
    guard: Guard
    counts: Mapping[str, float]
    records: Records | None = None
    clock: Clock | None = None  # of a type that wears out: the model is by it


def clock_from(power_and_unit: Sequence[float] | None) -> Clock | None:
    """Return an age clock as it was stored, None for none."""
    return Clock(power=power_and_unit[0], unit=power_and_unit[1]) if power_and_unit else None


def clock_kept(clock: Clock | None) -> list[float] | None:
    """Return an age clock as it is stored."""
    return [clock.power, clock.unit] if clock else None


def clock_wanted(row: StoredModel | None) -> Clock | None:
    """Return the clock that was last found for a type, by which its model is to be learnt (`services.retest_wear`)."""
    return clock_from(row.said.get("wear", {}).get("clock")) if row else None


def clock_used(row: StoredModel | None) -> Clock | None:
    """Return the clock that a type's stored model, and the rows of its items' risks, are by."""
    return clock_from(row.posterior.get("clock")) if row else None


def intervals_failed(row: StoredModel) -> int:
    """Return how many intervals in use of a type ended in a failure, by its last reckoning of all items."""
    counts = row.posterior.get("counts", {})
    return int(counts.get("intervals", 0)) - int(counts.get("good", 0))


def types_learn(
    rules: Mapping[int, Rule],
    parts: Iterable[tuple[Records, np.ndarray]],
    clocks: Mapping[int, Clock | None] | None = None,
) -> dict[int, Learnt]:
    """Learn the types from parts of their items' records, each with the type's key of each item, by the types' clocks."""
    parts, learnt = list(parts), {}
    for type_id, rule in rules.items():
        records = records_joined([records.of(np.flatnonzero(types == type_id)) for records, types in parts])
        clock = (clocks or {}).get(type_id)
        learnt[type_id] = Learnt(
            model=model_of(rule, records, clock),
            clock=clock,
            guard=guard_of(rule, records),
            counts={
                "intervals": int(records.intervals.sum()),
                "good": int(records.good.sum()),
                "interval_shows": float(records.interval_shows.sum()),
            },
            records=records,
        )
    return learnt


@transaction.atomic
def models_write(
    *,
    rules: Mapping[int, Rule],
    read: Mapping[int, StoredModel],
    learnt: Mapping[int, Learnt],
    types: Mapping[int, GearType],
    at: datetime,
) -> dict[int, datetime]:
    """Write the models that say something new; answers the types whose model somebody has moved on since it was `read`, and
    when. Call it after the items' rows: until then, what a type has learnt from an item is what that item's row says.
    """
    overtaken, new = {}, []
    held = {row.type_id: row for row in StoredModel.objects.select_for_update().filter(type__in=learnt).order_by("type")}
    for pk, one in learnt.items():
        old, row = read.get(pk), held.get(pk)
        if row is not None and (old is None or row.made_at != old.made_at):
            overtaken[pk] = row.made_at
            continue
        changed = _row(row, types[pk], rules[pk], one, at)
        if changed is not None:
            new.append(changed)
    rows_put(StoredModel, _COLUMNS, ([getattr(row, name) for name in _COLUMNS] for row in new), unique=["type_id"])
    return overtaken


def _row(old: StoredModel | None, type_: GearType, rule: Rule, learnt: Learnt, at: datetime) -> StoredModel | None:
    """Return the row of a type's model, or None where it would say nothing new."""
    posterior, records = _posterior(learnt, rule), learnt.records
    said = {
        **(old.said if old else {}),
        "guard": learnt.guard.line,
        "mean_rate": learnt.model.mean_rate,
        "items": len(records) if records is not None else 0,
    }
    if old and (old.posterior, old.said, old.guard_factor) == (posterior, said, learnt.guard.factor):
        return None
    return StoredModel(
        type_id=type_.pk,
        made_at=at,
        version=posterior["version"],
        failures=learnt.model.failures,
        shows=learnt.model.shows,
        tests=int(records.tests.sum()) if records is not None else 0,
        posterior=posterior,
        said=said,
        guard_factor=learnt.guard.factor,
    )


def _posterior(learnt: Learnt, rule: Rule) -> dict[str, Any]:
    return {
        **learnt.model.told(),
        "guesses": [rule.median_shows, rule.pessimistic_shows],
        "counts": dict(learnt.counts),
        "clock": clock_kept(learnt.clock),
    }


def model_move(
    *,
    row: StoredModel,
    rule: Rule,
    keys: list[int],
    records: Records,
    risks: Mapping[int, RiskRow],
) -> Learnt:
    """Return a type's model with what is new of these items (by key, in the order of the records); `risks` are their rows.

    Where there is no model yet, or it was made from other first guesses, what is known of the type's other items stands in
    their rows; by night it is fitted from their records. All of it by the clock that the model and the rows are by.
    """
    said, clock = row.posterior, clock_used(row)
    try:
        if said.get("guesses") != [rule.median_shows, rule.pessimistic_shows]:
            raise ValueError("It was made from other first guesses.")
        model, counts = model_from(said), said["counts"]
    except (ValueError, KeyError):
        model, counts, risks = model_of(rule, records.of(_NONE), clock), dict(_NO_COUNTS), {}
        known = Risk.objects.filter(item__type=row.type_id).exclude(item__in=keys).order_by("pk")
        for share in known.values_list("failures", "shows", "starts", "starts_bad"):
            model = model_moved(model, was=Share(), now=_share(*share))
    timed = clock.records(records) if clock else records
    for n, key in enumerate(keys):
        old = risks.get(key)
        was = _share(old.failures, old.shows, old.starts, old.starts_bad) if old else Share()
        now = share_of(timed.at(n))
        if was != now:
            model = model_moved(model, was=was, now=now)
    kept = guard(
        intervals=int(counts["intervals"]),
        good=int(counts["good"]),
        interval_shows=float(counts["interval_shows"]),
        target=rule.target,
    )
    return Learnt(model=model, guard=kept, counts=counts, clock=clock)


def model_moved_write(*, row: StoredModel, rule: Rule, learnt: Learnt, at: datetime) -> None:
    """Write a model that was moved on by a few items. The row is held, or new."""
    row.made_at, row.posterior = at, _posterior(learnt, rule)
    row.version, row.failures, row.shows = row.posterior["version"], learnt.model.failures, learnt.model.shows
    if row.pk is None:
        row.said = {"guard": learnt.guard.line, "mean_rate": learnt.model.mean_rate}
        row.save(force_insert=True)
    else:
        row.save(update_fields=["made_at", "posterior", "version", "failures", "shows"])


def _share(failures: float, shows: float, starts: int, starts_bad: int) -> Share:
    return Share(failures=failures, shows=shows, starts=starts, starts_bad=starts_bad)
