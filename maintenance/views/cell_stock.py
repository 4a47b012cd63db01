"""Stock: lots by type, what is bought, counted, taken out; the low level of each type; the list as CSV."""

import uuid
from collections import defaultdict
from collections.abc import Iterator
from typing import Any

from django.contrib import messages
from django.db.models import F, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from company.access import signed_in, technician_required
from company.clock import now, today
from company.templatetags.tape import money
from inventory.forms_shelf import form_uid
from maintenance.calc.cell_words import Pool
from maintenance.cell_querysets import lots_counted, stock_of_types
from maintenance.forms_cell_stock import CountForm, LotForm, OutForm
from maintenance.models import CellLot, CellMove, CellType
from maintenance.services.cell_stock import POOL_WORDS, move_undo, move_undo_refused
from maintenance.services.cell_where import GLOVES, tub_words
from maintenance.services.cells import CellRefused, lot_add, lot_count, lot_take_out, lot_words
from maintenance.views.record import csv_answer

form_page = require_http_methods(["GET", "HEAD", "POST"])
POOL_TURN = [Pool.NEW, Pool.REHEARSAL, Pool.CHARGE, Pool.QUARANTINE, Pool.RECYCLE]
MOVES = 100


@require_safe
def stock(request: HttpRequest) -> HttpResponse:
    """Show what lies on the shelf, by type, the oldest lot first; empty lots on request."""
    day = today(now())
    empty = request.GET.get("empty") == "yes"
    by_type: dict[int, list[CellLot]] = defaultdict(list)
    for lot in _lots(empty):
        lot.past = bool(lot.expires_on and lot.expires_on < day)  # type: ignore[attr-defined]
        lot.words = lot_words(lot)  # type: ignore[attr-defined]
        by_type[lot.type_id].append(lot)
    fresh = stock_of_types()
    types = list(CellType.objects.order_by("size", "name"))
    rows = [
        {
            "type": row,
            "lots": by_type.get(row.pk, []),
            "new": fresh.get(row.pk, 0),
            "low": fresh.get(row.pk, 0) < row.keep_at_least,
        }
        for row in types
        if row.pk in by_type or row.keep_at_least
    ]
    context = {
        "section": "Cells",
        "room": "stock",
        "rows": sorted(rows, key=lambda one: not one["lots"]),
        "empty": empty,
        "any_types": bool(types),
    }
    return render(request, "maintenance/cells/stock.html", context)


def _lots(empty: bool) -> list[CellLot]:
    rows = lots_counted().select_related("type", "place")
    if not empty:
        rows = rows.exclude(left=0)
    order = {pool: turn for turn, pool in enumerate(POOL_TURN)}
    found = rows.order_by("type", F("expires_on").asc(nulls_last=True), F("bought_on").asc(nulls_last=True), "pk")
    return sorted(found, key=lambda lot: order[Pool(lot.pool)])


@form_page
@technician_required
def lot_new(request: HttpRequest) -> HttpResponse:
    """Enter a lot that was bought."""
    at = now()
    types = list(CellType.objects.order_by("rechargeable", "size", "name"))
    asked = request.GET.get("type", "")
    initial = {"type": next((str(row.pk) for row in types if row.key == asked), None)}
    form = LotForm(request.POST if request.method == "POST" else None, types=types, day=today(at), initial=initial)
    anyway = False
    if form.is_bound and form.is_valid():
        try:
            insists = request.POST.get("anyway") == "yes"
            lot = lot_add(uid=form_uid(request), at=at, person=signed_in(request), anyway=insists, **form.cleaned_data)
        except CellRefused as wrong:
            anyway = wrong.anyway
            form.add_error(wrong.field if wrong.field in form.fields else None, str(wrong))
        else:
            messages.success(request, f"{form.cleaned_data['count']} × {lot.type.name}: on the shelf.")
            return redirect("cell-stock")
    context = {
        "section": "Cells",
        "form": form,
        "types": types,
        "anyway": anyway,
        "uid": request.POST.get("uid") or uuid.uuid4(),
    }
    return render(request, "maintenance/cells/lot_add.html", context, status=422 if form.errors else 200)


@require_safe
def lot(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one lot with its moves, where it is counted and taken out of."""
    return _lot_page(request, _lot_or_404(pk), CountForm(label_suffix=""), OutForm(label_suffix=""))


@require_POST
def lot_counted(request: HttpRequest, pk: int) -> HttpResponse:
    """Set a lot to what was counted in it."""
    lot_, at = _lot_or_404(pk), now()
    form = CountForm(request.POST, label_suffix="")
    if form.is_valid():
        try:
            _off, said = lot_count(
                uid=form_uid(request), lot=lot_, count=form.cleaned_data["count"], at=at, person=signed_in(request)
            )
        except CellRefused as wrong:
            form.add_error("count", str(wrong))
        else:
            messages.success(request, said)
            return redirect("cell-lot", pk=pk)
    return _lot_page(request, lot_, form, OutForm(label_suffix=""))


@require_POST
def lot_out(request: HttpRequest, pk: int) -> HttpResponse:
    """Take cells of a lot to the recycling tub or quarantine; out of a tub, they leave the house."""
    lot_, at = _lot_or_404(pk), now()
    form = OutForm(request.POST, label_suffix="")
    if form.is_valid():
        to = Pool(form.cleaned_data["to"])
        try:
            left = lot_take_out(
                uid=form_uid(request), lot=lot_, count=form.cleaned_data["count"], at=at, person=signed_in(request), to=to
            )
        except CellRefused as wrong:
            form.add_error("count", str(wrong))
        else:
            said = GLOVES if to == Pool.QUARANTINE else f"Out: {tub_words(taped=lot_.type.needs_taped)}"
            messages.success(request, f"{form.cleaned_data['count']} taken out, {left} left. {said}")
            return redirect("cell-lot", pk=pk)
    return _lot_page(request, lot_, CountForm(label_suffix=""), form)


@require_POST
def lot_undo(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a count of a lot, or a taking out, back."""
    lot_, at = _lot_or_404(pk), now()
    move = lot_.moves.filter(uid=form_uid(request)).first()
    if move is None:
        messages.error(request, "There is nothing to take back.")
        return redirect("cell-lot", pk=pk)
    try:
        messages.success(request, move_undo(move=move, person=signed_in(request), at=at))
    except CellRefused as wrong:
        messages.error(request, str(wrong))
    return redirect("cell-lot", pk=pk)


def _lot_or_404(pk: int) -> CellLot:
    return get_object_or_404(lots_counted().select_related("type", "place"), pk=pk)


def _lot_page(request: HttpRequest, lot_: CellLot, count: CountForm, out: OutForm) -> HttpResponse:
    moves = list(lot_.moves.select_related("person")[: MOVES + 1])
    person, at = signed_in(request), now()
    gone = {move.uid for move in moves if move.why == CellMove.Why.UNDONE}
    for move in moves:
        move.struck = uuid.uuid5(move.uid, "undone") in gone  # type: ignore[attr-defined]
        move.free = not move.struck and not move_undo_refused(move, person=person, at=at)  # type: ignore[attr-defined]
    context = {
        "section": "Cells",
        "lot": lot_,
        "words": lot_words(lot_),
        "pool": POOL_WORDS[Pool(lot_.pool)],
        "moves": moves[:MOVES],
        "more": len(moves) > MOVES,
        "past": bool(lot_.expires_on and lot_.expires_on < today(now())),
        "count": count,
        "out": out,
        "uid": request.POST.get("uid") or uuid.uuid4(),
        "uid_out": uuid.uuid4(),
        "tub": tub_words(taped=lot_.type.needs_taped),
    }
    return render(request, "maintenance/cells/lot.html", context, status=422 if count.errors or out.errors else 200)


@require_safe
def stock_csv(request: HttpRequest) -> Any:
    """Hand over every lot as CSV; prices for a technician alone."""
    priced = signed_in(request).is_technician
    head = ["type", "letters", "size", "kept as", "left", "bought", "printed date", "make", "where", "note"]
    return csv_answer("cells.csv", [*head, "price of one"] if priced else head, _rows(lots_counted(), priced))


def _rows(lots: QuerySet[CellLot], priced: bool) -> Iterator[list[Any]]:
    for one in lots.select_related("type", "place").order_by("type__name", "pool", "pk").iterator(chunk_size=500):
        row = [one.type.name, one.type.key, one.type.size, POOL_WORDS[Pool(one.pool)], one.left]  # type: ignore[attr-defined]
        row += [one.bought_on or "", one.expires_on or "", one.make, one.place or "", one.note]
        yield [*row, money(one.price_cents)] if priced else row
