"""A show's swap list: seen, worked by scanning each device, printed for the truck, kept as forecasts."""

import uuid as uuids
from datetime import datetime
from math import isfinite
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from company.access import signed_in, technician_required
from company.clock import now
from inventory.calc.codes import Read, parse
from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.cell_needs import Listed, Row, listed
from maintenance.cells_back import told
from maintenance.services.cell_forecasts import swap_list_freeze
from maintenance.services.cells import CellRefused
from maintenance.services.swap_list import How, device_keep, device_swap, step_undo, thing_charge
from maintenance.swap_page import in_hand, page_context, part_used
from maintenance.views.keys import possible_show

PARTS = {"now": "now", "list": "list", "count": "count", "carry": "carry-part"}  # template: where it is drawn


@require_safe
def swap_list(request: HttpRequest, show: int) -> HttpResponse:
    """Draw a show's swap list, with the device in hand when one was scanned (`on`)."""
    possible_show(show)
    at = now()
    found = _found(show, at)
    item = _item(request.GET.get("on", ""))
    return render(request, "maintenance/swaps/list.html", _context(request, found, at, item))


@require_safe
def swap_print(request: HttpRequest, show: int) -> HttpResponse:
    """Print the list for the truck: by place, with boxes to tick."""
    possible_show(show)
    at = now()
    found = _found(show, at)
    context = _context(request, found, at, None)
    context["places"] = _places(found)
    return render(request, "maintenance/swaps/print.html", context)


@require_POST
def swap_scan(request: HttpRequest, show: int) -> HttpResponse:
    """Take a scan: a device comes into hand, a thing of the charge list is ticked, a labelled set goes into what is in hand."""
    possible_show(show)
    at = now()
    found, text = _found(show, at), request.POST.get("scan", "")[:200]
    item, before = _item(text), _item(request.POST.get("on", ""))
    if item is None:
        if not text.strip():
            return _answer(request, show, at, before, say="Scan a device, or type its code.", sound="look")
        wrong = "Nothing has this label yet." if parse(text).read is Read.CODE else "That is no label of ours."
        return _answer(request, show, at, before, say=f"{wrong} Scan the device’s own label.", sound="stop")
    rows = found.rows_of(item.pk)
    if item.type.kind == Kind.CELL_SET and before is not None and before.pk != item.pk and not rows:
        return _done(request, show, at, before, lambda: _swap(request, found, before, at, cell_set=item))
    if not rows:
        return _answer(request, show, at, item, say=f"{item} needs nothing for {found.needs.name}.", sound="look")
    charge = next((row for row in rows if row.to_do and row.charge is not None), None)
    if charge is not None and charge.charge is not None:
        thing = charge.charge
        return _done(request, show, at, item, lambda: [_charged(request, found, thing, at)])
    first = rows[0]
    done = next((row.done for row in rows if row.done is not None), None)
    if done is not None:
        who = f" by {done.who}" if done.who else ""
        return _answer(request, show, at, item, say=f"{item}: {done.word} already{who}.", sound="look")
    return _answer(
        request, show, at, item, say=f"{item}: {first.advised.why}", sound="fine" if first.to_do else "look", quiet=True
    )


@require_POST
def swap_do(request: HttpRequest, show: int) -> HttpResponse:
    """Do one thing to the device in hand: swap (died, leaked), keep as read, charge; or take one back."""
    possible_show(show)
    at = now()
    found, item = _found(show, at), _item(request.POST.get("code", ""))
    do = request.POST.get("do", "")
    if do == "undo":
        uid = _uuid(request.POST.get("uid"))
        return _done(
            request, show, at, None, lambda: [step_undo(uid=uid, show=show, person=signed_in(request), at=at)], sound="undo"
        )
    if item is None:
        return _answer(request, show, at, None, say="Scan the device first.", sound="stop")
    if do == "charge":
        return _done(request, show, at, item, lambda: [_charged(request, found, item, at)])
    if do == "keep":
        return _done(request, show, at, item, lambda: _keep(request, found, item, at))
    if do == "usual":
        return _done(request, show, at, item, lambda: _swap(request, found, item, at, usual=True))
    if do in set(How):
        return _done(request, show, at, item, lambda: _swap(request, found, item, at, how=How(do)))
    return _answer(request, show, at, item, say="Nothing was chosen, so nothing was written.", sound="look")


@technician_required
@require_POST
def swap_freeze(request: HttpRequest, show: int) -> HttpResponse:
    """Keep what the list says now, so that what comes of it can be held against it."""
    possible_show(show)
    at = now()
    _found(show, at)
    number = swap_list_freeze(show=show, at=at, person=signed_in(request))
    if number:
        messages.success(
            request, f"Kept for {number} {'device' if number == 1 else 'devices'}: the show will tell what came true."
        )
    else:
        messages.warning(request, "Nothing is new since it was last kept, so nothing was stored.")
    return redirect("swap-list", show=show)


def _found(show: int, at: datetime) -> Listed:
    found = listed(show, at)
    if found is None:
        raise Http404("There is no such show, or it was cancelled.")
    return found


def _item(text: str) -> Item | None:
    read = parse(text[:200])
    if read.read is not Read.CODE:
        return None
    return Item.objects.select_related("type__cell_set_facts").filter(code=read.code).first() or (
        Item.objects.select_related("type").filter(labels__code=read.code).first()
    )


def _uuid(text: str | None) -> uuids.UUID:
    try:
        return uuids.UUID(text or "")
    except ValueError:
        return uuids.uuid4()


def _volts(request: HttpRequest) -> float | None:
    text = request.POST.get("volts", "").strip().replace(",", ".").rstrip("vV").strip()
    if not text:
        return None
    try:
        volts = float(text)
    except ValueError:
        raise CellRefused("A reading is a number of volts, such as 8.4.", "volts") from None
    if not isfinite(volts) or volts < 0:
        raise CellRefused("A reading lies between 0 and 60 V.", "volts")
    if volts > 60:
        raise CellRefused("A reading lies between 0 and 60 V: was it typed in millivolts?", "volts")
    return volts


def _taps(found: Listed, item: Item) -> list[Row]:
    """Return the bays a tap is about: those that want it, else all of the device."""
    rows = [row for row in found.rows_of(item.pk) if row.state is not None and row.item is not None and row.item.pk == item.pk]
    wanted = [row for row in rows if row.to_do] or rows
    if not wanted:
        raise CellRefused(f"{item} runs on no cells at {found.needs.name}.", "code")
    return wanted


def _bays(found: Listed, item: Item) -> list[Any]:
    return [row.state for row in _taps(found, item)]


def _swap(  # type: ignore[no-untyped-def]
    request: HttpRequest,
    found: Listed,
    item: Item,
    at: datetime,
    *,
    how: How = How.SWAP,
    cell_set: Item | None = None,
    usual: bool = False,
):
    """Fit what is advised, or what is usual where that was tapped (`usual`); a set that was scanned goes before both."""
    rows, taps = found.rows_of(item.pk), _taps(found, item)
    bays = [row.state if usual else row.tap for row in taps]
    pool = part_used(found, [row.state for row in taps]) if how is How.POOL else None
    if how is How.POOL and pool is None:
        raise CellRefused("There are no part-used cells for this: take fresh ones.", "lot")
    if cell_set is None and pool is None and not usual and len(taps) == 1:
        cell_set = taps[0].cell_set
    return device_swap(
        uid=_uuid(request.POST.get("uid")),
        bays=[state for state in bays if state is not None],
        pool=pool,
        how=how,
        show=found.needs.key,
        person=signed_in(request),
        at=at,
        out_volts=_volts(request),
        cell_set=cell_set,
        policy=any(r.rule == "fresh every show" for row in rows for r in row.advised.device.rulings),
        anyway=request.POST.get("anyway") == "yes",
    )


def _keep(request: HttpRequest, found: Listed, item: Item, at: datetime) -> list[str]:
    volts = _volts(request)
    if volts is None:
        raise CellRefused("Say what it reads, in volts: then it is kept or not by that.", "volts")
    load_ohm, minutes_off = _read_on(request)
    return device_keep(
        uid=_uuid(request.POST.get("uid")),
        bays=_bays(found, item),
        volts=volts,
        load_ohm=load_ohm,
        minutes_off=minutes_off,
        anyway=request.POST.get("anyway") == "yes",
        show=found.needs.key,
        person=signed_in(request),
        at=at,
    )


def _read_on(request: HttpRequest) -> tuple[float | None, float | None]:
    """Return (load in ohm, minutes off) of what was read; CellRefused where nobody said what it was read on."""
    how = request.POST.get("load", "")
    if how == "on":
        return None, 0.0
    if how == "none":
        return None, None
    if how != "test":
        raise CellRefused("Say what it was read on: in the device, on a test load, or on nothing.", "load")
    text = request.POST.get("load_ohm", "").strip().replace(",", ".")
    try:
        return float(text), None
    except ValueError:
        raise CellRefused("Say how many ohms the test load has.", "load_ohm") from None


def _charged(request: HttpRequest, found: Listed, item: Item, at: datetime) -> str:
    uid = _uuid(request.POST.get("uid"))
    return thing_charge(uid=uid, item=item, show=found.needs.key, person=signed_in(request), at=at)


def _done(request: HttpRequest, show: int, at: datetime, item: Item | None, act: Any, *, sound: str = "fine") -> HttpResponse:
    """Do it and answer what was done; what is refused is said over what was typed, with the way to insist if there is one."""
    try:
        words = act()
    except CellRefused as refused:
        return _answer(request, show, at, item, say=str(refused), sound="stop", refused=refused)
    return _answer(request, show, at, item, say=" ".join(words), sound=sound, after=True)


def _answer(
    request: HttpRequest,
    show: int,
    at: datetime,
    item: Item | None,
    *,
    say: str,
    sound: str,
    quiet: bool = False,
    after: bool = False,
    refused: CellRefused | None = None,
) -> HttpResponse:
    """Answer with parts of the page for the script, else with the page at an address that can be loaded again."""
    asked = {"on": item.code} if item is not None else {}
    url = f"{reverse('swap-list', args=[show])}{'?' if asked else ''}{urlencode(asked)}"
    scripted = request.headers.get("X-Fragments") == "swaps"
    if refused is None and not scripted:
        if not quiet:
            level = messages.ERROR if sound == "stop" else messages.WARNING if sound == "look" else messages.SUCCESS
            messages.add_message(request, level, say)
        return redirect(f"{url}#now" if item is not None else url)
    found = _found(show, at)
    context = _context(request, found, at, item)
    context["said"] = "" if quiet else say
    context["sound"] = sound
    if refused is not None:
        context |= {
            "wrong": str(refused),
            "wrong_field": refused.field,
            "insist": request.POST.get("do", "swap") if refused.anyway else "",
            "typed": request.POST.get("volts", "")[:20],
            "typed_load": request.POST.get("load", "")[:8],
            "typed_ohm": request.POST.get("load_ohm", "")[:12],
            "said": "",
        }
    if not scripted:
        return render(request, "maintenance/swaps/list.html", context, status=422)
    parts = {where: render_to_string(f"maintenance/swaps/_{part}.html", context, request) for part, where in PARTS.items()}
    on = item.code if item is not None else ""
    return JsonResponse({"parts": parts, "say": say, "sound": sound, "url": url, "on": on})


def _context(request: HttpRequest, found: Listed, at: datetime, item: Item | None) -> dict[str, Any]:
    person = signed_in(request)
    return {
        "section": "Shows",
        "hand": in_hand(found, item),
        "uid": uuids.uuid4(),
        **page_context(found, at=at, owner=person.is_owner),
    }


def _places(found: Listed) -> list[tuple[str, list[Any]]]:
    """Group what is to do by where it lies, in the order of the walk."""
    places: dict[tuple[int, str], list[Any]] = {}
    for row in found.rows:
        if row.item is None or row.advised.advice == "nothing" or row.done is not None:
            continue
        case = row.item.in_case
        home = case.home if case is not None and case.home is not None else row.item.home
        name = ", ".join(str(part) for part in (case.label if case else "", home.name if home else "") if part)
        places.setdefault((home.rank if home else 1_000_000, name or "No place of its own"), []).append(row)
    return [(name, rows) for (_rank, name), rows in sorted(places.items(), key=lambda pair: pair[0])]


@require_POST
def cells_back(request: HttpRequest) -> HttpResponse:
    """Note of what came back that it was not used, or that a lead was left in it; asked by the dock and by its own page."""
    at, item = now(), _item(request.POST.get("code", ""))
    if item is None:
        raise Http404("The record knows no such thing.")
    level, status = messages.SUCCESS, 200
    try:
        said = told(
            uid=_uuid(request.POST.get("uid")),
            item=item,
            do=request.POST.get("do", ""),
            hours=_hours(request.POST.get("hours", "")),
            person=signed_in(request),
            at=at,
        )
    except CellRefused as refused:
        said, level, status = str(refused), messages.ERROR, 422
    if "application/json" in request.headers.get("Accept", ""):
        return JsonResponse({"said": said}, status=status)
    messages.add_message(request, level, said)
    return redirect("dock") if request.POST.get("from") == "dock" else redirect(item)


def _hours(text: str) -> float | None:
    text = text.strip().replace(",", ".").rstrip("h").strip()
    if not text:
        return None
    try:
        hours = float(text)
    except ValueError:
        raise CellRefused("Hours are a number, such as 11 or 0.5.", "hours") from None
    if not 0 < hours <= 1600:
        raise CellRefused("Say how long it was on: between a minute and 1600 hours.", "hours")
    return hours
