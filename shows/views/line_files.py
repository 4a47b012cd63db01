"""An input list as a file and on paper."""

from collections.abc import Iterable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.text import slugify
from django.views.decorators.http import require_POST

from company.access import technician_required
from company.clock import now
from inventory.transfer.reading import UnreadableError, decoded, list_open
from shows.calc.input_list import KEYS, GridError, Row, grid_write, title_of
from shows.models import Show
from shows.planning.input_list import advised_of, judged_of, kinds_known, known_of, line_of, lines_of, rows_of
from shows.views.lines import draw

MOST_BYTES = 2 * 1024 * 1024
_ON_PAPER = ("source", "player", "where", "pickup", "stand", "desk", "box", "phantom", "feed", "whose", "notes")


def _with_advised(show: Show) -> tuple[list[Row], dict[tuple[str, int], str]]:
    found = [line_of(line) for line in lines_of(show)]
    return rows_of(found, kinds_known()), advised_of(show) if found else {}


def lines_csv(request: HttpRequest, pk: int) -> HttpResponse:
    """Send the list for a spreadsheet; the advised mic/DI stands in a column of its own, which is read past on the way in."""
    show = get_object_or_404(Show, pk=pk)
    rows, advised = _with_advised(show)
    told = [{**row, "advised": advised.get((row["way"], int(row["number"])), "")} for row in rows]
    answer = HttpResponse(
        "\ufeff" + grid_write(told, keys=[*KEYS, "advised"], sign=","), content_type="text/csv; charset=utf-8"
    )
    answer["Content-Disposition"] = f'attachment; filename="{slugify(show.name) or "show"}-lines.csv"'
    return answer


@technician_required
@require_POST
def lines_upload(request: HttpRequest, pk: int) -> HttpResponse:
    """Read a file into the grid: nothing is saved until the person who brought it has looked at it."""
    show = get_object_or_404(Show.objects.select_related("venue"), pk=pk)
    file = request.FILES.get("file")
    seen = request.POST.get("seen") or None
    if file is None:
        return draw(request, show, wrong="Choose a file first.", status=422)
    try:
        if file.size and file.size > MOST_BYTES:
            raise UnreadableError("That file is larger than 2 MB: an input list is a few kilobytes. Save the list alone.")
        head = file.read(8)
        file.seek(0)
        if head.startswith(b"PK"):
            opened = list_open(file)
            text = grid_write_cells([opened.headers, *(cells for _line, cells in opened.rows())])
        elif head.startswith((b"%PDF", b"\x89PNG", b"\xff\xd8\xff", b"\xd0\xcf\x11\xe0")) or not head:
            raise UnreadableError("That is no list. Choose a CSV or XLSX file with lines in it.")
        else:
            text = decoded(file.read())[0]
    except UnreadableError as error:
        return draw(request, show, wrong=str(error), status=422)
    try:
        judged, said = judged_of(text, known_of(show))
    except GridError as error:
        return draw(request, show, wrong=str(error), status=422)
    if not judged.rows:
        return draw(request, show, wrong="No line was found in that file.", said=said, status=422)
    return draw(
        request, show, typed=text, judged=judged, said=(f"Read from {file.name}. Look it over, then save.", *said), seen=seen
    )


def grid_write_cells(rows: Iterable[list[str]]) -> str:
    """Return bare cells as the text the reader takes."""
    held = list(rows)
    keys = [str(n) for n in range(max(map(len, held), default=0))]
    told = [{key: " ".join(cell.split()) for key, cell in zip(keys, row, strict=False)} for row in held]
    return grid_write(told, keys=keys, headed=False)


def lines_print(request: HttpRequest, pk: int) -> HttpResponse:
    """Print the input list, inputs then outputs, with what is advised where nobody has said another mic/DI."""
    show = get_object_or_404(Show.objects.select_related("venue"), pk=pk)
    rows, advised = _with_advised(show)
    parts = []
    for way, name in (("in", "inputs"), ("out", "outputs")):
        of_way = [_paper_row(row, advised) for row in rows if row["way"] == way]
        filled = [key for key in _ON_PAPER if key == "source" or any(row.get(key) for row in of_way)]
        if of_way:
            table = [{"number": row["number"], "cells": [row.get(key, "") for key in filled]} for row in of_way]
            parts.append({"name": name, "titles": [title_of(key) for key in filled], "rows": table})
    return render(request, "shows/print_lines.html", {"section": "Shows", "show": show, "at": now(), "parts": parts})


def _paper_row(row: Row, advised: dict[tuple[str, int], str]) -> Row:
    """Fold a row to what fits on paper: the box with its input, what is advised where no mic/DI was said."""
    told = dict(row)
    if "box_input" in row:
        told["box"] = f"{row['box']} {row['box_input']}"
    told["desk"] = row.get("desk", "")
    if not row.get("pickup"):
        told["pickup"] = advised.get((row["way"], int(row["number"])), "")
    if row.get("critical"):
        told["notes"] = f"{row['critical'].capitalize()}. {row.get('notes', '')}".strip()
    return told
