"""What shows add to an item's page: where it is planned to go, and who asks for it by name."""

from collections.abc import Iterable
from datetime import datetime

from django.http import HttpRequest

from inventory.models import Item
from inventory.registries import LifeEntry, Panel
from shows.calc.words import ShowState
from shows.models import PullRow

AT_MOST = 12


def planned_life(item: Item, at: datetime) -> Iterable[LifeEntry]:
    """Name the coming shows that ask for this item, as things that will happen to it."""
    rows = PullRow.objects.filter(item=item, show__state=ShowState.PLANNED, show__load_in__gt=at)
    for row in rows.select_related("show").order_by("show__load_in")[:AT_MOST]:
        line = f", line {row.line}" if row.line else ""
        yield LifeEntry(
            at=row.show.load_in,
            did=f"{row.show.name}, planned{line}",
            small=row.reason,
            mark="out",
            ahead=True,
            url=row.show.get_absolute_url(),
        )


def asked_for(request: HttpRequest, item: Item, at: datetime) -> Panel | None:
    """Show the coming and present shows that name this item, or nothing."""
    rows = list(
        PullRow.objects.filter(item=item, show__state=ShowState.PLANNED, show__home_by__gt=at)
        .select_related("show__venue")
        .order_by("show__load_in")[:AT_MOST]
    )
    return Panel(title="Asked for", template="shows/_asked_for.html", context={"rows": rows}) if rows else None
