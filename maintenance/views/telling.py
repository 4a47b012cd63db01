"""How one is told: addresses, hours, a trial of each; and what could not be told."""

from datetime import timedelta

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from company.access import signed_in, technician_required
from company.clock import now
from maintenance.delivery_log import OUTCOMES, asked_of, days_of, deliveries_of
from maintenance.forms_telling import EmailForm, HoursForm, ServiceForm
from maintenance.models import Address, Delivery, Telling
from maintenance.sending.outcome import Fate
from maintenance.sending.services import SERVICES
from maintenance.services.address_book import (
    EMAIL,
    AddressRefusedError,
    address_add,
    address_remove,
    address_switch,
    address_try,
)
from maintenance.services.addresses import own_addresses_keep
from maintenance.services.outbox import deliveries_again, deliveries_report

PAGE = 50
LOOKED_BACK = timedelta(days=7)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def telling(request: HttpRequest) -> HttpResponse:
    """Show where and when one is told, and keep the hours."""
    person = signed_in(request)
    row = Telling.objects.filter(person=person).first() or Telling(person=person)
    form = HoursForm(request.POST or None, instance=row)
    if request.method == "POST" and form.is_valid():
        given = {name: form.cleaned_data[name] for name in HoursForm.Meta.fields}
        Telling.objects.update_or_create(person=person, defaults=given)
        own_addresses_keep(at=now(), only=person)
        messages.success(request, "Saved.")
        return redirect("telling")
    return _draw(request, form, status=422 if request.method == "POST" else 200)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def address_new(request: HttpRequest, key: str) -> HttpResponse:
    """Ask for an address of one service; show it whole on the answer alone."""
    service = SERVICES.get(key)
    if service is None and key != EMAIL:
        raise Http404("That service is not on the list.")
    given = request.POST if request.method == "POST" else None
    form = EmailForm(given) if service is None else ServiceForm(service, given)
    if request.method == "POST" and form.is_valid():
        try:
            row, text = address_add(person=signed_in(request), service=key, filled=form.cleaned_data, at=now())
        except AddressRefusedError as refused:
            form.add_error(None, str(refused))
        else:
            row_of_hours = Telling.objects.filter(person=row.person_id).first() or Telling(person_id=row.person_id)
            return _draw(request, HoursForm(instance=row_of_hours), shown_once=text, added=row)
    status = 422 if request.method == "POST" else 200
    return render(request, "maintenance/alerts/address.html", {"form": form, "service": service}, status=status)


@require_POST
def address_do(request: HttpRequest, pk: int) -> HttpResponse:
    """Try an address, switch it, or take it away."""
    address = get_object_or_404(Address, pk=pk, person=signed_in(request), removed_at=None)
    what, at = request.POST.get("what", ""), now()
    try:
        if what == "try":
            outcome = address_try(address=address, at=at)
            if outcome.fate is Fate.WENT:
                messages.success(request, f"A trial is on its way to {address.shown}. Look whether it arrives.")
            else:
                messages.error(request, f"The trial to {address.shown} did not go. {outcome.said}")
        elif what in {"on", "off"}:
            address_switch(address=address, on=what == "on", at=at)
            messages.success(request, f"{address.shown} is switched {what}.")
        elif what == "remove":
            address_remove(address=address, at=at)
            messages.success(request, f"{address.shown} is taken away. What still waited for it is not sent.")
        else:
            messages.error(request, "Nothing was changed.")
    except AddressRefusedError as refused:
        messages.warning(request, str(refused))
    return redirect("telling")


@require_safe
@technician_required
def deliveries(request: HttpRequest) -> HttpResponse:
    """Show what was put aside, with its reason, and what is under way; or what is asked for; and the counts of a fortnight."""
    at = now()
    asked = asked_of(request.GET.get("outcome", ""), request.GET.get("person", ""))
    report = deliveries_report(at=at, since=at - LOOKED_BACK)
    context = {
        "report": report,
        "asked": asked,
        "outcomes": OUTCOMES.items(),
        "says": OUTCOMES[asked.outcome],
        "days": days_of(asked, at),
        "page": Paginator(deliveries_of(asked), PAGE).get_page(request.GET.get("page")),
        "section": "Alerts",
        "off": Address.objects.filter(removed_at=None, off_at__isnull=False).select_related("person")[:PAGE],
    }
    return render(request, "maintenance/alerts/deliveries.html", context)


@require_POST
@technician_required
def deliveries_do(request: HttpRequest) -> HttpResponse:
    """Send one, or all, of what was put aside again."""
    which = request.POST.get("which", "")
    rows = Delivery.objects.all()
    if which != "all":
        if not (which.isascii() and which.isdigit() and len(which) <= 18):
            messages.error(request, "Nothing was changed.")
            return redirect("deliveries")
        rows = rows.filter(pk=int(which))
    taken = deliveries_again(deliveries=rows, at=now())
    if taken:
        messages.success(request, f"{taken} {'goes' if taken == 1 else 'go'} out again, within a minute.")
    else:
        messages.warning(request, "Nothing was changed: it went already, or its address is switched off.")
    return redirect("deliveries")


def _draw(
    request: HttpRequest, form: HoursForm, *, shown_once: str = "", added: Address | None = None, status: int = 200
) -> HttpResponse:
    context = {
        "form": form,
        "addresses": Address.objects.filter(person=signed_in(request), removed_at=None),
        "services": SERVICES.values(),
        "shown_once": shown_once,
        "added": added,
    }
    answer = render(request, "maintenance/alerts/telling.html", context, status=status)
    if shown_once:
        answer["Cache-Control"] = "no-store"
    return answer
