"""What came of the forecasts: all of them together, by gear type, and what was found at line check and in the show apart."""

from collections import defaultdict
from dataclasses import dataclass

from django.db.models import QuerySet

from inventory.models import GearType
from maintenance.calc.scoring import Score, score
from maintenance.calc.symptoms import Found
from maintenance.models import Forecast, ForecastOutcome

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
    """Every figure of the forecasts' page. `score` is None while no forecast has come to anything."""

    score: Score | None
    types: tuple[OfType, ...]
    at_line_check: int
    in_show: int
    at_bench: int
    waiting: int
    cut: bool


def track_record() -> TrackRecord:
    """Return what came of the newest forecasts, in three queries."""
    rows = list(
        _told().order_by("-resolved_at", "-pk").values_list("forecast__item__type", "chance", "failed", "how")[: MOST + 1]
    )
    cut, rows = len(rows) > MOST, rows[:MOST]
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
        waiting=_open(),
        cut=cut,
    )


def _told() -> QuerySet[ForecastOutcome]:
    return ForecastOutcome.objects.filter(withdrawn_at=None)


def _open() -> int:
    """Count the forecasts that wait for a test, up to WAITING."""
    waiting = Forecast.objects.filter(outcome=None, test__isnull=False).order_by().values("pk")[:WAITING]
    return len(waiting)


def _score(pairs: list[tuple[float, bool]]) -> Score | None:
    return score([chance for chance, _failed in pairs], [failed for _chance, failed in pairs]) if pairs else None
