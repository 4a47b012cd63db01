"""Forecasts: stored when a test puts an item back in use, never changed; what came of each is worked out from the record.

A forecast is resolved by the next test that counts, or by a report that it failed in use, whichever comes first, and held
against the chance at the true exposure by the parameters stored with it. Whatever is taken back later opens it again. One whose
item is retired, gone or missing is never resolved; one whose own test was taken back counts for nothing.
"""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import numpy as np
from django.db import transaction
from django.db.models import QuerySet

from company.rows import rows_put
from inventory.models import Item
from maintenance.calc.retest import Clock, TypeModel, forecast_chance, forecast_given
from maintenance.calc.retest_defaults import Rule
from maintenance.calc.retest_record import Records
from maintenance.calc.retest_type import VERSION
from maintenance.dates import Dated
from maintenance.evidence import AS_NEW, DAYS_A_MONTH, FAIL, PASS, Evidence, Happened
from maintenance.models import Forecast, ForecastOutcome

WRITTEN = 500  # rows a transaction
_COLUMNS = ("test_id", "resolved_at", "shows", "chance", "failed", "how", "withdrawn_at")


def forecasts_make(
    evidence: Evidence,
    model: TypeModel,
    records: Records,
    places: np.ndarray,
    dates: Sequence[Dated],
    short: Sequence[bool],
    *,
    at: datetime,
    clock: Clock | None = None,
) -> int:
    """Store a forecast for each of these items whose newest test put it in use and has none yet; answers how many. `clock` is
    the one the model is by."""
    proved = {
        n: evidence.newest[place].pk
        for n, place in enumerate(places.tolist())
        if place in evidence.newest and evidence.newest[place].proved and not records.down[n] and dates[n].test_by
    }
    known = set(Forecast.objects.filter(test__in=proved.values()).values_list("test", flat=True)) if proved else set()
    made = []
    for n, test in proved.items():
        if test in known:
            continue
        given = {**forecast_given(model, records.at(n), clock), "short": bool(short[n])}
        made.append(
            Forecast(
                item_id=int(evidence.keys[places[n]]),
                test_id=test,
                made_at=at,
                version=VERSION,
                shows=dates[n].shows_left,
                test_by=dates[n].test_by,
                chance=forecast_chance(given, dates[n].shows_left),
                given=given,
                prior_share=dates[n].prior_share,
            )
        )
    Forecast.objects.bulk_create(made, batch_size=200)
    return len(made)


def forecasts_refold(*, items: QuerySet[Item], evidence: Evidence, rules: Mapping[int, Rule], at: datetime) -> int:
    """Bring what came of these items' forecasts in step with their record; answers how many outcomes were written.

    One query, and two writes for every WRITTEN outcomes that changed.
    """
    rows = list(
        Forecast.objects.filter(item__in=items.order_by().values("pk"), test__isnull=False)
        .order_by()
        .values_list("pk", "item_id", "test_id", "made_at", *(f"outcome__{name}" for name in _COLUMNS), "outcome__pk")
    )
    if not rows:
        return 0
    place_of = {pk: place for place, pk in enumerate(evidence.keys.tolist())}
    by_item: dict[int, list[Happened]] = defaultdict(list)
    tests: dict[int, Happened] = {}
    with_forecasts = {place_of.get(row[1]) for row in rows}
    for event in evidence.happened:
        if event.item in with_forecasts:
            by_item[event.item].append(event)
            if event.what in (PASS, FAIL) and event.rank:
                tests[event.rank] = event
    changed: list[tuple[int, Happened | None]] = []
    for pk, item, test, made_at, *outcome in rows:
        place = place_of.get(item)
        if place is None:
            continue
        came = _came_of(tests.get(test), made_at, by_item[place])
        if came is None:
            if outcome[-1] is not None and outcome[-2] is None:
                changed.append((pk, None))
        elif (outcome[0], outcome[1], outcome[5], outcome[6]) != (came.rank or None, came.at, _how(came), None):
            changed.append((pk, came))
    exposure = _Exposure(evidence, rules)
    written = 0
    for start in range(0, len(changed), WRITTEN):
        written += _write(changed[start : start + WRITTEN], exposure, at)
    return written


def _came_of(test: Happened | None, made_at: datetime, events: Sequence[Happened]) -> Happened | None:
    """Return what resolved a forecast: the first test or failure after its own test and its making; None while it is open."""
    if test is None:
        return None
    for event in events:
        if event.at <= max(test.at, made_at):
            continue
        if event.what == AS_NEW:
            return None  # another thing by now
        if event.what in (PASS, FAIL):
            return event
    return None


def _how(came: Happened) -> str:
    return str(came.found) if came.in_use else "bench"


class _Exposure:
    """Count the shows an item went through between two places in time."""

    def __init__(self, evidence: Evidence, rules: Mapping[int, Rule]) -> None:
        self.evidence = evidence
        self.first = np.searchsorted(evidence.uses.item, np.arange(len(evidence.keys) + 1))
        self.storage = [
            rules[type_id].storage_shows_a_month if type_id in rules else 0.0 for type_id in evidence.types.tolist()
        ]

    def between(self, item: int, made_at: datetime, came: Happened) -> float:
        """Return the shows from a forecast's making until an event: those of its day on, those before the event's place."""
        uses = self.evidence.uses
        mine = slice(self.first[item], self.first[item + 1])
        days, began = uses.day[mine], self.evidence.day(made_at).toordinal()
        low, high = bisect_left(days, began), bisect_right(4 * days + 1, came.place)
        shows = float(uses.shows[mine][low:high].sum()) if high > low else 0.0
        rested = max(0, came.place // 4 - began) / DAYS_A_MONTH
        return shows + self.storage[item] * rested


def _write(changed: Sequence[tuple[int, Happened | None]], exposure: _Exposure, at: datetime) -> int:
    opened = [pk for pk, came in changed if came is None]
    came_of = {pk: came for pk, came in changed if came is not None}
    rows: list[list[Any]] = []
    with transaction.atomic():
        if opened:
            ForecastOutcome.objects.filter(forecast__in=opened, withdrawn_at=None).update(withdrawn_at=at)
        for forecast in Forecast.objects.filter(pk__in=came_of).order_by("pk").only("pk", "made_at", "given"):
            came = came_of[forecast.pk]
            shows = exposure.between(came.item, forecast.made_at, came)
            chance = forecast_chance(forecast.given, shows, sees=1.0 if came.in_use else came.sees)
            rows.append([forecast.pk, came.rank or None, came.at, shows, chance, came.what == FAIL, _how(came), None])
        rows_put(ForecastOutcome, ["forecast_id", *_COLUMNS], rows, unique=["forecast_id"])
    return len(opened) + len(rows)
