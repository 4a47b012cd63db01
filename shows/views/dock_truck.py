"""Truck check at load-out, what is still in the room; and straight on to the next show, without going home."""

import uuid
from dataclasses import dataclass, field

from django.contrib import messages
from django.db.models import Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from company.clock import now, today
from inventory.calc.codes import Read, parse
from inventory.calc.kinds import Kind
from inventory.models import CountedLine, CountMove, Item
from shows.calc.words import Action, ShowState, Signal
from shows.dock import page_device
from shows.doubts import doubts_of
from shows.models import Show
from shows.services.dock import counted_moved, things_ticked
from shows.views.dock import clean, uid_of, who, whole


@dataclass(kw_only=True)
class Pile:
    """What stands together: a case with what is in it, or what is loose."""

    case: Item | None
    items: list[Item] = field(default_factory=list)

    @property
    def in_room(self) -> list[Item]:
        return [item for item in self.items if item.custody == "show"]

    @property
    def is_done(self) -> bool:
        return not self.in_room


def out_to_show(show: Show) -> list[Item]:
    """Return what is out to a show, described. One query."""
    return list(
        Item.objects.described(today()).filter(custody_show=show.pk).order_by("type__name", "length_mm", "name", "code")
    )


def piles_of(items: list[Item]) -> list[Pile]:
    """Sort things by the case they lie in; cases head their own pile, what is loose comes last."""
    by_pk = {item.pk: item for item in items}
    piles: dict[int, Pile] = {item.pk: Pile(case=item, items=[item]) for item in items if item.type.kind == Kind.CASE}
    loose = Pile(case=None)
    for item in items:
        if item.pk in piles:
            continue
        (piles[item.in_case_id] if item.in_case_id in piles and item.in_case_id in by_pk else loose).items.append(item)
    ordered = sorted(piles.values(), key=lambda pile: (pile.is_done, pile.case.label if pile.case else ""))
    return [*ordered, *([loose] if loose.items else [])]


def counted_out(show: Show) -> list[tuple[CountedLine, int]]:
    """Return how many of each counted line are out to a show. Two queries."""
    sums = CountMove.objects.filter(show=show.pk).values("line").annotate(out=-Sum("delta")).filter(out__gt=0).order_by()
    out = {row["line"]: row["out"] for row in sums}
    return [(line, out[line.pk]) for line in CountedLine.objects.filter(pk__in=out).select_related("type")]


def truck_check(request: HttpRequest, pk: int) -> HttpResponse:
    """List what is still in the room; a POST ticks things onto the truck without scanning each."""
    show = get_object_or_404(Show.objects.select_related("venue"), pk=pk)
    items = out_to_show(show)
    in_room = [item for item in items if item.custody == "show"]
    if request.method == "POST":
        wanted = set(request.POST.getlist("code"))
        if request.POST.get("all"):
            codes = [item.code for item in in_room]
        else:
            codes = [item.code for item in items if item.code in wanted]
        if not codes:
            messages.warning(request, "Nothing was ticked." if in_room else "Everything is on the truck already.")
            return redirect("truck-check", show.pk)
        answers = things_ticked(
            actor=who(request),
            device=page_device(request),
            codes=codes,
            action=Action.TRUCK,
            show=show.pk,
            at=now(),
            nonce=uid_of(request),
        )
        kept = sum(a.signal == Signal.FINE for a in answers)
        messages.success(request, f"{kept} ticked onto the truck: said, not scanned.")
        for answer in [a for a in answers if a.signal != Signal.FINE][:5]:
            messages.warning(request, answer.reason)
        return redirect("truck-check", show.pk)
    doubts = doubts_of(show)
    doubtful = {item.pk for doubt in doubts for item in doubt.items}
    context = {
        "section": "Dock",
        "show": show,
        "piles": piles_of([item for item in items if item.pk not in doubtful]),
        "total": len(items),
        "doubts": doubts,
        "doubtful": len(doubtful),
        "done": len(items) - len(in_room) - len(doubtful),
        "in_room": len(in_room),
        "counted": counted_out(show),
        "uid": uuid.uuid4(),
    }
    return render(request, "shows/dock_truck.html", context)


def straight_on(request: HttpRequest, pk: int) -> HttpResponse:
    """Send a thing, a case or the whole truck straight on to another show; the gear does not come home in between."""
    show = get_object_or_404(Show.objects.select_related("venue"), pk=pk)
    items = out_to_show(show)
    text = clean(request.POST.get("code", request.GET.get("code", "")), 200)
    read = parse(text)
    part = None
    if read.read == Read.CODE:
        part = next((i for i in Item.objects.described(today()).filter(labels__code=read.code)), None)
    if text and part is None:
        messages.error(request, read.why or "The record knows no such thing.")
        return redirect("straight-on", show.pk)
    if part is not None and part.custody_show != show.pk and request.method == "GET":
        messages.warning(request, f"{part.label} is not out to {show.name}. It can go on all the same.")
    targets = list(
        Show.objects.filter(state=ShowState.PLANNED, load_in__gt=now()).exclude(pk=show.pk).order_by("load_in", "pk")[:20]
    )
    counted = [] if part else counted_out(show)
    going = _going(items, part)
    if request.method == "POST":
        target = next((t for t in targets if t.pk == whole(request.POST.get("target"), 10**9)), None)
        if target is None:
            messages.error(request, "Choose the show it goes on to.")
            return redirect("straight-on", show.pk)
        return _send_on(request, show, target, going, counted)
    context = {
        "section": "Dock",
        "show": show,
        "targets": targets,
        "part": part,
        "going": going,
        "counted": counted,
        "uid": uuid.uuid4(),
    }
    return render(request, "shows/dock_straight_on.html", context)


def _going(items: list[Item], part: Item | None) -> list[Item]:
    """Return what goes on: everything out, or one thing, a case with all that is in it at any depth."""
    if part is None:
        return items
    chosen = {part.pk}
    grown = True
    while grown:
        more = {item.pk for item in items if item.in_case_id in chosen} - chosen
        grown = bool(more)
        chosen |= more
    return [part, *[item for item in items if item.pk in chosen and item.pk != part.pk]]


def _send_on(
    request: HttpRequest, show: Show, target: Show, going: list[Item], counted: list[tuple[CountedLine, int]]
) -> HttpResponse:
    at, uid, device = now(), uid_of(request, str(target.pk)), page_device(request)
    answers = things_ticked(
        actor=who(request),
        device=device,
        codes=[item.code for item in going],
        action=Action.OUT,
        show=target.pk,
        at=at,
        nonce=uid,
    )
    for line, count in counted:
        for action, to in ((Action.BACK, show), (Action.OUT, target)):
            counted_moved(
                actor=who(request),
                device=device,
                line=line.pk,
                action=action,
                show=to,
                good=count,
                bad=0,
                at=at,
                uid=uuid.uuid5(uid, f"{action} {line.pk}"),
            )
    count = len(answers) + sum(n for _, n in counted)
    if not count:
        messages.info(request, f"Nothing is out to {show.name} any more.")
        return redirect("straight-on", show.pk)
    messages.success(request, f"{count} straight on from {show.name} to {target.name}.")
    for answer in [a for a in answers if a.signal == Signal.STOP][:5]:
        messages.warning(request, answer.reason)
    return redirect("truck-check", target.pk)
