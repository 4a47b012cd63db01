"""Rows of the bench written directly, for pages that only read them: tests with figures, repairs, calls, a risk."""

import uuid
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from inventory.models import Item
from maintenance.calc.bench import Depth, Procedure, Verdict
from maintenance.models import BenchFigure, BenchTest, Repair, Risk, TestCall
from tests.builders import NOW

SWAPPED = {
    "name": "legs_swapped",
    "title": "Pins 2 and 3 swapped",
    "text": "A2 reaches B3 and A3 reaches B2.",
    "effect": "Thin and quiet beside another microphone.",
    "repair": "Swap the two cores at one end.",
    "pins": ["A2", "A3", "B2", "B3"],
    "channel": None,
    "weight": "fail",
}


def bench_test(
    item: Item, verdict: str = Verdict.PASS, *, days_ago: float = 1, figures: Iterable[tuple] = (), **kw: Any
) -> BenchTest:
    """Write a test; `figures` are (name, value, unit, low, high, within)."""
    at = kw.pop("done_at", NOW - timedelta(days=days_ago))
    if verdict == Verdict.FAIL:
        kw.setdefault("findings", [SWAPPED])
    kw.setdefault("procedure", Procedure.WIRING)
    given = {"uid": uuid.uuid4(), "depth": Depth.OHMS, "received_at": at, **kw}
    test = BenchTest.objects.create(item=item, done_at=at, verdict=verdict, **given)
    names = ("name", "value", "unit", "low", "high", "within")
    BenchFigure.objects.bulk_create([BenchFigure(test=test, **dict(zip(names, row, strict=True))) for row in figures])
    return test


def taken_back(test: BenchTest, **kw: Any) -> BenchTest:
    """Write the row that takes a test back."""
    at = test.done_at + timedelta(hours=1)
    return BenchTest.objects.create(
        uid=uuid.uuid4(),
        item=test.item,
        procedure=Procedure.UNDO,
        depth=test.depth,
        done_at=at,
        received_at=at,
        corrects=test,
        **kw,
    )


def core(value: float, name: str = "A2 to B2", high: float = 0.52) -> tuple:
    return (name, value, "ohm", None, high, value <= high)


def repair(item: Item, did: str = "re-soldered pin 2", *, days_ago: float = 1, **kw: Any) -> Repair:
    kw.setdefault("done_at", NOW - timedelta(days=days_ago))
    return Repair.objects.create(uid=uuid.uuid4(), item=item, did=did, **kw)


def wet_call(item: Item, at: datetime = NOW, **kw: Any) -> TestCall:
    return TestCall.objects.create(uid=uuid.uuid4(), item=item, at=at, **kw)


def risk(item: Item, **kw: Any) -> Risk:
    given = {
        "made_at": NOW,
        "shows_left": 12.4,
        "why": "Leads of this type fail about once in 150 shows; yours had 31.",
        "prior_share": 0.82,
        "chance_now": 0.023,
    }
    return Risk.objects.create(item=item, **{**given, **kw})
