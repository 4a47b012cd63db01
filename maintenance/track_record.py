"""What came of the forecasts: all of them together, by gear type, and what was found at line check and in the show apart."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Q

from inventory.models import GearType
from maintenance.calc.scoring import Score, score
from maintenance.calc.symptoms import Found
from maintenance.models import Forecast
from maintenance.querysets import open_forecasts, told_outcomes

MOST = 4_000  # the newest so many are scored: more would tell nothing new, and take longer than a page may
WAITING = 10_000


@dataclass(frozen=True, kw_only=True)
class OfType:
    """One gear type's forecasts that came to something."""

    name: str
    url: str
    score: Score


@dataclass(frozen=True, kw_only=True)
class TrackRecord:
    """Every figure of the forecasts' page. `score` is None while no forecast has come to anything.

    `lost` of the `waiting` are of things that are retired, gone or missing: no test will tell. `early` failed in use before
    their test was due, and count from then on.
    """

    score: Score | None
    types: tuple[OfType, ...]
    at_line_check: int
    in_show: int
    at_bench: int
    waiting: int
    lost: int
    early: int
    cut: bool


def track_record(day: date | None = None) -> TrackRecord:
    """Return what came of the newest forecasts by a day, in three queries; without a day, all that is known.

    What failed in use is known at once, what did not only at its next test: counted at once, failures would run ahead of what
    was foretold. So a failure in use counts from the day on by which its test was due.
    """
    outcomes = told_outcomes().order_by("-resolved_at", "-pk")
    known = list(outcomes.values_list("forecast__item__type", "chance", "failed", "how", "forecast__test_by")[: MOST + 1])
    cut, known = len(known) > MOST, known[:MOST]
    rows = [row[:4] for row in known if day is None or row[3] == Found.BENCH or row[4] is None or row[4] <= day]
    by_type: dict[int, list[tuple[float, bool]]] = defaultdict(list)
    for type_id, chance, failed, _how in rows:
        by_type[type_id].append((chance, failed))
    types = GearType.objects.in_bulk(by_type)
    found = [how for _type, _chance, failed, how in rows if failed]
    return TrackRecord(
        score=_score([(chance, failed) for _type, chance, failed, _how in rows]),
        types=tuple(
            OfType(name=types[pk].name, url=types[pk].get_absolute_url(), score=told)
            for pk, pairs in sorted(by_type.items(), key=lambda one: (-len(one[1]), types[one[0]].name))
            if (told := _score(pairs))
        ),
        at_line_check=found.count(Found.LINE_CHECK),
        in_show=sum(how in {Found.SHOW, Found.AFTER} for how in found),
        at_bench=found.count(Found.BENCH),
        **_open(),
        early=len(known) - len(rows),
        cut=cut,
    )


def _open() -> dict[str, int]:
    """Count the forecasts that wait for a test, up to WAITING, and those among them that no test will resolve."""
    first = open_forecasts().order_by().values("pk")[:WAITING]
    gone = Q(item__retired_on__isnull=False) | Q(item__gone_home_on__isnull=False) | Q(item__missing_since__isnull=False)
    return Forecast.objects.filter(pk__in=first).aggregate(waiting=Count("pk"), lost=Count("pk", filter=gone))


def _score(pairs: list[tuple[float, bool]]) -> Score | None:
    return score([chance for chance, _failed in pairs], [failed for _chance, failed in pairs]) if pairs else None
