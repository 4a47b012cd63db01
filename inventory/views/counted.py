"""Counted lines: the list, one line with its ledger, and every way a count changes."""

import uuid
from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import InvalidPage
from django.db.models import QuerySet, Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from company.access import technician_required
from company.clock import now
from inventory.calc.kinds import Kind
from inventory.forms_shelf import (
    BackForm,
    ChangeForm,
    CountedLineForm,
    LabelOneForm,
    LineDetailsForm,
    LostForm,
    OutForm,
    RecountForm,
    form_uid,
    who,
)
from inventory.ledger import ledger_of
from inventory.models import CaseCount, CountedLine, CountMove
from inventory.registries import show_choices, show_names
from inventory.services import counted
from inventory.services.items import GearRefused
from inventory.stock import consumables, used_words
from inventory.tables_shelf import CountedFilter, CountedTable

PAGE = 50
ENTRIES = 60


def counted_list(request: HttpRequest) -> HttpResponse:
    """List what is counted, by type and length, with what is on the shelf, out and bad."""
    found = CountedFilter(request.GET, queryset=CountedLine.objects.described())
    sort = request.GET.get("sort", "")
    table = CountedTable(found.qs, order_by=sort if sort.removeprefix("-") in CountedTable.base_columns else "name")
    try:
        table.paginate(page=request.GET.get("page", 1), per_page=PAGE)
    except InvalidPage:
        table.paginate(page=1, per_page=PAGE)
    lines = [row.record for row in table.paginated_rows]
    kept = consumables(lines)
    for line in lines:
        line.kept = kept.get(line.pk)
        line.buy = line.kept.buy(line.on_shelf) if line.kept else 0
    context = {"section": "Shelf", "table": table, "filter": found, "lines": lines, "filtered": any(request.GET.values())}
    return render(request, "inventory/counted.html", context)


@technician_required
def counted_add(request: HttpRequest) -> HttpResponse:
    """Start counting a type and length."""
    form = CountedLineForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        answer = counted.counted_line_add(uid=form_uid(request), at=now(), person=who(request), **form.cleaned_data)
        _say(request, answer, f"{answer.line} is on the shelf.")
        return redirect(answer.line)
    return render(request, "inventory/counted_add.html", {"section": "Shelf", "form": form, "uid": uuid.uuid4()})


def counted_line(request: HttpRequest, pk: int) -> HttpResponse:
    """Draw one counted line: what is where, its ledger, and the forms that change it."""
    return _line_page(request, _line(pk))


@require_POST
def counted_out(request: HttpRequest, pk: int) -> HttpResponse:
    """Send so many out to a show."""
    return _enter(request, pk, "out", lambda line, data: counted.count_out(line=line, **data), "{count} are out.")


@require_POST
def counted_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Take so many back from a show, good and bad."""
    return _enter(
        request, pk, "back", lambda line, data: counted.count_back(line=line, **data), "{good} good and {bad} bad are back."
    )


@technician_required
@require_POST
def counted_lost(request: HttpRequest, pk: int) -> HttpResponse:
    """Give up on so many that never came back."""
    return _enter(
        request, pk, "lost", lambda line, data: counted.count_lost(line=line, **data), "{count} are written off as lost."
    )


@technician_required
@require_POST
def counted_recount(request: HttpRequest, pk: int) -> HttpResponse:
    """Set the count to what was counted."""
    return _enter(request, pk, "recount", lambda line, data: counted.count_recounted(line=line, **data), "Recounted.")


@require_POST
def counted_change(request: HttpRequest, pk: int) -> HttpResponse:
    """Buy, find bad, mend or throw away so many. A hand may say that something is bad."""

    def change(line: CountedLine, data: dict[str, Any]) -> counted.Counted:
        what = data.pop("what")
        if what != "found-bad" and not who(request).is_technician:
            raise counted.CountRefused("Ask a technician to enter that; you may say what is bad.")
        if what.startswith("thrown-away"):
            return counted.count_thrown_away(line=line, bad=what == "thrown-away", **data)
        entry = {"bought": counted.count_bought, "found-bad": counted.count_found_bad, "mended": counted.count_mended}
        return entry[what](line=line, **data)

    return _enter(request, pk, "change", change, "Entered.")


@technician_required
@require_POST
def counted_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change where a line lies, and its notes."""
    line = _line(pk)
    form = LineDetailsForm(request.POST, instance=CountedLine.objects.get(pk=line.pk))
    if not form.is_valid():
        return _line_page(request, line, details=form)
    form.save()
    return redirect(line)


@require_POST
def counted_undo(request: HttpRequest, pk: int, uid: uuid.UUID) -> HttpResponse:
    """Take one move back, by a new row."""
    line = _line(pk)
    moves = CountMove.objects.filter(line=line, uid=uid)
    mine = moves.filter(person=who(request)).exists()
    if not mine and not who(request).is_technician:
        messages.error(request, "Somebody else entered that; ask a technician to take it back.")
        return redirect(line)
    if moves.filter(why=CountMove.Why.LABELLED).exists():
        messages.error(request, "That one has a label of its own now. Retire the item instead, or recount the line.")
        return redirect(line)
    answer = counted.count_undo(undo_uid=uid, at=now(), person=who(request)) if moves.exists() else None
    if answer is None:
        messages.error(request, "There is no such entry in this ledger.")
    else:
        _say(request, answer, "Taken back. Both rows stay in the ledger.")
    return redirect(line)


@technician_required
@require_POST
def counted_label(request: HttpRequest, pk: int) -> HttpResponse:
    """Make an item of one of them: it gets a label of its own."""
    line = _line(pk)
    form = LabelOneForm(request.POST)
    if form.is_valid():
        data = form.cleaned_data
        try:
            item = counted.counted_to_item(
                line=line, code=data["code"] or None, bad=data["bad"], person=who(request), at=now(), uid=form_uid(request)
            )
        except GearRefused as refused:
            form.add_error("code", str(refused))
        else:
            messages.success(request, f"{item} has a label of its own; {line} counts one fewer.")
            return redirect(item)
    return _line_page(request, line, label=form)


def _line(pk: int) -> CountedLine:
    return get_object_or_404(CountedLine.objects.described(), pk=pk)


Entry = Callable[[CountedLine, dict[str, Any]], counted.Counted]


def _enter(request: HttpRequest, pk: int, name: str, enter: Entry, said: str) -> HttpResponse:
    """Check one form of the line page, enter its count, and go back to the line."""
    line = _line(pk)
    form = _forms(line, request)[name]
    if form.is_valid():
        try:
            answer = enter(line, {**form.cleaned_data, "uid": form_uid(request), "at": now(), "person": who(request)})
        except counted.CountRefused as refused:
            form.add_error(None, str(refused))
        else:
            _say(request, answer, said.format(**form.cleaned_data))
            return redirect(line)
    return _line_page(request, line, **{name: form})


def _say(request: HttpRequest, answer: counted.Counted, said: str) -> None:
    if answer.warning:
        messages.warning(request, answer.warning)
    else:
        messages.success(request, said)


def _forms(line: CountedLine, request: HttpRequest | None = None) -> dict[str, forms.BaseForm]:
    data = request.POST if request else None
    out = _out(line)
    out_there = [(key, name) for key, (name, _url, _count) in out.items()]
    shows = show_choices(now())
    there = {key for key, _name in out_there}
    either = [*out_there, *(choice for choice in shows if choice[0] not in there)]
    made: dict[str, forms.BaseForm] = {
        "out": OutForm(data, shows=shows or out_there, on_shelf=line.on_shelf),
        "back": BackForm(data, shows=either),
        "lost": LostForm(data, shows=out_there),
        "change": ChangeForm(data),
        "recount": RecountForm(data, initial={"on_shelf": max(line.on_shelf, 0)}),
    }
    if data is None and len(out_there) == 1:
        made["back"].initial = {"show": out_there[0][0], "came": max(out[out_there[0][0]][2], 0), "bad": 0}
    return made


def _out(line: CountedLine) -> dict[int, tuple[str, str, int]]:
    """Return {show: (name, address, how many are out there)}."""
    rows: QuerySet = line.moves.filter(show__isnull=False).order_by().values_list("show").annotate(out=-Sum("delta"))
    out = {show: count for show, count in rows if count}
    return {show: (*name, out[show]) for show, name in show_names(out).items()}


def _line_page(request: HttpRequest, line: CountedLine, **bound: forms.BaseForm) -> HttpResponse:
    status = 422 if bound else 200
    entries = ledger_of(line)
    shown = len(entries) if request.GET.get("all") else ENTRIES
    kept = consumables([line]).get(line.pk)
    there = list(_out(line).values())
    newest: dict[int, CaseCount] = {}
    for row in CaseCount.objects.filter(line=line).select_related("case__type").order_by("effective_at", "pk"):
        newest[row.case_id] = row
    context = {
        "section": "Shelf",
        "line": line,
        "uid": uuid.uuid4(),
        "entries": entries[:shown],
        "older": max(len(entries) - shown, 0),
        "out": [entry for entry in there if entry[2] > 0],
        "over": [(name, url, -count) for name, url, count in there if count < 0],
        "short_by": max(-line.on_shelf, 0),
        "kept": kept,
        "buy": kept.buy(line.on_shelf) if kept else 0,
        "used": used_words(kept.used) if kept and kept.used else "",
        "in_cases": [row for row in newest.values() if row.count],
        "may_label": line.type.kind != Kind.CONSUMABLE,
        "worth_cents": line.owned * line.type.replacement_cents if line.type.replacement_cents else None,
        "details": bound.pop("details", None) or LineDetailsForm(instance=line),
        "label": bound.pop("label", LabelOneForm()),
        **{f"{name}_form": form for name, form in {**_forms(line), **bound}.items()},
    }
    return render(request, "inventory/counted_line.html", context, status=status)
