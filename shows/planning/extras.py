"""What went along unplanned again and again: after three shows it is proposed."""

from collections import defaultdict
from dataclasses import dataclass
from math import ceil
from statistics import median

from django.db.models import Count, F, Sum

from inventory.calc.kinds import Kind
from inventory.models import CountMove, GearType
from shows.calc.words import Ended, ShowState
from shows.models import Checkout, NotProposed, PullRow, Show, StagePlan

TIMES = 3  # unplanned with so many shows, it is proposed
LOOK_BACK = 100  # closed shows
MOST = 12
Key = tuple[int, int]


@dataclass(frozen=True, kw_only=True)
class Extra:
    """So many of a type that went unplanned with these shows; `here`: with how many at this venue or for this client."""

    type: GearType
    length_mm: int
    count: int
    shows: tuple[str, ...]
    here: int

    @property
    def key(self) -> str:
        return f"{self.type.pk}:{self.length_mm}"

    @property
    def made(self) -> str:
        return f"extra:{self.key}"

    @property
    def reason(self) -> str:
        """Say why it is proposed."""
        named = ", ".join(self.shows[:3])
        return f"went along unplanned with {len(self.shows)} shows: {named}{' ...' if len(self.shows) > 3 else ''}"


def extras_of(show: Show) -> list[Extra]:
    """Return what went unplanned with three closed shows or more and is not on this list, this venue's and client's habits
    first; a constant number of queries."""
    past = list(
        Show.objects.filter(state=ShowState.CLOSED, load_in__lt=show.load_in)
        .exclude(pk=show.pk)
        .order_by("-load_in")
        .only("pk", "name", "venue", "client")[:LOOK_BACK]
    )
    if len(past) < TIMES:
        return []
    went = _went([one.pk for one in past])
    listed: dict[int, set[Key]] = defaultdict(set)
    asked = PullRow.objects.filter(show__in=[show.pk, *(one.pk for one in past)])
    for pk, type_, length in asked.order_by().values_list("show", "type", "length_mm").distinct():
        listed[pk].add((type_, length))
    plan = StagePlan.objects.filter(pk=show.pk).only("left_out").first()
    quiet = set(NotProposed.objects.values_list("type", "length_mm"))
    counts: dict[Key, list[tuple[Show, int]]] = defaultdict(list)
    for one in past:
        for key, count in went[one.pk].items():
            if not {key, (key[0], 0)} & listed[one.pk]:
                counts[key].append((one, count))
    often = {
        key: pairs
        for key, pairs in counts.items()
        if len(pairs) >= TIMES and key not in quiet and not {key, (key[0], 0)} & listed[show.pk]
    }
    types = GearType.objects.in_bulk({key[0] for key in often})
    found = [_extra(show, types[key[0]], key[1], pairs) for key, pairs in often.items()]
    left = set(plan.left_out if plan else ())
    return sorted((one for one in found if one.made not in left), key=lambda x: (-x.here, -len(x.shows), x.type.name))[:MOST]


def _extra(show: Show, type_: GearType, length_mm: int, pairs: list[tuple[Show, int]]) -> Extra:
    here = sum(
        (one.venue_id is not None and one.venue_id == show.venue_id) or bool(one.client and one.client == show.client)
        for one, _count in pairs
    )
    count = max(1, ceil(median(count for _show, count in pairs)))
    return Extra(type=type_, length_mm=length_mm, count=count, shows=tuple(one.name for one, _count in pairs), here=here)


def _went(shows: list[int]) -> dict[int, dict[Key, int]]:
    """Return how many of each type and length went with each show, labelled and counted; cases only carry the rest."""
    went: dict[int, dict[Key, int]] = defaultdict(lambda: defaultdict(int))
    stays = Checkout.objects.filter(show__in=shows).exclude(ended=Ended.MOVED).exclude(item__type__kind=Kind.CASE).order_by()
    for show, type_, length, count in stays.values_list("show", "item__type", "item__length_mm").annotate(
        n=Count("item", distinct=True)
    ):
        went[show][type_, length] += count
    moves = CountMove.objects.filter(show__in=shows, why=CountMove.Why.OUT).order_by()
    for row in moves.values("show", type_=F("line__type"), length=F("line__length_mm")).annotate(n=-Sum("delta")):
        if row["n"] > 0 and row["show"] is not None:
            went[row["show"]][row["type_"], row["length"]] += row["n"]
    return went
