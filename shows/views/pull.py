"""Editing a pull list: add a line as it is said, change, move, remove with undo, rigs, what goes with it."""

from typing import Any

from django.contrib import messages
from django.core import signing
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_POST

from company.access import technician_required
from company.clock import now, today
from company.plain import in_our_words
from inventory.models import GearType
from shows.calc.words import Critical, Feed
from shows.goes_with import goes_with_lacking
from shows.models import PullRow, Rig, Show
from shows.progress import part_good_for, pull_progress, totals_of
from shows.pull_words import MOST, length_read, wanted_read
from shows.services.pull import rig_pull, row_add, row_edit, row_move, row_put_back, row_remove, rows_copy
from shows.shortage import item_rivals, shortages_of, unmet

SALT = "shows.pull.removed"
UNDO_FOR_S = 24 * 3600
FEEDS = [(f.value, f.value or "nothing") for f in Feed]
CRITICALS = [c.value for c in Critical]


@technician_required
def pull(request: HttpRequest, pk: int) -> HttpResponse:
    """Draw the pull list for editing."""
    show = get_object_or_404(Show.objects.select_related("venue"), pk=pk)
    return _draw(request, show)


def _draw(request: HttpRequest, show: Show, *, typed: dict[str, Any] | None = None, wrong: str = "") -> HttpResponse:
    day = today(now())
    lines = pull_progress(show, day=day)
    of_row = {row_id: line for line in lines for row_id in line.row_ids}
    left, rivals = unmet(shortages_of([show]).get(show.pk, {}), lines), item_rivals(show)
    partly = part_good_for(lines)
    rows = [
        {
            "row": row,
            "line": of_row.get(row.pk),
            "left": None if row.item_id else left.get((row.type_id, row.length_mm)),
            "rivals": rivals.get(row.item_id or 0, []),
            "partly": [] if row.item_id else partly.get((row.type_id, row.length_mm), []),
        }
        for row in show.pull_rows.select_related("type", "item__type")
    ]
    context = {
        "section": "Shows",
        "show": show,
        "rows": rows,
        "totals": totals_of(lines),
        "lacking": goes_with_lacking(show),
        "types": GearType.objects.order_by("name").values_list("name", flat=True),
        "rigs": Rig.objects.all(),
        "earlier": Show.objects.live().exclude(pk=show.pk).order_by("-load_in")[:30],
        "feeds": FEEDS,
        "criticals": CRITICALS,
        "typed": typed or {},
        "wrong": wrong,
        "removed": _removed(request),
    }
    return render(request, "shows/pull.html", context, status=422 if wrong else 200)


def _removed(request: HttpRequest) -> dict[str, str] | None:
    token = request.GET.get("removed", "")
    try:
        kept = signing.loads(token, salt=SALT, max_age=UNDO_FOR_S) if token else None
    except signing.BadSignature:
        return None
    return {"token": token, "name": kept["said"]} if kept else None


def removed_at(show: Show, kept: dict[str, Any], name: str) -> str:
    """Return the address of the list with the way back for a row just removed."""
    token = signing.dumps({**kept, "said": name}, salt=SALT)
    return f"{reverse('pull', args=[show.pk])}?{urlencode({'removed': token})}#removed"


def said_of(error: ValidationError) -> str:
    return " ".join(in_our_words(error).messages)


def row_fields(request: HttpRequest) -> dict[str, Any]:
    """Read the fields a row shares with the add form, or raise with a sentence."""
    given = request.POST
    count_text = given.get("count", "").strip()
    whole = count_text.isascii() and count_text.isdigit() and len(count_text) < 6
    if count_text and not (whole and 1 <= int(count_text) <= MOST):
        raise ValidationError("A count is a whole number, 1 to 10 000.")
    feed, critical = given.get("feed", ""), given.get("critical", "") or Critical.NORMAL.value
    if feed not in dict(FEEDS) or critical not in CRITICALS:
        raise ValidationError("Pick the feed and how critical it is from their lists.")
    texts = {name: given.get(name, "").strip() for name in ("reason", "line")}
    if any("\x00" in text for text in texts.values()):
        raise ValidationError("The text holds a NUL character.")
    return {
        "count": int(count_text) if count_text else None,
        "length_mm": length_read(given.get("length", ""), request.company.units),
        "feed": feed,
        "critical": critical,
        **texts,
    }


@technician_required
@require_POST
def pull_add(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a row as it was said: a type with count and length, or an item's code."""
    show = get_object_or_404(Show, pk=pk)
    try:
        fields = row_fields(request)
        wanted = wanted_read(request.POST.get("what", "")[:200], request.company.units)
        count = 1 if wanted.item else fields.pop("count") or wanted.count or 1
        fields.pop("count", None)
        fields["length_mm"] = wanted.length_mm or fields["length_mm"]
        row = row_add(show=show, type=wanted.type, item=wanted.item, count=count, **fields)
    except ValidationError as error:
        return _draw(request, show, typed=request.POST.dict(), wrong=said_of(error))
    return redirect(f"{reverse('pull', args=[show.pk])}?{urlencode({'added': row.pk})}")


@technician_required
@require_POST
def pull_row(request: HttpRequest, pk: int, row_pk: int) -> HttpResponse:
    """Save a row, move it, or remove it (with the way back in the address)."""
    show = get_object_or_404(Show, pk=pk)
    row = PullRow.objects.select_related("type", "item__type").filter(show=show, pk=row_pk).first()
    scripted = "application/json" in request.headers.get("Accept", "")
    back = reverse("pull", args=[show.pk])
    if row is None:
        said = "Somebody removed that row meanwhile."
        if scripted:
            return JsonResponse({"said": said}, status=409)
        messages.warning(request, said)
        return redirect(back)
    do = request.POST.get("do", "save")
    if do == "remove":
        name = f"{row.count} {row.type.name}" if row.item is None else row.item.label
        return redirect(removed_at(show, row_remove(row=row), name))
    if do in {"up", "down"}:
        row_move(row=row, by=-1 if do == "up" else 1)
        return redirect(f"{back}?{urlencode({'at': row.pk})}#row-{row.pk}")
    try:
        fields = row_fields(request)
        fields["count"] = 1 if row.item_id else fields["count"] or row.count
        if row.item_id:
            fields.pop("length_mm")
        row_edit(row=row, **fields)
    except ValidationError as error:
        if scripted:
            return JsonResponse({"said": said_of(error)}, status=422)
        return _draw(request, show, wrong=said_of(error))
    if scripted:
        return JsonResponse({"said": "saved"})
    return redirect(f"{back}?{urlencode({'at': row.pk})}#row-{row.pk}")


@technician_required
@require_POST
def pull_put_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a removed row back where it was."""
    show = get_object_or_404(Show, pk=pk)
    try:
        kept = signing.loads(request.POST.get("token", ""), salt=SALT, max_age=UNDO_FOR_S)
        if kept["show"] != show.pk:
            raise ValidationError("That row belongs to another show.")
        row = row_put_back(show=show, kept=kept)
    except signing.BadSignature:
        messages.error(request, "What was removed can't be put back any more: type it again.")
    except ValidationError as error:
        messages.error(request, said_of(error))
    else:
        messages.success(request, "It is back on the list." if row else "It was on the list already.")
    return redirect("pull", pk=show.pk)


@technician_required
@require_POST
def pull_rig(request: HttpRequest, pk: int) -> HttpResponse:
    """Add all a rig holds, or all an earlier show pulled."""
    show = get_object_or_404(Show, pk=pk)
    chosen = request.POST.get("rig", "")
    kind, _, key = chosen.partition(":")
    number = int(key) if key.isascii() and key.isdigit() and len(key) < 16 else 0
    try:
        if kind == "rig" and (rig := Rig.objects.filter(pk=number).first()):
            messages.success(request, f"{rig.name}: {rig_pull(show=show, rig=rig)} rows added.")
        elif kind == "show" and (source := Show.objects.filter(pk=number).exclude(pk=show.pk).first()):
            messages.success(request, f"{rows_copy(source=source, show=show)} rows copied from {source.name}.")
        else:
            messages.error(request, "Pick a rig or an earlier show from the list.")
    except ValidationError as error:
        messages.error(request, said_of(error))
    return redirect("pull", pk=show.pk)


@technician_required
@require_POST
def pull_goes_with(request: HttpRequest, pk: int) -> HttpResponse:
    """Add what goes with the list and is lacking: one type, or all. Judged afresh, so that two clicks add once."""
    show = get_object_or_404(Show, pk=pk)
    which, added = request.POST.get("which", "all"), 0
    try:
        for lacking in goes_with_lacking(show):
            if which in {"all", f"{lacking.type.pk}:{lacking.length_mm}"}:
                row_add(
                    show=show,
                    type=lacking.type,
                    count=lacking.count,
                    length_mm=lacking.length_mm,
                    reason=f"goes with {lacking.because[0]}"[:200],
                    origin=PullRow.Origin.GOES_WITH.value,
                )
                added += lacking.count
    except ValidationError as error:
        messages.error(request, said_of(error))
    else:
        messages.success(request, f"{added} added." if added else "Nothing was lacking any more.")
    return redirect("pull", pk=show.pk)
