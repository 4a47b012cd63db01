"""The gear list, and what is done with many items at once."""

import re
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST
from django_tables2 import LazyPaginator

from company.access import signed_in, technician_required
from company.clock import now, today
from company.tables import ListConfig
from inventory.calc.kinds import WHERE_LIFTED, Where
from inventory.filters_gear import ItemFilter
from inventory.forms_gear import PlaceForm
from inventory.gear_page import standing_words
from inventory.models import GearType, Item
from inventory.search import EXACT_UP_TO, where_words
from inventory.services.items import GearRefused, item_retire, items_set_place
from inventory.tables_gear import PER_PAGE, ItemTable

BECAUSE_MOST = 200

DEEPEST_PAGE = 2000
MOST_CHOSEN = 500


def drawn(items: Any) -> list[Any]:
    """Give described items the words and marks their strips are drawn with."""
    rows = list(items)
    for item in rows:
        where = Where(item.where)
        item.lifted = WHERE_LIFTED.get(where, "")
        item.where_words = where_words(item)
        item.standing_words = standing_words(item, item.standing)
    return rows


def gear(request: HttpRequest) -> HttpResponse:
    """List what we own, as strips."""
    day = today()
    asked = ItemFilter(request.GET, queryset=Item.objects.all(), day=day)
    asked.form.label_suffix = ""
    rows = asked.qs if asked.form.is_valid() else Item.objects.none()
    keys = list(rows.order_by().values_list("pk", flat=True)[: EXACT_UP_TO + 1])
    count = len(keys)
    if count <= EXACT_UP_TO:
        # few: sort those; many: walk the list in its order, which the next fifty of so many are never far along
        rows = Item.objects.filter(pk__in=keys)
    table = ItemTable(rows.described(day))
    ListConfig(request, paginate={"paginator_class": LazyPaginator, "per_page": PER_PAGE, "page": _page(request)}).configure(
        table
    )
    items = drawn(row.record for row in table.page)
    nothing_yet = not items and not asked.is_used and not Item.objects.exists()
    context = {
        "section": "Gear",
        "asked": asked,
        "table": table,
        "items": items,
        "count": count,
        "count_words": _how_many(count),
        "nothing_yet": nothing_yet,
        "no_types": nothing_yet and not GearType.objects.exists(),
        "place_form": PlaceForm(auto_id="chosen_%s"),
        "export_url": _address("export"),
        "sort": request.GET.get("sort", "")[:20],
    }
    return render(request, "inventory/gear.html", context)


@require_POST
@technician_required
def gear_chosen(request: HttpRequest) -> HttpResponse:
    """Print labels of, move or retire the items that were ticked."""
    codes = [code for code in request.POST.getlist("code") if re.fullmatch(r"[0-9A-Z]{8}", code)][:MOST_CHOSEN]
    items = list(Item.objects.filter(code__in=codes).select_related("type"))
    back = _back(request)
    if not items:
        messages.warning(request, "Tick the things first, then say what to do with them.")
        return redirect(back)
    match request.POST.get("do"):
        case "labels":
            return redirect(f"{reverse('labels-print')}?codes={','.join(item.code for item in items)}")
        case "place":
            return _place(request, items, back)
        case "retire":
            return _retire(request, items, back)
        case _:
            messages.warning(request, "Say what to do with them.")
            return redirect(back)


def _place(request: HttpRequest, items: list[Item], back: str) -> HttpResponse:
    form = PlaceForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Choose a place from the list.")
        return redirect(back)
    place = form.cleaned_data["place"]
    changed = items_set_place(items=items, place=place)
    where = place.name if place else "their own shelves"
    messages.success(request, f"{_things(changed)} put at {where}." if changed else f"They were at {where} already.")
    return redirect(back)


def _retire(request: HttpRequest, items: list[Item], back: str) -> HttpResponse:
    because = request.POST.get("because", "").strip()
    if len(because) > BECAUSE_MOST:
        messages.error(request, f"At most {BECAUSE_MOST} characters: yours has {len(because)}.")
        return redirect(back)
    at = now()
    done, refused = 0, []
    for item in items:
        try:
            item_retire(item=item, because=because, on=today(at), at=at, person=signed_in(request))
            done += 1
        except GearRefused as why:
            refused.append(str(why))
    if done:
        messages.success(request, f"{_things(done)} retired: {because}. Find them under “retired”; each can come back.")
    for why in list(dict.fromkeys(refused))[:5]:
        messages.warning(request, why)
    return redirect(back)


def _back(request: HttpRequest) -> str:
    wanted = request.POST.get("back", "")
    fine = url_has_allowed_host_and_scheme(wanted, allowed_hosts=None) and wanted.startswith(reverse("gear"))
    return wanted if fine else reverse("gear")


def _page(request: HttpRequest) -> int:
    text = request.GET.get("page", "1")
    return min(max(int(text), 1), DEEPEST_PAGE) if text.isascii() and text.isdigit() and len(text) < 7 else 1


def _things(count: int) -> str:
    return "1 thing" if count == 1 else f"{count} things"


def _how_many(count: int) -> str:
    return f"more than {EXACT_UP_TO} things" if count > EXACT_UP_TO else _things(count)


def _address(name: str) -> str:
    try:
        return reverse(name)
    except NoReverseMatch:
        return ""
