"""Strays: what came back and is not ours."""

from datetime import timedelta

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from company.clock import now, today
from inventory.forms_shelf import StrayForm, who
from inventory.models import Stray
from inventory.registries import show_choices, show_names
from inventory.services.strays import StrayRefused, stray_record, stray_reopen, stray_settle

HOW_MOST = 90

PAGE = 50


def strays(request: HttpRequest) -> HttpResponse:
    """List the strays that wait for their owner, or those that were settled."""
    settled = request.GET.get("show") == "settled"
    found = Stray.objects.filter(settled_on__isnull=not settled).select_related("person")
    page = Paginator(found, PAGE).get_page(request.GET.get("page"))
    rows = list(page)
    names = show_names(stray.show for stray in rows)
    for stray in rows:
        stray.from_show = names.get(stray.show, ("", ""))
    return render(request, "inventory/strays.html", {"section": "Shelf", "page": page, "strays": rows, "settled": settled})


def stray_add(request: HttpRequest) -> HttpResponse:
    """Note a stray."""
    at = now()
    form = StrayForm(request.POST or None, shows=show_choices(at), initial={"found_at": at.isoformat()})
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        # the instant the form was drawn; one from another day is not believed
        drawn = data.pop("found_at", None)
        found_at = drawn if drawn and at - timedelta(hours=12) <= drawn <= at else at
        try:
            stray = stray_record(at=found_at, person=who(request), **data)
        except StrayRefused as refused:
            form.add_error("code_text", str(refused))
        else:
            messages.success(request, f"{stray} is kept here until its owner has it again.")
            return redirect("strays")
    context = {"section": "Shelf", "form": form}
    return render(request, "inventory/stray_add.html", context, status=422 if request.method == "POST" else 200)


@require_POST
def stray_settled(request: HttpRequest, pk: int) -> HttpResponse:
    """Settle a stray, or take a settling back."""
    stray = get_object_or_404(Stray, pk=pk)
    if request.POST.get("do") == "reopen":
        stray_reopen(stray=stray)
        return redirect("strays")
    how = request.POST.get("how", "")
    if len(how.strip()) > HOW_MOST:
        messages.error(request, f"At most {HOW_MOST} characters: yours has {len(how.strip())}.")
        return redirect("strays")
    if request.POST.get("do") == "kept":
        how = f"kept{': ' + how.strip() if how.strip() else ', nobody asked for it'}"
    try:
        done = stray_settle(
            stray=stray,
            how=f"given back to {how.strip()}" if request.POST.get("do") == "given" and how.strip() else how,
            on=today(),
        )
    except StrayRefused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, f"{stray}: settled." if done else f"{stray} was settled already.")
    return redirect("strays")
