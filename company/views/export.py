"""Everything the shop owns, taken away: owners alone."""

from typing import Any, cast

from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST, require_safe

from company.access import owner_required, signed_in
from company.clock import now
from company.exports import export_named, export_start


@require_POST
@owner_required
def export_all(request: HttpRequest) -> HttpResponse:
    """Start an export and show how far it is; one that is under way already is shown instead."""
    job = export_start(at=now(), person=signed_in(request))
    messages.success(request, "The export is under way: this page says how far it is.")
    return redirect(job)


@require_safe
@owner_required
def export_all_file(request: HttpRequest, name: str) -> HttpResponse:
    """Hand over an export."""
    found = export_named(name)
    if found is None:
        raise Http404
    answer: Any = FileResponse(found.path.open("rb"), as_attachment=True, filename=found.name)
    answer["Cache-Control"] = "private, no-store"
    return cast(HttpResponse, answer)
