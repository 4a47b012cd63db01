"""What shelves and cases add elsewhere: to the item page, the search, the needs of the day and the shopping list."""

from collections.abc import Iterable
from datetime import datetime

from django.db.models import Q
from django.http import HttpRequest
from django.urls import reverse

from company.registries import NAV, NEEDS, SEARCH, Found, NavEntry, Need
from company.templatetags.tape import day, metres
from inventory.calc import codes
from inventory.calc.kinds import Kind, unseen_words
from inventory.forms_shelf import who
from inventory.models import CountedLine, GearType, Item, Place, Placement, Stray
from inventory.packing import case_reports
from inventory.registries import ITEM_ACTIONS, ITEM_LIFE, ITEM_PANELS, SHOPPING, ItemAction, LifeEntry, Panel
from inventory.stock import low_consumables, shopping_low, shopping_missing, shopping_worn

LIFE = 30


def panel_contents(request: HttpRequest, item: Item, at: datetime) -> Panel | None:
    """Show what lies in a case and what is short and extra; nothing for a thing that is no case."""
    if item.type.kind != Kind.CASE:
        return None
    report = case_reports([item.pk])[item.pk]
    names = dict(GearType.objects.filter(pk__in={line.type_id for line in report.packed.lines}).values_list("pk", "name"))
    sorts = [
        (" ".join(part for part in (names[line.type_id], metres(line.length_mm)) if part), line.packed)
        for line in report.packed.lines
        if line.packed
    ]
    suspect = list(Item.objects.owned().filter(in_case=item, suspect_since__isnull=False).select_related("type"))
    context = {"case": item, "report": report, "sorts": sorts, "suspect": suspect}
    return Panel(title="In it now", template="inventory/_panel_case.html", context=context)


def panel_packed_in(request: HttpRequest, item: Item, at: datetime) -> Panel | None:
    """Say which case a thing is packed in, since when and how that is known."""
    if item.in_case_id is None:
        return None
    newest = (
        Placement.objects.filter(item=item, case=item.in_case_id)
        .select_related("case__type", "person")
        .order_by("-effective_at", "-pk")
        .first()
    )
    if newest is None:
        return None
    return Panel(
        title="Packed in",
        template="inventory/_panel_packed.html",
        context={"placement": newest, "known": unseen_words(newest.evidence)},
    )


def life_of_packing(item: Item, at: datetime) -> Iterable[LifeEntry]:
    """Tell when a thing was packed, moved and taken out: quietly, the last few."""
    moves = Placement.objects.filter(item=item).select_related("case__type", "person").order_by("-effective_at", "-pk")
    for move in moves[:LIFE]:
        yield LifeEntry(
            at=move.effective_at,
            did=f"packed in {move.case}" if move.case else "taken out of its case",
            small=", ".join(part for part in (str(move.person or ""), unseen_words(move.evidence)) if part),
            url=reverse("case", args=[move.case.code]) if move.case else "",
        )


def actions_of_shelf(request: HttpRequest, item: Item) -> Iterable[ItemAction]:
    """Offer packing for a case, and sending anything to the bench or a repairer and back."""
    if item.type.kind == Kind.CASE:
        yield ItemAction(name="Pack it", url=reverse("case-pack", args=[item.code]))
        yield ItemAction(name="Plan and contents", url=reverse("case", args=[item.code]))
    if not item.retired_on:
        name = "Send to the bench or a repairer" if item.at_id is None else f"It is back from {item.at}"
        yield ItemAction(name=name, url=reverse("item-place", args=[item.code]), role="technician")


def search_shelf(request: HttpRequest, text: str, limit: int) -> Iterable[Found]:
    """Find counted lines by words or by the text of their shelf label, and places by name."""
    text = text.replace("\x00", " ")
    read = codes.parse(text)
    lines = CountedLine.objects.select_related("type", "home")
    if read.read is codes.Read.COUNTED:
        lines = lines.filter(pk=read.number)
    else:
        words = text.split()[:8]
        if not words:
            return
        for word in words:
            lines = lines.filter(Q(type__name__icontains=word) | Q(notes__icontains=word) | _of_length(word))
        for place in Place.objects.filter(name__icontains=text.strip())[:limit]:
            yield Found(
                name=place.name, url=f"{reverse('gear')}?place={place.pk}", kind="Places", note="what stays there", rank=-2
            )
    for line in lines[:limit]:
        yield Found(
            name=line.label,
            url=line.get_absolute_url(),
            kind="Counted lines",
            note=str(line.home or ""),
            code="counted",
            rank=-1,
        )


def needs_of_shelf(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Bring up strays that wait, and consumables that run low: one entry each, however many."""
    strays = list(Stray.objects.filter(settled_on=None)[:4])
    if strays:
        named = ", ".join(stray.what for stray in strays[:3]) + (" and more" if len(strays) > 3 else "")
        yield Need(
            key="strays",
            name="Not ours",
            code=named[:60],
            url=reverse("strays"),
            fact="Somebody is missing this." if len(strays) == 1 else "Somebody is missing these.",
            why=f"Oldest here since {day(strays[-1].found_at)}; give it back, or say that it stays.",
            mark="question",
            group="shelf",
        )
    if not who(request).is_technician:
        return
    low = low_consumables()
    if low:
        yield Need(
            key="shopping",
            name="Buy before it runs out",
            code=f"{len(low)} on the list",
            url=reverse("shopping"),
            fact=", ".join(f"{max(line.on_shelf, 0)} left of {line.label}" for line, _kept, _buy in low[:3]) + ".",
            why="Under the level the shop keeps.",
            group="shelf",
        )


def _of_length(word: str) -> Q:
    """Match a length typed as 10, 10m or 0.5m."""
    number = word.lower().rstrip("m").replace(",", ".")
    try:
        length_mm = round(float(number) * 1000)
    except (ValueError, OverflowError):
        return Q(pk=None)
    return Q(length_mm=length_mm) if 0 < length_mm <= 1_000_000 else Q(pk=None)


def register() -> None:
    """Fill the registries; called once, when the program starts."""
    NAV.add("shelf", lambda: NavEntry(name="Shelf", url_name="counted", section="Shelf"), rank=50)
    NAV.add("cases", lambda: NavEntry(name="Cases", url_name="cases", section="Cases"), rank=60)
    NEEDS.add("shelf", needs_of_shelf, rank=60)
    SEARCH.add("shelf", search_shelf, rank=60)
    ITEM_PANELS.add("case contents", panel_contents, rank=20)
    ITEM_PANELS.add("packed in", panel_packed_in, rank=30)
    ITEM_LIFE.add("packing", life_of_packing)
    ITEM_ACTIONS.add("shelf", actions_of_shelf, rank=60)
    SHOPPING.add("low", shopping_low, rank=10)
    SHOPPING.add("worn", shopping_worn, rank=20)
    SHOPPING.add("missing", shopping_missing, rank=90)
