"""Which pin goes to which: the wirings we know, one of them, and the form for more."""

from collections import Counter
from typing import Any

from django.contrib import messages
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from company.access import technician_required
from inventory.models.facts import LeadFacts, MulticoreFacts
from maintenance.calc.wirings import WiringError
from maintenance.forms_wirings import WiringForm
from maintenance.models import Wiring
from maintenance.services.wirings import WiringRefused, wiring_delete, wiring_save, wiring_types
from maintenance.wiring_words import drawn, nets_told, read, shown

form_page = require_http_methods(["GET", "HEAD", "POST"])
LONGEST = 80


def wirings(request: HttpRequest) -> HttpResponse:
    """List the wirings with their drawings, and how many gear types use each."""
    words = request.GET.get("q", "")[:LONGEST].strip()
    rows = Wiring.objects.order_by("name")
    if words:
        rows = rows.filter(Q(name__icontains=words) | Q(ends__icontains=words) | Q(notes__icontains=words))
    used: Counter[str] = Counter()
    for facts in (LeadFacts, MulticoreFacts):
        used.update(dict(facts.objects.exclude(wiring="").order_by().values_list("wiring").annotate(Count("pk"))))
    context = {
        "section": "Bench",
        "room": "wirings",
        "all": [shown(row, types=used[row.key]) for row in rows],
        "words": words,
        "none_at_all": not words and not rows,
    }
    return render(request, "maintenance/plan/wirings.html", context)


def wiring(request: HttpRequest, key: str) -> HttpResponse:
    """Draw one wiring: picture, nets, notes, source, and the types that use it."""
    row = get_object_or_404(Wiring, key=key)
    context: dict[str, Any] = {"section": "Bench", "room": "wirings", "row": row}
    try:
        found = read(ends=row.ends, nets=row.nets)
    except WiringError as wrong:
        context["trouble"] = str(wrong)
    else:
        context |= {"drawing": drawn(found), "nets": nets_told(found), "ends": found.ends}
    context["types"] = list(wiring_types(row))
    return render(request, "maintenance/plan/wiring.html", context)


@require_POST
@technician_required
def wiring_delete_it(request: HttpRequest, key: str) -> HttpResponse:
    """Delete a wiring nothing is wired by and no test was held against."""
    row = get_object_or_404(Wiring, key=key)
    try:
        wiring_delete(wiring=row)
    except WiringRefused as refused:
        messages.error(request, str(refused))
        return redirect(row)
    messages.success(request, f"{row} is deleted; nothing was wired by it.")
    return redirect("wirings")


@form_page
@technician_required
def wiring_add_page(request: HttpRequest) -> HttpResponse:
    """Write a new wiring, from nothing or from a copy (`?from=key`)."""
    source = Wiring.objects.filter(key=request.GET.get("from", "")[:40]).first()
    return _form(request, None, source)


@form_page
@technician_required
def wiring_edit_page(request: HttpRequest, key: str) -> HttpResponse:
    """Change a wiring; one that comes with the program is the shop's from then on."""
    return _form(request, get_object_or_404(Wiring, key=key), None)


def _form(request: HttpRequest, row: Wiring | None, source: Wiring | None) -> HttpResponse:
    looking = request.POST.get("do") == "look"
    stored = Wiring.objects.get(pk=row.pk) if row else None  # the form writes what was typed into its own copy
    name = row.name if row else ""
    initial = _copied(source) if source else {}
    form = WiringForm(request.POST if request.method == "POST" else None, instance=row, initial=initial)
    if form.is_bound and form.is_valid() and not looking:
        try:
            kept, types = wiring_save(wiring=stored, **form.cleaned_data)
        except WiringRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
        else:
            messages.success(request, f"{kept} is kept. {_from_now_on(len(types))}")
            return redirect(kept)
    if not form.is_bound and (row or source):
        one = row or source
        given = {"ends": one.ends, "nets": one.nets} if one else {}
        preview = _preview(**given)
    else:
        preview = _preview(ends=form.data.get("ends", ""), nets=form.data.get("nets", ""))
    context = {
        "section": "Bench",
        "room": "wirings",
        "form": form,
        "row": row,
        "name": name,
        "source": source,
        "looking": looking,
        **preview,
    }
    return render(request, "maintenance/plan/wiring_form.html", context, status=422 if form.errors and not looking else 200)


def _from_now_on(types: int) -> str:
    if not types:
        return "Choose it on a gear type's page, under its facts."
    return f"{types} gear type{' is' if types == 1 else 's are'} tested by it from now on."


def _copied(source: Wiring) -> dict[str, Any]:
    return {
        "name": "",
        "ends": source.ends,
        "nets": source.nets,
        "per_channel": source.per_channel,
        "notes": source.notes,
        "source": source.source,
    }


def _preview(*, ends: str, nets: str) -> dict[str, Any]:
    """Return what two texts come to: a drawing with its nets in words, or the sentence about what contradicts."""
    if not (ends.strip() and nets.strip()):
        return {"blank": True}
    try:
        found = read(ends=ends, nets=nets)
    except WiringError as wrong:
        return {"wrong": str(wrong)}
    return {"drawing": drawn(found), "nets": nets_told(found)}
