"""The leads of a show, the spares it takes, and what it must borrow."""

import csv
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from company.access import technician_required
from company.clock import now
from inventory.calc.typed import guard
from inventory.models import GearType
from shows.models import InputLine, Show, StagePlan
from shows.planning.borrowing import borrow_of
from shows.planning.leads import leads_of
from shows.planning.spares import MOST_SHOWN, spares_of

GOALS = (0.9, 0.95, 0.98, 0.99, 0.995, 0.999)


def _show(pk: int) -> Show:
    return get_object_or_404(Show.objects.select_related("venue__house_desk_type"), pk=pk)


@require_safe
def leads(request: HttpRequest, pk: int) -> HttpResponse:
    """Draw which leads make each run, end to end against what it takes."""
    show = _show(pk)
    told = leads_of(show)
    return render(request, "shows/leads.html", {"section": "Shows", "show": show, "told": told, "at": now()})


def spares(request: HttpRequest, pk: int) -> HttpResponse:
    """Show spares against chance; a POST of a technician sets the chance that is wanted."""
    show = _show(pk)
    if request.method == "POST":
        return spares_goal(request, pk)
    told = spares_of(show)
    goals = sorted({*GOALS, told.goal})
    context = {
        "section": "Shows",
        "show": show,
        "told": told,
        "goals": [(f"{goal:g}", f"{goal * 100:g}\u2009%", goal == told.goal) for goal in goals],
        "counts": range(MOST_SHOWN + 1),
        "curve": _curve(told.without, told.steps),
    }
    return render(request, "shows/spares.html", context)


@technician_required
@require_POST
def spares_goal(request: HttpRequest, pk: int) -> HttpResponse:
    """Set the chance of finishing with every line that a show is to have."""
    show = _show(pk)
    try:
        goal = float(request.POST.get("goal", ""))
    except ValueError:
        goal = 0.0
    if not 0.5 <= goal <= 0.9999:
        messages.error(request, "A chance lies between 50 % and 99.99 %.")
        return redirect("spares", show.pk)
    StagePlan.objects.get_or_create(show=show)
    StagePlan.objects.filter(show=show).update(finish_chance=goal)
    return redirect("spares", show.pk)


def _curve(without: float, steps: tuple[tuple[str, float], ...]) -> dict[str, Any]:
    """Return the chance after each spare as a path 100 wide and 60 high."""
    chances = [without, *(chance for _name, chance in steps)]
    low = min(0.9, min(chances)) if chances else 0.0
    across = 100 / max(1, len(chances) - 1)
    points = [(n * across, 60 - 60 * (chance - low) / max(1e-9, 1 - low)) for n, chance in enumerate(chances)]
    path = "".join(f"{'L' if n else 'M'}{x:.2f} {y:.2f}" for n, (x, y) in enumerate(points))
    return {"path": path, "low_words": f"{low:.0%}", "count": len(steps)}


@require_safe
def borrow(request: HttpRequest, pk: int) -> HttpResponse:
    """List what is short, on which day and why, and what would help; as a table with `?as=csv`."""
    show = _show(pk)
    lacking = borrow_of(show)
    if request.GET.get("as") == "csv":
        answer = HttpResponse(content_type="text/csv; charset=utf-8")
        answer["Content-Disposition"] = 'attachment; filename="borrow.csv"'
        writer = csv.writer(answer)
        writer.writerow(["Type", "Length m", "How many", "From", "Until", "Why"])
        for one in lacking:
            row = [one.type.name, f"{one.length_mm / 1000:g}" if one.length_mm else "", one.count]
            writer.writerow([*map(guard, map(str, row)), show.hold_from, show.hold_until, guard(one.why)])
        return answer
    return render(request, "shows/borrow.html", {"section": "Shows", "show": show, "lacking": lacking, "at": now()})


@technician_required
@require_POST
def borrow_swap(request: HttpRequest, pk: int) -> HttpResponse:
    """Take another type on one line, so that what is short is wanted by one less."""
    show = _show(pk)
    keys = [request.POST.get(name, "") for name in ("line", "type")]
    if all(key.isascii() and key.isdigit() and len(key) < 16 for key in keys):
        line = InputLine.objects.filter(show=show, pk=int(keys[0])).first()
        type_ = GearType.objects.filter(pk=int(keys[1])).first()
        if line is not None and type_ is not None:
            line.pickup = type_
            line.save(update_fields=["pickup"])
            messages.success(request, f"{line} takes {type_.name} now. Make the pull list again.")
            return redirect("borrow", show.pk)
    messages.error(request, "That line is not there any more.")
    return redirect("borrow", show.pk)
