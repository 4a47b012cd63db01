"""How one is told: addresses, hours, and a trial of each."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from company.access import signed_in
from company.clock import now
from company.models import Company
from maintenance.calc.alert_words import AddressKind
from maintenance.forms_telling import EmailForm, HoursForm, ServiceForm
from maintenance.models import Address, Telling
from maintenance.sending.outcome import Fate
from maintenance.sending.services import SERVICES
from maintenance.services.addresses import (
    OWN,
    AddressRefused,
    address_add,
    address_drop,
    address_switch,
    email_masked,
    own_addresses_keep,
)
from maintenance.trials import address_try


@require_http_methods(["GET", "POST"])
def telling(request: HttpRequest) -> HttpResponse:
    person = signed_in(request)
    row = Telling.objects.filter(person=person).first() or Telling(person=person)
    form = HoursForm(request.POST or None, instance=row)
    if request.method == "POST" and form.is_valid():
        given = {name: form.cleaned_data[name] for name in HoursForm.Meta.fields}
        Telling.objects.update_or_create(person=person, defaults=given)
        messages.success(request, "Saved.")
        return redirect("telling")
    rows = list(Address.objects.filter(person=person, removed_at=None))
    own = next((one for one in rows if one.service == OWN), None)
    context = {
        "form": form,
        "own": own,
        "own_email": person.email,
        "others": [(one, _name_of(one)) for one in rows if one is not own],
        "services": SERVICES.values(),
        "zone": row.time_zone or Company.current().time_zone,
        "now": now(),
    }
    return render(request, "maintenance/telling/telling.html", context)


@never_cache
@require_http_methods(["GET", "POST"])
def address_new(request: HttpRequest, service: str) -> HttpResponse:
    """Ask for an address of one service; show it once when it was added, and never again."""
    found = SERVICES.get(service)
    if found is None and service != "email":
        raise Http404("That service is not on the list.")
    given = request.POST or None
    form = EmailForm(given) if found is None else ServiceForm(found, given)
    context = {"form": form, "service": found}
    if request.method == "POST" and form.is_valid():
        if isinstance(form, ServiceForm):
            kind, address, shown = AddressKind.APPRISE, form.address, form.masked()
        else:
            kind, address = AddressKind.EMAIL, form.cleaned_data["email"]
            shown = email_masked(address)
        try:
            row = address_add(person=signed_in(request), kind=kind, service=service, address=address, shown=shown, at=now())
        except AddressRefused as refused:
            form.add_error(None, str(refused))
        else:
            answer = render(request, "maintenance/telling/added.html", {"row": row, "service": found, "shown_once": address})
            answer["Cache-Control"] = "no-store"
            return answer
    return render(request, "maintenance/telling/add.html", context)


@require_POST
def address_trial(request: HttpRequest, pk: int) -> HttpResponse:
    address = _mine(request, pk)
    came = address_try(address=address, at=now())
    if isinstance(came, str):
        messages.warning(request, came)
    elif came.fate == Fate.WENT:
        messages.success(request, f"A trial went to {address.shown}. Look whether it arrived.")
    else:
        messages.error(request, f"The trial to {address.shown} did not go. {came.said}")
    return redirect("telling")


@require_POST
def address_change(request: HttpRequest, pk: int) -> HttpResponse:
    """Switch an address on or off, or take it off the list."""
    address = _mine(request, pk)
    do = request.POST.get("do", "")
    if do == "remove" and address.service != OWN:
        address_drop(address=address, at=now())
        messages.success(request, f"{address.shown} is off your list. What was waiting for it is not sent.")
    elif do in {"on", "off"}:
        address_switch(address=address, on=do == "on", at=now())
        messages.success(request, f"{address.shown} is switched {do}.")
    else:
        messages.error(request, "That cannot be done with this address.")
    return redirect("telling")


@require_POST
def own_begin(request: HttpRequest) -> HttpResponse:
    """Bring one's own e-mail on the list at once, so that it can be tried; else it comes there with the first alert."""
    own_addresses_keep(at=now(), only=signed_in(request))
    return redirect("telling")


def _mine(request: HttpRequest, pk: int) -> Address:
    return get_object_or_404(Address, pk=pk, person=signed_in(request), removed_at=None)


def _name_of(address: Address) -> str:
    service = SERVICES.get(address.service)
    return service.name if service else "E-mail"
