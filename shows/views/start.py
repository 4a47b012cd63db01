"""Today as a running order, and the whole list of what needs a person."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from company.clock import now
from company.registries import Need
from shows.today import gather_needs, next_of, today_of


def start(request: HttpRequest) -> HttpResponse:
    """Draw today."""
    today = today_of(request, now())
    undone = next((name for name, _url, done in today.first_steps if not done), "")
    return render(request, "shows/start.html", {"section": "Today", "today": today, "first_undone": undone})


def needs(request: HttpRequest) -> HttpResponse:
    """List everything that needs a person, by sort, the most pressing sort first."""
    at = now()
    found = gather_needs(request, at)
    groups: dict[str, list[Need]] = {}
    for need in found:
        groups.setdefault(need.group or "other", []).append(need)
    context = {"section": "Today", "groups": groups.items(), "count": len(found), "next_key": next_of(found), "at": at}
    return render(request, "shows/needs.html", context)
