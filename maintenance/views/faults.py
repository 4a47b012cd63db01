"""Say that a thing is bad, close that with a sentence, take a thing as good."""

import uuid
from typing import cast

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from company.access import technician_required
from company.clock import now
from company.models import Person
from inventory.calc import codes
from inventory.models import Item
from inventory.registries import show_names
from inventory.search import item_of_code
from maintenance.calc.symptoms import Symptom
from maintenance.forms import CloseForm, GoodForm, WhichForm
from maintenance.models import Fault, TestCall
from maintenance.registries import when_found
from maintenance.services.calls import calls_record
from maintenance.services.faults import FaultRefused, fault_close, fault_of_item, fault_open, fault_withdraw, item_taken_as_good
from maintenance.wet import wet_things

form_page = require_http_methods(["GET", "HEAD", "POST"])
NOTE_MOST = 500


def _who(request: HttpRequest) -> Person:
    return cast(Person, request.user)  # SignInRequired lets nobody else in


def _item_or_404(code: str) -> Item:
    read = codes.parse(code)
    found = item_of_code(read.code) if read.read is codes.Read.CODE else None
    if found is None:
        raise Http404
    return Item.objects.select_related("type").get(pk=found.pk)


@form_page
def fault_report(request: HttpRequest, code: str) -> HttpResponse:
    """Say what a thing does: one tap on a symptom, with a note if one likes. Anybody may."""
    item = _item_or_404(code)
    at = now()
    said = request.POST.get("symptom", "")
    note = request.POST.get("note", "").replace("\0", " ").strip()
    too_long = f"At most {NOTE_MOST} characters: yours has {len(note)}." if len(note) > NOTE_MOST else ""
    if request.method == "POST" and said == Symptom.WET and not too_long and (things := wet_things(item)):
        uid, who = _uid(request.POST.get("uid", "")), _who(request)
        called = calls_record(items=things, why=TestCall.Why.WET, show=item.custody_show, person=who, at=at, uid=uid)
        messages.success(request, called.words)
        return redirect(item)
    if request.method == "POST" and said in set(Symptom) and not too_long:
        fault_open(
            uid=_uid(request.POST.get("uid", "")),
            item=item,
            show=item.custody_show,
            symptom=said,
            note=note,
            at=at,
            person=_who(request),
            found=when_found(item.custody_show, at),
        )
        messages.success(request, f"{item} is suspect from now until somebody has seen to it.")
        return redirect(item)
    context = {
        "section": "Gear",
        "item": item,
        "symptoms": list(Symptom),
        "uid": uuid.uuid4(),
        "note": note,
        "wrong": too_long or ("Tap what it does." if request.method == "POST" else ""),
        "open": _open_faults(item),
    }
    return render(request, "maintenance/report.html", context, status=422 if context["wrong"] else 200)


def _uid(text: str) -> uuid.UUID:
    """Return the form's own id, so that the same form sent twice is one report."""
    try:
        return uuid.UUID(text)
    except ValueError:
        return uuid.uuid4()


def _open_faults(item: Item) -> list[Fault]:
    return list(Fault.objects.filter(item=item, closed_at=None, withdrawn_at=None).select_related("person"))


@form_page
@technician_required
def fault_close_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Close a fault with a sentence, or say which item a channel's report was about."""
    fault = get_object_or_404(Fault.objects.select_related("item__type", "person", "closed_by"), pk=pk)
    asked_which = "code" in request.POST
    form = CloseForm(request.POST if request.method == "POST" and not asked_which else None)
    which = WhichForm(request.POST if request.method == "POST" and asked_which else None)
    try:
        if asked_which and fault.item_id is None and which.is_valid():
            fault_of_item(fault=fault, item=which.cleaned_data["code"])
            messages.success(request, f"{which.cleaned_data['code']} is suspect: it was on that channel.")
            return redirect("fault-close", pk=fault.pk)
        if form.is_bound and form.is_valid():
            given = form.cleaned_data
            fault_close(fault=fault, at=now(), person=_who(request), how=given["how"], taken_as_good=given["taken_as_good"])
            messages.success(request, "Closed.")
            return redirect(fault.item) if fault.item else redirect("needs")
    except FaultRefused as refused:
        messages.error(request, str(refused))
        return redirect("fault-close", pk=fault.pk)
    context = {
        "section": "Gear",
        "fault": fault,
        "form": form,
        "which": which,
        "over": fault.closed_at or fault.withdrawn_at,
        "at_show": show_names([fault.show]).get(fault.show, ("", "")) if fault.show else None,
    }
    status = 422 if form.errors or which.errors else 200
    return render(request, "maintenance/fault_close.html", context, status=status)


@form_page
@technician_required
def taken_as_good(request: HttpRequest, code: str) -> HttpResponse:
    """Answer for a thing without a test: its open faults are closed with one sentence."""
    item = _item_or_404(code)
    form = GoodForm(request.POST if request.method == "POST" else None)
    if form.is_bound and form.is_valid():
        try:
            closed = item_taken_as_good(item=item, at=now(), person=_who(request), how=form.cleaned_data["how"])
        except FaultRefused as refused:
            messages.error(request, str(refused))
            return redirect(reverse("taken-as-good", args=[item.code]))
        faults = {0: "", 1: " One fault was closed."}.get(closed, f" {closed} faults were closed.")
        messages.success(request, f"{item} is taken as good from today.{faults}")
        return redirect(item)
    context = {"section": "Gear", "item": item, "form": form, "open": _open_faults(item)}
    return render(request, "maintenance/taken_as_good.html", context, status=422 if form.errors else 200)


@require_POST
def fault_take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back one's own report, tapped by mistake: it never counted. Anybody may, of what they said themselves."""
    fault = get_object_or_404(Fault.objects.select_related("item"), pk=pk, item__isnull=False)
    item = cast(Item, fault.item)
    if fault.person_id != _who(request).pk or fault.found_by_id is not None:
        messages.warning(request, "Somebody else said that: a technician can see to it.")
    elif fault.closed_at is None and fault_withdraw(uid=fault.uid, at=now()):
        messages.success(request, "Taken back: nothing was said.")
    else:
        messages.warning(request, "There was nothing to take back: it was seen to, or taken back already.")
    return redirect(item)
