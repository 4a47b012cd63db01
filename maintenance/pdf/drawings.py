"""What is drawn on a bench sheet: a verdict as a piece of tape whose edge says what it came to, and a wiring with its links."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from reportlab.lib.colors import Color, black, white
from reportlab.pdfbase import pdfmetrics
from reportlab.platypus import Flowable

from maintenance.calc.bench import VERDICT_WORDS, Verdict
from maintenance.calc.wiring_layout import Board, picture
from maintenance.pdf.paper import BODY, GREY, MARKER, STAMP, bare

PAPER = Color(0.93, 0.92, 0.9)
# How far each step of a tear goes in from the right end, as in the pages' torn strips.
_TEAR = (4, 13, 7, 18, 10, 20, 9, 15, 5, 11)
PX = 0.6  # points a pixel of the screen's drawing


class VerdictStrip(Flowable):
    """A verdict on tape: cut straight, dashed, torn or folded, with its mark and its word."""

    def __init__(self, verdict: str, words: str, width: float) -> None:
        super().__init__()
        self.verdict, self.words = Verdict(verdict), words
        self.width, self.height = width, 34.0

    def wrap(self, *_room: float) -> tuple[float, float]:
        return self.width, self.height + 4

    def draw(self) -> None:
        pen, high, wide = self.canv, self.height, self.width
        pen.setStrokeColor(black)
        pen.setFillColor(white)
        pen.setLineWidth(1.1)
        path = pen.beginPath()
        path.moveTo(0, 0)
        path.lineTo(2, high)
        if self.verdict == Verdict.FAIL:
            for step, deep in enumerate(_TEAR):
                path.lineTo(wide - deep, high - high * step / (len(_TEAR) - 1))
        else:
            path.lineTo(wide, high)
            path.lineTo(wide - 2, 0)
        path.close()
        if self.verdict == Verdict.WATCH:
            pen.setDash(7, 4)
        pen.drawPath(path, stroke=1, fill=1)
        pen.setDash()
        if self.verdict == Verdict.CANNOT_TELL:
            pen.line(wide - 13, 0, wide - 11, high)
        self._mark(12, high / 2)
        pen.setFillColor(black)
        pen.setFont(MARKER, 20)
        pen.drawString(28, high / 2 - 7, VERDICT_WORDS[self.verdict].upper())
        pen.setFont(STAMP, 8)
        pen.drawRightString(wide - 30, high / 2 - 3, bare(self.words, STAMP))

    def _mark(self, x: float, y: float) -> None:
        pen = self.canv
        pen.setLineWidth(2)
        pen.setLineCap(1)
        if self.verdict == Verdict.PASS:
            pen.line(x - 6, y - 1, x - 2, y - 6)
            pen.line(x - 2, y - 6, x + 7, y + 7)
        elif self.verdict == Verdict.WATCH:
            pen.ellipse(x - 8, y - 5, x + 8, y + 5, stroke=1, fill=0)
            pen.setFillColor(black)
            pen.circle(x, y, 2, stroke=0, fill=1)
        elif self.verdict == Verdict.FAIL:
            corners = [(-3.3, 8), (3.3, 8), (8, 3.3), (8, -3.3), (3.3, -8), (-3.3, -8), (-8, -3.3), (-8, 3.3)]
            path = pen.beginPath()
            path.moveTo(x + corners[0][0], y + corners[0][1])
            for dx, dy in corners[1:]:
                path.lineTo(x + dx, y + dy)
            path.close()
            pen.setFillColor(black)
            pen.drawPath(path, stroke=0, fill=1)
            pen.setStrokeColor(white)
            pen.line(x - 4, y, x + 4, y)
            pen.setStrokeColor(black)
        else:
            pen.circle(x, y, 7, stroke=1, fill=0)


class WiringDrawing(Flowable):
    """One board of a wiring: plugs left and right, and what reaches what as it was measured."""

    def __init__(self, board: Board, width: float) -> None:
        super().__init__()
        self.board = board
        self.width = width
        self.height = board.height * PX

    def wrap(self, *_room: float) -> tuple[float, float]:
        return self.width, self.height + 6

    def _y(self, px: float) -> float:
        return self.height - px * PX

    def draw(self) -> None:
        pen = self.canv
        left, right = 46.0, self.width - 46.0
        pen.setLineCap(1)
        for wire in self.board.across:
            self._wire(wire, left, right)
        for join in self.board.beside:
            self._bracket(join, left, right)
        for plug in self.board.plugs:
            self._plug(plug, left, right)

    def _plug(self, plug: Any, left: float, right: float) -> None:
        pen = self.canv
        x = right if plug.right else left - 40
        pen.setStrokeColor(black)
        pen.setLineWidth(0.9)
        pen.setFillColor(PAPER)
        pen.rect(x, self._y(plug.top + plug.height - 2), 40, (plug.height - 4) * PX, stroke=1, fill=1)
        pen.setFillColor(black)
        pen.setFont(MARKER, 15)
        pen.drawCentredString(x + (31 if plug.right else 9), self._y(plug.top + plug.height / 2) - 5, bare(plug.name, MARKER))
        for pin in plug.pins:
            at = right if plug.right else left
            pen.setFillColor(black)
            pen.circle(at, self._y(pin.y), 2 if self.board.close else 3, stroke=0, fill=1)
            pen.setFont(STAMP, 5.5 if self.board.close else 7.5)
            label = bare(pin.label, STAMP)
            if plug.right:
                pen.drawString(at + 6, self._y(pin.y) - 2.6, label)
            else:
                pen.drawRightString(at - 6, self._y(pin.y) - 2.6, label)

    def _wire(self, wire: Any, left: float, right: float) -> None:
        pen = self.canv
        one, two = self._y(wire.left), self._y(wire.right)
        pen.setStrokeColor(black)
        if wire.kind == "open":
            pen.setLineWidth(1.2)
            pen.setDash(4, 3)
            stub = (right - left) * 0.25
            pen.line(left, one, left + stub, one)
            pen.line(right - stub, two, right, two)
            pen.setDash()
            pen.setFillColor(white)
            for x, y in ((left + stub, one), (right - stub, two)):
                pen.circle(x, y, 3, stroke=1, fill=1)
        else:
            pen.setLineWidth({"wrong": 3.6, "short": 3.6}.get(wire.kind, 1.2))
            if wire.kind == "unread":
                pen.setDash(1, 3)
            middle = (right - left) * 0.4
            pen.bezier(left, one, left + middle, one, right - middle, two, right, two)
            pen.setDash()
            if wire.kind == "high":
                self._zigzag((left + right) / 2, (one + two) / 2)
        note = wire.note or wire.resistor
        if note and not self.board.close:
            self._words(note, (left + right) / 2, (one + two) / 2 + (10 if wire.kind == "wrong" else 5))

    def _words(self, note: str, x: float, y: float) -> None:
        pen, text = self.canv, bare(note, BODY)
        half = pdfmetrics.stringWidth(text, BODY, 7) / 2 + 2
        pen.setFillColor(white)
        pen.rect(x - half, y - 2, 2 * half, 8.5, stroke=0, fill=1)
        pen.setFillColor(black)
        pen.setFont(BODY, 7)
        pen.drawCentredString(x, y, text)

    def _zigzag(self, x: float, y: float) -> None:
        pen = self.canv
        pen.setFillColor(white)
        pen.rect(x - 17, y - 7, 34, 14, stroke=0, fill=1)
        path = pen.beginPath()
        path.moveTo(x - 17, y)
        for step, up in enumerate((0, 6, -6, 6, -6, 0)):
            path.lineTo(x - 12 + step * 4.8, y + up)
        path.lineTo(x + 17, y)
        pen.setLineWidth(1.2)
        pen.drawPath(path, stroke=1, fill=0)

    def _bracket(self, join: Any, left: float, right: float) -> None:
        pen = self.canv
        x = right if join.right else left
        out = 16 * join.depth * (-1 if join.right else 1)
        top, foot = self._y(join.top), self._y(join.foot)
        pen.setStrokeColor(black)
        pen.setLineWidth(3.6 if join.kind in {"short", "wrong"} else 1.2)
        pen.setDash(*((1, 3) if join.kind == "unread" else (4, 3) if join.kind == "open" else ((), 0)))
        path = pen.beginPath()
        path.moveTo(x, top)
        path.lineTo(x + out, top)
        path.lineTo(x + out, foot)
        path.lineTo(x, foot)
        pen.drawPath(path, stroke=1, fill=0)
        pen.setDash()
        words = join.resistor or join.note
        if words and not self.board.close:
            pen.setFillColor(GREY)
            pen.setFont(BODY, 7)
            draw = pen.drawRightString if join.right else pen.drawString
            draw(x + out + (-5 if join.right else 5), (top + foot) / 2 - 2.5, bare(words, BODY))


def wiring_flowables(
    links: Iterable[Any],
    ends: Sequence[Any],
    *,
    width: float,
    roles: Mapping[str, str] | None = None,
    resistors: Mapping[tuple[str, str], str] | None = None,
    sends: int | None = None,
) -> tuple[list[Flowable], str]:
    """Return a wiring's boards to set on a page, and the whole picture in words."""
    drawn = picture(ends=ends, links=links, roles=roles, resistors=resistors, sends=sends)
    return [WiringDrawing(board, min(width, 330.0)) for board in drawn.boards], drawn.told
