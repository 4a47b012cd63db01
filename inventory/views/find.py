"""One box finds anything."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


def find(request: HttpRequest) -> HttpResponse:
    """Find by code or word."""
    return render(request, "inventory/gear_find.html", {"section": "Gear", "q": request.GET.get("q", "")[:200]})
