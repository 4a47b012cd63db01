"""What custody adds to an item's page, to the start page and to the API: where it is, how that is known, what disagreed."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Max, QuerySet, Sum
from django.http import HttpRequest
from django.urls import reverse

from company.calc.roles import Role
from company.models import Person
from company.registries import Need
from company.templatetags.tape import clock, day, moment
from company.templatetags.tape import code as spelled
from inventory.calc.kinds import Evidence, unseen_words
from inventory.models import CountedLine, CountMove, Item
from inventory.registries import LifeEntry, Panel
from shows.calc.words import Ended
from shows.models import Checkout, Contradiction, CustodyHead, Show

FEW = 25
LIFE_MOST = 400
LATELY = timedelta(days=90)
DISAGREE = "scans that disagree"
KNOWN = {
    Evidence.SEEN: "Seen: its own label was scanned",
    Evidence.VOUCHED: "Vouched for: the case it is in was scanned",
    Evidence.SAID: "Said: somebody ticked it off a list",
    Evidence.DOUBTFUL: "Doubtful: its case was counted and the number was wrong. Scan it",
}
ENDED = {
    Ended.BACK: "back",
    Ended.STRAIGHT_ON: "straight on",
    Ended.MOVED: "moved to another show",
    Ended.RECORD_YIELDED: "seen elsewhere",
}


def where(request: HttpRequest, item: Item, at: datetime) -> Panel:
    """Say where it is, who scanned it last, and how well that is known."""
    head = CustodyHead.objects.filter(pk=item.pk).select_related("seen_by").first()
    stays = Checkout.objects.filter(item=item).select_related("show__venue", "opened_by", "closed_by")
    last = stays.order_by("-opened_at", "-pk").first()
    known = KNOWN.get(Evidence(head.evidence)) if head and head.evidence else ""
    undecided = Contradiction.objects.filter(item=item, stands=True, decided_at=None)[:5]
    return Panel(
        title="Where is it",
        template="shows/_where.html",
        context={
            "head": head,
            "stay": last if last and last.closed_at is None else None,
            "last": last,
            "ended": ENDED[Ended(last.ended)] if last and last.ended else "",
            "known": known,
            "undecided": undecided,
            "place": "" if item.custody else _place(item),
        },
    )


def _place(item: Item) -> str:
    """Say where a thing is that is not out: gone, lent, at a bench, in a case, on its shelf."""
    if item.gone_home_on:
        return f"Given back to {item.borrowed_from or 'its owner'} on {day(item.gone_home_on)}."
    if item.retired_on:
        return "Gone: it is retired."
    if item.lent_to:
        since = f" since {day(item.lent_on)}" if item.lent_on else ""
        return f"Lent to {item.lent_to}{since}."
    if item.missing_since:
        return f"Missing since {day(item.missing_since)}."
    if item.at:
        return f"At {item.at}."
    if item.in_case_id:
        return f"In the shop, packed in {item.in_case}."
    return f"In the shop, {item.home}." if item.home else "In the shop."


def checkout_life(item: Item, at: datetime) -> Iterable[LifeEntry]:
    """One entry a stay: out, back, how it ended."""
    stays = Checkout.objects.filter(item=item).select_related("show").order_by("-opened_at")[:LIFE_MOST]
    for stay in stays:
        small = f"out {clock(stay.opened_at)}"
        if stay.truck_at:
            small += f", on the truck {clock(stay.truck_at)}"
        if stay.closed_at:
            other_day = "" if stay.closed_at.date() == stay.opened_at.date() else f"{day(stay.closed_at)}, "
            small += f", {ENDED[Ended(stay.ended)]} {other_day}{clock(stay.closed_at)}"
        else:
            small += ", still out"
        if known := unseen_words(stay.evidence):
            small += f"; {known}"
        mark = "out" if stay.closed_at is None else "back"
        yield LifeEntry(at=stay.opened_at, did=stay.show.name, small=small, mark=mark, url=stay.show.get_absolute_url())


def contradiction_life(item: Item, at: datetime) -> Iterable[LifeEntry]:
    """What the record and a scan disagreed about."""
    for found in Contradiction.objects.filter(item=item, stands=True).select_related("decided_by")[:LIFE_MOST]:
        decided = f" {found.decided_by}: {found.decided}" if found.decided_at else ""
        yield LifeEntry(
            at=found.happened_at,
            did=found.kind,
            small=f"{found.said}{decided}",
            mark="eye",
            url=reverse("contradiction", args=[found.pk]),
        )


def api_fields(items: list[Item], at: datetime) -> dict[int, dict[str, Any]]:
    """The open checkout of each item, in one query for all."""
    told: dict[int, dict[str, Any]] = {item.pk: {"checkout": None} for item in items}
    rows = Checkout.objects.filter(item__in=list(told), closed_at=None).select_related("show", "opened_by")
    for stay in rows:
        told[stay.item_id]["checkout"] = {
            "show": stay.show_id,
            "name": stay.show.name,
            "out_at": stay.opened_at.isoformat(),
            "out_by": str(stay.opened_by) if stay.opened_by else "",
            "on_truck_at": stay.truck_at.isoformat() if stay.truck_at else None,
            "evidence": stay.evidence,
        }
    return told


def last_seen(items: QuerySet[Item]) -> Iterable[tuple[str, int, datetime]]:
    """When one of these items was last scanned, by type and length: one query for all."""
    heads = CustodyHead.objects.filter(item__in=items.order_by().values("pk"), seen_at__isnull=False).order_by()
    return heads.values_list("item__type__name", "item__length_mm").annotate(last=Max("seen_at"))


def undecided() -> QuerySet[Contradiction]:
    """Return the contradictions nobody has decided yet, oldest first."""
    # items are fetched afterwards: joined, the database walks every item to find the few that are named
    rows = Contradiction.objects.filter(stands=True, decided_at=None).select_related("show").prefetch_related("item__type")
    return rows.order_by("happened_at", "pk")


def disagreements(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Name the contradictions a technician has not decided yet, oldest first."""
    if not (isinstance(request.user, Person) and request.user.is_at_least(Role.TECHNICIAN)):
        return
    for found in undecided()[:FEW]:
        yield Need(
            key=f"contradiction:{found.pk}",
            name=found.item.label,
            code=spelled(found.item.code),
            url=reverse("contradiction", args=[found.pk]),
            fact=f"{found.kind.capitalize()}, {moment(found.happened_at)}.",
            why=found.said,
            mark="eye",
            group=DISAGREE,
        )


def counted_back(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Name the counted lines of which more came back from a show than went out to it, newest show first: one question, and
    one for the names. A show long past is nobody's work any more."""
    if not (isinstance(request.user, Person) and request.user.is_at_least(Role.TECHNICIAN)):
        return
    lately = Show.objects.filter(load_in__gte=at - LATELY).order_by().values("pk")
    sums = CountMove.objects.filter(show__in=lately).order_by().values_list("line", "show").annotate(more=Sum("delta"))
    over = list(sums.filter(more__gt=0).order_by("-show", "line")[:FEW])
    if not over:
        return
    lines = CountedLine.objects.select_related("type").in_bulk({line for line, _show, _more in over})
    shows = Show.objects.in_bulk({show for _line, show, _more in over})
    for line, show, more in over:
        yield Need(
            key=f"counted:{line}:{show}",
            name=lines[line].label,
            code=f"{more} too many",
            url=reverse("counted-line", args=[line]),
            fact=f"{more} more came back from {shows[show].name} than went out to it.",
            why="Count those out to it as well, or take back the count that is wrong.",
            mark="eye",
            group=DISAGREE,
        )


def register() -> None:
    """Fill the registries; called once, when the program starts."""
    from company.registries import NEEDS
    from inventory.registries import ITEM_API_FIELDS, ITEM_LIFE, ITEM_PANELS, LAST_SEEN

    LAST_SEEN.add("custody", last_seen)
    ITEM_PANELS.add("where", where, rank=20)
    ITEM_LIFE.add("checkouts", checkout_life, rank=30)
    ITEM_LIFE.add("contradictions", contradiction_life, rank=60)
    ITEM_API_FIELDS.add("checkout", api_fields, rank=30)
    NEEDS.add("contradictions", disagreements, rank=40)
    NEEDS.add("counted back", counted_back, rank=41)
