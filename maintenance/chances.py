"""The chance that a thing is bad by the end of its next booked show, or by the day its test is due; for many at once, in a
constant number of queries."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from inventory.models import GearType, Item
from maintenance.calc.retest import Situation, chance_by, chance_range
from maintenance.calc.retest_forecast import shows_by
from maintenance.circumstances import bookings_of, pace_of
from maintenance.evidence import evidence_of
from maintenance.models import BenchSettings
from maintenance.models import TypeModel as StoredModel
from maintenance.outlook import model_for
from maintenance.services.retest_models import clock_used
from maintenance.services.retest_rules import rule_of


@dataclass(frozen=True, kw_only=True)
class ChanceBy:
    """The chance that a thing is bad by the end of a day, `booked` saying that it is the day of its next show.

    `low` and `high` are the chance were it known how often it fails, for the middle 8 in 10 of what that may be. `age` is what
    it has been through in shows.
    """

    by: date
    booked: bool
    chance: float
    low: float
    high: float
    age: float


def chances_of(items: Iterable[Item], at: datetime) -> dict[int, ChanceBy]:
    """Return the chance of each item that is in use, was tested and has a day ahead to reckon to. Needs `type`."""
    wanted = {item.pk: item for item in items if _reckons(item)}
    if not wanted:
        return {}
    types = {item.type_id: item.type for item in wanted.values()}
    rules, settings = rule_of(types.values()), BenchSettings.current()
    stored = {row.type_id: row for row in StoredModel.objects.filter(type__in=types)}
    models = {pk: model_for(stored=stored.get(pk), rule=rule) for pk, rule in rules.items()}
    chosen = Item.objects.filter(pk__in=wanted)
    storage = {pk: rule.storage_shows_a_month for pk, rule in rules.items() if rule.storage_shows_a_month}
    evidence = evidence_of(items=chosen, at=at, sees=settings.sensitivity(), storage=storage)
    records, today = evidence.records(sees_show=settings.sees_show), evidence.day(at)
    shows, days = pace_of(evidence, today)
    place_of = {pk: place for place, pk in enumerate(evidence.keys.tolist())}
    bookings: dict[int, list[tuple[date, float]]] = {}
    for place, day, count in bookings_of(chosen.order_by().values("pk"), place_of, today):
        bookings.setdefault(place, []).append((date.fromordinal(day), count))
    found = {}
    for pk, place in place_of.items():
        item, booked = wanted[pk], bookings.get(place, [])
        by = booked[0][0] if booked else item.test_by
        if by is None or by < today or (by == today and not booked):
            continue
        model, clock, record = models[item.type_id], clock_used(stored.get(item.type_id)), records.at(place)
        where = Situation(bookings=booked, past_shows=float(shows[place]), past_days=float(days[place]))
        low, high = chance_range(model, record, shows_by(where, today=today, day=by), clock=clock)
        found[pk] = ChanceBy(
            by=by,
            booked=bool(booked),
            chance=chance_by(model, record, where, today=today, day=by, clock=clock),
            low=low,
            high=high,
            age=record.age,
        )
    return found


def _reckons(item: Item) -> bool:
    tested = bool(item.tested_on or item.test_by) and not item.suspect_since
    return tested and item.type.has_standing and item.retired_on is None and item.gone_home_on is None


def wear_words(type_: GearType, age: float | None) -> str:
    """Say what age does to things of a type, where it was found to matter, and how old in shows this one is."""
    row = StoredModel.objects.filter(type=type_).first()
    wear = row.said.get("wear") if row else None
    if not wear or not wear.get("clock"):
        return ""
    own = "" if age is None else f" This one has been through {age:.0f}."
    return f"{type_.name}: {wear['words']}{own}"
