"""It rained on us: one tap calls for a test of a thing, of all in a case, of all out to a show; another takes it back."""

from datetime import datetime

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.dateparse import parse_datetime
from django.views.decorators.http import require_POST

from company.access import signed_in
from company.clock import now
from inventory.calc.kinds import Kind
from inventory.models import Item
from inventory.registries import show_names
from maintenance.models import TestCall
from maintenance.querysets import open_calls
from maintenance.registries import out_with
from maintenance.services.calls import CallRefused, calls_record, calls_withdraw
from maintenance.views.keys import possible_show
from maintenance.views.record import item_or_404
from maintenance.wet import held_in


@require_POST
def item_wet(request: HttpRequest, code: str) -> HttpResponse:
    """Note that a thing got wet; of a case, all that lies in it. Anybody may say so."""
    item, at = item_or_404(code), now()
    things = held_in(item) if item.type.kind == Kind.CASE else [item]
    _call(request, things, show=item.custody_show, at=at, nothing="There is nothing in it that needs a test.")
    return redirect("case", code=item.code) if item.type.kind == Kind.CASE else redirect(item)


@require_POST
def show_wet(request: HttpRequest, show: int) -> HttpResponse:
    """Note that it rained on all that is out to a show; once it is over, on all that was out at its end."""
    possible_show(show)
    at = now()
    found = out_with(show, at)
    url = show_names([show]).get(show, ("", ""))[1]
    if found is None or not url:
        raise Http404("There is no such show.")
    _call(request, found, show=show, at=at, nothing="Nothing was out to it, so nothing got wet.")
    return redirect(f"{url}#wet")


@require_POST
def wet_take_back(request: HttpRequest) -> HttpResponse:
    """Take back what one tap said, if one's own, or as a technician: nothing of it got wet."""
    person, instant = signed_in(request), _instant(request.POST.get("at", ""))
    calls = open_calls().filter(at=instant).select_related("item__type") if instant else open_calls().none()
    show, code = request.POST.get("show", ""), request.POST.get("code", "")
    if show.isascii() and show.isdigit() and len(show) < 16:
        calls = calls.filter(show=int(show))
    elif code:
        item = item_or_404(code)
        calls = calls.filter(item__in=held_in(item) if item.type.kind == Kind.CASE else [item])
    else:
        calls = calls.none()
    if not person.is_technician:
        calls = calls.filter(person=person)
    number = calls_withdraw(calls=calls, at=now(), person=person)
    if number:
        messages.success(request, f"Taken back for {number} thing{'' if number == 1 else 's'}: they stand as they stood.")
    else:
        messages.warning(
            request, "There was nothing to take back: it was tested since, taken back already, or somebody else said it."
        )
    if show and not code:
        named = show_names([int(show)]).get(int(show)) if show.isascii() and show.isdigit() and len(show) < 16 else None
        return redirect(f"{named[1]}#wet") if named and named[1] else redirect("start")
    if code:
        item = item_or_404(code)
        return redirect("case", code=item.code) if item.type.kind == Kind.CASE else redirect(item)
    return redirect("start")


def _call(request: HttpRequest, things: list[Item], *, show: int | None, at: datetime, nothing: str) -> None:
    if not things:
        messages.warning(request, nothing)
        return
    try:
        called = calls_record(items=things, why=TestCall.Why.WET, show=show, person=signed_in(request), at=at)
    except CallRefused as refused:
        messages.error(request, str(refused))
        return
    (messages.success if called.calls else messages.warning)(request, called.words)


def _instant(text: str) -> datetime | None:
    try:
        read = parse_datetime(text)
    except ValueError:
        return None
    if read is None or read.tzinfo is None or not 1950 <= read.year <= 9000:  # years 1 and 9999 overflow in another zone
        return None
    return read
