"""Shows: the list, one show, adding and changing, and its end."""

import uuid
from datetime import datetime
from typing import Any, cast

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from company.access import owner_required, signed_in, technician_required
from company.clock import now, today
from company.models import Person
from company.plain import in_our_words
from maintenance.bench_needs import ToTest, to_test_for
from maintenance.sheets import MAINS_KINDS
from maintenance.wet import taps_of_show
from shows.calc.lines import LineWay
from shows.calc.times import shifted_weeks
from shows.calc.words import ShowState
from shows.filters import WHEN, ShowFilter
from shows.forms import TIMES, ShowForm, local_wall
from shows.models import Show, Venue
from shows.planning.readiness import Readiness, readiness_of
from shows.progress import Key, PartGood, PullLine, part_good_for, pull_progress, pulls_progress, totals_of
from shows.services.shows import show_add as service_add
from shows.services.shows import show_cancel, show_close, show_delete, show_plan_again
from shows.services.shows import show_edit as service_edit
from shows.shortage import item_rivals, overlapping, shortages_of, unmet

A_PAGE = 50


def _whole(text: str | None, least: int, most: int) -> int:
    return min(most, max(least, int(text))) if text and text.isascii() and text.isdigit() and len(text) < 10 else least


def shows(request: HttpRequest) -> HttpResponse:
    """List shows as a running order of months: now and coming first, past ones newest first."""
    at, when = now(), request.GET.get("when", "")
    found = Show.objects.select_related("venue")
    if when == "past":
        found = found.past_at(at).order_by("-load_in", "-pk")
    elif when == "now":
        found = found.away_at(at)
    elif when == "coming":
        found = found.coming_at(at)
    elif when == "all":
        found = found.order_by("-load_in", "-pk")
    else:
        found = found.filter(home_by__gte=at, state=ShowState.PLANNED)
    narrowed = ShowFilter(request.GET, queryset=found)
    page = _whole(request.GET.get("page"), 1, 100_000)
    listed = list(narrowed.qs[(page - 1) * A_PAGE : page * A_PAGE + 1])
    more, listed = len(listed) > A_PAGE, listed[:A_PAGE]
    progress = pulls_progress(listed, day=today(at))
    rows = [{"show": s, "totals": totals_of(progress[s.pk]), "tense": tense(s, at)} for s in listed]
    return render(
        request,
        "shows/shows.html",
        {
            "section": "Shows",
            "rows": rows,
            "filter": narrowed,
            "when": when,
            "whens": WHEN,
            "page": page,
            "more": more,
            "asked": bool(request.GET.get("q")),
            "any": bool(listed) or Show.objects.exists(),
        },
    )


def tense(show: Show, at: datetime) -> str:
    """Say whether a show is cancelled, closed, coming, on, or over."""
    if show.state != ShowState.PLANNED:
        return show.state
    if at < show.load_in:
        return "coming"
    return "on" if at <= show.strike else "over"


def show(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one show: times, pull list with progress, overlaps, who has what, what is missing."""
    at = now()
    day = today(at)
    found = get_object_or_404(Show.objects.select_related("venue"), pk=pk)
    lines = pull_progress(found, day=day)
    totals, when = totals_of(lines), tense(found, at)
    left = unmet(shortages_of([found]).get(found.pk, {}), lines)
    is_home = when == "on" and totals.back > 0 and not totals.still_out
    rivals = item_rivals(found) if when in {"coming", "on"} else {}
    partly = part_good_for(lines) if when in {"coming", "on"} else {}
    last_time = None
    if found.venue_id:
        before = Show.objects.filter(venue=found.venue_id, load_in__lt=found.load_in).live()
        last_time = before.order_by("-load_in").first()
    on_list = dict(found.lines.order_by().values_list("way").annotate(count=Count("pk")))
    return render(
        request,
        "shows/show.html",
        {
            "section": "Shows",
            "show": found,
            "lines_in": on_list.get(LineWay.IN, 0),
            "lines_out": on_list.get(LineWay.OUT, 0),
            "times": _times(found),
            "tense": when,
            "before": when in {"coming", "on"} and at < found.end and not is_home,
            "late": at > found.home_by,
            "rows": [_row(line, left, rivals, partly) for line in lines if not line.is_extra],
            "extras": [line for line in lines if line.over],
            "totals": totals,
            "lacking": [line for line in lines if line.lacking],
            "still_out": [line for line in lines if line.out],
            "suspect": [i for line in lines for i in line.items if i.standing == "suspect" and i.state != "back"],
            "to_test": _to_test(lines, found) if when in {"coming", "on"} and at < found.end else None,
            "taps": taps_of_show(found.pk, signed_in(request)),
            "wet_counted": [
                (line.counted_out + line.counted_back, line.name) for line in lines if line.counted_out + line.counted_back
            ],
            "wet_mains": any(line.went and line.kind in MAINS_KINDS for line in lines),
            "may_get_wet": when in {"on", "over"} and totals.went > 0,
            "short": [short for short in left.values() if short.short],
            "others": overlapping(found) if when == "coming" else [],
            "last_time": last_time,
            "close_uid": uuid.uuid4(),
            "found": _found(found, at, lines) if when in {"coming", "on"} and at < found.end else None,
        },
    )


def _found(found: Show, at: datetime, lines: list[PullLine]) -> Readiness | None:
    """Look the show over where somebody has planned its lines; else its list says what there is to say."""
    return readiness_of(found, at, progress=lines) if found.lines.exists() else None


def _times(found: Show) -> list[tuple[str, Any, bool]]:
    """Return a show's times as a running order; the strong ones are what a driver asks for."""
    return [
        ("gear held from", found.hold_from, False),
        ("load-in", found.load_in, True),
        ("line check", found.line_check, False),
        ("start", found.start, True),
        ("end", found.end, False),
        ("strike", found.strike, False),
        ("home by", found.home_by, True),
        ("gear held until", found.hold_until, False),
    ]


def _to_test(lines: list[PullLine], found: Show) -> ToTest:
    """Count what it could still take and is not proved by the day it loads in."""
    lacking = [line for line in lines if line.lacking]
    return to_test_for(
        keys=[(line.type_id, line.length_mm) for line in lacking if not line.item_id],
        named=[line.item_id for line in lacking if line.item_id],
        day=today(found.load_in),
    )


def _row(
    line: PullLine, left: dict[Any, Any], rivals: dict[int | None, list[Show]], partly: dict[Key, list[PartGood]]
) -> dict[str, Any]:
    # a named item is short when somebody else names it too, not when its type is
    worst = None if line.item_id else left.get((line.type_id, line.length_mm))
    return {"line": line, "left": worst, "rivals": rivals.get(line.item_id or 0, []), "partly": _partly(line, partly)}


def _partly(line: PullLine, partly: dict[Key, list[PartGood]]) -> list[PartGood]:
    return [] if line.item_id else partly.get((line.type_id, line.length_mm), [])


def _choices() -> dict[str, Any]:
    return {
        "venues": list(Venue.objects.values_list("name", flat=True)[:500]),
        "clients": list(Show.objects.exclude(client="").order_by("client").values_list("client", flat=True).distinct()[:500]),
    }


@owner_required
def show_add(request: HttpRequest) -> HttpResponse:
    """Add a show from five things typed, or from an earlier show moved on by whole weeks."""
    at, zone = now(), request.company.zone
    copy_pk = request.POST.get("copy") or request.GET.get("copy") or ""
    source = Show.objects.select_related("venue").filter(pk=_whole(copy_pk, 0, 10**9)).first() if copy_pk else None
    if request.method == "POST":
        form = ShowForm(request.POST, zone=zone)
        if form.is_valid():
            try:
                with transaction.atomic():
                    made = service_add(**form.save_fields(), at=at, copy_from=source)
            except ValidationError as error:
                form.add_error(None, in_our_words(error).messages)
            else:
                messages.success(request, f"{made.name} is planned. Now say what it wants.")
                return redirect("pull", pk=made.pk)
    else:
        initial: dict[str, Any] = {}
        if source is not None:
            initial = ShowForm.initial_of(source, zone)
            move = shifted_weeks(initial["load_in"], local_wall(at)) - initial["load_in"]
            initial.update({name: initial[name] + move for name in [*TIMES, "hold_from", "hold_until"]})
            initial.update({f"{name}_which": "" for name in TIMES})
        venue = Venue.objects.filter(pk=_whole(request.GET.get("venue"), 0, 10**9)).first() if "venue" in request.GET else None
        form = ShowForm(initial={**initial, **({"venue": venue.name} if venue else {})}, zone=zone)
    earlier = Show.objects.live().order_by("-load_in")[:30]
    context = {"section": "Shows", "form": form, "source": source, "earlier": earlier, **_choices()}
    return render(request, "shows/show_form.html", context)


@owner_required
def show_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change what was planned."""
    zone = request.company.zone
    found = get_object_or_404(Show.objects.select_related("venue"), pk=pk)
    form = ShowForm(request.POST if request.method == "POST" else None, initial=ShowForm.initial_of(found, zone), zone=zone)
    if request.method == "POST" and form.is_valid():
        try:
            with transaction.atomic():
                service_edit(show=found, **form.save_fields())
        except ValidationError as error:
            form.add_error(None, in_our_words(error).messages)
        else:
            messages.success(request, "Saved.")
            return redirect(found)
    return render(request, "shows/show_form.html", {"section": "Shows", "form": form, "show": found, **_choices()})


@owner_required
@require_POST
def show_cancel_it(request: HttpRequest, pk: int) -> HttpResponse:
    """Cancel a show, or say what stands in the way."""
    found = get_object_or_404(Show, pk=pk)
    if show_cancel(show=found):
        out = totals_of(pull_progress(found, day=today(now()))).still_out
        rest = f" {out} are still out to it: scan them back." if out else ""
        messages.success(request, f"{found.name} is cancelled and holds no gear any more.{rest}")
    else:
        messages.warning(request, f"{found.name} was not planned any more; nothing changed.")
    return redirect(found)


@technician_required
@require_POST
def show_close_it(request: HttpRequest, pk: int) -> HttpResponse:
    """Close a show and declare missing what is still out."""
    found, at = get_object_or_404(Show, pk=pk), now()
    if at < found.end:
        messages.error(request, f"{found.name} has not ended yet: close it afterwards, or cancel it.")
        return redirect(found)
    try:
        uid = uuid.UUID(request.POST.get("uid", ""))
    except ValueError:
        uid = uuid.uuid4()
    declared, lost = show_close(show=found, uid=uid, person=cast(Person, request.user), at=at)
    parts = [f"{declared} declared missing" if declared else "", f"{lost} counted off" if lost else ""]
    said = ", ".join(part for part in parts if part) or "everything is home"
    messages.success(request, f"{found.name} is closed: {said}.")
    return redirect(found)


@technician_required
@require_POST
def show_reopen(request: HttpRequest, pk: int) -> HttpResponse:
    """Open a closed or cancelled show again."""
    found = get_object_or_404(Show, pk=pk)
    if found.state == ShowState.CANCELLED and not cast(Person, request.user).is_owner:
        messages.error(request, "An owner cancelled it, so an owner opens it again.")
    elif show_plan_again(show=found):
        messages.success(request, f"{found.name} is open again.")
    return redirect(found)


@owner_required
@require_POST
def show_delete_it(request: HttpRequest, pk: int) -> HttpResponse:
    """Delete a show nothing was ever scanned for."""
    found = get_object_or_404(Show, pk=pk)
    try:
        show_delete(show=found)
    except ValidationError as error:
        messages.error(request, error.messages[0])
        return redirect(found)
    messages.success(request, f"{found.name} is deleted.")
    return redirect("shows")
