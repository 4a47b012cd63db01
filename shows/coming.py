"""What coming shows take along, as the bench asks it: by type and length, and by name."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from datetime import date

from django.db.models import Sum
from django.urls import reverse

from company.models import Company
from inventory.models import CountMove
from maintenance.registries import Coming
from shows.calc.words import Critical, ShowState
from shows.models import Checkout, PullRow, Show

MOST = 200  # shows looked at: more than a shop of this size plans in the days the bench looks ahead


def coming_gear(first: date, last: date) -> Iterable[Coming]:
    """Yield what planned shows that begin to hold gear from `first` to `last` ask for, less what is out to them already; three
    queries."""
    # the shows are chosen first, by their days: asked of the rows at once, every pull list there ever was would be read
    soon = Show.objects.filter(hold_from__gte=first, hold_from__lte=last, state=ShowState.PLANNED).order_by("hold_from", "pk")
    rows = (
        PullRow.objects.filter(show__in=soon.values("pk")[:MOST])
        .order_by("show__load_in", "show", "type", "length_mm", "item")
        .values("show", "show__name", "show__load_in", "type", "length_mm", "item", "critical")
        .annotate(total=Sum("count"))
    )
    zone = Company.current().zone
    wanted = list(rows)
    out = _Out({row["show"] for row in wanted}, {row["item"] for row in wanted if row["item"]})
    # what is of one length first: what goes at any length takes what is left
    for row in sorted(wanted, key=lambda row: row["length_mm"] == 0):
        there = out.take(row["show"], row["item"], (row["type"], row["length_mm"]), row["total"])
        yield Coming(
            type_id=row["type"],
            length_mm=row["length_mm"],
            item_id=row["item"],
            count=row["total"] - there,
            out=there,
            critical=row["critical"] == Critical.CRITICAL,
            show=row["show"],
            name=row["show__name"],
            url=reverse("show", args=[row["show"]]),
            load_in=row["show__load_in"],
            day=row["show__load_in"].astimezone(zone).date(),
        )


class _Out:
    """What is out to shows: named things by themselves, the rest by type and length, counted ones too."""

    def __init__(self, shows: set[int], named: set[int]) -> None:
        self.named: set[tuple[int, int]] = set()
        self.loose: dict[int, Counter[tuple[int, int]]] = defaultdict(Counter)
        stays = Checkout.objects.filter(show__in=shows, closed_at=None).order_by()
        for show, item, type_id, mm in stays.values_list("show", "item", "item__type", "item__length_mm"):
            if item in named:
                self.named.add((show, item))
            else:
                self.loose[show][type_id, mm] += 1
        moves = CountMove.objects.filter(show__in=shows).order_by().values_list("show", "line__type", "line__length_mm")
        for show, type_id, mm, net in moves.annotate(net=Sum("delta")):
            self.loose[show][type_id, mm] += max(0, -net)

    def take(self, show: int, item: int | None, key: tuple[int, int], count: int) -> int:
        """Return how many of so many asked for are out; each is out for one row alone."""
        if item is not None:
            return int((show, item) in self.named)
        taken = 0
        for have in sorted(k for k in self.loose[show] if k[0] == key[0] and key[1] in (0, k[1])):
            number = min(count - taken, self.loose[show][have])
            self.loose[show][have] -= number
            taken += number
        return taken
