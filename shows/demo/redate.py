"""Move the demo's days to today: every date and instant of every table by the same number of days, clock times kept."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.apps import apps
from django.db import models, transaction

from company.models import Company
from maintenance.models import BenchTest, Risk
from maintenance.services.retest_wear import night_reckon

APPS = ("company", "inventory", "maintenance", "shows")


@transaction.atomic
def demo_redate(*, today: date) -> int:
    """Shift the demo so that its day is today; answer by how many days. A demo of today, or none, is left alone."""
    company = Company.current()
    if not company.is_demo or company.demo_dated is None or company.demo_dated == today:
        return 0
    days = (today - company.demo_dated).days
    for app in APPS:
        for model in apps.get_app_config(app).get_models():
            _shift(model, days, company.zone)
    _shift_effects(days)
    # sentences name days: worked out afresh, they name the right ones
    Risk.objects.all().delete()
    night_reckon(at=datetime.combine(today, time(12), tzinfo=company.zone))
    return days


def _shift_effects(days: int) -> None:
    """Shift the days a test remembers: how its item stood before, and what was answered then, whose words are dropped."""
    moved = []
    for test in BenchTest.objects.only("pk", "effects"):
        base, said = test.effects.get("base"), test.effects.get("said")
        for kept in (base, said):
            for name in ("tested_on", "test_by"):
                if kept and kept.get(name):
                    kept[name] = (date.fromisoformat(kept[name]) + timedelta(days=days)).isoformat()
        if said:
            said["words"] = []
        if base or said:
            moved.append(test)
    BenchTest.objects.bulk_update(moved, ["effects"], batch_size=200)


def _shift(model: type[models.Model], days: int, zone: ZoneInfo) -> None:
    names = [f.name for f in model._meta.local_fields if isinstance(f, models.DateField)]
    if not names:
        return
    moved = []
    for row in model._default_manager.all().only("pk", *names).iterator(chunk_size=2000):
        for name in names:
            setattr(row, name, _later(getattr(row, name), days, zone))
        moved.append(row)
    model._default_manager.bulk_update(moved, names, batch_size=500)


def _later(value: date | datetime | None, days: int, zone: ZoneInfo) -> date | datetime | None:
    """Shift by whole days of the company's calendar: 18:30 stays 18:30 when the clocks change in between."""
    if isinstance(value, datetime):
        return (value.astimezone(zone).replace(tzinfo=None) + timedelta(days=days)).replace(tzinfo=zone)
    return value + timedelta(days=days) if value else value
