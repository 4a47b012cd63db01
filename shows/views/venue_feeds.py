"""The supplies a venue feeds a stage from: added, changed, taken off."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from company.access import technician_required
from shows.forms import VenueFeedForm
from shows.models import Venue, VenueFeed


@technician_required
def venue_feed(request: HttpRequest, pk: int, feed: int | None = None) -> HttpResponse:
    """Add a feed, change one, or take one off the record."""
    venue = get_object_or_404(Venue, pk=pk)
    found = get_object_or_404(VenueFeed, pk=feed, venue=venue) if feed else VenueFeed(venue=venue)
    if request.method == "POST" and request.POST.get("do") == "delete" and feed:
        found.delete()
        messages.success(request, f"{found.name} is taken off. Places that named it name none now.")
        return redirect(venue)
    form = VenueFeedForm(request.POST or None, instance=found)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect(f"{venue.get_absolute_url()}#feeds")
    context = {"section": "Shows", "venue": venue, "form": form, "feed": found if feed else None}
    return render(request, "shows/venue_feed.html", context, status=422 if form.errors else 200)
