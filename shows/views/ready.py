"""Pages from the plan to the truck: making the pull list, what went unplanned before, and whether a show is ready."""

from itertools import groupby

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from company.access import signed_in, technician_required
from company.clock import now
from shows.models import InputLine, NotProposed, Show, StagePlan
from shows.planning.extras import Extra, extras_of
from shows.planning.making import Making, making_of
from shows.planning.readiness import SAFETY, readiness_of
from shows.services.pull import row_add, row_bring_back
from shows.services.pull_made import beyond_cut, pull_make, pull_unmake
from shows.views.pull import removed_at, said_of

GROUPS = {
    "lines": "lines",
    "phantom": "phantom",
    "supplies": "supplies",
    "stage": "stage",
    "short": "short",
    "things": "things on the list",
    "cells": "cells",
    "list": "pull list",
    "packing": "still in the shop",
}


def _show(pk: int) -> Show:
    return get_object_or_404(Show.objects.select_related("venue__house_desk_type"), pk=pk)


@technician_required
def make_pull(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what making the pull list would do; POST does it, takes the last making back, brings a left-out row back,
    or cuts a rig's row to what the lines ask for."""
    show = _show(pk)
    if request.method == "POST":
        return _make(request, show)
    return _draw(request, show)


def _draw(request: HttpRequest, show: Show, *, wrong: str = "") -> HttpResponse:
    plan = StagePlan.objects.filter(show=show).first()
    context = {
        "section": "Shows",
        "show": show,
        "made": making_of(show),
        "plan": plan,
        "has_lines": InputLine.objects.filter(show=show).exists(),
        "extras": extras_of(show),
        "wrong": wrong,
    }
    return render(request, "shows/make_pull.html", context, status=422 if wrong else 200)


def _make(request: HttpRequest, show: Show) -> HttpResponse:
    do = request.POST.get("do", "make")
    try:
        if do == "undo":
            undone, left = pull_unmake(show=show, at=now())
            kept = f" {left} changed since by hand stay." if left else ""
            messages.success(request, f"Taken back: {undone} row{'' if undone == 1 else 's'} are as they were.{kept}")
        elif do == "bring-back":
            row_bring_back(show=show, made=request.POST.get("key", "")[:60])
        elif do == "cut":
            return _cut(request, show)
        else:
            made = pull_make(show=show, person=signed_in(request), at=now())
            messages.success(request, _said(made))
    except ValidationError as error:
        return _draw(request, show, wrong=said_of(error))
    return redirect("make-pull", pk=show.pk)


def _cut(request: HttpRequest, show: Show) -> HttpResponse:
    asked = request.POST.get("key", "")
    cut = beyond_cut(show=show, row_id=int(asked)) if asked.isascii() and asked.isdigit() and len(asked) < 10 else None
    if cut is None:
        messages.info(request, "That row has no more than the lines ask for by now.")
        return redirect("make-pull", pk=show.pk)
    row, kept = cut
    if kept is not None:
        return redirect(removed_at(show, kept, f"{row.count} {row.type.name}"))
    messages.success(request, f"{row.count} {row.type.name} {'stays' if row.count == 1 else 'stay'} on the list.")
    return redirect("make-pull", pk=show.pk)


def _said(made: Making) -> str:
    if made.nothing:
        return "Nothing to do: the list says what the plan asks for."
    done = ((len(made.added), "added"), (len(made.changed), "changed"), (len(made.removed), "removed"))
    said = ", ".join(f"{count} {word}" for count, word in done if count)
    return f"Made: {said}{f', {len(made.kept)} left as a person wants them' if made.kept else ''}."


@technician_required
@require_POST
def extra(request: HttpRequest, pk: int) -> HttpResponse:
    """Add what went unplanned before, leave it out this time, or propose it never again."""
    show = _show(pk)
    key, do = request.POST.get("key", ""), request.POST.get("do", "add")
    found = next((one for one in extras_of(show) if one.key == key), None)
    if found is None:
        messages.info(request, "That is on the list by now, or proposed no more.")
    elif do == "never":
        NotProposed.objects.get_or_create(type=found.type, length_mm=found.length_mm, defaults={"person": signed_in(request)})
        messages.success(request, f"{found.type.name} is not proposed again.")
    else:
        _add_extra(request, show, found)
    return redirect("make-pull", pk=show.pk)


@transaction.atomic
def _add_extra(request: HttpRequest, show: Show, found: Extra) -> None:
    try:
        row_add(show=show, type=found.type, length_mm=found.length_mm, count=found.count, reason=found.reason[:200])
    except ValidationError as error:
        messages.error(request, said_of(error))
    else:
        messages.success(request, f"{found.count} {found.type.name} added.")


def readiness(request: HttpRequest, pk: int) -> HttpResponse:
    """Show why a show is not ready, the grave first, or calmly what was looked at."""
    show, at = _show(pk), now()
    found = readiness_of(show, at)
    order = list(GROUPS)
    plain = sorted(found.plain, key=lambda one: order.index(one.group))
    context = {
        "section": "Shows",
        "show": show,
        "found": found,
        "over": show.end <= at,
        "groups": [(GROUPS[name], list(ones)) for name, ones in groupby(plain, key=lambda one: one.group)],
        "safety": SAFETY,
        "at": at,
    }
    return render(request, "shows/readiness.html", context)
