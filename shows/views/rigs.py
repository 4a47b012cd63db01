"""Rigs: named sets that always go together."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Count, Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from company.access import technician_required
from inventory.models import GearType
from shows.forms import RigForm
from shows.models import Rig, RigRow, Show
from shows.pull_words import wanted_read
from shows.services.rigs import rig_from_show, rig_row_add
from shows.views.pull import CRITICALS, FEEDS, row_fields, said_of


def rigs(request: HttpRequest) -> HttpResponse:
    """List rigs with how much each holds."""
    found = Rig.objects.annotate(kinds=Count("rows"), things=Sum("rows__count"))
    return render(request, "shows/rigs.html", {"section": "Shows", "rigs": found.order_by("name"), "form": RigForm()})


@technician_required
@require_POST
def rig_add(request: HttpRequest) -> HttpResponse:
    """Make a rig, empty or from what a show pulls."""
    form = RigForm(request.POST)
    if not form.is_valid():
        found = Rig.objects.annotate(kinds=Count("rows"), things=Sum("rows__count")).order_by("name")
        return render(request, "shows/rigs.html", {"section": "Shows", "rigs": found, "form": form}, status=422)
    number = request.POST.get("show", "")
    with transaction.atomic():
        made = form.save()
        source = (
            Show.objects.filter(pk=int(number)).first() if number.isascii() and number.isdigit() and len(number) < 16 else None
        )
        if source is not None:
            rig_from_show(rig=made, show=source)
    messages.success(request, f"{made.name} is there. Put in what always goes together.")
    return redirect(made)


def rig(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a rig and, to a technician, what changes it."""
    return _draw(request, get_object_or_404(Rig, pk=pk))


def _draw(request: HttpRequest, found: Rig, *, wrong: str = "", form: RigForm | None = None) -> HttpResponse:
    context = {
        "section": "Shows",
        "rig": found,
        "rows": found.rows.select_related("type"),
        "form": form or RigForm(instance=found),
        "types": GearType.objects.order_by("name").values_list("name", flat=True),
        "feeds": FEEDS,
        "criticals": CRITICALS,
        "typed": request.POST.dict() if wrong else {},
        "wrong": wrong,
    }
    return render(request, "shows/rig.html", context, status=422 if wrong or form else 200)


@technician_required
@require_POST
def rig_change(request: HttpRequest, pk: int) -> HttpResponse:
    """Rename a rig, add a row to it, change or remove one, or delete it."""
    found = get_object_or_404(Rig, pk=pk)
    do, _, number = request.POST.get("do", "").partition(":")
    row_pk = int(number) if number.isascii() and number.isdigit() and len(number) < 16 else 0
    if do == "delete":
        found.delete()
        messages.success(request, f"{found.name} is deleted. Pull lists it was put on keep their rows.")
        return redirect("rigs")
    if do == "rename":
        form = RigForm(request.POST, instance=found)
        if not form.is_valid():
            return _draw(request, Rig.objects.get(pk=pk), form=form)
        form.save()
        messages.success(request, "Saved.")
    elif do == "remove":
        RigRow.objects.filter(rig=found, pk=row_pk).delete()
    elif do == "add":
        try:
            fields = row_fields(request)
            fields.pop("reason")
            wanted = wanted_read(request.POST.get("what", "")[:200], request.company.units)
            fields["count"] = fields["count"] or wanted.count or 1
            fields["length_mm"] = wanted.length_mm or fields["length_mm"]
            rig_row_add(rig=found, type=wanted.type, **fields)
        except ValidationError as error:
            return _draw(request, found, wrong=said_of(error))
    elif do == "count" and (row := RigRow.objects.filter(rig=found, pk=row_pk).first()):
        text = request.POST.get("count", "")
        if not (text.isascii() and text.isdigit() and len(text) < 6 and 1 <= int(text) <= 10_000):
            return _draw(request, found, wrong="A rig takes between 1 and 10 000.")
        row.count = int(text)
        row.save(update_fields=["count"])
        messages.success(request, "Saved.")
    return redirect(found)
