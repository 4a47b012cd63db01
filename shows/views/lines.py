"""A show's input list: one grid as one field, saved as one change that can be undone; copies of earlier lists."""

import json
from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from company.access import signed_in, technician_required
from company.clock import now
from shows.calc.input_list import COLUMNS, KEYS, Grid, GridError, Row, title_of
from shows.calc.line_cells import CELL_WORDS
from shows.calc.line_changes import appended, digest
from shows.calc.line_judging import Judged, Known, Line, Said, lines_judge
from shows.models import InputLine, ListSave, ListTemplate, Show
from shows.planning.input_list import advised_of, judged_of, known_of, line_of, lines_of, rows_of, text_of
from shows.services.input_lines import StaleError, lines_save, lines_undo, list_keep
from shows.views.pull import said_of

OPEN_GUESSES = 8  # more of them are folded away


def _show(pk: int) -> Show:
    return get_object_or_404(Show.objects.select_related("venue"), pk=pk)


def lines(request: HttpRequest, pk: int) -> HttpResponse:
    """Draw a show's input list: a grid to a technician, a table to a hand. A POST saves the grid."""
    show = _show(pk)
    if request.method == "POST":
        return lines_write(request, pk)
    return draw(request, show)


def draw(
    request: HttpRequest,
    show: Show,
    *,
    typed: str | None = None,
    judged: Judged | None = None,
    said: Sequence[str] = (),
    wrong: str = "",
    stale: StaleError | None = None,
    seen: str | None = None,
    status: int = 200,
) -> HttpResponse:
    """Draw the page with what is stored, or with what was typed and is not saved yet."""
    known = known_of(show)
    stored = [line_of(line) for line in lines_of(show)]
    unsaved = typed is not None
    if judged is None and typed is None:
        judged = lines_judge(Grid(rows=tuple(rows_of(stored, known.kinds))), known)
        said = ()
    text = typed if judged is None and typed is not None else text_of(judged.rows if judged else ())
    last = ListSave.objects.filter(show=show).select_related("person").first()
    rows = judged.rows if judged else ()
    advised = advised_of(show) if stored else {}
    context = {
        "section": "Shows",
        "room": "lines",
        "show": show,
        "text": text,
        "seen": seen or digest(stored),
        "unsaved": unsaved,
        "wrong": wrong,
        "stale": stale,
        "said": said,
        "stops": [_placed(one, rows) for one in (judged.wrong if judged else ())],
        "looks": [_placed(one, rows) for one in (judged.told if judged else ()) if not _is_guess(one)],
        "guesses": [_placed(one, rows) for one in (judged.told if judged and unsaved else ()) if _is_guess(one)],
        "parts": _parts(rows, advised),
        "counts": {way: sum(1 for line in stored if line.way == way) for way in ("in", "out")},
        "last": last,
        "again": last is not None and last.did == "Undone",
        "columns": json.dumps([_column(column.key) for column in COLUMNS]),
        "marks": json.dumps(marks_of(judged)) if judged else "[]",
        "advised": json.dumps(_advised_by_kind(stored, advised, known)),
        "choices": _choices(known),
        "lists": ListTemplate.objects.values_list("pk", "name"),
        "earlier": Show.objects.live().exclude(pk=show.pk).filter(lines__isnull=False).distinct().order_by("-load_in")[:30],
    }
    return render(request, "shows/lines.html", context, status=status)


def _advised_by_kind(stored: Sequence[Line], advised: dict[tuple[str, int], str], known: Known) -> dict[str, list[str]]:
    """Return what is advised for each stored line beside the kind it was worked out for."""
    names = {kind.key: kind.name for kind in known.kinds}
    of_line = {(line.way.value, line.number): names.get(line.kind, "") for line in stored}
    return {f"{way}:{number}": [of_line.get((way, number), ""), words] for (way, number), words in advised.items()}


def _is_guess(one: Said) -> bool:
    return one.key == "kind" and not one.stops


def _placed(one: Said, rows: Sequence[Row]) -> dict[str, Any]:
    row = rows[one.row] if one.row < len(rows) else {}
    number, out = row.get("number", ""), row.get("way") == "out"
    line = f"{'Out' if out else 'Line'} {number}" if number else f"Row {one.row + 1}"
    return {"line": line, "source": row.get("source", ""), "title": title_of(one.key), "words": one.words, "row": one.row}


def marks_of(judged: Judged) -> list[dict[str, Any]]:
    """Return what is to be said, cell by cell, as the grid on the page takes it."""
    return [
        {
            "row": one.row,
            "key": one.key,
            "words": one.words,
            "stops": one.stops,
            "guess": _is_guess(one),
            "take": list(one.take),
        }
        for one in judged.said
    ]


def _column(key: str) -> dict[str, Any]:
    column = next(column for column in COLUMNS if column.key == key)
    return {"key": key, "title": column.title, "words": [key, column.title, *column.words], "longest": column.longest}


def _choices(known: Known) -> dict[str, Any]:
    """Return what the grid offers in each column, and which kinds are outputs."""
    offers = {
        "kind": [kind.name for kind in known.kinds if kind.way == "in"],
        "kind_out": [kind.name for kind in known.kinds if kind.way == "out"],
        "pickup": sorted(set(known.pickups.values())),
        "stand": sorted(set(known.stands.values())),
        "where": list(known.places),
        "box": [box.name for box in known.boxes],
        **{key: list(words) for key, words in CELL_WORDS.items()},
    }
    return {"json": json.dumps(offers), "kinds": [kind.name for kind in known.kinds]}


def _parts(rows: Sequence[Row], advised: dict[tuple[str, int], str]) -> list[dict[str, Any]]:
    """Return inputs and outputs as tables for a person who reads."""
    parts = []
    for way, name in (("in", "inputs"), ("out", "outputs")):
        of_way = [row for row in rows if row.get("way", "in") == way]
        filled = [key for key in KEYS if key not in {"number", "way", "source"} and any(row.get(key) for row in of_way)]
        table = [
            {
                "number": row.get("number", ""),
                "source": row.get("source", ""),
                "cells": [(title_of(key), row.get(key, "")) for key in filled],
                "advised": advised.get((way, int(row["number"])), "") if row.get("number", "").isdigit() else "",
            }
            for row in of_way
        ]
        parts.append({"way": way, "name": name, "titles": [title_of(key) for key in filled], "rows": table})
    return parts


@technician_required
def lines_write(request: HttpRequest, pk: int) -> HttpResponse:
    """Save the whole grid, or say what keeps it from being saved; what was typed stays on the page."""
    show, text = _show(pk), request.POST.get("grid", "")
    seen = request.POST.get("seen", "") or None
    known = known_of(show)
    try:
        judged, said = judged_of(text, known, strangers_to_notes=request.POST.get("do") == "notes")
    except GridError as error:
        return draw(request, show, typed=text, wrong=str(error), seen=seen, status=422)
    if text.strip() and not judged.rows and not judged.empty:
        wrong = "No line was found in that. Put one source a line, or paste the sheet with its headings."
        return draw(request, show, typed=text, said=said, wrong=wrong, seen=seen, status=422)
    if judged.wrong:
        count = len(judged.wrong)
        wrong = f"Not saved yet: {'one cell keeps' if count == 1 else f'{count} cells keep'} the list from being kept."
        return draw(request, show, typed=text, judged=judged, said=said, wrong=wrong, seen=seen, status=422)
    fresh = [line for line in judged.lines if line is not None]
    try:
        saved = lines_save(show=show, rows=fresh, person=signed_in(request), at=now(), seen=seen)
    except StaleError as stale:
        return draw(request, show, typed=text, judged=judged, said=said, stale=stale, seen=stale.became, status=409)
    except ValidationError as error:
        return draw(request, show, typed=text, judged=judged, said=said, wrong=said_of(error), seen=seen, status=422)
    for words in said:
        messages.info(request, words)
    messages.success(request, saved.words)
    return redirect("lines", pk=show.pk)


@technician_required
@require_POST
def lines_paste(request: HttpRequest, pk: int) -> HttpResponse:
    """Read a grid without saving it: its rows as understood, and what is to be said at which cell."""
    show = _show(pk)
    try:
        judged, said = judged_of(request.POST.get("grid", ""), known_of(show))
    except GridError as error:
        return JsonResponse({"wrong": str(error)}, status=422)
    rows = [[row.get(key, "") for key in KEYS] for row in judged.rows]
    return JsonResponse({"rows": rows, "marks": marks_of(judged), "said": said})


@technician_required
@require_POST
def lines_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Undo the last save of a list, or put it forth again."""
    show = _show(pk)
    try:
        saved = lines_undo(show=show, person=signed_in(request), at=now(), seen=request.POST.get("seen") or None)
    except StaleError as stale:
        return draw(request, show, stale=stale, status=409)
    except ValidationError as error:
        messages.error(request, said_of(error))
    else:
        messages.success(request, f"Undone. {saved.words}")
    return redirect("lines", pk=show.pk)


@technician_required
@require_POST
def lines_copy(request: HttpRequest, pk: int) -> HttpResponse:
    """Take over the list of an earlier show or a kept list: instead of this one, or after it."""
    show, given = _show(pk), request.POST.get("from", "")
    known = known_of(show)
    try:
        name, more = _lines_from(given, known, show)
        there = [line_of(line) for line in InputLine.objects.filter(show=show).select_related(*_NAMES)]
        after = request.POST.get("how") == "append" and there
        fresh = appended(there, more) if after else more
        saved = lines_save(
            show=show,
            rows=fresh,
            person=signed_in(request),
            at=now(),
            seen=request.POST.get("seen") or None,
            did=f"Copied from {name}",
        )
    except StaleError as stale:
        return draw(request, show, stale=stale, status=409)
    except ValidationError as error:
        messages.error(request, said_of(error))
    else:
        messages.success(request, f"Copied from {name}. {saved.words}")
    return redirect("lines", pk=show.pk)


_NAMES = ("type", "place", "pickup", "stand", "box")


def _lines_from(given: str, known: Known, show: Show) -> tuple[str, list[Line]]:
    """Return the name and the lines of what is to be copied, or raise with a sentence."""
    sort, _, key = given.partition(":")
    number = int(key) if key.isascii() and key.isdigit() and len(key) < 16 else 0
    if sort == "show" and (source := Show.objects.filter(pk=number).exclude(pk=show.pk).first()):
        found = [line_of(line) for line in lines_of(source)]
        places = {name.casefold() for name in known.places} - {box.name.casefold() for box in known.boxes}
        if clash := next((line.box for line in found if line.box.casefold() in places), None):
            raise ValidationError(f"“{clash}” is a stage box there and a place for sources here: rename one of them first.")
        name = source.name
    elif sort == "list" and (kept := ListTemplate.objects.filter(pk=number).first()):
        try:
            judged = lines_judge(Grid(rows=tuple(_tidy(row) for row in kept.lines)), known, strangers_to_notes=True)
        except GridError as error:
            raise ValidationError(str(error)) from error
        if judged.wrong:
            raise ValidationError(f"{kept.name} cannot be used as it is: {judged.wrong[0].words}")
        found, name = [line for line in judged.lines if line is not None], kept.name
    else:
        raise ValidationError("Pick an earlier show or a list to copy from.")
    if not found:
        raise ValidationError(f"{name} has no lines to copy.")
    return name, found


def _tidy(row: dict[str, Any]) -> Row:
    return {key: str(value) for key, value in row.items() if key in KEYS and value not in (None, "")}


@technician_required
@require_POST
def lines_keep(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep this list to start others from."""
    show, name = _show(pk), request.POST.get("name", "").strip()
    found = [line_of(line) for line in lines_of(show)]
    try:
        if not found:
            raise ValidationError("There are no lines to keep yet.")
        kept = list_keep(name=name, notes=f"From {show.name}."[:300], lines=found)
    except ValidationError as error:
        messages.error(request, said_of(error))
        return redirect("lines", pk=show.pk)
    messages.success(request, f"Kept as {kept.name}: any show can start from it.")
    return redirect(f"{reverse('lists')}#list-{kept.pk}")
