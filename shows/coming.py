"""What coming shows take along, as the bench asks it: by type and length, and by name."""

from collections.abc import Iterable
from datetime import date

from django.db.models import Sum
from django.urls import reverse

from company.models import Company
from maintenance.registries import Coming
from shows.calc.words import Critical, ShowState
from shows.models import PullRow, Show

MOST = 200  # shows looked at: more than a shop of this size plans in the days the bench looks ahead


def coming_gear(first: date, last: date) -> Iterable[Coming]:
    """Yield what planned shows that begin to hold gear from `first` to `last` ask for, in one query."""
    # the shows are chosen first, by their days: asked of the rows at once, every pull list there ever was would be read
    soon = Show.objects.filter(hold_from__gte=first, hold_from__lte=last, state=ShowState.PLANNED).order_by("hold_from", "pk")
    rows = (
        PullRow.objects.filter(show__in=soon.values("pk")[:MOST])
        .order_by("show__load_in", "show", "type", "length_mm", "item")
        .values("show", "show__name", "show__load_in", "type", "length_mm", "item", "critical")
        .annotate(total=Sum("count"))
    )
    zone = Company.current().zone
    for row in rows:
        yield Coming(
            type_id=row["type"],
            length_mm=row["length_mm"],
            item_id=row["item"],
            count=row["total"],
            critical=row["critical"] == Critical.CRITICAL,
            show=row["show"],
            name=row["show__name"],
            url=reverse("show", args=[row["show"]]),
            day=row["show__load_in"].astimezone(zone).date(),
        )
