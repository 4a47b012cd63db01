"""What the bench adds to an item's answer over HTTP."""

from collections import defaultdict
from dataclasses import asdict
from datetime import datetime
from typing import Any

from django.db.models import OuterRef, Subquery

from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.bench_subject import newest_tests
from maintenance.chances import chances_of
from maintenance.models import Forecast, Risk


def bench_fields(items: list[Item], at: datetime) -> dict[int, dict[str, Any]]:
    """The newest test that counts, the forecast made then, and what is suspect in a case, in a constant number of queries."""
    keys = [item.pk for item in items]
    tests = newest_tests(keys)
    newest = Forecast.objects.filter(item=OuterRef("pk")).order_by("-made_at", "-pk").values("pk")[:1]
    chosen = Item.objects.filter(pk__in=keys).order_by().annotate(newest=Subquery(newest)).values_list("newest", flat=True)
    forecasts = {f.item_id: f for f in Forecast.objects.filter(pk__in=[pk for pk in chosen if pk]).defer("given")}
    ahead = chances_of([item for item in items if item.pk in forecasts], at)
    whys = dict(Risk.objects.filter(item__in=keys).values_list("item", "why"))
    inside: dict[int, list[str]] = defaultdict(list)
    if cases := [item.pk for item in items if item.type.kind == Kind.CASE]:
        suspect = Item.objects.filter(in_case__in=cases, suspect_since__isnull=False, retired_on=None).order_by("code")
        for case, code in suspect.values_list("in_case_id", "code"):
            inside[case or 0].append(code)
    answer: dict[int, dict[str, Any]] = {}
    for pk in keys:
        test, forecast = tests.get(pk), forecasts.get(pk)
        answer[pk] = {
            "suspect_inside": inside[pk],
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
                "ahead": asdict(ahead[pk]) if pk in ahead else None,
            },
        }
    return answer


def register() -> None:
    """Fill the registries; called once, when the program starts."""
    from inventory.registries import IMPORTS, ITEM_API_FIELDS
    from maintenance.transfer import BENCH_LOG

    ITEM_API_FIELDS.add("bench", bench_fields, rank=60)
    IMPORTS.add("bench-log", lambda: BENCH_LOG, rank=40)
