"""Gear types with their facts, and what goes with what."""

from typing import Any

from django.contrib import messages
from django.db.models.expressions import RawSQL
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from company.access import owner_required, signed_in, technician_required
from company.clock import today
from inventory.calc.kinds import KIND_NAMES, Kind
from inventory.forms_types import GoesWithForm, TypeForm, facts_form_of
from inventory.gear_page import fact_lines
from inventory.models import CountedLine, GearType, GoesWith, Item
from inventory.search import LONGEST, count_up_to, named
from inventory.services.items import GearRefused
from inventory.services.types import goes_with_add, goes_with_remove, type_add, type_delete, type_edit
from inventory.views.gear import drawn

SHOWN = 50
# counted up to 100 a type: nobody reads more, and a type of 50,000 leads must not slow the list
_OWNED = RawSQL(
    "(SELECT COUNT(*) FROM (SELECT 1 FROM inventory_item i WHERE i.type_id = inventory_geartype.id"
    " AND i.retired_on IS NULL AND i.gone_home_on IS NULL LIMIT 100) AS counted)",
    (),
)


def types(request: HttpRequest) -> HttpResponse:
    """List the gear types by kind."""
    kind = request.GET.get("kind", "")
    text = request.GET.get("q", "")[:LONGEST]
    rows = GearType.objects.annotate(owned=_OWNED)
    if kind in {k.value for k in Kind}:
        rows = rows.filter(kind=kind)
    if text.strip():
        rows = named(rows, text, "name", "notes")
    order = {k.value: rank for rank, k in enumerate(Kind)}
    found = sorted(rows, key=lambda t: (order[t.kind], t.name.lower()))
    groups: dict[str, list[GearType]] = {}
    for type_ in found:
        groups.setdefault(KIND_NAMES[Kind(type_.kind)], []).append(type_)
    context = {
        "section": "Gear",
        "groups": groups,
        "kinds": [(k.value, KIND_NAMES[k]) for k in Kind],
        "kind": kind,
        "words": text,
        "asked": bool(kind or text),
    }
    return render(request, "inventory/types.html", context)


def gear_type(request: HttpRequest, pk: int) -> HttpResponse:
    """Draw one gear type: its facts, what goes with it, and what we own of it."""
    type_ = get_object_or_404(GearType, pk=pk)
    items = Item.objects.owned().filter(type=type_)
    count = count_up_to(items)
    facts = type_.facts
    context = {
        "section": "Gear",
        "type": type_,
        "kind": KIND_NAMES[Kind(type_.kind)],
        "lines": [line for line in fact_lines(type_) if not line.yes],
        "also": [line.name for line in fact_lines(type_) if line.yes],
        "source": getattr(facts, "source", ""),
        "items": drawn(items.described(today()).order_by("length_mm", "name", "code")[:SHOWN]),
        "count": count,
        "more": count > SHOWN,
        "counted": CountedLine.objects.described().filter(type=type_),
        "goes_with": type_.goes_with.select_related("needs"),
        "goes_with_of": type_.goes_with_of.select_related("type"),
        "goes_form": GoesWithForm(company=request.company),
        "may_delete": count == 0,
    }
    return render(request, "inventory/type.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@technician_required
def type_add_page(request: HttpRequest) -> HttpResponse:
    """Add a gear type: first its kind, then its facts."""
    kind = request.POST.get("kind") or request.GET.get("kind", "")
    if kind not in {k.value for k in Kind}:
        return render(
            request, "inventory/type_kind.html", {"section": "Gear", "kinds": [(k.value, KIND_NAMES[k]) for k in Kind]}
        )
    return _type_form(request, Kind(kind), None)


@require_http_methods(["GET", "HEAD", "POST"])
@technician_required
def type_edit_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a gear type and its facts."""
    type_ = get_object_or_404(GearType, pk=pk)
    return _type_form(request, Kind(type_.kind), type_)


def _type_form(request: HttpRequest, kind: Kind, type_: GearType | None) -> HttpResponse:
    given = request.POST if request.method == "POST" else None
    form = TypeForm(given, instance=type_, company=request.company, person=signed_in(request))
    facts_form = facts_form_of(kind)(given, instance=type_.facts if type_ else None, prefix="facts")
    if given is not None and form.is_valid() & facts_form.is_valid():
        fields: dict[str, Any] = {"fields": form.cleaned_data, "facts": facts_form.cleaned_data}
        try:
            kept = type_edit(type=type_, **fields) if type_ else type_add(kind=kind, **fields)
        except GearRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, f"{kept} is kept.")
            return redirect(kept)
    wrong = form.errors or facts_form.errors
    name = GearType.objects.get(pk=type_.pk).name if type_ else ""
    context = {
        "section": "Gear",
        "form": form,
        "facts_form": facts_form,
        "kind": KIND_NAMES[kind],
        "kind_value": kind.value,
        "type": type_,
        "name": name,
    }
    return render(request, "inventory/type_form.html", context, status=422 if wrong else 200)


@require_POST
@technician_required
def goes_with_change(request: HttpRequest, pk: int) -> HttpResponse:
    """Add what goes with a type, or take a line away."""
    type_ = get_object_or_404(GearType, pk=pk)
    gone = request.POST.get("remove", "")
    if gone.isascii() and gone.isdigit() and len(gone) < 16:
        row = GoesWith.objects.filter(pk=int(gone), type=type_).first()
        if row:
            goes_with_remove(row=row)
        return redirect(type_)
    form = GoesWithForm(request.POST, company=request.company)
    if not form.is_valid():
        messages.error(request, " ".join(str(e) for errors in form.errors.values() for e in errors))
        return redirect(type_)
    try:
        goes_with_add(type=type_, **form.cleaned_data)
    except GearRefused as refused:
        messages.error(request, str(refused))
    return redirect(type_)


@require_POST
@owner_required
def type_delete_it(request: HttpRequest, pk: int) -> HttpResponse:
    """Delete a gear type nothing is of."""
    type_ = get_object_or_404(GearType, pk=pk)
    try:
        type_delete(type=type_)
    except GearRefused as refused:
        messages.error(request, str(refused))
        return redirect(type_)
    messages.success(request, f"{type_} is deleted; nothing was of it.")
    return redirect("gear-types")
