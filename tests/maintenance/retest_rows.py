"""A record of things that fail, written directly: tests, repairs, reports and shows; each helper takes days from the start."""

import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

from inventory.models import Item
from maintenance.models import BenchTest, Fault, Repair, UseLedger
from tests.builders import NOW

START = datetime(2026, 1, 1, 8, 0, tzinfo=UTC)


def on(day: float, hour: float = 10) -> datetime:
    """Return an instant so many days after the start; winter or summer, the day in London is the same at these hours."""
    return START.replace(hour=0) + timedelta(days=day, hours=hour)


def at_bench(item: Item, day: float, verdict: str = "pass", depth: str = "ohms-flexed", **kw: Any) -> BenchTest:
    at = kw.pop("at", on(day))
    given = {"uid": uuid.uuid4(), "procedure": "word", "received_at": at, **kw}
    return BenchTest.objects.create(item=item, done_at=at, verdict=verdict, depth=depth, **given)


def used(item: Item, *days: int, line: bool = True, state: str = "done", shows: float = 1) -> None:
    UseLedger.objects.bulk_create(
        UseLedger(
            item=item,
            occasion=f"show:{day}",
            day=on(day).date(),
            state=state,
            shows=shows,
            basis="line" if line else "carried",
        )
        for day in days
    )


def said(item: Item, day: float, found: str = "", hour: float = 20, **kw: Any) -> Fault:
    """Write a report; of a show where `found` says that it came out at one."""
    kw.setdefault("symptom", "hums")
    if found in ("line check", "show", "after"):
        kw.setdefault("show", int(day))
    return Fault.objects.create(uid=uuid.uuid4(), item=item, opened_at=on(day, hour), found=found, **kw)


def mended(item: Item, day: float, **kw: Any) -> Repair:
    return Repair.objects.create(uid=uuid.uuid4(), item=item, did="New joint.", done_at=on(day, 9), **kw)


def days_before_now(days: int) -> int:
    """Return the day, counted from the start, that lies so many before the tests' now."""
    return (NOW.date() - START.date()).days - days
