"""Which thing goes to which line: worked out over all overlapping shows, changed by hand; and the shelf day by day."""

from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from company.access import signed_in, technician_required
from company.clock import now, today
from company.jobs import job_start
from inventory.calc.codes import Read, parse
from inventory.calc.kinds import KIND_NAMES, Kind
from inventory.models import Item
from shows.models import InputLine, Show
from shows.planning.promises import shows_at_once, told_of
from shows.planning.tides import MOST_DAYS, USUAL_DAYS, tides_of
from shows.services.promises import AT_ONCE, JOB_KIND, promise_by_hand, promises_make

PAGE_TYPES = 60


def _show(pk: int) -> Show:
    return get_object_or_404(Show.objects.select_related("venue__house_desk_type"), pk=pk)


@require_safe
def promised(request: HttpRequest, pk: int) -> HttpResponse:
    """List a show's lines with the thing each has."""
    show = _show(pk)
    told = told_of(show)
    context = {
        "section": "Shows",
        "show": show,
        "told": told,
        "without": [one for one in told if one.promised is None],
        "doubtful": [one for one in told if one.promised is not None and one.promised.doubts],
        "others": shows_at_once(show)[1:],
        "undo": request.GET.get("line", ""),
    }
    return render(request, "shows/promised.html", context)


@technician_required
@require_POST
def promised_make(request: HttpRequest, pk: int) -> HttpResponse:
    """Work it out: here and now for few lines, in the worker with progress for many."""
    show = _show(pk)
    shows = shows_at_once(show)
    lines = InputLine.objects.filter(show__in=shows).count()
    if lines > AT_ONCE or request.POST.get("all"):
        job = job_start(kind=JOB_KIND, title="Who gets what", given={}, person=signed_in(request), at=now(), total=lines)
        return redirect(job.get_absolute_url())
    asked, found = promises_make(shows=shows, at=now())
    said = f"{len(asked.wants)} lines of {len(shows)} show{'s' if len(shows) > 1 else ''} worked out"
    names = {one.pk: one.name for one in shows}
    at_shows = ", ".join(sorted({names[want.show] for want in found.without}))
    without = f"{said}, {len(found.without)} without, at {at_shows}."
    messages.success(request, without if found.without else f"{said}: each has its thing.")
    return redirect("promised", show.pk)


@technician_required
@require_POST
def promised_change(request: HttpRequest, pk: int, line: int) -> HttpResponse:
    """Give a line the thing of a code, or leave it to the program again."""
    show = _show(pk)
    found = get_object_or_404(InputLine.objects.select_related("show"), pk=line, show=show)
    if request.POST.get("do") == "release":
        promise_by_hand(line=found, item=None, at=now())
        messages.success(request, f"Line {found.called} is left to the program.")
        return redirect("promised", show.pk)
    read = parse(request.POST.get("code", "")[:200])
    item = Item.objects.filter(labels__code=read.code).select_related("type").first() if read.read == Read.CODE else None
    if item is None:
        messages.error(request, "No item carries that code.")
    else:
        try:
            promise_by_hand(line=found, item=item, at=now())
            messages.success(request, f"{item.label} goes to line {found.called}.")
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
    return redirect("promised", show.pk)


@require_safe
def shelf_days(request: HttpRequest) -> HttpResponse:
    """Draw what is left on the shelf each day, a line of water a type."""
    start = today()
    try:
        first = date.fromisoformat(request.GET.get("from", ""))
    except ValueError:
        first = start
    if not start - timedelta(days=3_660) <= first <= start + timedelta(days=3_660):
        first = start
    asked = request.GET.get("days", "")
    days = min(MOST_DAYS, max(7, int(asked))) if asked.isascii() and asked.isdigit() and len(asked) < 6 else USUAL_DAYS
    kind = request.GET.get("kind", "") if request.GET.get("kind", "") in set(Kind) else ""
    word = " ".join(request.GET.get("q", "").replace("\x00", "").split())[:80]
    found = tides_of(first=first, days=days, kind=kind, word=word, moving=not request.GET.get("all"))
    last = first + timedelta(days=days - 1)
    context: dict[str, Any] = {
        "section": "Shows",
        "tides": found[:PAGE_TYPES],
        "more": max(0, len(found) - PAGE_TYPES),
        "short": [one for one in found if one.shorts],
        "first": first,
        "last": last,
        "days": days,
        "day_list": [first + timedelta(days=n) for n in range(days)] if days <= 42 else [],
        "axis": [first + timedelta(days=round(n * (days - 1) / 4)) for n in range(5)],
        "kinds": [(one.value, KIND_NAMES[one]) for one in Kind],
        "kind": kind,
        "word": word,
        "all": request.GET.get("all", ""),
        "before": first - timedelta(days=days),
        "after": last + timedelta(days=1),
        "spans": (14, 28, 91, 365),
    }
    return render(request, "shows/shelf_days.html", context)
