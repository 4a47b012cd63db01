"""Repairs: write one, list them with what they cost, take one back."""

import uuid
from collections.abc import Iterator
from datetime import date, datetime, time
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, Q, QuerySet, Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.timezone import localtime
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from company.access import signed_in, technician_required
from company.clock import now, today
from company.templatetags.tape import code as spelled
from company.templatetags.tape import money
from inventory.models import Item
from maintenance.forms_repairs import RepairForm
from maintenance.item_parts import repair_words, test_url
from maintenance.item_record import record_of
from maintenance.models import Fault, Repair
from maintenance.services.repairs import LONGEST_END, RepairRefused, repair_record, repair_take_back
from maintenance.standing import fault_words
from maintenance.views.record import csv_answer, item_or_404

PAGE = 50
MOST_TYPES = 20
form_page = require_http_methods(["GET", "HEAD", "POST"])


@form_page
@technician_required
def repair_add(request: HttpRequest, code: str) -> HttpResponse:
    """Write down what was done to mend an item; then it must pass again."""
    item, at = item_or_404(code), now()
    day = today(at)
    open_faults = Fault.objects.filter(item=item, closed_at=None, withdrawn_at=None).select_related("person")
    faults = [(fault, f"{fault_words(fault)}{f' {fault.note}' if fault.note else ''}") for fault in open_faults]
    posted = request.POST if request.method == "POST" else None
    asked = {"end": request.GET.get("end", "")[:LONGEST_END]}
    form = RepairForm(posted, initial=asked, faults=faults, day=day)
    if form.is_bound and form.is_valid():
        given = {"fault": None, **form.cleaned_data}
        try:
            repair_record(
                uid=_uid(request), item=item, done_at=_instant(request, given.pop("done_on"), at), person=signed_in(request),
                received_at=at, **given,
            )  # fmt: skip
        except RepairRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
        else:
            messages.success(request, "Written down. It counts as mended once it has passed again.")
            return redirect(item)
    record = record_of(item)
    context = {
        "section": "Bench",
        "item": item,
        "form": form,
        "uid": request.POST.get("uid") or uuid.uuid4(),
        "repairs": record.all_repairs,
        "sums": repair_words(record, request.company.currency, cost=True),
        "test_it": test_url(item),
        "suspect": bool(item.suspect_since),
    }
    return render(request, "maintenance/record/repair.html", context, status=422 if form.errors else 200)


def _uid(request: HttpRequest) -> uuid.UUID:
    """Return the form's own id, so that the same form sent twice is one repair."""
    try:
        return uuid.UUID(request.POST.get("uid", ""))
    except ValueError:
        return uuid.uuid4()


def _instant(request: HttpRequest, day: date, at: datetime) -> datetime:
    """Return now for today, noon for another day."""
    if day == today(at):
        return at
    return datetime.combine(day, time(12), tzinfo=request.company.zone)


@technician_required
@require_POST
def repair_undo(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    """Take a repair back: it stays on record, struck."""
    repair = get_object_or_404(Repair.objects.select_related("item__type"), uid=uid)
    try:
        repair_take_back(repair=repair, person=signed_in(request), at=now())
        messages.success(request, "Taken back. It stays on record, struck through.")
    except RepairRefused as refused:
        messages.error(request, str(refused))
    return redirect("repairs") if request.POST.get("back") == "list" else redirect("repair-add", code=repair.item.code)


@require_safe
@technician_required
def repairs(request: HttpRequest) -> HttpResponse:
    """List what was mended, the newest first, with minutes and cost, and what each type has cost."""
    words = request.GET.get("q", "")[:200]
    found = _found(words)
    standing = found.filter(taken_back_by=None)
    sums = standing.aggregate(count=Count("pk"), minutes=Sum("minutes"), cents=Sum("cost_cents"))
    types = (
        standing.order_by()
        .values("item__type", "item__type__name")
        .annotate(count=Count("pk"), things=Count("item", distinct=True), minutes=Sum("minutes"), cents=Sum("cost_cents"))
        .order_by("-cents", "-minutes", "item__type__name")
    )
    page = Paginator(found, PAGE).get_page(request.GET.get("page"))
    context = {
        "section": "Bench",
        "page": page,
        "words": words,
        "sums": sums,
        "types": list(types[: MOST_TYPES + 1]) if page.number == 1 else [],
        "any": bool(words) or Repair.objects.exists(),
    }
    return render(request, "maintenance/record/repairs.html", context)


def _found(words: str) -> QuerySet[Repair]:
    rows = Repair.objects.filter(takes_back=None).select_related("item__type", "person", "taken_back_by__person", "fault")
    for word in words.split()[:8]:
        rows = rows.filter(
            Q(did__icontains=word)
            | Q(parts__icontains=word)
            | Q(item__type__name__icontains=word)
            | Q(item__name__icontains=word)
            | Q(item__code__istartswith=word.replace("-", ""))
            | Q(person__first_name__icontains=word)
            | Q(person__username__icontains=word)
        )
    return rows.order_by("-done_at", "-pk")


@require_safe
@technician_required
def repairs_csv(request: HttpRequest) -> Any:
    """Hand over the same list as CSV, every row of it."""
    head = ["code", "thing", "type", "when", "who", "done", "end", "parts", "minutes", "cost", "as new", "for", "taken back"]
    return csv_answer("repairs.csv", head, _rows(_found(request.GET.get("q", "")[:200])))


def _rows(found: QuerySet[Repair]) -> Iterator[list[Any]]:
    for repair in found.iterator(chunk_size=500):
        item: Item = repair.item
        back = getattr(repair, "taken_back_by", None)
        yield [
            *(spelled(item.code), item.label, item.type.name, localtime(repair.done_at).isoformat(timespec="minutes")),
            *(repair.person, repair.did, repair.end, repair.parts, repair.minutes, money(repair.cost_cents)),
            *("yes" if repair.as_new else "", repair.fault.symptom if repair.fault else ""),
            localtime(back.done_at).isoformat(timespec="minutes") if back else "",
        ]
