"""How forecasts fared, by gear type and all together, in a constant number of queries."""

from collections import defaultdict
from dataclasses import dataclass

from django.db.models import Count, Q, QuerySet

from inventory.models import GearType
from maintenance.calc.bench import Procedure
from maintenance.calc.scoring import Score, score
from maintenance.models import Forecast, ForecastOutcome

MOST = 2_000  # the newest so many are scored: the exact tail of a count costs their square


@dataclass(frozen=True, kw_only=True)
class Fared:
    """How the forecasts of one type fared; of all where `type` is None.

    `score` is None while nothing came of any; `open` wait for their test, `lost` never will: their items are retired, gone or
    missing. `left_out` are older ones than the MOST that were scored.
    """

    type: GearType | None
    score: Score | None
    open: int = 0
    lost: int = 0
    left_out: int = 0


def standing_forecasts() -> QuerySet[Forecast]:
    """Return the forecasts whose own test still counts."""
    return Forecast.objects.filter(test__corrected_by=None).exclude(test__procedure=Procedure.UNDO).exclude(test=None)


def forecasts_fared() -> tuple[Fared, list[Fared]]:
    """Return how all forecasts fared, and those of each type, types with the most outcomes first."""
    resolved = Q(outcome__isnull=False, outcome__withdrawn_at=None)
    gone = ~Q(item__retired_on=None) | ~Q(item__gone_home_on=None) | ~Q(item__missing_since=None)
    waiting = standing_forecasts().exclude(resolved).order_by().values("item__type")
    open_now, lost = defaultdict(int), defaultdict(int)
    for type_id, number, of_gone in waiting.annotate(n=Count("pk"), gone=Count("pk", filter=gone)).values_list(
        "item__type", "n", "gone"
    ):
        open_now[type_id], lost[type_id] = number - of_gone, of_gone
    came: dict[int | None, list[tuple[float, bool]]] = defaultdict(list)
    outcomes = ForecastOutcome.objects.filter(withdrawn_at=None, forecast__in=standing_forecasts().order_by().values("pk"))
    for type_id, chance, failed in (
        outcomes.order_by("-resolved_at", "-pk")
        .values_list("forecast__item__type", "chance", "failed")
        .iterator(chunk_size=5000)
    ):
        came[type_id].append((chance, failed))
        came[None].append((chance, failed))
    types = GearType.objects.in_bulk({*open_now, *lost, *(pk for pk in came if pk is not None)})
    rows = [_fared(types[pk], came.get(pk, []), open_now[pk], lost[pk]) for pk in types]
    rows.sort(key=lambda row: (-(row.score.count if row.score else 0), row.type.name if row.type else ""))
    return _fared(None, came.get(None, []), sum(open_now.values()), sum(lost.values())), rows


def _fared(type_: GearType | None, came: list[tuple[float, bool]], open_now: int, lost: int) -> Fared:
    newest = came[:MOST]
    found = score([chance for chance, _ in newest], [failed for _, failed in newest]) if newest else None
    return Fared(type=type_, score=found, open=open_now, lost=lost, left_out=len(came) - len(newest))
