"""The sheet on the labels page: drawn as it would be printed."""

from dataclasses import dataclass

from django.utils.safestring import SafeString, mark_safe

from inventory.calc import label_drawings as d
from inventory.calc import labels as qr
from inventory.calc.label_sheets import Order, Stock, spots
from inventory.pdf.pictures import parts_svg
from inventory.services.label_runs import Planned, Wanted

MOST_DRAWN = 60  # symbols drawn in a preview; the rest of the sheet is outlines


@dataclass(frozen=True, kw_only=True)
class Preview:
    """The first sheet as it would be printed, as SVG in millimetres, and what is worth saying of its codes."""

    width: float
    height: float
    svg: SafeString
    warnings: tuple[str, ...]
    module_mm: float = 0.0
    reads_cm: int = 0
    dpi: int = 300
    pages: int = 1


def preview_of(planned: Planned, stock: Stock, start: int, wanted: Wanted) -> Preview:
    """Draw the first sheet, or the first labels of a roll, with the places already used dashed."""
    texts, trim = planned.texts, wanted.trim
    places = spots(stock, count=len(texts), start=start, trim=trim, order=Order(wanted.order))
    pages = 1 + (places[-1].page if places else 0)
    drawn: list[str] = []
    warnings: list[str] = []
    fits: list[qr.Fit] = []
    down = 0.0
    for used in spots(stock, count=start - 1, order=Order(wanted.order), trim=trim):
        middle = f'x="{stock.width_mm / 2:g}" y="{stock.height_mm / 2 + 1:g}"'
        drawn.append(
            f'<g transform="translate({used.x_mm:.2f} {used.y_mm:.2f})" class="taken"><rect width="{stock.width_mm:g}"'
            f' height="{stock.height_mm:g}"/><text {middle}>{used.place} used</text></g>'
        )
    for index, (text, spot) in enumerate(zip(texts, places, strict=True)):
        if (spot.page and not stock.roll) or index >= (6 if stock.roll else stock.per_page):
            break
        width, height = stock.width_mm, stock.height_mm or d.natural_size(text)[1]
        if stock.plain:
            own = d.natural_size(text)
            width, height = min(width, own[0]), min(height, own[1])
        x, y = (0.0, down) if stock.roll else (spot.x_mm, spot.y_mm)
        drawing = d.draw(text, width_mm=width, height_mm=height, dpi=wanted.dpi)
        fits.append(drawing.symbol.fit)
        warnings += drawing.warnings
        inside = parts_svg(drawing) if index < MOST_DRAWN else ""
        drawn.append(
            f'<g transform="translate({x:.2f} {y:.2f})"><rect class="cut" width="{width:g}" height="{height:g}"/>{inside}</g>'
        )
        down += height + (stock.gap_y_mm or 3.0)
    worst = min(fits, key=lambda fit: fit.module_mm) if fits else None
    size = (stock.width_mm, max(down, stock.height_mm, 20.0)) if stock.roll else stock.page_mm
    return Preview(
        width=size[0],
        height=size[1],
        svg=mark_safe("".join(drawn)),  # numbers, our own parts, and letters escaped where they are written
        warnings=tuple(warnings),
        module_mm=worst.module_mm if worst else 0.0,
        reads_cm=worst.reads_from_cm if worst else 0,
        dpi=wanted.dpi,
        pages=pages,
    )
