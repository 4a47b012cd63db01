"""Paper for the bench: faces, styles, words safe to set, and a document whose pages are numbered x of y."""

from collections.abc import Callable
from datetime import date, datetime
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import reportlab
from django.utils.timezone import localtime
from reportlab.lib.colors import Color, black
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate

from inventory.pdf import fonts

GREY = Color(0.35, 0.33, 0.3)
RULE = Color(0.6, 0.58, 0.55)
MARGIN = 14 * mm
HEAD = 11 * mm
FOOT = 9 * mm
SIZES = {"a4": A4, "letter": LETTER}
BODY, BOLD, MARKER, STAMP = "Body", "BodyBold", "Marker", "Stamp"


@lru_cache(maxsize=1)
def register() -> None:
    """Make the house's faces and one for sentences known. Bitstream Vera comes with reportlab, its licence beside it."""
    fonts.register()
    here = Path(reportlab.__file__).parent / "fonts"
    pdfmetrics.registerFont(TTFont(BODY, str(here / "Vera.ttf")))
    pdfmetrics.registerFont(TTFont(BOLD, str(here / "VeraBd.ttf")))
    pdfmetrics.registerFontFamily(BODY, normal=BODY, bold=BOLD, italic=BODY, boldItalic=BOLD)


@lru_cache(maxsize=8)
def _has(face: str) -> frozenset[int]:
    register()
    return frozenset(pdfmetrics.getFont(face).face.charToGlyph)


def words(text: object, face: str = BODY) -> str:
    """Return text as a paragraph takes it: marks escaped, a letter the face lacks set in one that has it, else shown as a
    question mark. Thin spaces become plain ones, which every face has."""
    said = str(text).replace("\u2009", "\u00a0").replace("\u2019", "'")
    parts = []
    for letter in said:
        if ord(letter) in _has(face) or letter in "\n\t":
            parts.append(escape(letter))
            continue
        other = next((name for name in (BODY, MARKER) if name != face and ord(letter) in _has(name)), None)
        parts.append(f'<font name="{other}">{escape(letter)}</font>' if other else "?")
    return "".join(parts)


def bare(text: object, face: str) -> str:
    """Return text as a canvas draws it in one face: what the face lacks shows as a question mark."""
    return "".join(
        letter if ord(letter) in _has(face) else "?" for letter in str(text).replace("\u2009", " ").replace("\u00a0", " ")
    )


def day_full(value: date | datetime | None) -> str:
    """Write a day with its year: paper is read years later."""
    if value is None:
        return ""
    on = localtime(value).date() if isinstance(value, datetime) else value
    return f"{on:%a} {on.day} {on:%b} {on.year}"


def moment_full(value: datetime) -> str:
    """Write an instant with its year: Fri 4 Dec 2026, 18:30."""
    return f"{day_full(value)}, {localtime(value):%H:%M}"


def style(name: str, **kw: Any) -> ParagraphStyle:
    """Return a paragraph's style with the house's defaults."""
    values = {"fontName": BODY, "fontSize": 8.6, "leading": 11.6, "textColor": black, "splitLongWords": True, **kw}
    return ParagraphStyle(name, **values)


TEXT = style("text")
QUIET = style("quiet", textColor=GREY, fontSize=8, leading=10.6)
LEDE = style("lede", fontSize=9.6, leading=13)
POINT = style("point", leftIndent=9, bulletIndent=0)
TITLE = style("title", fontName=MARKER, fontSize=24, leading=27, spaceAfter=7)
HEADING = style("heading", fontName=MARKER, fontSize=14, leading=17, spaceBefore=6, spaceAfter=3)
FIGURES = style("figures", fontName=STAMP, fontSize=7.8, leading=10.4)
CELL = style("cell", fontSize=7.8, leading=9.8)
CELL_QUIET = style("cell quiet", fontSize=7.8, leading=9.8, textColor=GREY)


class _Numbered(Canvas):
    """A canvas that knows how many pages there are when it writes the first one's foot."""

    told: Callable[[Canvas, int, int], None]

    def __init__(self, *args: Any, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self._pages: list[dict[str, Any]] = []

    def showPage(self) -> None:  # noqa: N802 (the library's name)
        self._pages.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        for number, page in enumerate(self._pages, 1):
            self.__dict__.update(page)
            type(self).told(self, number, len(self._pages))
            super().showPage()
        super().save()


def document(flowables: list[Flowable], *, paper: str, title: str, foot: str, out: BytesIO | None = None) -> bytes:
    """Lay flowables out on a4 or letter and return the PDF: its title at the head of each page but the first, page x of y at
    its foot."""
    register()
    size = SIZES.get(paper, A4)

    def told(canvas: Canvas, page: int, pages: int) -> None:
        canvas.saveState()
        canvas.setFont(STAMP, 7.4)
        canvas.setFillColor(GREY)
        canvas.drawString(MARGIN, FOOT, bare(foot, STAMP))
        canvas.drawRightString(size[0] - MARGIN, FOOT, f"page {page} of {pages}")
        if page > 1:
            canvas.drawString(MARGIN, size[1] - HEAD, bare(title, STAMP))
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.4)
        canvas.line(MARGIN, FOOT + 4 * mm, size[0] - MARGIN, FOOT + 4 * mm)
        canvas.restoreState()

    maker = type("_Sheet", (_Numbered,), {"told": staticmethod(told)})
    buffer = out or BytesIO()
    doc = BaseDocTemplate(buffer, pagesize=size, title=title, creator="Knowngood", lang="en-GB")
    frame = Frame(MARGIN, FOOT + 8 * mm, size[0] - 2 * MARGIN, size[1] - FOOT - 23 * mm, 0, 0, 0, 0, id="page")
    doc.addPageTemplates([PageTemplate(id="page", frames=[frame], pagesize=size)])
    doc.build(flowables, canvasmaker=maker)
    return buffer.getvalue()


def width_of(paper: str) -> float:
    """Return how wide the words may run, in points."""
    return float(SIZES.get(paper, A4)[0] - 2 * MARGIN)
