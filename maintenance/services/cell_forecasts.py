"""Forecasts of cells: stored when a show's swap list is made, never changed; what came of each is worked out from the record.

Of a forecast's set it is asked: did it die at that show, come through it, or come out before anybody could tell? One of a
device that then ran on phantom, or was not used, is never resolved. Whatever is noted late, or taken back, is worked out again
for REOPENED days.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from company.models import Person
from maintenance.calc.cell_forecast import VERSION
from maintenance.calc.cell_words import SwapReason
from maintenance.cell_hours import book_of
from maintenance.models import CellForecast, CellForecastOutcome, FittedSet
from maintenance.registries import COMING_SHOWS, used_when

REOPENED = timedelta(days=45)
NOTED_BY = timedelta(hours=36)  # a death is noted at the show, on the truck, or in the shop the day after
BARELY = 0.05  # hours: what ran less did not run
MOST = 20_000
SURVIVED, DIED, SWAPPED = "survived", "died", "swapped"


def swap_list_freeze(*, show: int, at: datetime, person: Person | None = None) -> int:
    """Store what the swap list of a show forecasts now, a row for each bay; answers how many. Nothing is stored twice.

    A bay whose newest stored forecast is of the same set and as of the same hours is left: asking again adds only news.
    """
    from maintenance.cell_needs import listed

    found = listed(show, at)
    if found is None:
        return 0
    newest: dict[tuple[int, int], CellForecast] = {}
    for old in CellForecast.objects.filter(show=show).order_by("made_at", "pk"):
        newest[old.item_id, old.bay] = old
    made = []
    for row in found.rows:
        if row.item is None:
            continue
        fitted = row.state.fitted if row.state else None
        life, advised = row.life, row.advised
        one = CellForecast(
            item=row.item,
            bay=advised.device.bay,
            show=show,
            set_uid=fitted.opened_uid if fitted else None,
            made_at=at,
            need_h=advised.device.need_h,
            median_h=life.median_h if life else None,
            low_h=life.low_h if life else None,
            high_h=life.high_h if life else None,
            chance=advised.chance,
            limit=advised.limit,
            said=advised.advice,
            why=advised.why[:400],
            version=VERSION,
        )
        before = newest.get((row.item.pk, one.bay))
        if before is None or not _alike(before, one, under_way=found.needs.under_way):
            made.append(one)
            newest[row.item.pk, one.bay] = one
    with transaction.atomic():
        CellForecast.objects.bulk_create(made, batch_size=200, ignore_conflicts=True)
    return len(made)


def _alike(old: CellForecast, new: CellForecast, *, under_way: bool = False) -> bool:
    """Say whether a forecast is no news. As a show goes on, what it still needs and what is left shrink together."""
    if (old.set_uid, old.said) != (new.set_uid, new.said):
        return False
    gone = old.need_h - new.need_h
    if gone != 0 and not (under_way and gone > 0):
        return False
    if old.median_h is None or new.median_h is None:
        return old.median_h is new.median_h
    return abs(old.median_h - gone - new.median_h) < 0.1


def lists_freeze_due(*, at: datetime) -> int:
    """Store the lists of shows that have loaded in and are not over, each once; answers how many shows."""
    keys = [key for answer in COMING_SHOWS for key in answer(at, at)]
    stored = set(CellForecast.objects.filter(show__in=keys).values_list("show", flat=True).distinct())
    due = [key for key in keys if key not in stored]
    for key in due:
        swap_list_freeze(show=key, at=at)
    return len(due)


def outcomes_resolve(*, at: datetime, shows: Iterable[int] | None = None) -> int:
    """Bring what came of forecasts in step with the record; answers how many outcomes were written or taken away.

    Constant queries for MOST forecasts: those of REOPENED days, or of these shows.
    """
    rows = CellForecast.objects.filter(set_uid__isnull=False)
    rows = rows.filter(made_at__gte=at - REOPENED) if shows is None else rows.filter(show__in=list(shows))
    forecasts = list(rows.select_related("outcome").order_by("-made_at", "-pk")[:MOST])
    times = used_when({f"show:{f.show}" for f in forecasts})
    forecasts = [f for f in forecasts if f"show:{f.show}" in times and times[f"show:{f.show}"][1] <= at]
    if not forecasts:
        return 0
    sets = {row.opened_uid: row for row in FittedSet.objects.filter(opened_uid__in={f.set_uid for f in forecasts})}
    book = book_of({f.item_id for f in forecasts}, at)
    changed = 0
    fresh: list[CellForecastOutcome] = []
    gone: list[int] = []
    for forecast in forecasts:
        stay = sets.get(forecast.set_uid) if forecast.set_uid else None
        came = None if stay is None else _came_of(forecast, stay, *times[f"show:{forecast.show}"], book)
        old = getattr(forecast, "outcome", None)
        if came is None:
            if old is not None:
                gone.append(old.pk)
        elif old is None:
            fresh.append(CellForecastOutcome(forecast=forecast, how=came[0], hours=came[1], resolved_at=at))
        elif old.how != came[0] or abs(old.hours - came[1]) > 1e-6:
            changed += 1
            CellForecastOutcome.objects.filter(pk=old.pk).update(how=came[0], hours=came[1], resolved_at=at)
    with transaction.atomic():
        CellForecastOutcome.objects.filter(pk__in=gone).delete()
        CellForecastOutcome.objects.bulk_create(fresh, batch_size=200, ignore_conflicts=True)
    return changed + len(fresh) + len(gone)


def _came_of(
    forecast: CellForecast, stay: FittedSet, line_check: datetime, end: datetime, book: Any
) -> tuple[str, float] | None:
    """Return how a forecast's set came through its show, and the hours it ran since the forecast was made."""
    first = max(forecast.made_at, stay.fitted_at)
    last = min(stay.removed_at or end, end)
    hours = book.between(forecast.item_id, first, last).hours if last > first else 0.0
    removed = stay.removed_at
    if removed is not None and removed <= end + NOTED_BY and stay.removed_because == SwapReason.DIED:
        return (DIED, hours) if removed > line_check else (SWAPPED, 0.0)
    if removed is not None and removed <= line_check:
        return SWAPPED, 0.0
    if hours <= BARELY:
        return None
    if removed is not None and removed < end:
        return SWAPPED, hours
    return SURVIVED, hours
