"""What is done with one item from the office: add, copy, edit, lend, borrow, retire, delete."""

from typing import Any

from django.contrib import messages
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.views.decorators.http import require_http_methods, require_POST

from company.access import owner_required, signed_in, technician_required
from company.clock import now, today
from company.templatetags.tape import code as spelled
from inventory.calc import codes
from inventory.calc.names import NameStyle
from inventory.forms_gear import BorrowForm, ItemAddForm, ItemCopyForm, ItemEditForm, LendForm, PhotoForm, RetireForm
from inventory.models import GearType, Item
from inventory.search import item_of_code
from inventory.services.items import (
    GearRefused,
    item_add,
    item_borrow,
    item_copy,
    item_delete,
    item_edit,
    item_gone_home,
    item_history,
    item_lend,
    item_lent_home,
    item_retire,
    item_unretire,
    items_add,
    style_usual,
)

form_page = require_http_methods(["GET", "HEAD", "POST"])


def item_or_404(code: str) -> Item:
    """Return the item a code leads to."""
    read = codes.parse(code)
    found = item_of_code(read.code) if read.read is codes.Read.CODE else None
    if found is None:
        raise Http404
    return Item.objects.select_related("type", "home", "at").get(pk=found.pk)


@form_page
@technician_required
def gear_add(request: HttpRequest) -> HttpResponse:
    """Add one thing, or twenty-four alike."""
    wanted = {name: request.GET[name] for name in ("type", "code", "count", "length_mm", "home") if request.GET.get(name)}
    kw: dict[str, Any] = {"company": request.company, "person": signed_in(request)}
    form = ItemAddForm(request.POST, **kw) if request.method == "POST" else ItemAddForm(initial=wanted, **kw)
    if request.method == "POST" and form.is_valid():
        try:
            items = _add(request, form.cleaned_data)
        except GearRefused as refused:
            form.add_error("code" if form.cleaned_data["code"] else None, str(refused))
        else:
            return _added(request, items)
    context = {"section": "Gear", "form": form, "no_types": not GearType.objects.exists()}
    return render(request, "inventory/gear_add.html", context, status=422 if form.errors else 200)


def _add(request: HttpRequest, given: dict[str, Any]) -> list[Item]:
    given = dict(given)
    count, style, code, name, serial = (given.pop(n) for n in ("count", "style", "code", "name", "serial"))
    at = now()
    if count == 1 and (code or name or serial):
        if not name:
            name = _next_name(given["type"], given["length_mm"], style)
        return [item_add(**given, code=code, name=name, serial=serial, at=at, person=signed_in(request))]
    style = NameStyle(style) if style else style_usual(type=given["type"], length_mm=given["length_mm"])
    return items_add(**given, count=count, style=style, at=at, person=signed_in(request))


def _next_name(type_: GearType, length_mm: int, style: str) -> str:
    from inventory.services.items import names_for

    chosen = NameStyle(style) if style else style_usual(type=type_, length_mm=length_mm)
    return names_for(type=type_, length_mm=length_mm, count=1, style=chosen)[0]


def _added(request: HttpRequest, items: list[Item]) -> HttpResponse:
    labels = f"{reverse('labels-print')}?codes={','.join(item.code for item in items)}"
    if len(items) == 1:
        messages.success(request, format_html('{} is on record. <a href="{}">Print its label</a>', items[0], labels))
        return redirect(items[0])
    names = format_html_join(", ", "{}", ((item.name or spelled(item.code),) for item in (items[0], items[-1])))
    said = '{} things are on record, {}. <a href="{}">Print their labels</a>'
    messages.success(request, format_html(said, len(items), names, labels))
    return redirect(f"{reverse('gear')}?type={items[0].type_id}&sort=added")


@form_page
@technician_required
def item_copy_page(request: HttpRequest, code: str) -> HttpResponse:
    """Add more like this one."""
    found = item_or_404(code)
    kw: dict[str, Any] = {"company": request.company, "person": signed_in(request)}
    form = ItemCopyForm(request.POST or None, **kw)
    if request.method == "POST" and form.is_valid():
        style = style_usual(type=found.type, length_mm=found.length_mm)
        try:
            items = item_copy(item=found, at=now(), style=style, person=signed_in(request), **form.cleaned_data)
        except GearRefused as refused:
            form.add_error(None, str(refused))
        else:
            return _added(request, items)
    return _form_page(request, found, form, title="Add more like it", button="Add")


@form_page
@technician_required
def item_edit_page(request: HttpRequest, code: str) -> HttpResponse:
    """Change what is written about an item, and its photo."""
    found = item_or_404(code)
    form = ItemEditForm(request.POST or None, item=found, company=request.company, person=signed_in(request))
    if request.method == "POST" and form.is_valid():
        try:
            item_edit(item=found, changes=form.cleaned_data)
        except GearRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, "Kept.")
            return redirect(found)
    context = {
        "section": "Gear",
        "item": found,
        "form": form,
        "photo_form": PhotoForm(),
        "history": item_history(item=found, at=now()) if signed_in(request).is_owner else "-",
    }
    return render(request, "inventory/item_edit.html", context, status=422 if form.errors else 200)


@form_page
@technician_required
def item_retire_page(request: HttpRequest, code: str) -> HttpResponse:
    """Retire an item with a reason, or bring it back."""
    found = item_or_404(code)
    at = now()
    form = RetireForm(request.POST or None)
    if request.method == "POST":
        try:
            if found.retired_on:
                item_unretire(item=found, on=today(at), at=at, person=signed_in(request))
                messages.success(request, f"{found} is back in use.")
                return redirect(found)
            if form.is_valid():
                item_retire(item=found, because=form.cleaned_data["because"], on=today(at), at=at, person=signed_in(request))
                messages.success(request, f"{found} is retired.")
                return redirect(found)
        except GearRefused as refused:
            form.add_error(None, str(refused))
    if found.retired_on:
        return _form_page(request, found, Form(), title="Back in use", button="Bring it back")
    return _form_page(request, found, form, title="Retire it", button="Retire")


@form_page
@technician_required
def item_lend_page(request: HttpRequest, code: str) -> HttpResponse:
    """Lend an item, note that it is borrowed, or that it went home."""
    found = item_or_404(code)
    at = now()
    day = today(at)
    did = request.POST.get("do", "")
    lend = LendForm(request.POST if did == "lend" else None, day=day)
    borrow = BorrowForm(
        request.POST if did == "borrow" else None,
        initial={"borrowed_from": found.borrowed_from, "give_back_by": found.give_back_by},
    )
    who: dict[str, Any] = {"item": found, "on": day, "at": at, "person": signed_in(request)}
    try:
        done = ""
        if did == "lend" and lend.is_valid():
            done = f"Lent to {item_lend(**who, **lend.cleaned_data).lent_to}."
        elif did == "borrow" and borrow.is_valid():
            done = f"Borrowed from {item_borrow(**who, **borrow.cleaned_data).borrowed_from}."
        elif did == "home":
            item_lent_home(**who)
            done = "It is home again."
        elif did == "gone-home":
            item_gone_home(**who)
            done = f"It is with {found.borrowed_from} again."
    except GearRefused as refused:
        messages.error(request, str(refused))
        return redirect("item-lend", code=found.code)
    if done:
        messages.success(request, done)
        return redirect(found)
    context = {"section": "Gear", "item": found, "lend": lend, "borrow": borrow}
    return render(request, "inventory/item_lend.html", context, status=422 if lend.errors or borrow.errors else 200)


@require_POST
@owner_required
def item_delete_it(request: HttpRequest, code: str) -> HttpResponse:
    """Delete an item added by mistake; one with a history stays."""
    found = item_or_404(code)
    try:
        item_delete(item=found, at=now())
    except GearRefused as refused:
        messages.error(request, str(refused))
        return redirect("item-edit", code=found.code)
    messages.success(request, f"{found} is deleted. It had no history.")
    return redirect("gear")


def _form_page(request: HttpRequest, found: Item, form: Form, *, title: str, button: str) -> HttpResponse:
    context = {"section": "Gear", "item": found, "form": form, "title": title, "button": button}
    return render(request, "inventory/item_form.html", context, status=422 if form.errors else 200)
