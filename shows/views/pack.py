"""The pack of a show: a page that prints well, and a PDF."""

import re

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from company.access import signed_in
from company.clock import now
from inventory.calc.qr import matrix_of, path_of
from shows.calc.cards import show_card
from shows.calc.direction import Way
from shows.models import Show
from shows.pdf.pack import pack_pdf
from shows.planning.pack import Plot, pack_of

EDGE_MM = 1_000  # of floor drawn round the stage


def _show(pk: int) -> Show:
    return get_object_or_404(Show.objects.select_related("venue__house_desk_type"), pk=pk)


def pack(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a show's pack as one long page."""
    show, at = _show(pk), now()
    found = pack_of(show, at, prices=signed_in(request).is_technician)
    card = show_card(show=show.pk, name=show.name, way=Way.OUT)
    matrix = matrix_of(card.text)
    context = {
        "section": "Shows",
        "show": show,
        "at": at,
        "pack": found,
        "card": {"text": card.text, "side": len(matrix), "path": path_of(matrix)},
        "drawn": _drawn(found.plot) if found.plot else None,
    }
    return render(request, "shows/pack.html", context)


def _drawn(plot: Plot) -> dict[str, object]:
    """Return where everything lies in the drawing, in millimetres from its own upper left corner."""
    left = min([0, *(one.x_mm for one in plot.crosses)]) - EDGE_MM
    right = max([plot.width_mm, *(one.x_mm for one in plot.crosses)]) + 2 * EDGE_MM
    near = min([0, *(one.y_mm for one in plot.crosses)]) - EDGE_MM
    far = max([plot.depth_mm, *(one.y_mm for one in plot.crosses)]) + EDGE_MM
    unit = max((right - left) / 70, 90)
    crosses = [
        {
            "name": f"{one.name}: {one.lines}" if one.lines else one.name,
            "x": one.x_mm - left,
            "y": far - one.y_mm,
            "box": one.sort == "stage box",
            "end": one.x_mm > (left + right) / 2,
        }
        for one in plot.crosses
    ]
    return {
        "width": right - left,
        "height": far - near,
        "stage": {"x": -left, "y": far - plot.depth_mm, "width": plot.width_mm, "height": plot.depth_mm},
        "across": [metre * 1000 - left for metre in range(1, plot.width_mm // 1000 + 1)],
        "down": [far - metre * 1000 for metre in range(1, plot.depth_mm // 1000 + 1)],
        "crosses": crosses,
        "arm": round(unit),
        "arms": round(2 * unit),
        "text": round(1.5 * unit),
        "wide_m": plot.width_mm / 1000,
        "deep_m": plot.depth_mm / 1000,
        "mix_m": plot.mix_mm / 1000 if plot.mix_mm is not None else None,
    }


def pack_print(request: HttpRequest, pk: int) -> HttpResponse:
    """Answer a show's pack as PDF on the company's paper."""
    show, at = _show(pk), now()
    found = pack_of(show, at, prices=signed_in(request).is_technician)
    answer = HttpResponse(pack_pdf(found, company=request.company), content_type="application/pdf")
    name = re.sub(r"[^a-z0-9]+", "-", show.name.lower()).strip("-")[:40] or "show"
    answer["Content-Disposition"] = f'inline; filename="pack-{name}.pdf"'
    return answer
