"""Build the demo: an invented company, the same one every time."""

import json
import random
from datetime import datetime
from pathlib import Path

from auditlog.context import disable_auditlog
from django.conf import settings
from django.core.management import call_command
from django.db import transaction

from inventory.models import GearType
from shows.demo.cells import tonight_make, year_play
from shows.demo.history import lives_make, shows_make
from shows.demo.plans import plans_make
from shows.demo.stock import Cast, people_make, places_make, stock_make

TOLD = Path(settings.BASE_DIR) / "fixtures" / "demo.json"
SEED = 1809


@transaction.atomic
def demo_build(*, at: datetime) -> None:
    """Fill an empty database with Saltmarsh Sound as it stands at an instant. The change log starts empty."""
    with disable_auditlog():
        _build(at)


def _build(at: datetime) -> None:
    told = json.loads(TOLD.read_text(encoding="utf-8"))
    company, people = people_make(told=told, at=at)
    places = places_make(told=told)
    call_command("load_catalogue", verbosity=0)
    cast = Cast(
        at=at,
        dice=random.Random(SEED),  # noqa: S311 (the same demo every time is the point)
        company=company,
        people=people,
        places=places,
        types={t.key: t for t in GearType.objects.exclude(key=None)},
        cases={},
    )
    stock_make(cast=cast, told=told)
    shows = shows_make(cast=cast, told=told)
    year_play(cast=cast, told=told)
    lives_make(cast=cast, shows=shows, told=told)
    tonight_make(cast=cast, told=told)
    plans_make(cast=cast)
