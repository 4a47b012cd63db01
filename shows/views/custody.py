"""What the record and the scans disagree about, and a technician's word on it."""

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from company.access import technician_required
from company.clock import now
from company.plain import Form
from shows.calc.words import Action
from shows.models import Checkout, Contradiction, Scan

PAGE = 50


class DecideForm(Form):
    decided = forms.CharField(
        label="What happened",
        max_length=300,
        error_messages={"required": "Say what happened.", "max_length": "Keep it under 300 characters."},
        widget=forms.Textarea(attrs={"rows": 2}),
    )


@require_safe
@technician_required
def contradictions(request: HttpRequest) -> HttpResponse:
    """List what nobody has decided yet, oldest first; or, asked for, what was."""
    decided = request.GET.get("decided") == "1"
    rows = Contradiction.objects.filter(stands=True, decided_at__isnull=not decided)
    rows = rows.select_related("item__type", "show", "decided_by").order_by("-happened_at" if decided else "happened_at", "pk")
    page = Paginator(rows, PAGE).get_page(request.GET.get("page"))
    return render(request, "shows/contradictions.html", {"section": "Gear", "page": page, "decided": decided})


@require_http_methods(["GET", "HEAD", "POST"])
@technician_required
def contradiction(request: HttpRequest, pk: int) -> HttpResponse:
    """Decide one: the custody stays what the scans say; to change that, a scan is taken back on the dock."""
    found = get_object_or_404(Contradiction.objects.select_related("item__type", "show", "decided_by"), pk=pk)
    form = DecideForm(request.POST if request.method == "POST" else None, initial={"decided": found.decided})
    if request.method == "POST" and "again" in request.POST:
        Contradiction.objects.filter(pk=pk).update(decided_at=None, decided_by=None, decided="")
        messages.success(request, "Open again.")
        return redirect("contradiction", pk=pk)
    if form.is_bound and form.is_valid():
        undecided = Contradiction.objects.filter(pk=pk, decided_at=None)
        if undecided.update(decided_at=now(), decided_by=request.user, decided=form.cleaned_data["decided"]):
            messages.success(request, "Decided.")
        else:
            messages.warning(request, "Somebody else had decided it already.")
        return redirect("contradictions")
    around = Scan.objects.filter(code__in=found.item.labels.values("code")).exclude(action=Action.UNDO)
    around = around.select_related("actor", "show")
    before = list(around.filter(effective_at__lte=found.happened_at).order_by("-effective_at", "-seq")[:4])
    after = list(around.filter(effective_at__gt=found.happened_at).order_by("effective_at", "seq")[:3])
    context = {
        "section": "Gear",
        "found": found,
        "form": form,
        "scans": [*before[::-1], *after],
        "stay": Checkout.objects.filter(item=found.item, closed_at=None).select_related("show").first(),
    }
    return render(request, "shows/contradiction.html", context, status=422 if form.errors else 200)
