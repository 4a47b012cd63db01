"""Places: the shelves in the order a person walks them, the bench, the repairers; and sending an item there and back."""

from typing import Any

from django.contrib import messages
from django.db.models import Count, Q
from django.db.models.deletion import ProtectedError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from company.access import technician_required
from inventory.forms_shelf import PlaceForm, SendForm, who
from inventory.models import Item, Place
from inventory.services.places import STEP, PlaceRefused, item_fetch, item_send, place_move, place_remove


def places(request: HttpRequest) -> HttpResponse:
    """List the places, in the order of the walk, with a form for one more."""
    if request.method == "POST":
        if not who(request).is_technician:
            return render(request, "403.html", {"wanted": "technician"}, status=403)
        form = PlaceForm(request.POST)
        if form.is_valid():
            place = form.save(commit=False)
            last = Place.objects.order_by("-rank").values_list("rank", flat=True).first()
            place.rank = min((last or 0) + STEP, 32_000)
            place.save()
            messages.success(request, f"{place} is the last on the walk.")
            return redirect("places")
    else:
        form = PlaceForm()
    return render(
        request,
        "inventory/places.html",
        {"section": "Shelf", "form": form, "places": _counted_places()},
        status=422 if form.errors else 200,
    )


@technician_required
def place_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Rename a place, walk it earlier or later, or take it off the walk."""
    place = get_object_or_404(Place, pk=pk)
    do = request.POST.get("do", "")
    if do in {"earlier", "later"}:
        place_move(place=place, by=-1 if do == "earlier" else 1)
        return redirect("places")
    if do == "remove":
        try:
            place_remove(place=place)
        except (PlaceRefused, ProtectedError) as refused:
            messages.error(request, str(refused) if isinstance(refused, PlaceRefused) else f"{place} is still used.")
        else:
            messages.success(request, f"{place} is off the walk.")
        return redirect("places")
    form = PlaceForm(request.POST or None, instance=place)
    if request.method == "POST" and form.is_valid():
        form.save()
        return redirect("places")
    context = {"section": "Shelf", "form": form, "place": get_object_or_404(Place, pk=pk)}
    return render(request, "inventory/place.html", context, status=422 if form.errors else 200)


@technician_required
def item_place(request: HttpRequest, code: str) -> HttpResponse:
    """Send an item to the bench or a repairer, or note that it is back."""
    item = get_object_or_404(Item.objects.select_related("type", "at", "home"), code=code)
    if request.POST.get("do") == "fetch":
        item_fetch(item=item)
        messages.success(request, f"{item} is back{f', on {item.home}' if item.home else ''}.")
        return redirect(item)
    form = SendForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        item_send(item=item, place=form.cleaned_data["place"])
        messages.success(request, f"{item} is at {item.at}.")
        return redirect(item)
    return render(
        request,
        "inventory/place_send.html",
        {"section": "Gear", "form": form, "item": item},
        status=422 if form.errors else 200,
    )


def _counted_places() -> list[Place]:
    owned = Q(homed_items__retired_on=None, homed_items__gone_home_on=None)
    there = Q(items_there__retired_on=None, items_there__gone_home_on=None)
    found: list[Any] = list(Place.objects.annotate(homed=Count("homed_items", filter=owned, distinct=True)))
    lies = dict(Place.objects.annotate(n=Count("items_there", filter=there)).values_list("pk", "n"))
    lines = dict(Place.objects.annotate(n=Count("counted_lines")).values_list("pk", "n"))
    for place in found:
        place.there, place.lines = lies[place.pk], lines[place.pk]
    return found
