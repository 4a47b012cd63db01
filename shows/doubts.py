"""What is on the truck only by a count that did not add up: nobody knows which of these things are really in their case."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from django.db.models import F

from inventory.calc.kinds import Evidence
from inventory.models import Item
from shows.models import Checkout, Scan, Show


@dataclass(kw_only=True)
class Doubt:
    """A case to look into: what it should hold, and how many were counted."""

    case: str
    counted: int | None
    expected: int
    items: list[Item] = field(default_factory=list)

    @property
    def words(self) -> str:
        """Say where to look and why: Trunk 10: 2 of 3 were counted."""
        return self.case if self.counted is None else f"{self.case}: {self.counted} of {self.expected} were counted"


def doubts_of(show: Show | None) -> list[Doubt]:
    """Return a show's cases whose contents are doubtful on the truck. One query; two more where there are any."""
    return doubts_on([show.pk])[show.pk] if show else []


def doubts_on(shows: Iterable[int]) -> dict[int, list[Doubt]]:
    """Return the same for many shows, by their keys, in as many queries."""
    found: dict[int, dict[int | None, Doubt]] = {show: {} for show in shows}
    stays = list(
        Checkout.objects.filter(
            show__in=found,
            closed_at=None,
            truck_at__isnull=False,
            item__custody_show=F("show"),
            item__custody="truck",
            item__custody_head__evidence=Evidence.DOUBTFUL,
        )
        .select_related("item__type", "item__in_case__type")
        .order_by("item__type__name", "item__length_mm", "item__name", "item__code")
    )
    if stays:
        cases = {stay.item.in_case_id for stay in stays if stay.item.in_case_id}
        owned = Item.objects.owned().filter(in_case__in=cases).order_by()
        inside = Counter(owned.values_list("in_case", flat=True))
        scans = Scan.objects.filter(uid__in={stay.truck_uid for stay in stays if stay.truck_uid}).order_by()
        counted = dict(scans.values_list("uid", "counted"))
        for stay in stays:
            case, doubts = stay.item.in_case, found[stay.show_id]
            key = case.pk if case else None
            if key not in doubts:
                number = counted.get(stay.truck_uid) if stay.truck_uid else None
                name, expected = (case.label, inside[case.pk]) if case else ("what is loose", 0)
                doubts[key] = Doubt(case=name, counted=number, expected=expected)
            doubts[key].items.append(stay.item)
    return {show: list(doubts.values()) for show, doubts in found.items()}
