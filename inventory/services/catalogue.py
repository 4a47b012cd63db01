"""Load the shipped catalogue: new types are added, types somebody may have edited are left alone."""

import json
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction

from inventory.calc.kinds import KINDS_WITHOUT_STANDING, Kind
from inventory.models import FACTS_OF_KIND, GearType, GoesWith, Place

CATALOGUE = Path(settings.BASE_DIR) / "fixtures" / "catalogue.json"


def catalogue_read() -> dict[str, Any]:
    """Read the shipped catalogue: places, types with facts, what goes with what, rigs."""
    return json.loads(CATALOGUE.read_text(encoding="utf-8"))


@transaction.atomic
def catalogue_load(*, catalogue: dict[str, Any]) -> dict[str, GearType]:
    """Add what is not there yet and return every catalogue type by its key.

    Loading again adds nothing and changes nothing: a figure edited by the shop stays edited, and a type renamed by the
    shop is still known by its key. A type of the same name entered by hand before is taken for the catalogue's.
    """
    wanted = catalogue["types"]
    by_key: dict[str, GearType] = {str(t.key): t for t in GearType.objects.filter(key__in=[w["key"] for w in wanted])}
    by_name = {t.name: t for t in GearType.objects.filter(name__in=[w["name"] for w in wanted])}
    fresh: set[str] = set()
    for entry in wanted:
        key = entry["key"]
        if key in by_key:
            continue
        if entry["name"] in by_name:
            by_key[key] = by_name[entry["name"]]
            continue
        columns = {name: value for name, value in entry.items() if name not in {"facts", "goes_with"}}
        kind = Kind(entry["kind"])
        by_key[key] = GearType.objects.create(has_standing=kind not in KINDS_WITHOUT_STANDING, **columns)
        if "facts" in entry:
            FACTS_OF_KIND[kind].objects.create(type=by_key[key], **entry["facts"])
        fresh.add(key)
    GoesWith.objects.bulk_create(
        GoesWith(type=by_key[g["type"]], needs=by_key[g["needs"]], count=g["count"], length_mm=g["length_mm"])
        for g in catalogue["goes_with"]
        if g["type"] in fresh
    )
    if fresh and not Place.objects.exists():
        Place.objects.bulk_create(Place(**place) for place in catalogue["places"])
    return by_key
