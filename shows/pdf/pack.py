"""The pack as PDF: its parts on the company's paper, the stage drawn with its crosses, and the show's card to scan."""

from reportlab.lib.colors import black, white
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.platypus import Flowable, KeepTogether, Paragraph, Spacer, TableStyle
from reportlab.platypus import Table as Grid

from company.models import Company
from maintenance.pdf import paper as p
from shows.calc.cards import matrix_of, show_card
from shows.calc.direction import Way
from shows.planning.pack import Pack, Part, Plot, Table, briefly

CARD = 26 * mm
QUIET = 4  # modules of quiet zone round a QR code, by its standard
HIGHEST = 120 * mm
_LINED = TableStyle(
    [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, 0), 0.8, black),
        ("LINEBELOW", (0, 1), (-1, -1), 0.3, p.RULE),
        ("LEFTPADDING", (0, 0), (-1, -1), 1.5),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
    ]
)


def pack_pdf(pack: Pack, *, company: Company) -> bytes:
    """Return a show's pack as PDF: text that can be searched, its show and times at the head of each page."""
    p.register()
    width = p.width_of(company.paper)
    body: list[Flowable] = [_head(pack, width)]
    for part in pack.parts:
        body += _part(part, width)
        if part.key == "patch" and pack.plot is not None:
            body += _stage(pack.plot, width)
    if pack.plot is not None and not any(part.key == "patch" for part in pack.parts):
        body += _stage(pack.plot, width)
    return p.document(
        body, paper=company.paper, title=briefly(pack.show), foot=f"{company.name}, printed {p.moment_full(pack.at)}"
    )


def _head(pack: Pack, width: float) -> Flowable:
    show = pack.show
    said = [
        Paragraph(p.words(show.name.upper(), p.MARKER), p.TITLE),
        Paragraph(p.words(", ".join(part for part in (show.venue.name if show.venue else "", show.client) if part)), p.LEDE),
        Paragraph(p.words(pack.times[:1].upper() + pack.times[1:] + "."), p.QUIET),
    ]
    grid = Grid([[said, Card(show.pk, show.name)]], colWidths=[width - CARD - 8 * mm, CARD + 8 * mm])
    grid.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (0, 0), 0)]))
    return grid


def _part(part: Part, width: float) -> list[Flowable]:
    head: list[Flowable] = [Spacer(1, 3 * mm), Paragraph(p.words(part.title.upper(), p.MARKER), p.HEADING)]
    head += [Paragraph(p.words(words), p.TEXT) for words in (*part.says, *part.cautions)]
    body: list[Flowable] = []
    for table in part.tables:
        body += _table(table, width)
    # a heading never stands alone at the foot of a page
    return [KeepTogether([*head, *body[:1]]), *body[1:]] if body and isinstance(body[0], Paragraph) else [*head, *body]


def _table(table: Table, width: float) -> list[Flowable]:
    rows = [[Paragraph(f"<b>{p.words(head)}</b>", p.CELL) for head in table.heads]]
    rows += [[Paragraph(p.words(cell), p.CELL) for cell in row] for row in table.rows]
    grid = Grid(rows, colWidths=[width * share for share in table.shares], repeatRows=1)
    grid.setStyle(_LINED)
    title = [Paragraph(f"<b>{p.words(table.title)}</b>", p.LEDE)] if table.title else []
    return [*title, grid, Spacer(1, 2 * mm)]


def _stage(plot: Plot, width: float) -> list[Flowable]:
    said = f"Seen from above, the audience below. {plot.width_mm / 1000:g} m wide, {plot.depth_mm / 1000:g} m deep"
    said += f"; the mix is {plot.mix_mm / 1000:g} m before its front edge." if plot.mix_mm is not None else "."
    head = [Spacer(1, 3 * mm), Paragraph("STAGE", p.HEADING), Paragraph(p.words(said), p.TEXT)]
    return [KeepTogether([*head, Spacer(1, 2 * mm), Drawn(plot, width)])]


class Card(Flowable):
    """The card that sets the dock to this show, going out, as a QR code with its text below."""

    def __init__(self, show: int, name: str) -> None:
        super().__init__()
        self.card = show_card(show=show, name=name, way=Way.OUT)
        self.width, self.height = CARD, CARD + 4 * mm

    def wrap(self, *_room: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        pen, matrix = self.canv, matrix_of(self.card.text)
        module = CARD / (len(matrix) + 2 * QUIET)
        pen.setFillColor(white)
        pen.rect(0, 4 * mm, CARD, CARD, stroke=0, fill=1)
        pen.setFillColor(black)
        for y, row in enumerate(matrix):
            for x, dark in enumerate(row):
                if dark:
                    pen.rect((x + QUIET) * module, 4 * mm + CARD - (y + QUIET + 1) * module, module, module, stroke=0, fill=1)
        pen.setFont(p.STAMP, 7)
        pen.drawCentredString(CARD / 2, 1 * mm, f"{self.card.text}: scan it out")


class Drawn(Flowable):
    """The stage as a floor in metres with its crosses of tape; a stage box is a square."""

    def __init__(self, plot: Plot, width: float) -> None:
        super().__init__()
        self.plot = plot
        low = min([0, *(cross.x_mm for cross in plot.crosses)])
        high = max([plot.width_mm, *(cross.x_mm for cross in plot.crosses)])
        near = min([0, *(cross.y_mm for cross in plot.crosses)])
        far = max([plot.depth_mm, *(cross.y_mm for cross in plot.crosses)])
        self.low, self.near = low, near
        self.scale = min((width - 24 * mm) / max(1, high - low), (HIGHEST - 16 * mm) / max(1, far - near))
        self.width, self.height = width, (far - near) * self.scale + 16 * mm

    def wrap(self, *_room: float) -> tuple[float, float]:
        return self.width, self.height

    def _at(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        return 8 * mm + (x_mm - self.low) * self.scale, 6 * mm + (y_mm - self.near) * self.scale

    def draw(self) -> None:
        pen, plot = self.canv, self.plot
        x, y = self._at(0, 0)
        wide, deep = plot.width_mm * self.scale, plot.depth_mm * self.scale
        pen.setStrokeColor(p.RULE)
        pen.setLineWidth(0.25)
        for metre in range(1, int(plot.width_mm / 1000) + 1):
            pen.line(x + metre * 1000 * self.scale, y, x + metre * 1000 * self.scale, y + deep)
        for metre in range(1, int(plot.depth_mm / 1000) + 1):
            pen.line(x, y + metre * 1000 * self.scale, x + wide, y + metre * 1000 * self.scale)
        pen.setStrokeColor(black)
        pen.setLineWidth(1)
        pen.rect(x, y, wide, deep, stroke=1, fill=0)
        for cross in plot.crosses:
            self._cross(*self._at(cross.x_mm, cross.y_mm), cross.name, cross.lines, square=cross.sort == "stage box")

    def _cross(self, x: float, y: float, name: str, lines: str, *, square: bool) -> None:
        pen, arm = self.canv, 2 * mm
        pen.setLineWidth(1.6)
        if square:
            pen.rect(x - arm, y - arm, 2 * arm, 2 * arm, stroke=1, fill=0)
        else:
            pen.line(x - arm, y - arm, x + arm, y + arm)
            pen.line(x - arm, y + arm, x + arm, y - arm)
        words = p.bare(f"{name}: {lines}" if lines else name, p.BODY)
        size = 7.0
        long = pdfmetrics.stringWidth(words, p.BODY, size)
        left = min(max(0, x + arm + 2), self.width - long)
        pen.setFillColor(black)
        pen.setFont(p.BODY, size)
        pen.drawString(left, y - arm - 6 if left < x + arm else y - 2, words)
