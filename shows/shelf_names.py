"""What the shelf asks about shows: their names, and which one a count is likely for."""

from datetime import datetime, timedelta

from django.db.models import Q
from django.urls import reverse

from shows.calc.words import ShowState
from shows.models import Show

MOST = 30


def names_of_shows(keys: list[int]) -> dict[int, tuple[str, str]]:
    """Return {key: (name, address)}."""
    return {pk: (name, reverse("show", args=[pk])) for pk, name in Show.objects.filter(pk__in=keys).values_list("pk", "name")}


def likely_shows(at: datetime) -> list[tuple[int, str]]:
    """Return the planned shows that load in within ten days or were to be home within the last ten, the nearest first."""
    near = timedelta(days=10)
    shows = Show.objects.filter(Q(load_in__lte=at + near) & Q(home_by__gte=at - near), state=ShowState.PLANNED).values_list(
        "pk", "name", "load_in"
    )
    nearest = sorted(shows, key=lambda show: (abs(show[2] - at), show[0]))
    return [(pk, name) for pk, name, _load_in in nearest[:MOST]]
