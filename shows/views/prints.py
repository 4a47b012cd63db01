"""Paper: the pull list with tick boxes in the order of the walk, the load-out list, and what is missing."""

from collections import defaultdict

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from company.clock import now, today
from shows.missing import missing_at
from shows.models import Show
from shows.picks import picks_for, stops_of, told_apart
from shows.progress import PulledItem, PullLine, pull_progress, totals_of
from shows.shortage import shortages_of


def pull_print(request: HttpRequest, pk: int) -> HttpResponse:
    """Print what is still to be pulled, by shelf and case in walk order, and what is packed already."""
    show, at = get_object_or_404(Show.objects.select_related("venue"), pk=pk), now()
    lines = pull_progress(show, day=today(at))
    left = shortages_of([show]).get(show.pk, {})
    picks = told_apart(picks_for(show, lines, today(at)), left)
    context = {
        "section": "Shows",
        "show": show,
        "at": at,
        "stops": stops_of(picks),
        "packed": [line for line in lines if line.out],
        "totals": totals_of(lines),
    }
    return render(request, "shows/print_pull.html", context)


def load_out_print(request: HttpRequest, pk: int) -> HttpResponse:
    """Print everything that must leave the room, case by case, for the check before the doors close."""
    show, at = get_object_or_404(Show.objects.select_related("venue"), pk=pk), now()
    lines = pull_progress(show, day=today(at))
    cases: dict[str, list[tuple[PullLine, PulledItem]]] = defaultdict(list)
    for line in lines:
        for item in line.items:
            if item.state in {"out", "truck"}:
                cases[item.case or "Loose"].append((line, item))
    context = {
        "section": "Shows",
        "show": show,
        "at": at,
        "cases": sorted(cases.items(), key=lambda pair: (pair[0] == "Loose", pair[0])),
        "counted": [line for line in lines if line.counted_out],
        "totals": totals_of(lines),
    }
    return render(request, "shows/print_load_out.html", context)


def missing_print(request: HttpRequest) -> HttpResponse:
    """Print what is not home, show by show."""
    at = now()
    return render(request, "shows/print_missing.html", {"section": "Shows", "groups": missing_at(at), "at": at})
