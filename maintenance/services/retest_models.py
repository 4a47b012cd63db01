"""The stored model of how a type fails: learnt from all its items by night, moved on by one item after its own test."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from django.db import transaction

from company.rows import rows_put
from inventory.models import GearType
from maintenance.calc.retest import Guard, Rule, TypeModel, guard_of, model_from, model_of
from maintenance.calc.retest_guard import guard
from maintenance.calc.retest_record import Records
from maintenance.calc.retest_update import Share, model_moved, records_joined, share_of
from maintenance.circumstances import RiskRow
from maintenance.models import Risk
from maintenance.models import TypeModel as StoredModel

_NO_COUNTS: dict[str, float] = {"intervals": 0, "good": 0, "interval_shows": 0.0}
_COLUMNS = ("type_id", "made_at", "version", "failures", "shows", "tests", "posterior", "said", "guard_factor")


@dataclass(frozen=True, kw_only=True)
class Learnt:
    """What is known of a type: its model, its guard, and the records of all its items where they were read."""

    model: TypeModel
    guard: Guard
    counts: Mapping[str, float]
    records: Records | None = None


def types_learn(rules: Mapping[int, Rule], parts: Iterable[tuple[Records, np.ndarray]]) -> dict[int, Learnt]:
    """Learn the types from parts of their items' records, each with the type's key of each item."""
    parts, learnt = list(parts), {}
    for type_id, rule in rules.items():
        records = records_joined([records.of(np.flatnonzero(types == type_id)) for records, types in parts])
        learnt[type_id] = Learnt(
            model=model_of(rule, records),
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
    their rows; by night it is fitted from their records.
    """
    said = row.posterior
    try:
        if said.get("guesses") != [rule.median_shows, rule.pessimistic_shows]:
            raise ValueError("It was made from other first guesses.")
        model, counts = model_from(said), said["counts"]
    except (ValueError, KeyError):
        model, counts, risks = model_of(rule, records.of(np.zeros(0, dtype=np.int64))), dict(_NO_COUNTS), {}
        known = Risk.objects.filter(item__type=row.type_id).exclude(item__in=keys).order_by("pk")
        for share in known.values_list("failures", "shows", "starts", "starts_bad"):
            model = model_moved(model, was=Share(), now=_share(*share))
    for n, key in enumerate(keys):
        old = risks.get(key)
        was = _share(old.failures, old.shows, old.starts, old.starts_bad) if old else Share()
        now = share_of(records.at(n))
        if was != now:
            model = model_moved(model, was=was, now=now)
    kept = guard(
        intervals=int(counts["intervals"]),
        good=int(counts["good"]),
        interval_shows=float(counts["interval_shows"]),
        target=rule.target,
    )
    return Learnt(model=model, guard=kept, counts=counts)


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
