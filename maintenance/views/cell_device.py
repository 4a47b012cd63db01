"""A device's cells: what is in it, its picture, its history, its metered draw, and what was noted taken back."""

import uuid as uuids
from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from company.access import signed_in, technician_required
from company.clock import now
from company.templatetags.tape import moment
from inventory.models import Item
from maintenance.calc.cell_words import LOAD_UNITS, Load
from maintenance.cell_device import FINISHED, Past, Shown, bays_of, history_of, shown_of, unit_words
from maintenance.cell_pictures import picture_json, picture_of
from maintenance.cell_plans import known_words
from maintenance.cell_tape import notches
from maintenance.forms_cells import DrawForm
from maintenance.models import CapacityTest, CellReading, Charge, DeviceDraw, HoursNote, Swap
from maintenance.services.cell_undo import SORTS, follows, noted_at, undo_checked, undo_states
from maintenance.services.cells import (
    CellRefused,
    capacity_test_take_back,
    charge_withdraw,
    draw_metered,
    hours_withdraw,
    reading_take_back,
    swap_undo,
    swap_words,
)
from maintenance.views.record import item_or_404

form_page = require_http_methods(["GET", "HEAD", "POST"])
FIELD_OF = {
    "lot": "what",
    "type": "what",
    "cell_set": "set_code",
    "done_at": "when",
    "read_at": "when",
    "at": "when",
    "minutes": "hours",
}


@require_safe
def item_cells(request: HttpRequest, code: str) -> HttpResponse:
    """Show a device's cells: each bay with its tape and picture, its readings and swaps, and what can be done."""
    item, at = powered_or_404(code), now()
    shown = shown_of(item, at)
    draw = DeviceDraw.objects.filter(item=item).first()
    context = {
        "section": "Cells",
        "item": item,
        "shown": shown,
        "bays": bays_of(item, at),
        "notches": notches(shown.axis),
        "history": _history(request, item, at),
        "did": _did(request, item),
        "draw": draw,
        "known": known_words(shown.plan),
        "unit": unit_words(shown.plan.load),
        "sets": shown.sets_learnt,
        "worth": shown.metering,
        "uid": uuids.uuid4(),
        "data_url": reverse("item-cells-chart", args=[item.code]),
    }
    return render(request, "maintenance/cells/device.html", context)


@require_safe
def item_cells_chart(request: HttpRequest, code: str) -> JsonResponse:
    """Answer the pictures of a device's bays as numbers."""
    item, at = powered_or_404(code), now()
    rows = [row for row in shown_of(item, at).rows if row.state.life is not None]
    found = [picture for row in rows if (picture := picture_of(row, at)) is not None]
    return JsonResponse({"pictures": [picture_json(one) for one in found]})


@form_page
@technician_required
def item_draw(request: HttpRequest, code: str) -> HttpResponse:
    """Keep what a meter in series with the clip read of a device's draw."""
    item, at = powered_or_404(code), now()
    shown = shown_of(item, at)
    draw = DeviceDraw.objects.filter(item=item).first()
    unit = LOAD_UNITS[Load(shown.plan.load)]
    initial = {"draw": draw.metered if draw else None}
    form = DrawForm(request.POST if request.method == "POST" else None, unit=unit, initial=initial)
    if form.is_bound and form.is_valid():
        value = form.cleaned_data["draw"]
        try:
            draw_metered(item=item, value=value, at=at)
        except CellRefused as wrong:
            refused_say(form, wrong)
        else:
            said = f"Kept: {item} draws {value:g} {unit}." if value else "Not metered after all: taken back."
            messages.success(request, said)
            return redirect("item-cells", code=item.code)
    return form_answer(request, "maintenance/cells/draw.html", item, shown, form)


@require_POST
def item_cells_undo(request: HttpRequest, code: str) -> HttpResponse:
    """Take back a swap, a reading, hours, a charge or a capacity test of a device or a labelled set."""
    item, at = item_or_404(code), now()
    sort, _dot, text = request.POST.get("did", "").partition(".")

    def act() -> tuple[str, list[str]]:
        rows = rows_of_undo(item, sort, text)
        undo_checked(rows, person=signed_in(request), at=at, sure=request.POST.get("sure") == "yes")
        for row in rows:
            _take_back(row, signed_in(request), at)
        return "", ["Taken back. It stays on record, struck through."]

    return done_answer(request, item, act, back="cell-sets" if request.POST.get("back") == "sets" else "")


def rows_of_undo(item: Item, sort: str, text: str) -> list[Any]:
    """Return what an undo is about; of a swap, those of all bays that were noted with it. CellRefused where there is none."""
    model = SORTS.get(sort)
    try:
        uid = uuids.UUID(text)
    except ValueError:
        model = None
    mine = None if model is None else model.objects.filter(uid=uid).select_related("item__type").first()
    if mine is None or mine.item_id not in {item.pk, *_sets_in(item)}:
        raise CellRefused("There is nothing to take back: it was taken back already, or never noted.")
    if sort != "swap":
        return [mine]
    together = Swap.objects.filter(item=item, done_at=mine.done_at, received_at=mine.received_at)
    together = together.filter(takes_back=None, taken_back_by=None)
    return list(together.select_related("item__type", "type", "cell_set").order_by("bay")) or [mine]


def _history(request: HttpRequest, item: Item, at: datetime) -> list[tuple[Past, str]]:
    """Return what was noted with how the person who looks may take it back: at once, by asking, or not."""
    past = history_of(item, at)
    states = undo_states(item, person=signed_in(request), at=at, dids=[one.did for one in past if one.did])
    return [(one, states.get(one.did, "no")) for one in past]


def _sets_in(item: Item) -> set[int]:
    return {pk for pk in item.fitted_sets.filter(removed_at=None).values_list("cell_set", flat=True) if pk}


def _take_back(row: Any, person: Any, at: datetime) -> None:
    if isinstance(row, Swap):
        swap_undo(swap=row, person=person, at=at, sure=True)
    elif isinstance(row, CellReading):
        reading_take_back(reading=row, person=person, at=at)
    elif isinstance(row, HoursNote):
        hours_withdraw(note=row, at=at)
    elif isinstance(row, Charge):
        charge_withdraw(charge=row, at=at)
    else:
        capacity_test_take_back(test=row, person=person, at=at)


@require_safe
def item_take_back(request: HttpRequest, code: str) -> HttpResponse:
    """Say what taking something back will change, and ask."""
    item, at = item_or_404(code), now()
    did = request.GET.get("did", "")[:60]
    sort, _dot, text = did.partition(".")
    back = "sets" if request.GET.get("back") == "sets" else ""
    try:
        rows = rows_of_undo(item, sort, text)
        undo_checked(rows, person=signed_in(request), at=at, sure=True)
    except CellRefused as wrong:
        messages.error(request, str(wrong))
        return redirect("cell-sets") if back else redirect("item-cells", code=item.code)
    what = " ".join(said_of(row) for row in rows)
    context = {"section": "Cells", "item": item, "did": did, "what": what, "follows": follows(rows), "back": back}
    return render(request, "maintenance/cells/take_back.html", context)


def said_of(row: Any) -> str:
    """Name what is to be taken back."""
    if isinstance(row, Swap):
        return swap_words(row, None)
    noted = f"noted {moment(noted_at(row))}"
    if isinstance(row, CellReading):
        return f"{row.item}: the reading of {row.volts:g} V, {noted}."
    if isinstance(row, CapacityTest):
        return f"{row.item}: the capacity test of {row.mah:g} mAh, {noted}."
    return f"{row.item}: {'the hours' if isinstance(row, HoursNote) else 'the charge'}, {noted}."


def _did(request: HttpRequest, item: Item) -> str:
    """Return what was just done here, while it can still be taken back."""
    did = request.GET.get("did", "")[:60]
    sort, _dot, text = did.partition(".")
    try:
        rows = rows_of_undo(item, sort, text)
    except CellRefused:
        return ""
    row = rows[0]
    gone = getattr(row, "withdrawn_at", None) or (sort in FINISHED and getattr(row, "taken_back_by", None))
    return "" if gone else did


def form_answer(
    request: HttpRequest, template: str, item: Item, shown: Shown, form: Any, *, anyway: bool = False
) -> HttpResponse:
    context = {"section": "Cells", "item": item, "shown": shown, "form": form, "uid": request.POST.get("uid") or uuids.uuid4()}
    context["anyway"] = anyway
    return render(request, template, context, status=422 if form.errors else 200)


def done_answer(request: HttpRequest, item: Item, act: Callable[[], tuple[str, list[str]]], *, back: str = "") -> HttpResponse:
    """Do it, say it, and go back to the device's cells (or the list it was done from), with the way to take it back."""
    try:
        did, said = act()
    except CellRefused as wrong:
        messages.error(request, str(wrong))
        did = ""
    else:
        messages.success(request, " ".join(said))
    there = reverse(back) if back else reverse("item-cells", args=[item.code])
    return redirect(f"{there}?did={did}&of={item.code}" if did else there)


def refused_say(form: Any, wrong: CellRefused) -> None:
    field = FIELD_OF.get(wrong.field, wrong.field)
    form.add_error(field if field in form.fields else None, str(wrong))


def powered_or_404(code: str) -> Item:
    item = item_or_404(code)
    if not shown_of(item, now()).rows:
        raise Http404("Nothing in it runs on cells.")
    return item
