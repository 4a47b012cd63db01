"""Label sheets and rolls by millimetres, and where each label falls on them.

No standard fixes label sizes. The A4 sizes 3 x 7 and the margins of every sheet are checked by arithmetic (what is left of a
sheet is the same on both sides); the others are common sizes from memory. Letter sizes are whole fractions of an inch.
"""

import re
from dataclasses import dataclass
from enum import StrEnum

A4 = (210.0, 297.0)
LETTER = (215.9, 279.4)


class Order(StrEnum):
    """Which way a sheet is filled."""

    ACROSS = "across"
    DOWN = "down"


class StockError(ValueError):
    """A sheet or roll that does not exist, or whose measures make no sense; the message is a sentence."""


@dataclass(frozen=True, kw_only=True)
class Stock:
    """A sheet or a roll. Millimetres. `plain`: no labels on it, so cut lines are drawn and a label takes its own size;
    `height_mm` 0 on a continuous roll: each label is as long as it needs."""

    key: str
    name: str
    page_mm: tuple[float, float]
    columns: int = 1
    rows: int = 1
    width_mm: float
    height_mm: float
    left_mm: float = 0.0
    top_mm: float = 0.0
    gap_x_mm: float = 0.0
    gap_y_mm: float = 0.0
    plain: bool = False
    roll: bool = False
    paper: str = ""

    @property
    def per_page(self) -> int:
        return self.columns * self.rows


@dataclass(frozen=True, kw_only=True)
class Trim:
    """How far a printer is off: a nudge right and down in millimetres, and a scale in per cent of what it should print."""

    right_mm: float = 0.0
    down_mm: float = 0.0
    scale_percent: float = 100.0

    def x(self, mm: float) -> float:
        return mm * self.scale_percent / 100 + self.right_mm

    def y(self, mm: float) -> float:
        return mm * self.scale_percent / 100 + self.down_mm

    def length(self, mm: float) -> float:
        return mm * self.scale_percent / 100


@dataclass(frozen=True, kw_only=True)
class Spot:
    """Where one label goes: page from 0, place from 1, its top left corner in millimetres from the page's."""

    page: int
    place: int
    x_mm: float
    y_mm: float


def _sheet(
    paper: str,
    columns: int,
    rows: int,
    width: float,
    height: float,
    left: float,
    top: float,
    gap: float,
    **more: float | bool | str,
) -> Stock:
    across, down = ("A4", A4) if paper == "a4" else ("US Letter", LETTER)
    plain = bool(more.get("plain", False))
    what = str(more.get("what", ""))
    size = f"{width:g} × {height:g}\u2009mm"
    name = f"{across}, plain: {what}, {size}, to cut" if plain else f"{across}, {columns} × {rows} of {size}"
    return Stock(
        key=f"{paper}-{what.replace(' ', '-')}" if plain else f"{paper}-{columns}x{rows}",
        name=name,
        page_mm=down,
        columns=columns,
        rows=rows,
        width_mm=width,
        height_mm=height,
        left_mm=left,
        top_mm=top,
        gap_x_mm=gap,
        gap_y_mm=float(more.get("gap_y", 0.0)),
        plain=plain,
        paper=paper,
    )


def _roll(width: float, height: float, key: str = "", gap: float = 3.0) -> Stock:
    size = f"{width:g} × {height:g}\u2009mm" if height else f"{width:g}\u2009mm, continuous"
    return Stock(
        key=key or (f"roll-{width:g}x{height:g}" if height else f"roll-{width:g}"),
        name=f"Roll, {size}",
        page_mm=(width, height),
        width_mm=width,
        height_mm=height,
        gap_y_mm=gap,
        roll=True,
        paper="roll",
    )


STOCKS: dict[str, Stock] = {
    stock.key: stock
    for stock in (
        _sheet("a4", 2, 13, 92, 18, 11, 13.5, 4, gap_y=3, plain=True, what="flags"),
        _sheet("a4", 1, 13, 188, 18, 11, 13.5, 0, gap_y=3, plain=True, what="long flags"),
        _sheet("a4", 4, 12, 45, 20, 12, 17.5, 2, gap_y=2, plain=True, what="boxes"),
        _sheet("a4", 2, 4, 92, 62, 11, 18.5, 4, gap_y=4, plain=True, what="cases and cards"),
        _sheet("a4", 3, 8, 70, 37, 0, 0.5, 0),
        _sheet("a4", 3, 7, 63.5, 38.1, 7.25, 15.15, 2.5),
        _sheet("a4", 2, 7, 99.1, 38.1, 4.65, 15.15, 2.5),
        _sheet("a4", 2, 4, 99.1, 67.7, 4.65, 13.1, 2.5),
        _sheet("a4", 5, 13, 38.1, 21.2, 4.75, 10.7, 2.5),
        _sheet("a4", 4, 10, 48.5, 25.4, 8, 21.5, 0),
        _sheet("a4", 4, 16, 45.7, 16.9, 9.7, 13.3, 2.6),
        _sheet("a4", 7, 27, 25.4, 10, 8.6, 13.5, 2.5),
        _sheet("letter", 2, 12, 92, 18, 13.95, 15.2, 4, gap_y=3, plain=True, what="flags"),
        _sheet("letter", 1, 12, 188, 18, 13.95, 15.2, 0, gap_y=3, plain=True, what="long flags"),
        _sheet("letter", 4, 11, 45, 20, 14.95, 19.7, 2, gap_y=2, plain=True, what="boxes"),
        _sheet("letter", 2, 4, 92, 58, 13.95, 17.7, 4, gap_y=4, plain=True, what="cases and cards"),
        _sheet("letter", 3, 10, 66.675, 25.4, 4.7625, 12.7, 3.175),
        _sheet("letter", 2, 10, 101.6, 25.4, 3.96875, 12.7, 4.7625),
        _sheet("letter", 2, 5, 101.6, 50.8, 3.96875, 12.7, 4.7625),
        _sheet("letter", 4, 20, 44.45, 12.7, 7.62, 12.7, 7.62),
        _roll(25, 25),
        _roll(50, 25),
        _roll(57, 32),
        _roll(62, 0, gap=0),
        _roll(100, 50),
    )
}

_OWN = re.compile(r"own-(\d{1,3}(?:\.\d)?)x(\d{1,3}(?:\.\d)?)\+(\d{1,2}(?:\.\d)?)\Z")


def own_roll(width_mm: float, height_mm: float, gap_mm: float) -> Stock:
    """Return a roll of one's own measures. Raises StockError with a sentence."""
    if not 10 <= width_mm <= 200 or not 8 <= height_mm <= 300:
        raise StockError("A label of your own is 10 to 200 mm wide and 8 to 300 mm high.")
    if not 0 <= gap_mm <= 20:
        raise StockError("The gap between labels on a roll is 0 to 20 mm.")
    width_mm, height_mm, gap_mm = (round(value, 1) for value in (width_mm, height_mm, gap_mm))
    return _roll(width_mm, height_mm, key=f"own-{width_mm:g}x{height_mm:g}+{gap_mm:g}", gap=gap_mm)


def stock_of(key: str) -> Stock:
    """Return the stock of a key, of one's own measures as well. Raises StockError with a sentence."""
    if key in STOCKS:
        return STOCKS[key]
    own = _OWN.match(key)
    if own:
        return own_roll(*(float(part) for part in own.groups()))
    raise StockError("That sheet is not one the program knows.")


def spots(stock: Stock, *, count: int, start: int = 1, trim: Trim | None = None, order: Order = Order.ACROSS) -> list[Spot]:
    """Return where so many labels fall, the first at place `start` of the first sheet. Raises StockError for a start that
    is not on the sheet. A roll has one place a page."""
    trim = trim or Trim()
    if not 1 <= start <= stock.per_page:
        raise StockError(f"This sheet has places 1 to {stock.per_page}.")
    found = []
    for index in range(start - 1, start - 1 + count):
        page, place = divmod(index, stock.per_page)
        if order is Order.DOWN:
            column, row = divmod(place, stock.rows)
        else:
            row, column = divmod(place, stock.columns)
        found.append(
            Spot(
                page=page,
                place=place + 1,
                x_mm=trim.x(stock.left_mm + column * (stock.width_mm + stock.gap_x_mm)),
                y_mm=trim.y(stock.top_mm + row * (stock.height_mm + stock.gap_y_mm)),
            )
        )
    return found


def next_start(stock: Stock, *, start: int, count: int) -> int:
    """Return the first free place after a printing: 1 where the last sheet is used up."""
    return (start - 1 + count) % stock.per_page + 1


def off_the_sheet(stock: Stock, trim: Trim) -> str:
    """Say whether a trim pushes labels off the sheet: an empty text, or a sentence."""
    width, height = stock.page_mm
    corners = spots(stock, count=stock.per_page, trim=trim)
    over = max(
        max(-spot.x_mm for spot in corners),
        max(-spot.y_mm for spot in corners),
        max(spot.x_mm + stock.width_mm - width for spot in corners),
        max(spot.y_mm + stock.height_mm - height for spot in corners),
    )
    if over <= 0.05:
        return ""
    return f"With this trim labels run {over:.1f}\u2009mm over the edge of the sheet."
