"""Today as a running order."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from company.clock import now


def start(request: HttpRequest) -> HttpResponse:
    """Draw today."""
    return render(request, "shows/start.html", {"section": "Today", "at": now()})
