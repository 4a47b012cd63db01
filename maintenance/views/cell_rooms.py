"""Rooms of the cells: types with their curves, labelled sets, plans of gear types, and whether the forecasts were right."""

import uuid
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from company.access import signed_in, technician_required
from company.clock import now, today
from inventory.calc.kinds import Kind
from inventory.forms_shelf import form_uid
from inventory.models import GearType
from maintenance.calc.cell_plots import capacity_plot, curve_plot
from maintenance.cell_plans import plan_rows, plan_words
from maintenance.cell_score import PLAIN, cell_record, persistently_off_ones, saved_lately, score_words
from maintenance.cell_sets import set_rows
from maintenance.forms_cell_stock import CapacityForm, CellTypeForm, PlanForm, unit_of
from maintenance.models import CellType
from maintenance.services.cell_night import cells_reckon
from maintenance.services.cells import CellRefused, capacity_test_record, cell_type_save, plan_changed, plan_of, plan_save
from maintenance.views.forecasts import TOO_FEW
from maintenance.views.record import item_or_404

form_page = require_http_methods(["GET", "HEAD", "POST"])


@require_safe
def cell_types(request: HttpRequest) -> HttpResponse:
    """List the types of cells by size."""
    sizes: dict[str, list[CellType]] = {}
    for row in CellType.objects.order_by("size", "rechargeable", "name"):
        sizes.setdefault(row.size, []).append(row)
    return render(request, "maintenance/cells/types.html", {"section": "Cells", "room": "types", "sizes": sizes})


@require_safe
def cell_type(request: HttpRequest, key: str) -> HttpResponse:
    """Show one type: its curve and capacity as drawings, its figures and where they are from."""
    row = get_object_or_404(CellType, key=key)
    context = {
        "section": "Cells",
        "type": row,
        "curve": curve_plot(row.curve) if len(row.curve) > 1 else None,
        "capacity": capacity_plot(row.capacity) if row.capacity else None,
        "cold": [(name, sorted(((float(k), v) for k, v in nodes.items()), reverse=True)) for name, nodes in row.cold.items()],
        "loss": f"{100 * row.loss_per_year:.3g}",
        "memory": "from memory" in row.source.lower(),
        "used_by": GearType.objects.filter(cell_size=row.key).order_by("name")[:30],
    }
    return render(request, "maintenance/cells/type.html", context)


@form_page
@technician_required
def cell_type_edit(request: HttpRequest, key: str = "") -> HttpResponse:
    """Change a type, or add one; what sits fitted is reckoned again."""
    row = get_object_or_404(CellType, key=key) if key else CellType()
    form = CellTypeForm(request.POST if request.method == "POST" else None, row=row)
    if form.is_bound and form.is_valid():
        try:
            row = cell_type_save(row=row, values=form.cleaned_data)
        except CellRefused as wrong:
            form.add_error(wrong.field if wrong.field in form.fields else None, str(wrong))
        else:
            if key:
                users = set(GearType.objects.filter(items__fitted_sets__type=row).values_list("pk", flat=True))
                if users:
                    cells_reckon(at=now(), types=users)
            messages.success(request, f"{row.name}: kept.")
            return redirect(row)
    context = {"section": "Cells", "form": form, "type": row if key else None}
    return render(request, "maintenance/cells/type_form.html", context, status=422 if form.errors else 200)


@require_safe
def cell_sets(request: HttpRequest) -> HttpResponse:
    """List the labelled rechargeable sets: charges, capacity tests, the trend against what a show needs."""
    at = now()
    did = request.GET.get("did", "")[:60]
    context = {
        "section": "Cells",
        "room": "sets",
        "rows": set_rows(at),
        "uid": uuid.uuid4(),
        "did": did if did.partition(".")[0] in {"charge", "test"} else "",
        "of": request.GET.get("of", "")[:12],
    }
    return render(request, "maintenance/cells/sets.html", context)


@form_page
def capacity_test(request: HttpRequest, code: str) -> HttpResponse:
    """Note what a discharge test gave of a labelled set."""
    item, at = item_or_404(code), now()
    form = CapacityForm(request.POST if request.method == "POST" else None, label_suffix="")
    if form.is_bound and form.is_valid():
        given = form.cleaned_data
        try:
            test, trend = capacity_test_record(
                uid=form_uid(request),
                item=item,
                mah=given["mah"],
                rate_ma=given["rate_ma"],
                done_at=given["when"] or at,
                received_at=at,
                person=signed_in(request),
            )
        except CellRefused as wrong:
            field = "when" if wrong.field == "done_at" else wrong.field
            form.add_error(field if field in form.fields else None, str(wrong))
        else:
            messages.success(request, f"{item}: {test.mah:g} mAh noted. {trend.words if trend else ''}")
            return redirect(f"/cells/sets/?did=test.{test.uid}&of={item.code}")
    context = {"section": "Cells", "item": item, "form": form, "uid": request.POST.get("uid") or uuid.uuid4()}
    context["is_set"] = item.type.kind == Kind.CELL_SET
    return render(request, "maintenance/cells/capacity.html", context, status=422 if form.errors else 200)


@require_safe
def plans(request: HttpRequest) -> HttpResponse:
    """List how each type of gear is fed, with what that comes to in hours."""
    return render(request, "maintenance/cells/plans.html", {"section": "Cells", "room": "plans", "rows": plan_rows()})


@form_page
@technician_required
def plan_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change how things of a type are fed; what sits in them is reckoned again."""
    type_, at = get_object_or_404(GearType, pk=pk), now()
    plan = plan_of([type_])[type_.pk]
    form = PlanForm(request.POST if request.method == "POST" else None, plan=plan)
    looking = request.POST.get("do") == "look"
    if looking and form.is_valid():
        for name, value in form.cleaned_data.items():
            setattr(plan, name, value)  # not saved: only to say what it would come to
    elif form.is_bound and form.is_valid():
        try:
            plan = plan_save(type=type_, values=form.cleaned_data)
        except CellRefused as wrong:
            form.add_error(wrong.field if wrong.field in form.fields else None, str(wrong))
        else:
            plan_changed(type=type_, at=at)
            said = plan_words(plan, CellType.objects.filter(key=type_.cell_size).first())
            messages.success(request, f"{type_}: kept. {said}")
            return redirect("cell-plans")
    usual = CellType.objects.filter(key=type_.cell_size).first()
    context = {
        "section": "Cells",
        "type": type_,
        "form": form,
        "says": plan_words(plan, usual),
        "unit": unit_of(plan.load),
        "usual": usual,
        "moved": looking and not form.errors,
    }
    return render(request, "maintenance/cells/plan.html", context, status=422 if form.errors else 200)


@require_safe
@technician_required
def forecasts(request: HttpRequest) -> HttpResponse:
    """Show what came of the swap lists' forecasts, devices that are off, and what was saved."""
    at = now()
    record = cell_record()
    saved = saved_lately(at, today(at))
    context: dict[str, Any] = {
        "section": "Cells",
        "room": "forecasts",
        "record": record,
        "brier": record.brier,
        "plain": PLAIN[record.score.verdict] if record.score else "",
        "said": score_words(record.score) if record.score else "",
        "types": record.types,
        "too_few": TOO_FEW,
        "needed": max(0, TOO_FEW - record.score.count) if record.score else TOO_FEW,
        "off": persistently_off_ones(),
        "saved": saved,
    }
    return render(request, "maintenance/cells/forecasts.html", context)
