"""Shows: the list."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from company.clock import now
from shows.models import Show


def shows(request: HttpRequest) -> HttpResponse:
    """List the shows still to come."""
    return render(request, "shows/shows.html", {"section": "Shows", "shows": Show.objects.coming_at(now())[:50]})
