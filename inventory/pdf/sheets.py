"""Labels as PDF: QR modules as vector paths, one path a symbol, so that no reader draws seams between rows."""

from collections.abc import Callable, Iterable
from io import BytesIO
from typing import BinaryIO

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from inventory.calc import label_drawings as d
from inventory.calc import labels
from inventory.calc.label_sheets import Order, Spot, Stock, Trim, spots
from inventory.pdf import fonts

GREY = 0.55
RULE_MM = 100


def sheets_pdf(
    texts: Iterable[d.LabelText],
    *,
    stock: Stock,
    dpi: int,
    out: BinaryIO,
    start: int = 1,
    trim: Trim | None = None,
    order: Order = Order.ACROSS,
    title: str = "Labels",
    said: Callable[[int], None] | None = None,
) -> int:
    """Write labels onto sheets or a roll and return how many pages came out. `said` hears how many are done, every 50."""
    texts = list(texts)
    places = spots(stock, count=len(texts), start=start, trim=trim, order=order)
    pen = _Pen(out, stock, dpi, title)
    page = 0
    for done, (text, spot) in enumerate(zip(texts, places, strict=True), 1):
        if done > 1 and (spot.page != page or stock.roll):
            pen.canvas.showPage()
        page = spot.page
        pen.label(text, spot)
        if said and done % 50 == 0:
            said(done)
    pen.canvas.save()
    return page + 1


def trial_page_pdf(*, stock: Stock, dpi: int, trim: Trim | None = None, lines: Iterable[str] = ()) -> bytes:
    """Return a test page: every label's outline with its place, and a 100 mm rule across and down to measure."""
    out = BytesIO()
    trim = trim or Trim()
    pen = _Pen(out, stock, dpi, "Test page")
    width, height = pen.page_size(stock.width_mm, stock.height_mm or 60.0)
    if stock.roll:
        pen.page(width, height)
    for spot in spots(stock, count=stock.per_page, trim=trim):
        label_height = stock.height_mm or height
        pen.part(d.Frame(x=0, y=0, width=stock.width_mm, height=label_height, stroke=0.15), spot.x_mm, spot.y_mm)
        number = d.Words(x=1.5, y=4.0, text=str(spot.place), face=d.Face.STAMP, size_mm=3.0)
        pen.part(number, spot.x_mm, spot.y_mm)
    long = RULE_MM if width >= RULE_MM + 20 else int((width - 8) // 10 * 10)
    pen.rule(trim, x=(width - trim.length(long)) / 2, y=height / 2, long=long)
    if height >= RULE_MM + 20:
        pen.rule(trim, x=width / 2 + 20, y=(height - trim.length(RULE_MM)) / 2, long=RULE_MM, down=True)
    for index, line in enumerate(lines):
        words = d.Words(x=0, y=0, text=line, face=d.Face.STAMP, size_mm=3.2)
        if width >= 150:
            pen.note(words, x=width / 2 - 70, y=height / 2 + 10 + 5 * index)
    pen.canvas.save()
    return out.getvalue()


class _Pen:
    """Draw parts on a page whose origin is its top left corner, in millimetres, on whole printer dots where it matters."""

    def __init__(self, out: BinaryIO, stock: Stock, dpi: int, title: str) -> None:
        fonts.register()
        self.stock, self.dpi = stock, dpi
        width, height = stock.page_mm
        self.height = height
        self.canvas = Canvas(out, pagesize=(width * mm, (height or 60) * mm), pageCompression=1, lang="en-GB")
        self.canvas.setTitle(title)
        self.canvas.setCreator("Knowngood")
        self.canvas.setViewerPreference("PrintScaling", "None")
        self._paths: dict[tuple[labels.Payload, labels.Choice], list[tuple[int, int, int]]] = {}

    def page_size(self, width: float, height: float) -> tuple[float, float]:
        return (width, height) if self.stock.roll else self.stock.page_mm

    def page(self, width: float, height: float) -> None:
        self.height = height
        self.canvas.setPageSize((width * mm, height * mm))

    def label(self, text: d.LabelText, spot: Spot) -> None:
        """Draw one label; where nothing fixes its size it takes its own, and plain paper shows where to cut."""
        stock = self.stock
        width, height = stock.width_mm, stock.height_mm or d.natural_size(text)[1]
        if stock.plain:
            own = d.natural_size(text)
            width, height = min(width, own[0]), min(height, own[1])
        if stock.roll:
            self.page(width, height)
        drawing = d.draw(text, width_mm=width, height_mm=height, dpi=self.dpi)
        if stock.plain:
            self.part(d.Frame(x=0, y=0, width=width, height=height, stroke=0.1, quiet=True), spot.x_mm, spot.y_mm)
        for part in drawing.parts:
            self.part(part, spot.x_mm, spot.y_mm)

    def part(self, part: d.Part, x: float, y: float) -> None:
        match part:
            case d.Symbol():
                self._symbol(part, x + part.x, y + part.y)
            case d.Words():
                self.note(part, x + part.x, y + part.y)
            case d.Ring():
                self._pen(part.stroke)
                self.canvas.circle((x + part.x) * mm, self._up(y + part.y), part.radius * mm, stroke=1, fill=0)
            case d.Frame():
                self._pen(part.stroke, dashed=part.dashed, quiet=part.quiet)
                at = (x + part.x) * mm, self._up(y + part.y + part.height)
                self.canvas.rect(*at, part.width * mm, part.height * mm, stroke=1, fill=0)
            case d.Line():
                self._pen(part.stroke, dashed=part.dashed, quiet=part.quiet)
                self.canvas.line((x + part.x1) * mm, self._up(y + part.y1), (x + part.x2) * mm, self._up(y + part.y2))

    def note(self, words: d.Words, x: float, y: float) -> None:
        self.canvas.setFont(fonts.NAMES[words.face], words.size_mm * mm)
        text = words.text.replace("\u2009", " ")
        left = x - words.width_mm / 2 if words.anchor == "middle" else x
        self.canvas.drawString(left * mm, self._up(y), text)

    def rule(self, trim: Trim, *, x: float, y: float, long: int, down: bool = False) -> None:
        """Draw a rule of so many millimetres, with a tick every 10."""
        self._pen(0.2)
        for tick in range(0, long + 1, 10):
            at, height = trim.length(tick), 5.0 if tick in (0, long) else 2.5
            if down:
                self.canvas.line(x * mm, self._up(y + at), (x + height) * mm, self._up(y + at))
            else:
                self.canvas.line((x + at) * mm, self._up(y), (x + at) * mm, self._up(y - height))
        end = (x * mm, self._up(y + trim.length(long))) if down else ((x + trim.length(long)) * mm, self._up(y))
        self.canvas.line(x * mm, self._up(y), *end)
        words = d.Words(x=0, y=0, text=f"{long} mm", face=d.Face.STAMP, size_mm=3.4)
        self.note(words, x + (2 if down else 0) + (5 if down else 0), y + (trim.length(long) / 2 if down else 4.5))

    def _symbol(self, part: d.Symbol, x: float, y: float) -> None:
        key = (part.payload, part.fit.choice)
        if key not in self._paths:
            self._paths.clear()  # a lead's two flags come one after the other; nothing older is asked for again
            self._paths[key] = labels.runs(labels.matrix(part.payload, part.fit.choice))
        dot = 72 / self.dpi
        module = part.fit.dots * dot
        left = round(x * mm / dot) * dot
        top = self.height * mm - round(y * mm / dot) * dot  # a printer counts its dots from the top
        canvas = self.canvas
        canvas.saveState()
        canvas.setFillGray(0)
        canvas.transform(module, 0, 0, -module, left, top)
        # whole numbers, written as they stand: a path object would print each through its slow float printer
        canvas.addLiteral(" ".join(f"{column} {row} {length} 1 re" for column, row, length in self._paths[key]) + " f")
        canvas.restoreState()

    def _pen(self, stroke: float, *, dashed: bool = False, quiet: bool = False) -> None:
        self.canvas.setStrokeGray(GREY if quiet else 0)
        self.canvas.setLineWidth(stroke * mm)
        self.canvas.setDash([1.2 * mm, 1.0 * mm] if dashed else [])

    def _up(self, y: float) -> float:
        return (self.height - y) * mm
