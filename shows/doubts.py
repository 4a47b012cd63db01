"""What is on the truck only by a count that did not add up: nobody knows which of these things are really in their case."""

from dataclasses import dataclass, field

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
    if show is None:
        return []
    held = {"item__custody_show": show.pk, "item__custody": "truck", "item__custody_head__evidence": Evidence.DOUBTFUL}
    stays = list(
        Checkout.objects.filter(show=show.pk, closed_at=None, truck_at__isnull=False, **held)
        .select_related("item__type", "item__in_case__type")
        .order_by("item__type__name", "item__length_mm", "item__name", "item__code")
    )
    if not stays:
        return []
    cases = {stay.item.in_case_id for stay in stays if stay.item.in_case_id}
    inside: dict[int, int] = {}
    for case in Item.objects.owned().filter(in_case__in=cases).order_by().values_list("in_case", flat=True):
        inside[case] = inside.get(case, 0) + 1
    scans = Scan.objects.filter(uid__in={stay.truck_uid for stay in stays if stay.truck_uid}).order_by()
    counted = dict(scans.values_list("uid", "counted"))
    found: dict[int, Doubt] = {}
    for stay in stays:
        case = stay.item.in_case
        if (case.pk if case else 0) not in found:
            number = counted.get(stay.truck_uid) if stay.truck_uid else None
            found[case.pk if case else 0] = Doubt(
                case=case.label if case else "what is loose", counted=number, expected=inside.get(case.pk, 0) if case else 0
            )
        found[case.pk if case else 0].items.append(stay.item)
    return list(found.values())
