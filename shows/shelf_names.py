"""What the floors below ask about shows: their names, which one a count is likely for, when in one something came
out, what was out to one."""

from datetime import datetime, timedelta

from django.db.models import Q
from django.urls import reverse

from inventory.models import Item
from shows.calc.finding import found_when
from shows.calc.words import Action, Ended, ShowState
from shows.models import Checkout, Show

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


def found_in_show(show: int, at: datetime) -> str:
    """Say whether something came out at a show's line check, in the show or after it; empty for a cancelled one."""
    times = Show.objects.filter(pk=show).exclude(state=ShowState.CANCELLED).values_list("load_in", "start", "end").first()
    if times is None:
        return ""
    load_in, start, end = times
    return found_when(action=Action.INSPECT, at=at, load_in=load_in, start=start, end=end)


def out_with_show(show: int, at: datetime) -> list[Item] | None:
    """Return the items out to a show at an instant; before its load-in at that, after its end at that. None: no such show."""
    found = Show.objects.filter(pk=show).first()
    if found is None:
        return None
    then = min(max(at, found.load_in), found.end)
    stays = Checkout.objects.filter(show=found, opened_at__lte=max(then, at)).exclude(ended=Ended.MOVED)
    stays = stays.filter(Q(closed_at=None) | Q(closed_at__gt=then))
    return list(Item.objects.filter(pk__in=stays.values("item")).select_related("type"))


def used_at_shows(occasions: set[str]) -> dict[str, tuple[datetime, datetime]]:
    """Return {ledger name: (line check, end)} of shows, in one query; other occasions are left out."""
    keys = {int(name[5:]) for name in occasions if name.startswith("show:") and name[5:].isdigit()}
    rows = Show.objects.filter(pk__in=keys).order_by().values_list("pk", "line_check", "end")
    return {f"show:{pk}": (line_check, end) for pk, line_check, end in rows}
