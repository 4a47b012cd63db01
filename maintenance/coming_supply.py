"""Are there enough fit ones for the coming shows? What is at hand by type and length, against what each show takes along."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

from django.db.models import Count, F, Q, Sum

from inventory.models import CountMove, Item
from maintenance.registries import Coming

Key = tuple[int, int]  # a gear type's key and a length in millimetres; 0 is any length


@dataclass(frozen=True, kw_only=True)
class Supply:
    """How many of each type and length are fit to go on a day, counted ones too, and how many each show asks for."""

    fit: Mapping[Key, int] = field(default_factory=dict)
    wanted: Mapping[tuple[int, Key], int] = field(default_factory=dict)

    def fit_for(self, key: Key) -> int:
        """Return how many could serve: those of the length, or of any length where none is asked for."""
        return sum(n for k, n in self.fit.items() if k[0] == key[0] and key[1] in {0, k[1]})

    def short(self, show: int, key: Key) -> int:
        """Return how many fit ones a show lacks of what it asks for by type and length."""
        return max(0, self.wanted.get((show, key), 0) - self.fit_for(key))

    def lacks(self, one: Coming) -> bool:
        return self.short(one.show, (one.type_id, one.length_mm)) > 0


def supply_of(coming: Iterable[Coming], day: date) -> Supply:
    """Return what is fit to go on a day of all that coming shows ask for by type; two queries.

    Fit: owned and not lost or lent, neither suspect nor past its test-by date nor at the repairer. What is out now counts: it
    will be back, or is missed there and not here.
    """
    wanted: dict[tuple[int, Key], int] = defaultdict(int)
    for one in coming:
        if not one.item_id:
            wanted[one.show, (one.type_id, one.length_mm)] += one.count
    types = {key[0] for _show, key in wanted}
    if not types:
        return Supply()
    fit: dict[Key, int] = defaultdict(int)
    good = Q(suspect_since=None) & (Q(test_by=None) | Q(test_by__gt=day)) & ~Q(at__sort="repairer")
    items = Item.objects.owned().filter(type__in=types, missing_since=None, lent_to="")
    for row in items.order_by().values("type", "length_mm").annotate(fit=Count("pk", filter=good)):
        fit[row["type"], row["length_mm"]] += row["fit"]
    counted = (
        CountMove.objects.filter(line__type__in=types)
        .order_by()
        .values(type=F("line__type"), length_mm=F("line__length_mm"))
        .annotate(total=Sum("delta", filter=Q(show=None)), bad=Sum("delta", filter=Q(condition="bad")))
    )
    for row in counted:
        fit[row["type"], row["length_mm"]] += max(0, (row["total"] or 0) - (row["bad"] or 0))
    return Supply(fit=dict(fit), wanted=dict(wanted))
