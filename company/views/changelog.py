"""The change log, for owners."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.dateparse import parse_date
from django.views.decorators.http import require_safe

from company.access import owner_required
from company.changelog import PAGE, changes, in_words, tracked_kinds
from company.models import Person


@owner_required
@require_safe
def change_log(request: HttpRequest) -> HttpResponse:
    asked = request.GET
    said = ""
    on = None
    if asked.get("day"):
        try:
            on = parse_date(asked["day"])
        except ValueError:
            on = None
        if on is None or not 1900 < on.year < 9000:
            on, said = None, "That is no day. Write it as 2026-09-25."
    rows = list(
        changes(
            zone=request.company.zone,  # type: ignore[attr-defined]
            person_id=_key(asked.get("person")),
            kind_id=_key(asked.get("kind")),
            on=on,
            before=_key(asked.get("before")),
        )[: PAGE + 1]
    )
    context = {
        "entries": in_words(rows[:PAGE], currency=request.company.currency),  # type: ignore[attr-defined]
        "older": rows[PAGE - 1].pk if len(rows) > PAGE else None,
        "people": Person.objects.with_accounts().order_by("first_name", "username"),
        "kinds": tracked_kinds(),
        "asked": {name: asked.get(name, "") for name in ("person", "kind", "day", "before")},
        "said": said,
    }
    return render(request, "company/change_log.html", context)


def _key(text: str | None) -> int | None:
    """Read a row's key; anything else, and what no database holds, is no filter."""
    return int(text) if text and text.isascii() and text.isdigit() and len(text) <= 18 else None
