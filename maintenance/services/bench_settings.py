"""What the bench can measure and what readings are held against: changed here, by whom is in the change log."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from maintenance.calc.bench import Capability
from maintenance.models import BenchSettings


@transaction.atomic
def limits_change(*, fields: Mapping[str, Any]) -> list[str]:
    """Change limits and sensitivities; answers the names of those that changed."""
    BenchSettings.current()
    settings = BenchSettings.objects.select_for_update().get(pk=1)
    changed = [name for name, value in fields.items() if getattr(settings, name) != value]
    for name in changed:
        setattr(settings, name, fields[name])
    if changed:
        settings.full_clean()
        settings.save(update_fields=changed)
    return changed


@transaction.atomic
def capabilities_say(*, measures: Iterable[Capability], at: datetime) -> BenchSettings:
    """Say what the shop's instruments can do; nothing else is asked for from then on."""
    BenchSettings.current()
    settings = BenchSettings.objects.select_for_update().get(pk=1)
    chosen = set(measures)
    settings.measures, settings.asked_at = [c.value for c in Capability if c in chosen], at
    settings.save(update_fields=["measures", "asked_at"])
    return settings
