"""The fleet: what is left in every powered device against what its next show asks; and what to see to between shows."""

import uuid
from datetime import datetime

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from company.clock import now, today
from inventory.calc import codes
from inventory.calc.kinds import Kind
from inventory.models import Item
from inventory.search import item_of_code
from maintenance.calc.cell_words import Pool
from maintenance.cell_between import between_shows
from maintenance.cell_fleet import TROUBLES, FleetRow, NextUse, fleet, next_uses, powered
from maintenance.cell_querysets import lots_counted
from maintenance.cell_tape import axis_hours, notches, tape_of
from maintenance.models import CellLot
from maintenance.registries import ShowNeeds
from maintenance.services.cell_types import plan_of, sets_of

PAGE = 40
MOST = 200
SHOWS = 2  # whose swap lists are offered


@require_safe
def cells(request: HttpRequest) -> HttpResponse:
    """Show every powered device as tape of hours left, what wants a person first."""
    at = now()
    asked = {name: request.GET.get(name, "")[:100] for name in ("q", "type", "place", "show", "only")}
    uses = next_uses(at)
    rows = _rows(asked, at, uses)
    everything, whole = rows, powered().order_by()
    if asked["only"] in TROUBLES:
        rows = [row for row in rows if asked["only"] in row.troubles]
    page = Paginator(rows, PAGE).get_page(request.GET.get("page"))
    axis = axis_hours(rows)
    context = {
        "section": "Cells",
        "room": "fleet",
        "page": page,
        "rows": [(row, tape_of(row.state.life, row.need_h, axis)) for row in page],
        "notches": notches(axis),
        "axis": axis,
        "asked": asked,
        "narrowed": any(asked.values()),
        "counts": [
            (key, words[count > 1], count)
            for key, words in TROUBLES.items()
            if (count := len({r.item.pk for r in everything if key in r.troubles}))
        ],
        "only_words": TROUBLES.get(asked["only"], ("", ""))[1],
        "lists": _lists(uses),
        "types": whole.values_list("type", "type__name").distinct().order_by("type__name"),
        "places": whole.filter(home__isnull=False).values_list("home", "home__name").distinct().order_by("home__name"),
        "shows": sorted({(use.show.load_in, use.show.key, use.show.name) for use in uses.values()}),
        "uid": uuid.uuid4(),
    }
    return render(request, "maintenance/cells/fleet.html", context)


def _lists(uses: dict[int, NextUse]) -> list[ShowNeeds]:
    """Return the next shows that want something of cells: one under way, and the next to load in."""
    shows = {use.show.key: use.show for use in uses.values()}.values()
    return sorted(shows, key=lambda show: (show.load_in, show.key))[:SHOWS]


def _rows(asked: dict[str, str], at: datetime, uses: dict[int, NextUse]) -> list[FleetRow]:
    items = powered()
    if asked["type"].isascii() and asked["type"].isdigit() and len(asked["type"]) < 16:
        items = items.filter(type_id=int(asked["type"]))
    if asked["place"].isascii() and asked["place"].isdigit() and len(asked["place"]) < 16:
        items = items.filter(home_id=int(asked["place"]))
    found = [item for item in items if _fits(item, asked["q"])]
    if asked["show"]:
        found = [item for item in found if item.pk in uses and str(uses[item.pk].show.key) == asked["show"]]
    return fleet(found, at, uses)


def _fits(item: Item, words: str) -> bool:
    said = f"{item.label} {item.type.name} {item.name} {item.code} {item.home or ''}".casefold()
    return all(word in said or word.replace("-", "") in said for word in words.casefold().split()[:8])


@require_safe
def cells_scan(request: HttpRequest) -> HttpResponse:
    """Take a scan or a typed code to the device's cells."""
    text = request.GET.get("scan", "")[:200]
    read = codes.parse(text)
    found = item_of_code(read.code) if read.read is codes.Read.CODE else None
    if found is None:
        said = "Nothing has this label yet." if read.read is codes.Read.CODE else "That is no label of ours."
        messages.error(request, f"{said} Scan the device's own label." if text.strip() else "Scan a device, or type its code.")
        return redirect("cells")
    item = Item.objects.select_related("type").get(pk=found.pk)
    if item.type.kind == Kind.CELL_SET:
        return redirect(f"{reverse('cell-sets')}#{item.code}")
    plan = plan_of([item.type])[item.type_id]
    if not sets_of(item.type, plan) and not plan.full_charge_h:
        messages.error(request, f"{item} does not run on cells. If it does, say on its type how many it takes.")
        return redirect("cells")
    return redirect("item-swap" if sets_of(item.type, plan) else "item-cells", code=item.code)


@require_safe
def between(request: HttpRequest) -> HttpResponse:
    """List what to see to between shows: cells in stored gear, past their date, soon past it, sets due a capacity test."""
    at = now()
    day = today(at)
    found = between_shows(at)
    past = lots_counted(CellLot.objects.filter(pool__in=[Pool.NEW, Pool.REHEARSAL], expires_on__lt=day)).filter(left__gt=0)
    context = {
        "section": "Cells",
        "room": "between",
        "found": found,
        "lots_past": list(past.select_related("type", "place").order_by("expires_on", "pk")[:MOST]),
        "lots_soon": [lot for lot in found.expiring if lot.expires_on and lot.expires_on >= day],
        "uid": uuid.uuid4(),
    }
    context["any"] = bool(found) or bool(context["lots_past"])
    return render(request, "maintenance/cells/between.html", context)
