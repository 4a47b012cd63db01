"""When to test again: one item after its own test, all of them by night, a type after its rule was changed.

`Risk`, `TypeModel` and `Item.test_by` are worked out from what is on record and may be thrown away: reckoning brings them back.
A date means something for what is owned and was tested, or calls for a test; what was never tested stays unproved and quiet.
"""

import gc
import logging
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

import numpy as np
from django.db import transaction
from django.db.models import Count, QuerySet

from company.models import Job, Person
from company.rows import rows_put, rows_update
from inventory.calc.kinds import Kind
from inventory.models import GearType, Item
from maintenance.calc.retest import Reckoned, Rule, reckon_many, reckoned_at
from maintenance.calc.retest_record import Records
from maintenance.circumstances import OF_RISK, Circumstances, RiskRow, circumstances_of
from maintenance.dates import NOUNS, Dated, dated, is_news
from maintenance.evidence import Evidence, evidence_of
from maintenance.models import BenchSettings, Risk
from maintenance.models import TypeModel as StoredModel
from maintenance.services.forecasts import forecasts_make, forecasts_refold
from maintenance.services.retest_models import Learnt, clock_wanted, model_move, model_moved_write, models_write, types_learn
from maintenance.services.retest_rules import rule_of

__all__ = ["Done", "item_reckon", "items_reckon", "rule_changed", "rule_of", "types_reckon"]

log = logging.getLogger(__name__)

AT_ONCE = 10_000  # items whose records are held in memory together
WRITTEN = 250  # rows a transaction
SOON = 400  # items of a type that a page may wait for
TRIES = 3
JOB_KIND = "retest dates"


@dataclass(kw_only=True)
class Done:
    """What a reckoning of many did; `failed` names the types it had to leave out."""

    items: int = 0
    written: int = 0
    failed: list[str] = field(default_factory=list)

    @property
    def said(self) -> str:
        things = "1 thing" if self.items == 1 else f"{self.items} things"
        said = f"Worked out when to test {things} again; {self.written or 'nothing'} changed."
        if not self.failed:
            return said
        return f"{said} It went wrong for {', '.join(self.failed)}: those stand as they stood. The log says why."


def rule_changed(*, type: GearType, person: Person | None, at: datetime) -> Job | None:
    """Work a type's dates out by its new rule: at once, or by a job where it has many items. Call it once the rule is saved."""
    from company.jobs import job_start

    if Item.objects.filter(type=type).count() <= SOON:
        types_reckon(at=at, types=[type.pk])
        return None
    return job_start(kind=JOB_KIND, title=f"Dates of {type} by its new rule", given={"types": [type.pk]}, person=person, at=at)


# one item


def item_reckon(*, item: Item, at: datetime) -> Reckoned | None:
    """Work out one item afresh: its risk, its date, what came of its forecasts, a new one if its newest test proved it.

    None where its type has no standing. Call it inside the transaction that changed the item's record.
    """
    return items_reckon(item_ids=[item.pk], at=at).get(item.pk)


@transaction.atomic
def items_reckon(*, item_ids: Iterable[int], at: datetime) -> dict[int, Reckoned]:
    """Work out some items afresh, in a constant number of queries; their types' models move by what is new of these alone."""
    items = Item.objects.filter(pk__in=sorted(set(item_ids)), type__has_standing=True)
    types = {t.pk: t for t in GearType.objects.filter(pk__in=items.order_by().values("type"))}
    if not types:
        return {}
    rules = rule_of(types.values())
    stored = {row.type_id: row for row in StoredModel.objects.select_for_update().filter(type__in=types).order_by("type")}
    part = _read(items, rules, at)
    writing, settled = _Writing(at), []
    for type_id, places in part.by_type():
        rule, records = rules[type_id], part.records.of(places)
        keys = part.evidence.keys[places].tolist()
        row = stored.get(type_id) or StoredModel(type_id=type_id)
        risks = {key: part.circumstances.risks[p] for key, p in zip(keys, places, strict=True) if p in part.circumstances.risks}
        learnt = model_move(row=row, rule=rule, keys=keys, records=records, risks=risks)
        one = _settle(types[type_id], rule, learnt, part, places, at)
        model_moved_write(row=row, rule=rule, learnt=learnt, at=at)
        writing.take(one, everything=True)
        settled.append(one)
    writing.write()
    forecasts_refold(items=items, evidence=part.evidence, rules=rules, at=at)
    for one in settled:
        short = [told.short for told in one.told]
        forecasts_make(
            part.evidence, one.learnt.model, one.records, one.places, one.dates, short, at=at, clock=one.learnt.clock
        )
    return {key: told for one in settled for key, told in zip(one.keys, one.told, strict=True)}


# many


def types_reckon(
    *, at: datetime, progress: Callable[[int, int], None] | None = None, types: Iterable[int] | None = None
) -> Done:
    """Work out all items afresh, or those of some types; only what changed is written, in transactions of a few rows.

    What goes wrong for one type is logged with its name and stops no other. `progress` is told items done and in all.
    """
    kinds = GearType.objects.filter(has_standing=True)
    if types is not None:
        kinds = kinds.filter(pk__in=list(types))
    owned = list(kinds.annotate(items_number=Count("items")).filter(items_number__gt=0).order_by("pk"))
    total = sum(type_.items_number for type_ in owned)
    done = Done()
    for together in _bins(owned):
        # so many small objects, none in circles: the collector would walk all of them again and again
        gc.disable()
        try:
            part = _reckon_together(together, at)
        except Exception:
            if len(together) > 1:
                log.exception("when to test again could not be worked out for %s types together: one by one", len(together))
            part = Done()
            for type_ in together:  # it is not known which is broken: take each by itself, so that the rest are done
                try:
                    one = _reckon_together([type_], at)
                except Exception:
                    log.exception("when to test %s again could not be worked out", type_)
                    one = Done(failed=[str(type_)])
                part = Done(
                    items=part.items + one.items, written=part.written + one.written, failed=[*part.failed, *one.failed]
                )
        finally:
            gc.enable()
        done = Done(items=done.items + part.items, written=done.written + part.written, failed=[*done.failed, *part.failed])
        if progress is not None:
            progress(done.items, total)
    return done


def _bins(types: Iterable[Any]) -> Iterator[list[Any]]:
    """Put types together until they are AT_ONCE items."""
    held: list[Any] = []
    number = 0
    for type_ in types:
        if held and number + type_.items_number > AT_ONCE:
            yield held
            held, number = [], 0
        held.append(type_)
        number += type_.items_number
    if held:
        yield held


def _reckon_together(types: list[Any], at: datetime) -> Done:
    """Reckon whole types. Where somebody tested one of a type meanwhile, its model has moved on: that type once more."""
    named = {type_.pk: type_ for type_ in types}
    done = Done()
    for _attempt in range(TRIES):
        overtaken = _reckon_once(named, at, done)
        if not overtaken:
            break
        named, at = {pk: named[pk] for pk in overtaken}, max(at, *overtaken.values())
    done.items = sum(type_.items_number for type_ in types)
    return done


def _reckon_once(types: Mapping[int, Any], at: datetime, done: Done) -> dict[int, datetime]:
    """Learn each type from all its items, then settle and write part by part; answers what `models_write` does."""
    rules = rule_of(types.values())
    stored = {row.type_id: row for row in StoredModel.objects.filter(type__in=types)}
    chosen = list(items_in_parts(list(types), sum(type_.items_number for type_ in types.values())))
    first = _read(chosen[0], rules, at)
    read = [(first.records, first.evidence.types)]
    for items in chosen[
        1:
    ]:  # many of one type: read for their records, and again to be settled, so that few are held at a time
        part = _read(items, rules, at)
        read.append((part.records, part.evidence.types))
    learnt = types_learn(rules, read, {pk: clock_wanted(row) for pk, row in stored.items()})
    for items in chosen:
        part = first if items is chosen[0] else _read(items, rules, at)
        writing = _Writing(at)
        for type_id, places in part.by_type():
            writing.take(_settle(types[type_id], rules[type_id], learnt[type_id], part, places, at))
        done.written += writing.write_in_parts()
        done.written += forecasts_refold(items=part.items, evidence=part.evidence, rules=rules, at=at)
    return models_write(rules=rules, read=stored, learnt=learnt, types=types, at=at)


def items_in_parts(types: list[int], number: int) -> Iterator[QuerySet[Item]]:
    """Return the items of these types, `number` of them, in parts of AT_ONCE at most; of several types, together."""
    items = Item.objects.filter(type__in=types)
    if len(types) > 1 or number <= AT_ONCE:
        yield items
        return
    after = 0
    while keys := list(items.filter(pk__gt=after).order_by("pk").values_list("pk", flat=True)[:AT_ONCE]):
        yield items.filter(pk__gt=after, pk__lte=keys[-1])
        after = keys[-1]


# what both have in common


@dataclass(frozen=True, kw_only=True)
class _Part:
    """Some items, with all that is known of them."""

    items: QuerySet[Item]
    evidence: Evidence
    circumstances: Circumstances
    records: Records

    def by_type(self) -> Iterator[tuple[int, np.ndarray]]:
        """Return the places of the items of each type."""
        for type_id in np.unique(self.evidence.types).tolist():
            yield type_id, np.flatnonzero(self.evidence.types == type_id)


def _read(items: QuerySet[Item], rules: Mapping[int, Rule], at: datetime) -> _Part:
    settings = BenchSettings.current()
    storage = {pk: rule.storage_shows_a_month for pk, rule in rules.items() if rule.storage_shows_a_month}
    evidence = evidence_of(items=items, at=at, sees=settings.sensitivity(), storage=storage)
    return _Part(
        items=items,
        evidence=evidence,
        circumstances=circumstances_of(items=items, evidence=evidence, at=at),
        records=evidence.records(sees_show=settings.sees_show),
    )


@dataclass(frozen=True, kw_only=True)
class _Settled:
    """What came out for the items of one type in one part, in the order of `places`."""

    part: _Part
    places: np.ndarray
    keys: list[int]
    learnt: Learnt
    records: Records
    told: list[Reckoned]
    dates: list[Dated]


def _settle(type_: GearType, rule: Rule, learnt: Learnt, part: _Part, places: np.ndarray, at: datetime) -> _Settled:
    records = part.records.of(places)
    found = reckon_many(
        model=learnt.model,
        rule=rule,
        records=records,
        situations=part.circumstances.situations.of(places),
        today=part.evidence.day(at),
        guard=learnt.guard,
        clock=learnt.clock,
        noun=NOUNS[Kind(type_.kind)],
    )
    told = [reckoned_at(found, n) for n in range(len(places))]
    dates = [
        dated(told[n], rule, part.evidence, part.circumstances, place, float(records.since_test[n]), bool(records.down[n]))
        for n, place in enumerate(places.tolist())
    ]
    keys = part.evidence.keys[places].tolist()
    return _Settled(part=part, places=places, keys=keys, learnt=learnt, records=records, told=told, dates=dates)


class _Writing:
    """Gather rows that changed, and write them: (the item's key, its risk, the date it bears, the new one, does that count)."""

    def __init__(self, at: datetime) -> None:
        self.at = at
        self.rows: list[tuple[int, RiskRow, date | None, date | None, bool]] = []

    def take(self, settled: _Settled, *, everything: bool = False) -> None:
        """Take the items of one type: what is news, or all of it."""
        circumstances, clock = settled.part.circumstances, settled.learnt.clock
        # what the type's model has learnt from each, by the clock that model is by
        records = clock.records(settled.records) if clock else settled.records
        columns = (records.failures, records.shows, records.starts, records.starts_bad, settled.records.since)
        shares = zip(*(column.tolist() for column in columns), strict=True)
        for place, key, share, told, when in zip(
            settled.places.tolist(), settled.keys, shares, settled.told, settled.dates, strict=True
        ):
            new = RiskRow(
                *share,
                chance_now=told.chance_now,
                shows_left=when.shows_left,
                test_by=when.test_by,
                why=when.why,
                prior_share=told.prior_share,
                retire=told.retire,
                retire_why=told.retire_why[:300],
            )
            old, bears = circumstances.risks.get(place), circumstances.test_by.get(place)
            counts = bool(circumstances.in_use[place])
            if everything or old is None or is_news(old, new, told.by) or (counts and bears != old.test_by):
                self.rows.append((key, new, bears, new.test_by, counts))

    def write(self) -> int:
        """Write all of it in the caller's transaction, which holds the items."""
        self._put(self.rows)
        return len(self.rows)

    def write_in_parts(self) -> int:
        """Write in transactions of WRITTEN rows; an item that somebody has changed meanwhile is left to its own reckoning."""
        number = 0
        self.rows.sort(key=lambda row: row[0])
        for start in range(0, len(self.rows), WRITTEN):
            rows = self.rows[start : start + WRITTEN]
            keys = [row[0] for row in rows]
            with transaction.atomic():
                held = Item.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=keys).order_by("pk")
                now = {pk: (by, made_at) for pk, by, made_at in held.values_list("pk", "test_by", "risk__made_at")}
                rows = [
                    row for row in rows if row[0] in now and now[row[0]][0] == row[2] and (now[row[0]][1] or self.at) <= self.at
                ]
                self._put(rows)
            number += len(rows)
        return number

    def _put(self, rows: list[tuple[int, RiskRow, date | None, date | None, bool]]) -> None:
        risks = ([pk, self.at, *risk] for pk, risk, *_dates in rows)
        rows_put(Risk, ["item_id", "made_at", *OF_RISK], risks, unique=["item_id"])
        rows_update(Item, ["test_by"], ([by, pk] for pk, _risk, bears, by, counts in rows if counts and by != bears))
