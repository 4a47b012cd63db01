"""What the bench can measure, and what its readings are held against."""

from datetime import date
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from company.access import technician_required
from company.calc.countries import first_guesses
from company.clock import now, today
from company.templatetags.tape import day as day_words
from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.calc.bench import Capability
from maintenance.calc.instruments import ABILITIES, promised
from maintenance.calc.limit_examples import examples
from maintenance.forms_limits import InstrumentsForm, LimitsForm
from maintenance.models import BenchSettings
from maintenance.services.bench_settings import capabilities_say, limits_change

form_page = require_http_methods(["GET", "HEAD", "POST"])
MOST = 100


@form_page
@technician_required
def limits(request: HttpRequest) -> HttpResponse:
    """Show and change the limits; `do=look` works the examples out anew and keeps nothing."""
    settings = BenchSettings.current()
    form = LimitsForm(request.POST if request.method == "POST" else None, instance=settings)
    looking = request.POST.get("do") == "look"
    good = form.is_bound and form.is_valid()
    if good and not looking:
        # the form has written into its own copy; the service compares with what is on record
        changed = limits_change(fields=form.cleaned_data)
        said = {0: "Nothing was changed.", 1: "One figure is changed."}.get(
            len(changed), f"{len(changed)} figures are changed."
        )
        messages.success(request, said + (" Tests from now on are held against it." if changed else ""))
        return redirect("bench-limits")
    shown = settings if not form.is_bound or good else BenchSettings.current()
    worked, country = _examples(shown), first_guesses(request.company.country)
    context = {
        "section": "Bench",
        "room": "limits",
        "form": form,
        "groups": [(group, fields, worked.get(group.key, "")) for group, fields in form.groups],
        "looking": looking and good,
        "country": country.name if country else "a country of its own",
    }
    return render(request, "maintenance/plan/limits.html", context, status=422 if form.errors else 200)


def _examples(settings: BenchSettings) -> dict[str, str]:
    return examples(limits=settings.limits(), sees=settings.sensitivity(), sees_show=settings.sees_show)


@form_page
@technician_required
def instruments(request: HttpRequest) -> HttpResponse:
    """Ask once what the shop can measure; what it owns is proposed, and nothing else is asked for afterwards."""
    at = now()
    day = today(at)
    settings = BenchSettings.current()
    owned = list(
        Item.objects.owned()
        .filter(type__kind=Kind.INSTRUMENT)
        .select_related("type__instrument_facts")
        .order_by("type__name", "name", "code")[:MOST]
    )
    proposed = frozenset().union(*(_promised(item) for item in owned))
    form = InstrumentsForm(request.POST if request.method == "POST" else None)
    if form.is_bound and form.is_valid():
        chosen = form.cleaned_data["measures"]
        capabilities_say(measures=chosen, at=at)
        messages.success(request, _said(len(chosen)))
        return redirect("bench-instruments")
    ticked = _ticked(form, settings, proposed)
    context = {
        "section": "Bench",
        "room": "instruments",
        "form": form,
        "abilities": [(ability, ability.capability in ticked, ability.capability in proposed) for ability in ABILITIES],
        "owned": [_owned(item, day) for item in owned],
        "asked_at": settings.asked_at,
        "unsaid": [a.name for a in ABILITIES if settings.asked_at and a.capability in proposed - ticked],
    }
    return render(request, "maintenance/plan/instruments.html", context, status=422 if form.errors else 200)


def _ticked(form: InstrumentsForm, settings: BenchSettings, proposed: frozenset[Capability]) -> frozenset[Capability]:
    if form.is_bound:
        return frozenset(Capability(value) for value in form.data.getlist("measures") if value in set(Capability))  # type: ignore[union-attr]
    return settings.capabilities() if settings.asked_at else proposed


def _promised(item: Item) -> frozenset[Capability]:
    facts: Any = item.type.facts
    return promised(facts.measures) if facts else frozenset()


def _owned(item: Item, day: date) -> dict[str, Any]:
    """Say of an instrument what it measures and how its own calibration stands."""
    due = item.calibration_due_on
    if due is None:
        calibrated = f"Calibrated {day_words(item.calibrated_on)}." if item.calibrated_on else "No calibration on record."
    elif due < day:
        late = (day - due).days
        calibrated = f"Its calibration ran out {day_words(due)}, {late} day{'' if late == 1 else 's'} ago."
    else:
        calibrated = f"Calibration holds until {day_words(due)}."
    facts: Any = item.type.facts
    return {
        "item": item,
        "measures": facts.measures if facts else "",
        "calibrated": calibrated,
        "late": due is not None and due < day,
        "suspect": item.suspect_since is not None,
    }


def _said(count: int) -> str:
    if not count:
        return "Noted: the shop measures nothing. The bench then takes a person's word alone."
    return "Noted. The bench asks for nothing else from now on."
