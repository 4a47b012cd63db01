"""How a person is told: hours and addresses; and for technicians what could not be told."""

from datetime import timedelta

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from company.access import signed_in, technician_required
from company.clock import now
from maintenance.calc.alert_words import DeliveryState
from maintenance.forms_telling import AddressForm, HoursForm, service_named
from maintenance.models import Address, Delivery, Telling
from maintenance.sending.outcome import Fate
from maintenance.sending.services import SERVICES
from maintenance.services.address_book import (
    AddressRefusedError,
    address_add,
    address_remove,
    address_switch,
    address_try,
)
from maintenance.services.addresses import own_addresses_keep
from maintenance.services.outbox import deliveries_again, deliveries_report

LATELY = timedelta(days=7)
SHOWN = 100


@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def telling(request: HttpRequest) -> HttpResponse:
    """Show where and when this person is told; keep the hours."""
    person = signed_in(request)
    row = Telling.objects.filter(person=person.pk).first() or Telling(person=person)
    form = HoursForm(request.POST or None, telling=row)
    if request.method == "POST" and form.is_valid():
        Telling.objects.update_or_create(person=person, defaults=form.cleaned_data)
        own_addresses_keep(at=now(), only=person)
        messages.success(request, "Saved.")
        return redirect("telling")
    return _draw(request, form=form, status=422 if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def address_new(request: HttpRequest, key: str) -> HttpResponse:
    """Add an address; its full text is shown on this answer alone."""
    named = service_named(key)
    if named is None:
        raise Http404
    form = AddressForm(request.POST or None, service=named[1])
    if request.method == "POST" and form.is_valid():
        try:
            row, text = address_add(person=signed_in(request), service=key, filled=form.cleaned_data, at=now())
        except AddressRefusedError as error:
            form.add_error(None, str(error))
        else:
            return _draw(request, shown_once=text, added=row)
    context = {"form": form, "service": named[1], "section": "Alerts"}
    return render(request, "maintenance/alerts/address.html", context, status=422 if form.errors else 200)


@require_POST
def address_do(request: HttpRequest, pk: int) -> HttpResponse:
    """Try an address, take it away, switch it off or on."""
    person, at = signed_in(request), now()
    if pk >= 2**63:
        raise Http404
    row = get_object_or_404(Address, pk=pk, person=person.pk, removed_at=None)
    what = request.POST.get("what", "")
    try:
        if what == "try":
            outcome = address_try(address=row, at=at)
            if outcome.fate is Fate.WENT:
                messages.success(request, f"A trial is on its way to {row.shown}. It should be there in a moment.")
            else:
                messages.error(request, outcome.said)
        elif what == "remove":
            address_remove(address=row, at=at)
            messages.success(request, f"{row.shown} is taken away.")
        elif what in {"on", "off"}:
            address_switch(address=row, on=what == "on", at=at)
            messages.success(request, f"{row.shown} is switched {what}.")
        else:
            messages.error(request, "The page asked for something this program does not know. Nothing was changed.")
    except AddressRefusedError as error:
        messages.warning(request, str(error))
    return redirect("telling")


@require_safe
@technician_required
def deliveries(request: HttpRequest) -> HttpResponse:
    """Show what is under way, what was put aside and why, and how the last week went."""
    at = now()
    rows = Delivery.objects.select_related("alert", "digest", "address__person")
    context = {
        "report": deliveries_report(at=at, since=at - LATELY),
        "aside": rows.filter(state=DeliveryState.ASIDE).order_by("-made_at", "-pk")[:SHOWN],
        "waiting": rows.filter(state__in=[DeliveryState.WAITING, DeliveryState.SENDING]).order_by("not_before", "pk")[:SHOWN],
        "off": Address.objects.filter(removed_at=None, off_at__isnull=False).select_related("person")[:SHOWN],
        "section": "Alerts",
    }
    return render(request, "maintenance/alerts/deliveries.html", context)


@require_POST
@technician_required
def deliveries_do(request: HttpRequest) -> HttpResponse:
    """Take what was put aside back into the outbox: one of them, or all."""
    which, at = request.POST.get("which", ""), now()
    rows = Delivery.objects.filter(state=DeliveryState.ASIDE)
    if which != "all":
        if not (which.isascii() and which.isdigit() and len(which) < 19):
            messages.error(request, "The page asked for something this program does not know. Nothing was changed.")
            return redirect("deliveries")
        rows = rows.filter(pk=int(which))
    taken = deliveries_again(deliveries=rows, at=at)
    if taken:
        messages.success(request, f"{taken} back in the outbox.")
    else:
        messages.warning(request, "Nothing was taken back: an address that is switched off must be switched on first.")
    return redirect("deliveries")


def _draw(
    request: HttpRequest, form: HoursForm | None = None, shown_once: str = "", added: Address | None = None, status: int = 200
) -> HttpResponse:
    person = signed_in(request)
    row = Telling.objects.filter(person=person.pk).first() or Telling(person=person)
    context = {
        "form": form or HoursForm(telling=row),
        "addresses": Address.objects.filter(person=person.pk, removed_at=None),
        "services": SERVICES.values(),
        "shown_once": shown_once,
        "added": added,
        "section": "Alerts",
    }
    return render(request, "maintenance/alerts/telling.html", context, status=status)
