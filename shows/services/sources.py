"""Kinds of sources and input lists to start from: load what is shipped, leave what a shop has changed."""

import json
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import Model

from shows.models import ListTemplate, SourceType

SHIPPED = Path(settings.BASE_DIR) / "fixtures" / "sources.json"


def sources_shipped() -> dict[str, Any]:
    """Read the shipped kinds of sources and input lists."""
    return json.loads(SHIPPED.read_text(encoding="utf-8"))


@transaction.atomic
def sources_load(*, shipped: dict[str, Any]) -> tuple[int, int]:
    """Add shipped kinds of sources and lists that are not there yet, renew those nobody has changed: (added, renewed).

    One that a person has changed (`shipped` off), or entered under the same name, stays as it is.
    """
    added = renewed = 0
    for model, entries in ((SourceType, shipped["sources"]), (ListTemplate, shipped["lists"])):
        there = {row.key: row for row in model._default_manager.all()}
        taken = {row.name for row in there.values()}
        for entry in entries:
            row = there.get(entry["key"])
            if row is None and entry["name"] not in taken:
                fresh = model(shipped=True, **entry)
                fresh.full_clean()
                fresh.save(force_insert=True)
                added += 1
            elif row is not None and row.shipped:
                renewed += _renew(row, entry)
    return added, renewed


def _renew(row: Model, entry: dict[str, Any]) -> bool:
    changed = [name for name, value in entry.items() if getattr(row, name) != value]
    if changed:
        for name in changed:
            setattr(row, name, entry[name])
        row.save(update_fields=changed)
    return bool(changed)
