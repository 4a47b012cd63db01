"""Entering a paper list: everything is ticked as printed; untick what was not, and the rest becomes scans."""

import uuid
from typing import Any, cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from company.access import technician_required
from company.clock import now, today
from company.models import Person
from inventory.calc.codes import Read, parse
from shows.calc.words import Action, ShowState
from shows.forms import WhenForm
from shows.models import Show
from shows.picks import picks_for
from shows.progress import PullLine, pull_progress
from shows.services.ticks import CountTicked, ticks_enter

WAYS = {
    Action.OUT: ("Out: the pull list", "Everything the pull list sent out, as printed."),
    Action.TRUCK: ("On the truck: the load-out list", "Everything that was loaded after the show."),
    Action.BACK: ("Back: what came home", "Everything that came home."),
}
MOST_CODES = 500


@technician_required
def ticksheet(request: HttpRequest, pk: int, way: str) -> HttpResponse:
    """Draw the sheet as it would be printed now, or enter it."""
    show, at = get_object_or_404(Show.objects.select_related("venue"), pk=pk), now()
    action = Action(way)
    if show.state == ShowState.CANCELLED and action == Action.OUT:
        messages.error(request, f"{show.name} is cancelled: nothing goes out to it.")
        return redirect(show)
    wrong: list[str] = []
    # empty by default: a wall time has no seconds, and could fall before a scan of the same minute
    when = WhenForm(request.POST if request.method == "POST" else None)
    if request.method == "POST":
        codes, counts, wrong = _read(request, action)
        if not when.is_valid():
            wrong.extend(str(e) for errors in when.errors.values() for e in errors)
        if not wrong and not codes and not counts:
            wrong.append("Nothing is ticked, so nothing was entered.")
        if not wrong:
            return _enter(request, show, action, codes, counts, when)
    lines = pull_progress(show, day=today(at))
    context = {
        "section": "Shows",
        "show": show,
        "way": action.value,
        "title": WAYS[action][0],
        "lede": WAYS[action][1],
        "uid": request.POST.get("uid") or uuid.uuid4(),
        "when": when,
        "wrong": wrong,
        "unticked": _unticked(request),
        "typed": request.POST,
        **_sheet(show, action, lines, today(at)),
    }
    return render(request, "shows/ticksheet.html", context, status=422 if wrong else 200)


def _sheet(show: Show, action: Action, lines: list[PullLine], day: Any) -> dict[str, Any]:
    if action == Action.OUT:
        picks = picks_for(show, lines, day)
        return {
            "items": [{"code": p.item.code, "label": p.item.label, "note": p.place} for p in picks if p.item],
            "counted": [{"line": p.counted.pk, "label": p.counted.label, "count": p.count} for p in picks if p.counted],
            "short": [p for p in picks if p.short],
        }
    states = {"out"} if action == Action.TRUCK else {"out", "truck"}
    items = [
        {"code": i.code, "label": i.label, "note": i.case or ("on the truck" if i.state == "truck" else "")}
        for line in lines
        for i in line.items
        if i.state in states
    ]
    counted = [
        {"line": each.line_id, "label": each.name, "count": each.out}
        for line in lines
        for each in line.counted
        if each.out and action == Action.BACK
    ]
    return {"items": items, "counted": counted, "short": []}


def _unticked(request: HttpRequest) -> set[str]:
    """Return what was listed and not ticked, so that a sheet drawn again keeps what was entered."""
    return set(request.POST.getlist("listed")) - set(request.POST.getlist("code"))


def _read(request: HttpRequest, action: Action) -> tuple[list[str], list[CountTicked], list[str]]:
    wrong: list[str] = []
    codes = request.POST.getlist("code")
    for word in request.POST.get("also", "").replace(",", " ").split()[:MOST_CODES]:
        codes.append(word)
    read: list[str] = []
    for text in codes:
        parsed = parse(text)
        if parsed.read is Read.CODE:
            read.append(parsed.code)
        else:
            wrong.append(f"“{text[:40]}”: {parsed.why or 'That is a card, not a label.'}")
    counts: list[CountTicked] = []
    for name in request.POST:
        if not name.startswith("count-"):
            continue
        line, good = name.removeprefix("count-"), request.POST.get(name, "")
        bad = request.POST.get(f"bad-{line}", "")
        numbers = [text.strip() or "0" for text in (good, bad)]
        if not line.isascii() or not line.isdigit() or len(line) > 15:
            continue
        if not all(n.isascii() and n.isdigit() and len(n) < 7 and int(n) <= 100_000 for n in numbers):
            wrong.append("A count is a whole number, at most 100 000.")
            continue
        came, unfit = (int(n) for n in numbers)
        if unfit > came:
            wrong.append(f"{unfit} bad of {came} that came back cannot be: count both again.")
        elif came:
            counts.append(CountTicked(line=int(line), good=came - unfit, bad=unfit))
    return read, counts, wrong


def _enter(
    request: HttpRequest, show: Show, action: Action, codes: list[str], counts: list[CountTicked], when: WhenForm
) -> HttpResponse:
    at = now()
    try:
        uid = uuid.UUID(request.POST.get("uid", ""))
    except ValueError:
        uid = uuid.uuid4()
    entered = ticks_enter(
        uid=uid,
        show=show,
        action=action,
        codes=codes,
        counts=counts,
        happened_at=when.instant(at, request.company.zone),
        actor=cast(Person, request.user),
        at=at,
    )
    words = {Action.OUT: "out", Action.TRUCK: "on the truck", Action.BACK: "back"}[action]
    total = entered.taken + entered.counted
    messages.success(request, f"{total} entered as {words}, said and not seen.")
    for sentence in entered.looks[:10]:
        messages.warning(request, sentence)
    if len(entered.looks) > 10:
        messages.warning(request, f"And {len(entered.looks) - 10} more like these.")
    return redirect(show)
