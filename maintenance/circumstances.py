"""What an item's date depends on beside its record of failing: what it is booked for, how often it goes out, what calls for a
test, what its date is now. For many items at once, in a constant number of queries."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple

import numpy as np
from django.db.models import QuerySet
from django.db.models.fields.json import KeyTransform

from inventory.models import Item
from maintenance.calc.retest_due import Situations
from maintenance.evidence import Evidence
from maintenance.models import Forecast, Risk, TestCall, UseLedger
from maintenance.querysets import open_calls

PACE_DAYS = 365  # how far back the pace of its shows is read
# In the order of RiskRow. The sentences come last: they are written, and not read to see whether anything is news.
OF_RISK = (
    *("failures", "shows", "starts", "starts_bad", "since", "chance_now", "shows_left", "test_by", "prior_share", "retire"),
    *("why", "retire_why"),
)


class RiskRow(NamedTuple):
    """What a row of Risk says of an item, but for when it was written."""

    failures: float
    shows: float
    starts: int
    starts_bad: int
    since: float
    chance_now: float
    shows_left: float | None
    test_by: date | None
    prior_share: float
    retire: bool
    why: str = ""
    retire_why: str = ""


@dataclass(frozen=True, kw_only=True)
class Circumstances:
    """Of the items of an Evidence, by their places in it.

    `situations` as the computing takes them; `in_use` whether a date means anything; `test_by` the date the item bears now;
    `calls` what calls for a test, as (why, the day); `risks` the rows there are.
    """

    situations: Situations
    in_use: np.ndarray
    test_by: Mapping[int, date]
    calls: Mapping[int, list[tuple[TestCall.Why, date]]]
    risks: Mapping[int, RiskRow]


def circumstances_of(*, items: QuerySet[Item], evidence: Evidence, at: datetime) -> Circumstances:
    """Read what dates depend on. `items` are those the evidence was read of."""
    keys = evidence.keys.tolist()
    place_of = {pk: place for place, pk in enumerate(keys)}
    chosen, day = items.order_by().values("pk"), evidence.day(at)
    count = len(keys)
    tested_on, in_use = np.full(count, -1, dtype=np.int64), np.zeros(count, dtype=np.bool_)
    test_by: dict[int, date] = {}
    rows = items.order_by().values_list(
        *("pk", "tested_on", "test_by", "retired_on", "gone_home_on", "type__has_standing"),
    )
    for pk, tested, by, retired_on, gone_on, standing in rows:
        place = place_of.get(pk)
        if place is None:  # added since the evidence was read
            continue
        if tested:
            tested_on[place] = tested.toordinal()
        if by:
            test_by[place] = by
        in_use[place] = standing and retired_on is None and gone_on is None
    calls: dict[int, list[tuple[TestCall.Why, date]]] = defaultdict(list)
    for pk, why, called_at in open_calls().filter(item__in=chosen, at__lte=at).order_by("at").values_list("item", "why", "at"):
        if pk in place_of:
            calls[place_of[pk]].append((TestCall.Why(why), evidence.day(called_at)))
    risks = Risk.objects.filter(item__in=chosen).order_by().values_list("item_id", *OF_RISK[:-2])
    intervals, short = _last_intervals(chosen, evidence)
    pace = pace_of(evidence, day)
    booked = bookings_of(chosen, place_of, day)
    return Circumstances(
        situations=Situations(
            tested_on=tested_on,
            past_shows=pace[0],
            past_days=pace[1],
            last_interval=intervals,
            last_short=short,
            booked_item=np.array([b[0] for b in booked], dtype=np.int64),
            booked_day=np.array([b[1] for b in booked], dtype=np.int64),
            booked_shows=np.array([b[2] for b in booked], dtype=np.float64),
        ),
        in_use=in_use,
        test_by=test_by,
        calls=calls,
        risks={place_of[row[0]]: RiskRow(*row[1:]) for row in risks.iterator(chunk_size=5000) if row[0] in place_of},
    )


def pace_of(evidence: Evidence, day: date) -> tuple[np.ndarray, np.ndarray]:
    """Return how many shows each item went to within PACE_DAYS, and in how many days on record."""
    uses, first = evidence.uses, day.toordinal() - PACE_DAYS
    lately = uses.day >= first
    shows = np.bincount(uses.item[lately], weights=uses.shows[lately], minlength=len(evidence.keys))
    return shows, (day.toordinal() - np.maximum(evidence.began, first)).clip(min=0).astype(np.float64)


def bookings_of(chosen: QuerySet, place_of: Mapping[int, int], day: date) -> list[tuple[int, int, float]]:
    """Return what items are booked for from a day on: (place, day as an ordinal, shows), by item, then day."""
    rows = UseLedger.objects.filter(item__in=chosen, state="planned", day__gte=day).order_by()
    found = rows.values_list("item_id", "day", "shows")
    return sorted((place_of[item], on.toordinal(), float(shows)) for item, on, shows in found if item in place_of)


def _last_intervals(chosen: QuerySet, evidence: Evidence) -> tuple[np.ndarray, np.ndarray]:
    """Return the interval in shows that each item's newest test was planned after, and whether the least had to stretch it."""
    intervals, short = np.full(len(evidence.keys), np.nan), np.zeros(len(evidence.keys), dtype=np.bool_)
    if not evidence.previous:
        return intervals, short
    made = Forecast.objects.filter(item__in=chosen, test__isnull=False).order_by()
    planned = {test: (shows, was) for test, shows, was in made.values_list("test_id", "shows", KeyTransform("short", "given"))}
    for place, test in evidence.previous.items():
        if test in planned:
            intervals[place], short[place] = planned[test][0], bool(planned[test][1])
    return intervals, short
