"""One shopping list for everything that runs low, wore out or went missing."""

import uuid
from collections import defaultdict

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from company.access import technician_required
from company.clock import now
from inventory.forms_shelf import form_uid, who
from inventory.models import CountedLine
from inventory.registries import SHOPPING, Wanted
from inventory.services.counted import MOST, count_bought


@technician_required
def shopping(request: HttpRequest) -> HttpResponse:
    """Draw the list, or add what was ticked as bought to the ledgers."""
    at = now()
    if request.method == "POST":
        return _bought(request)
    groups: dict[str, list[Wanted]] = defaultdict(list)
    for source in SHOPPING:
        for wanted in source(request, at):
            groups[wanted.group].append(wanted)
    lines = [wanted for group in groups.values() for wanted in group]
    context = {
        "section": "Shelf",
        "groups": dict(groups),
        "lines": lines,
        "tickable": any(wanted.line_id for wanted in lines),
        "total_cents": sum(wanted.cents * wanted.count for wanted in lines if wanted.cents),
        "unpriced": sum(1 for wanted in lines if wanted.cents is None),
        "uid": uuid.uuid4(),
        "at": at,
    }
    return render(request, "inventory/shopping.html", context)


def _bought(request: HttpRequest) -> HttpResponse:
    """Enter every ticked line: a tick without a sane number is named and left on the list."""
    at, uid = now(), form_uid(request)
    keys = [int(key) for key in request.POST.getlist("line") if key.isascii() and key.isdigit() and len(key) < 16]
    done = []
    for line in CountedLine.objects.filter(pk__in=keys[:500]).select_related("type"):
        text = request.POST.get(f"count-{line.pk}", "").strip()
        if not (text.isascii() and text.isdigit() and 1 <= len(text) <= 6 and 1 <= int(text) <= MOST):
            messages.error(request, f"{line}: say how many were bought, as a whole number.")
            continue
        count_bought(
            uid=uuid.uuid5(uid, str(line.pk)), line=line, count=int(text), at=at, person=who(request), note="shopping list"
        )
        done.append(f"{int(text)} × {line}")
    if done:
        messages.success(request, f"Bought: {', '.join(done)}.")
    elif not keys:
        messages.error(request, "Tick what was bought first.")
    return redirect("shopping")
