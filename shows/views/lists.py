"""Input lists to start from: what is kept, renamed, deleted."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import ProtectedError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from company.access import technician_required
from shows.calc.lines import Family
from shows.forms_plan import SourceForm
from shows.models import ListTemplate, SourceType
from shows.views.pull import said_of


def lists(request: HttpRequest) -> HttpResponse:
    """List the input lists a show can start from, with what is on each."""
    found = []
    for kept in ListTemplate.objects.all():
        inputs = [row.get("source", "") for row in kept.lines if row.get("way", "in") != "out"]
        outputs = [row.get("source", "") for row in kept.lines if row.get("way") == "out"]
        found.append({"kept": kept, "inputs": inputs, "outputs": outputs})
    return render(request, "shows/lists.html", {"section": "Shows", "found": found})


@technician_required
@require_POST
def list_change(request: HttpRequest, pk: int) -> HttpResponse:
    """Rename a kept list, or delete one that is ours."""
    kept = get_object_or_404(ListTemplate, pk=pk)
    if request.POST.get("do") == "delete":
        if kept.shipped:
            messages.error(request, f"{kept.name} came with the program and stays. Keep one of your own beside it.")
        else:
            kept.delete()
            messages.success(request, f"{kept.name} is deleted. Shows that started from it keep their lines.")
        return redirect("lists")
    was, kept.name = kept.name, request.POST.get("name", "").strip()
    kept.notes, kept.shipped = request.POST.get("notes", "").strip(), False  # a newer version leaves it alone from now on
    try:
        kept.full_clean()
    except ValidationError as error:
        messages.error(request, f"{was}: {said_of(error)}")
    else:
        kept.save(update_fields=["name", "notes", "shipped"])
        messages.success(request, f"{kept.name} is saved.")
    return redirect("lists")


def sources(request: HttpRequest) -> HttpResponse:
    """List kinds of sources by family, with their figures, their ranges and where they are from."""
    rows = list(SourceType.objects.all())
    families = [
        {"name": family.value, "rows": [row for row in rows if row.family == family]}
        for family in Family
        if any(row.family == family for row in rows)
    ]
    return render(request, "shows/sources.html", {"section": "Shows", "families": families, "count": len(rows)})


@technician_required
def source_edit(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    """Add a kind of source, change one, or delete one of ours; a shipped one that is changed is ours from then on."""
    kind = get_object_or_404(SourceType, pk=pk) if pk else None
    if request.method == "POST" and request.POST.get("do") == "delete" and kind is not None:
        return _delete(request, kind)
    form = SourceForm(request.POST or None, instance=kind)
    if request.method == "POST" and form.is_valid():
        made = form.save()
        messages.success(request, f"{made.name} is saved. Lines of that kind are worked out with its figures from now on.")
        return redirect("sources")
    status = 422 if request.method == "POST" else 200
    return render(request, "shows/source_form.html", {"section": "Shows", "form": form, "kind": kind}, status=status)


def _delete(request: HttpRequest, kind: SourceType) -> HttpResponse:
    if kind.shipped:
        messages.error(request, f"{kind.name} came with the program and stays.")
    else:
        try:
            kind.delete()
        except ProtectedError:
            messages.error(request, f"{kind.name} stands on lines of shows, so it stays.")
        else:
            messages.success(request, f"{kind.name} is deleted.")
    return redirect("sources")
