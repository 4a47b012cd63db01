"""Bind a label: scan it, then say what it is stuck on."""

import uuid
from typing import Any, cast
from urllib.parse import urlencode

from django import forms
from django.contrib import messages
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache

from company import clock
from company.access import technician_required
from company.models import Person
from company.plain import Form
from inventory.calc import codes
from inventory.labelled import blank_and_printed
from inventory.models import CountedLine, GearType, Item, Label
from inventory.services.counted import counted_to_item
from inventory.services.items import GearRefused, item_add
from inventory.services.labels import LabelRefused, label_bind

SHOWN = 40


class BindForm(Form):
    """What the label is stuck on: a thing there is, a new one, or one out of a counted line."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, label_suffix="", **kwargs)

    type = forms.ModelChoiceField(GearType.objects.all(), label="What is it", required=False, empty_label="Choose a type")
    name = forms.CharField(
        label="What tells it from its kind", max_length=40, required=False, help_text="A, 3, red. May be empty."
    )
    length = forms.DecimalField(
        label="Length in metres", required=False, min_value=0, max_value=1000, decimal_places=3, help_text="For leads."
    )
    line = forms.ModelChoiceField(
        CountedLine.objects.select_related("type"), label="Counted line", required=False, empty_label="Choose a line"
    )


@never_cache
@technician_required
def label_bind_view(request: HttpRequest) -> HttpResponse:
    """Ask for a label, look it up, and bind it. A label that is bound already says to what."""
    asked = request.POST.get("code", "") if request.method == "POST" else request.GET.get("code", "")
    read = codes.parse(asked) if asked else None
    context: dict[str, Any] = {"section": "Labels", "asked": asked, "form": BindForm(), "uid": uuid.uuid4()}
    context["next"] = _next(request)
    context["loose"] = blank_and_printed().order_by("-printed_at", "code")[:12]
    if read is None:
        return render(request, "inventory/label_bind.html", context)
    if read.read is not codes.Read.CODE:
        context["why"] = read.why or "That is a card, not a label to stick on a thing."
        return render(request, "inventory/label_bind.html", context, status=422 if request.method == "POST" else 200)
    context["code"] = read.code
    if request.method == "POST" and "way" in request.POST:
        return _bind(request, read.code, context)
    label = Label.objects.filter(code=read.code).select_related("item__type").first()
    context["bound"] = label.item if label else None
    context["minted"] = label is not None
    context |= _candidates(request)
    return render(request, "inventory/label_bind.html", context)


def _bind(request: HttpRequest, code: str, context: dict[str, Any]) -> HttpResponse:
    at, way = clock.now(), request.POST["way"]
    form = BindForm(request.POST)
    context["form"] = form
    try:
        uid = uuid.UUID(request.POST.get("uid", ""))
    except ValueError:
        uid = uuid.uuid4()
    try:
        item = _item_of(way, form, request, code, uid, at) if form.is_valid() else None
    except (LabelRefused, GearRefused) as refused:
        context["why"] = str(refused)
        item = None
    if item is None:
        if form.is_valid() and "why" not in context:
            context["why"] = "Choose what the label is stuck on."
        context |= _candidates(request)
        return render(request, "inventory/label_bind.html", context, status=422)
    if there := _next(request):
        messages.success(request, f"{codes.spell(code)} is the label of {item}.")
        return redirect(f"{there}?{urlencode({'scan': item.code})}")
    messages.success(request, f"{codes.spell(code)} is the label of {item}. Scan the next one.")
    return redirect(f"{reverse('label-bind')}?done={item.code}")


def _next(request: HttpRequest) -> str:
    """Return the page that sent somebody here, which goes on with what the label was bound to; only one of our own."""
    asked = (request.POST if request.method == "POST" else request.GET).get("next", "")[:200]
    ours = url_has_allowed_host_and_scheme(asked, allowed_hosts=None) and asked.startswith("/") and "?" not in asked
    return asked if ours else ""


def _item_of(way: str, form: BindForm, request: HttpRequest, code: str, uid: uuid.UUID, at: Any) -> Item | None:
    given = form.cleaned_data
    length_mm = round((given.get("length") or 0) * 1000)
    match way:
        case "new" if given.get("type"):
            return item_add(
                type=given["type"],
                at=at,
                person=cast(Person, request.user),
                code=code,
                uid=uid,
                name=given["name"],
                length_mm=length_mm,
            )
        case "counted" if given.get("line"):
            return counted_to_item(line=given["line"], person=cast(Person, request.user), at=at, code=code, uid=uid)
        case "item":
            read = codes.parse(request.POST.get("item", ""))
            item = Item.objects.select_related("type").filter(labels__code=read.code).first() if read.code else None
            if item:
                label_bind(code=code, item=item, at=at)
            return item
    return None


def _candidates(request: HttpRequest) -> dict[str, Any]:
    """Return things the label may be stuck on: what lost its label or never had one first, then what was searched for."""
    words = request.GET.get("like", "").strip()[:80]
    things = Item.objects.owned().select_related("type")
    if words:
        read = codes.parse(words)
        wanted = Q(labels__code=read.code) if read.code else Q()
        if not read.code:
            for word in words.split()[:5]:
                wanted &= Q(type__name__icontains=word) | Q(name__icontains=word) | Q(serial__icontains=word)
        found = things.filter(wanted).distinct().order_by("type__name", "length_mm", "name", "code")[:SHOWN]
    else:
        found = things.filter(label_gone_since__isnull=False).order_by("-label_gone_since")[:SHOWN]
    return {"like": words, "found": found, "lines": CountedLine.objects.exists()}
