"""What the bench adds to an item's answer over HTTP."""

from datetime import datetime
from typing import Any

from django.db.models import OuterRef, Subquery

from inventory.models import Item
from maintenance.bench_subject import newest_tests
from maintenance.models import Forecast, Risk


def bench_fields(items: list[Item], at: datetime) -> dict[int, dict[str, Any]]:
    """The newest test that counts and the forecast made then, in a constant number of queries."""
    keys = [item.pk for item in items]
    tests = newest_tests(keys)
    newest = Forecast.objects.filter(item=OuterRef("pk")).order_by("-made_at", "-pk").values("pk")[:1]
    chosen = Item.objects.filter(pk__in=keys).order_by().annotate(newest=Subquery(newest)).values_list("newest", flat=True)
    forecasts = {f.item_id: f for f in Forecast.objects.filter(pk__in=[pk for pk in chosen if pk]).defer("given")}
    whys = dict(Risk.objects.filter(item__in=keys).values_list("item", "why"))
    answer: dict[int, dict[str, Any]] = {}
    for pk in keys:
        test, forecast = tests.get(pk), forecasts.get(pk)
        answer[pk] = {
            "last_test": test
            and {
                "id": test.uid,
                "verdict": test.verdict,
                "procedure": test.procedure,
                "depth": test.depth,
                "done_at": test.done_at,
                "by": str(test.person) if test.person else "",
                "findings": [str(finding.get("title", "")) for finding in test.findings],
            },
            "forecast": forecast
            and {
                "chance": forecast.chance,
                "shows": forecast.shows,
                "test_by": forecast.test_by,
                "made_at": forecast.made_at,
                "prior_share": forecast.prior_share,
                "why": whys.get(pk, ""),
            },
        }
    return answer


def register() -> None:
    """Fill the registries; called once, when the program starts."""
    from inventory.registries import IMPORTS, ITEM_API_FIELDS
    from maintenance.transfer import BENCH_LOG

    ITEM_API_FIELDS.add("bench", bench_fields, rank=60)
    IMPORTS.add("bench-log", lambda: BENCH_LOG, rank=40)
