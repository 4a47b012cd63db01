"""What is not home although it should be: by show, with who scanned it last, where and when. Six queries at most."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime

from django.db.models import F, Q, Sum

from company.clock import today as company_today
from company.templatetags.tape import clock, day, metres
from inventory.calc.kinds import EVIDENCE_WORDS, Evidence
from inventory.models import CountMove, Item
from inventory.querysets import standing_expression
from inventory.search import count_up_to
from shows.calc.words import ShowState
from shows.models import Checkout, Show

_HOW = {**EVIDENCE_WORDS, Evidence.SEEN: "scanned", Evidence.VOUCHED: "scanned with its case"}
AT_MOST = 300  # of what shows still have; the rest is counted
DECLARED_AT_MOST = 50  # of what was declared missing, the newest: the gear list has it all


@dataclass(frozen=True, kw_only=True)
class Away:
    """One item that is not home: `known` says in one sentence what the record knows of it."""

    item: Item
    standing: str
    fact: str
    known: str
    on_truck: bool = False


@dataclass(frozen=True, kw_only=True)
class AwayCount:
    """So many of a counted line that are not home."""

    line_id: int
    name: str
    count: int


@dataclass(kw_only=True)
class AwayGroup:
    """What one show still has (`show` None: declared missing and out to no show). `more` is how many are not listed: beyond
    1,000 declared missing it is 1,001 and means more."""

    show: Show | None
    items: list[Away] = field(default_factory=list)
    counted: list[AwayCount] = field(default_factory=list)
    more: int = 0

    @property
    def total(self) -> int:
        return len(self.items) + self.more + sum(c.count for c in self.counted)


def late_shows(at: datetime) -> Q:
    """Select the shows whose gear should be home by now."""
    return Q(home_by__lt=at) | ~Q(state=ShowState.PLANNED)


def missing_at(at: datetime, *, show: Show | None = None, declared: bool = True) -> list[AwayGroup]:
    """Return what is not home, show by show in the order of their home-by; with `show`, that show's alone. What was only
    declared missing comes last, unless it is not asked for."""
    today = company_today(at)
    # which shows have anything is asked first, of the open checkouts alone: joined to all late shows, their number would tell
    # (a range of items, so that the index of open checkouts is walked and not that of all)
    still_out = Checkout.objects.filter(closed_at=None, item_id__gt=0).order_by()
    still_out = still_out.filter(show=show) if show is not None else still_out
    totals = Counter(still_out.values_list("show", flat=True))
    shows = Show.objects.filter(pk__in=totals).select_related("venue").order_by("home_by", "pk")
    late = {found.pk: found for found in (shows if show is not None else shows.filter(late_shows(at)))}
    listed = Checkout.objects.filter(closed_at=None, show__in=late)
    listed = listed.select_related("show__venue", "item__type", "item__custody_head__seen_by", "opened_by")
    listed = listed.annotate(standing=standing_expression(today, "item__")).order_by(
        "show__home_by", "show_id", "item__type__name", "item__length_mm", "item__name", "item__code"
    )
    groups: dict[int | None, AwayGroup] = {pk: AwayGroup(show=found, more=totals[pk]) for pk, found in late.items()}
    for checkout in listed[:AT_MOST]:
        groups[checkout.show_id].items.append(_away(checkout))
        groups[checkout.show_id].more -= 1
    _add_counted(groups, at, show)
    if show is None and declared:
        _add_declared(groups, today)
    return list(groups.values())


def _add_declared(groups: dict[int | None, AwayGroup], today: date) -> None:
    lost = Item.objects.filter(missing_since__isnull=False, custody="").owned()
    listed = lost.select_related("type", "custody_head__seen_by").annotate(standing=standing_expression(today))
    found = list(listed.order_by("-missing_since", "-pk")[:DECLARED_AT_MOST])
    counted = count_up_to(lost)
    if not found:
        return
    group = groups.setdefault(None, AwayGroup(show=None))
    group.items = [
        Away(
            item=item,
            standing=item.standing,
            fact=f"Missing since {day(item.missing_since)}.",
            known=_seen(item) or "Nobody ever scanned it.",
        )
        for item in found
    ]
    group.more = counted - len(found)


def _add_counted(groups: dict[int | None, AwayGroup], at: datetime, show: Show | None) -> None:
    # a closed show has counted off what it lost
    late = Show.objects.filter(home_by__lt=at, state=ShowState.PLANNED).order_by()
    asked = late.values("pk") if show is None else [show.pk]
    sums = (
        CountMove.objects.filter(show__in=asked)
        .values("show", "line", name=F("line__type__name"), length_mm=F("line__length_mm"))
        .annotate(net=Sum("delta"))
        .filter(net__lt=0)
        .order_by("show", "name", "length_mm")
    )
    rows = list(sums)
    shows = Show.objects.select_related("venue").in_bulk({row["show"] for row in rows})
    for row in rows:
        group = groups.setdefault(row["show"], AwayGroup(show=shows[row["show"]]))
        name = " ".join(part for part in (row["name"], metres(row["length_mm"])) if part)
        group.counted.append(AwayCount(line_id=row["line"], name=name, count=-row["net"]))


def _away(checkout: Checkout) -> Away:
    item = checkout.item
    if checkout.truck_at is not None:
        fact = "On the truck, never back."
        known = f"Loaded {day(checkout.truck_at)}, {clock(checkout.truck_at)}"
    else:
        fact = "Never onto the truck."
        known = f"Scanned out {day(checkout.opened_at)}, {clock(checkout.opened_at)}"
    if item.missing_since is not None:
        fact = f"Declared missing on {day(item.missing_since)}."
    head = getattr(item, "custody_head", None)
    known += f" by {checkout.opened_by}" if checkout.opened_by and checkout.truck_at is None else ""
    known += f" ({EVIDENCE_WORDS[Evidence(checkout.evidence)]})" if checkout.evidence else ""
    newer = head is not None and head.seen_at is not None and head.seen_at > (checkout.truck_at or checkout.opened_at)
    by = f" by {head.seen_by}" if checkout.truck_at and head and head.seen_by and not newer else ""
    known, seen = known.replace(" (", f"{by} (", 1), _seen(item) if newer else ""
    return Away(
        item=item,
        standing=checkout.standing,
        fact=fact,
        known=f"{known}. {seen}".strip(),
        on_truck=checkout.truck_at is not None and item.missing_since is None,
    )


def _seen(item: Item) -> str:
    head = getattr(item, "custody_head", None)
    if head is None or head.seen_at is None:
        return ""
    by = f" by {head.seen_by}" if head.seen_by else ""
    return f"Last {_HOW[Evidence(head.evidence or Evidence.SEEN)]} {day(head.seen_at)}, {clock(head.seen_at)}{by}."
