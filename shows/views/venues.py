"""Venues: a record of each place, kept for the next visit."""

from typing import cast

from django.contrib import messages
from django.db.models import Count, Max, ProtectedError, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from company.access import owner_required, technician_required
from company.clock import now, today
from company.models import Person
from company.templatetags.tape import day as day_words
from shows.forms import VenueForm
from shows.models import Venue
from shows.planning.stage import venue_drawing
from shows.services.venues import venue_remark

REMARK_MOST = 500


def venues(request: HttpRequest) -> HttpResponse:
    """List venues with how often and when last we were there."""
    word = request.GET.get("q", "").replace("\x00", "")[:200].strip()
    found = Venue.objects.annotate(
        visits=Count("shows", filter=Q(shows__load_in__lte=now())),
        last=Max("shows__load_in", filter=Q(shows__load_in__lte=now())),
    )
    if word:
        found = found.filter(Q(name__icontains=word) | Q(town__icontains=word) | Q(remarks__icontains=word))
    return render(request, "shows/venues.html", {"section": "Shows", "venues": found.order_by("name")[:300], "word": word})


def venue(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one venue: how to get in, the stage, what to know, and the shows there."""
    found = get_object_or_404(Venue.objects.select_related("house_desk_type"), pk=pk)
    return render(
        request,
        "shows/venue.html",
        {
            "section": "Shows",
            "venue": found,
            "feeds": found.feeds.all(),
            "drawing": venue_drawing(found, imperial=request.company.units == "imperial"),
            "shows": found.shows.order_by("-load_in")[:20],
            "at": now(),
        },
    )


@technician_required
def venue_edit(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    """Add a venue or change what is known of one."""
    found = get_object_or_404(Venue, pk=pk) if pk else None
    form = VenueForm(request.POST or None, instance=found)
    if request.method == "POST" and form.is_valid():
        saved = form.save()
        messages.success(request, "Saved.")
        return redirect(saved)
    return render(request, "shows/venue_form.html", {"section": "Shows", "form": form, "venue": found})


@technician_required
@require_POST
def venue_remark_add(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a dated remark for the next visit."""
    found = get_object_or_404(Venue, pk=pk)
    words = " ".join(request.POST.get("words", "").replace("\x00", "").split())
    if len(words) > REMARK_MOST:
        messages.error(request, f"At most {REMARK_MOST} characters: yours has {len(words)}.")
    elif words:
        venue_remark(venue=found, words=words, person=cast(Person, request.user), day=day_words(today(now())))
        messages.success(request, "Kept for the next visit.")
    else:
        messages.error(request, "Write what to know next time.")
    return redirect(found)


@owner_required
@require_POST
def venue_delete(request: HttpRequest, pk: int) -> HttpResponse:
    """Delete a venue no show was ever at."""
    found = get_object_or_404(Venue, pk=pk)
    try:
        found.delete()
    except ProtectedError:
        messages.error(request, f"Shows were held at {found.name}, so its record stays.")
        return redirect(found)
    messages.success(request, f"{found.name} is deleted.")
    return redirect("venues")
