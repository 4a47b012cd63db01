"""How the program is: what each part says of itself, and the backups."""

from typing import Any, cast

from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from company.access import owner_required, signed_in, technician_required
from company.backups import backup_named, backup_start, backups_listed, folder
from company.clock import now
from company.registries import STATUS

SHOWN = 40


@require_safe
@never_cache
@technician_required
def status(request: HttpRequest) -> HttpResponse:
    """Show every part in a sentence, what is not well first, and the backups there are."""
    at = now()
    lines = [line for say in STATUS for line in say(at)]
    backups = backups_listed()
    context = {
        "wrong": [line for line in lines if line.well is False],
        "well": [line for line in lines if line.well is not False],
        "backups": backups[:SHOWN],
        "more": max(0, len(backups) - SHOWN),
        "folder": folder(),
        "section": "Shop",
    }
    return render(request, "company/status.html", context)


@require_POST
@technician_required
def backup(request: HttpRequest) -> HttpResponse:
    """Start a backup and show how far it is; one that is under way already is shown instead."""
    job = backup_start(at=now(), person=signed_in(request))
    messages.success(request, "The backup is under way: this page says how far it is.")
    return redirect(job)


@require_safe
@owner_required
def backup_file(request: HttpRequest, name: str) -> HttpResponse:
    """Hand over a backup. It holds everything: owners alone may fetch it."""
    found = backup_named(name)
    if found is None:
        raise Http404
    answer: Any = FileResponse(found.path.open("rb"), as_attachment=True, filename=found.name)
    answer["Cache-Control"] = "private, no-store"
    return cast(HttpResponse, answer)
