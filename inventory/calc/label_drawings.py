"""What is drawn on a label: a list of parts in millimetres from its top left corner, the same for PDF, SVG and PNG.

A box label: QR, name and code. A lead flag: two faces folded back to back around the lead, the QR on one, the name on the
other, and the end (A in a circle, B in a square) on both. A case label, a shelf label and a card are larger box labels.
"""

import itertools
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum

from inventory.calc import labels
from inventory.calc.codes import is_code, spell
from inventory.calc.letter_widths import (
    MARKER_CAP_HEIGHT,
    MARKER_WIDTHS,
    STAMP_CAP_HEIGHT,
    STAMP_FIRST,
    STAMP_LAST,
    marker_width,
    stamp_width,
)

EDGE = 1.0  # nothing is drawn nearer to a label's edge: cutters and rollers are that far off
CODE_CAP_MM = 3.0  # how tall a code is lettered where there is room
LEAST_CAP_MM = 1.2  # below that nobody reads it: it is left out
NEAREST_FOCUS_CM = 7  # nearer than that most phones don't focus (common practice, no source)


class Form(StrEnum):
    """What kind of label it is."""

    BOX = "box"
    FLAG = "flag"
    CASE = "case"
    SHELF = "shelf"
    CARD = "card"


class Face(StrEnum):
    MARKER = "marker"
    STAMP = "stamp"


@dataclass(frozen=True, kw_only=True)
class Words:
    """A line of letters on a baseline. `size_mm` is the em; `anchor` start or middle."""

    x: float
    y: float
    text: str
    face: Face
    size_mm: float
    anchor: str = "start"

    @property
    def width_mm(self) -> float:
        return _width(self.text, self.face, self.size_mm)


@dataclass(frozen=True, kw_only=True)
class Symbol:
    """A QR symbol; x and y are its top left module's corner, inside the quiet zone."""

    x: float
    y: float
    payload: labels.Payload
    fit: labels.Fit


@dataclass(frozen=True, kw_only=True)
class Ring:
    x: float
    y: float
    radius: float
    stroke: float


@dataclass(frozen=True, kw_only=True)
class Frame:
    x: float
    y: float
    width: float
    height: float
    stroke: float
    dashed: bool = False
    quiet: bool = False


@dataclass(frozen=True, kw_only=True)
class Line:
    x1: float
    y1: float
    x2: float
    y2: float
    stroke: float
    dashed: bool = False
    quiet: bool = False


Part = Words | Symbol | Ring | Frame | Line


@dataclass(frozen=True, kw_only=True)
class LabelText:
    """What a label says. `carries` is what its QR holds; `code` is spelled in letters; `length` as 10 m; `end` A, B or none."""

    form: Form
    carries: labels.Payload
    code: str = ""
    name: str = ""
    length: str = ""
    end: str = ""
    diameter_mm: float = 0.0
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Drawing:
    width_mm: float
    height_mm: float
    parts: tuple[Part, ...]
    warnings: tuple[str, ...] = field(default=())

    @property
    def symbol(self) -> Symbol:
        return next(part for part in self.parts if isinstance(part, Symbol))


def natural_size(text: LabelText) -> tuple[float, float]:
    """Return the size a label takes where nothing fixes it: plain paper, a continuous roll."""
    match text.form:
        case Form.FLAG:
            return labels.flag_length_mm(text.diameter_mm), labels.FLAG_HEIGHT_MM
        case Form.CASE | Form.CARD:
            return 92.0, 58.0
        case _:
            return 45.0, 20.0


def draw(text: LabelText, *, width_mm: float, height_mm: float, dpi: int) -> Drawing:
    """Draw a label in a size, for a printer."""
    drawers: dict[Form, Callable[[LabelText, float, float, int], Drawing]] = {Form.FLAG: _flag}
    return drawers.get(text.form, _box)(text, width_mm, height_mm, dpi)


def unprintable(text: str) -> str:
    """Return the letters of a text that the label fonts lack."""
    return "".join(dict.fromkeys(letter for letter in text.upper() if letter not in MARKER_WIDTHS))


def _width(text: str, face: Face, size: float) -> float:
    return stamp_width(text, size) if face is Face.STAMP else marker_width(text, size)


def _cap(face: Face, size: float) -> float:
    return size * (STAMP_CAP_HEIGHT if face is Face.STAMP else MARKER_CAP_HEIGHT) / 1000


def _em(face: Face, cap: float) -> float:
    return cap * 1000 / (STAMP_CAP_HEIGHT if face is Face.STAMP else MARKER_CAP_HEIGHT)


def _stamped(text: str) -> Face:
    return Face.STAMP if all(STAMP_FIRST <= ord(letter) <= STAMP_LAST for letter in text) else Face.MARKER


def _warnings(text: LabelText, fit: labels.Fit) -> tuple[str, ...]:
    found = list(fit.warnings)
    if not found and fit.reads_from_cm < NEAREST_FOCUS_CM:
        found.append(f"A phone must come within {fit.reads_from_cm}\u2009cm of so small a code, nearer than most focus.")
    missing = unprintable(text.name + text.note)
    if missing:
        found.append(f"The label fonts lack {', '.join(missing)}; a question mark stands in.")
    return tuple(found)


@dataclass(frozen=True, kw_only=True)
class _Row:
    """One line to be stacked: how tall its capitals would like to be, and how tall at the most."""

    text: str
    face: Face
    cap: float


def _name_lines(name: str, length: str, width: float, cap: float, most: int) -> list[_Row]:
    """Break a name into at most so many lines of the largest capitals that fit; a length is never set in capitals and
    closes the last line or stands alone."""
    best_size, best_lines = 0.0, list[str]()
    words = name.upper().split()
    whole = [*words, length] if length else words
    if not whole:
        return []
    for count in range(1, min(most, len(whole)) + 1):
        lines = _balanced(whole, count)
        widest = max(_width(line, Face.MARKER, 1.0) for line in lines)
        size = min(_em(Face.MARKER, cap / (1 if count == 1 else 1 + 0.18 * (count - 1))), width / widest)
        if not best_lines or size > best_size * 1.12:
            best_size, best_lines = size, lines
    return [_Row(text=line, face=Face.MARKER, cap=_cap(Face.MARKER, best_size)) for line in best_lines]


def _balanced(words: list[str], count: int) -> list[str]:
    """Break words into lines so that the widest is as narrow as can be: try every break, there are few."""
    if count == 1:
        return [" ".join(words)]
    tries = []
    for first in range(1, len(words) - count + 2):
        lines = [" ".join(words[:first]), *_balanced(words[first:], count - 1)]
        tries.append((max(_width(line, Face.MARKER, 1.0) for line in lines), lines))
    return min(tries, key=lambda tried: tried[0])[1]


def _code_lines(code: str, width: float, cap: float, *, alone: bool = False) -> list[_Row]:
    """Letter a code on one line, or on two broken at its hyphen where one line would fall under three millimetres."""
    spelled = spell(code) if is_code(code) else code
    face = _stamped(spelled)
    one = width / _width(spelled, face, 1.0)
    if _cap(face, one) >= CODE_CAP_MM or spelled == code or alone:
        return [_Row(text=spelled, face=face, cap=min(cap, _cap(face, one)))]
    two = width / _width(spelled[:5], face, 1.0)
    return [_Row(text=part, face=face, cap=min(cap, CODE_CAP_MM, _cap(face, two))) for part in (spelled[:5], spelled[5:])]


def _stack(rows: list[_Row], x: float, top: float, width: float, height: float, *, middle: bool = False) -> list[Part]:
    """Stack lines in a box, centred in its height; all shrink together where they would not fit."""
    rows = [row for row in rows if row.text]
    if not rows:
        return []
    leads = [0.0] + [(0.45 if a.face is b.face else 0.75) * min(a.cap, b.cap) for a, b in itertools.pairwise(rows)]
    wanted = sum(row.cap for row in rows) + sum(leads)
    shrink = min(1.0, height / wanted)
    y = top + (height - wanted * shrink) / 2
    parts: list[Part] = []
    for index, row in enumerate(rows):
        cap = row.cap * shrink
        y += leads[index] * shrink + cap
        if cap >= LEAST_CAP_MM:
            text = "".join(letter if row.face is Face.STAMP or letter in MARKER_WIDTHS else "?" for letter in row.text)
            place = x + width / 2 if middle else x
            parts.append(
                Words(
                    x=place, y=y, text=text, face=row.face, size_mm=_em(row.face, cap), anchor="middle" if middle else "start"
                )
            )
    return parts


def _box(text: LabelText, width: float, height: float, dpi: int) -> Drawing:
    large = text.form in {Form.CASE, Form.CARD} and height >= 30
    edge = EDGE + (1.0 if large else 0.0)
    tall = width < 1.45 * height
    letters = min(0.32 * height, 20.0) if tall else min(max(11.3, 0.45 * width), 0.6 * width)
    room = min(height - 2 * edge - (letters if tall else 0), width - 2 * edge - (0 if tall else letters))
    fit = labels.fit_symbol(text.carries, room_mm=room, dpi=dpi)
    if fit.dots < labels.LEAST_DOTS:  # short of space: the code comes before the letters
        fit = labels.fit_symbol(text.carries, room_mm=min(width, height) - 2 * edge, dpi=dpi)
    side, quiet = fit.side_mm, labels.QUIET_MODULES * fit.module_mm
    parts: list[Part] = []
    if large:
        parts.append(Frame(x=0.9, y=0.9, width=width - 1.8, height=height - 1.8, stroke=0.7))
    if tall:
        left, top = (width - side) / 2, edge
        box = (edge + 0.5, edge + side, width - 2 * edge - 1.0, height - 2 * edge - side)
    else:
        left, top = edge, (height - side) / 2
        start = edge + side
        box = (start, edge + 0.4, width - start - edge - 0.6, height - 2 * edge - 0.8)
    parts.append(Symbol(x=left + quiet, y=top + quiet, payload=text.carries, fit=fit))
    if box[2] > 4 and box[3] > 2:
        name = _name_lines(text.name, text.length, box[2], min(0.19 * height, 13.0), 3 if height > (30 if tall else 16) else 2)
        code = _code_lines(text.code, box[2], max(CODE_CAP_MM, min(0.14 * height, 7.0))) if text.code else []
        note = [_Row(text=line.text, face=Face.MARKER, cap=line.cap) for line in _sentence(text.note, box[2], 0.05 * height)]
        parts += _stack([*name, *code, *note], *box, middle=tall)
    return Drawing(width_mm=width, height_mm=height, parts=tuple(parts), warnings=_warnings(text, fit))


def _sentence(note: str, width: float, cap: float) -> list[_Row]:
    """Break a sentence into lines of small marker."""
    cap = max(cap, 2.2)
    lines: list[str] = []
    for word in note.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and _width(longer, Face.MARKER, _em(Face.MARKER, cap)) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return [_Row(text=line, face=Face.MARKER, cap=cap) for line in lines]


def _end_mark(end: str, x: float, y: float, size: float) -> list[Part]:
    """Draw A in a circle or B in a square, `size` millimetres across, from its top left corner."""
    stroke = max(0.35, size * 0.075)
    cap = size * 0.52
    letter = Words(
        x=x + size / 2, y=y + size / 2 + cap / 2, text=end, face=Face.STAMP, size_mm=_em(Face.STAMP, cap), anchor="middle"
    )
    if end == "A":
        return [Ring(x=x + size / 2, y=y + size / 2, radius=(size - stroke) / 2, stroke=stroke), letter]
    inset = stroke / 2
    return [Frame(x=x + inset, y=y + inset, width=size - stroke, height=size - stroke, stroke=stroke), letter]


def _flag(text: LabelText, width: float, height: float, dpi: int) -> Drawing:
    wrap = labels.wrap_mm(text.diameter_mm)
    face = (width - wrap) / 2
    too_short = labels.flag_fits(width, text.diameter_mm)
    if face < 9:  # nothing to fold: say what would fit, and draw what can be drawn
        wrap, face = max(0.0, width - 18), min(9.0, width / 2)
    parts: list[Part] = [
        Line(x1=at, y1=0, x2=at, y2=height, stroke=0.15, dashed=True, quiet=True) for at in (face, face + wrap)
    ]
    rungs = int(height / 1.8)
    parts += [
        Line(x1=face + 1.2, y1=y, x2=face + wrap - 1.2, y2=y, stroke=0.12, quiet=True)
        for y in (height * (rung + 0.5) / rungs for rung in range(rungs))
        if wrap > 4
    ]
    fit = labels.fit_symbol(text.carries, room_mm=min(height - EDGE, face - EDGE - 11.0), dpi=dpi)
    if fit.dots < labels.LEAST_DOTS:
        fit = labels.fit_symbol(text.carries, room_mm=min(height - EDGE, face - EDGE), dpi=dpi)
    side, quiet = fit.side_mm, labels.QUIET_MODULES * fit.module_mm
    beside, below = face - EDGE - side, height - 2 * EDGE - side
    stacked = below > 6 and beside < 10
    top = EDGE if stacked else (height - side) / 2
    left = (face - side) / 2 if stacked else EDGE
    parts.append(Symbol(x=left + quiet, y=top + quiet, payload=text.carries, fit=fit))
    if stacked:
        parts += _flag_foot(text, EDGE + 0.4, EDGE + side, face - EDGE - 0.8, below)
    else:
        parts += _flag_letters(text, face - beside, beside - EDGE, height)
    parts += _flag_name(text, face + wrap + EDGE + 0.4, face - 2 * EDGE - 0.4, height)
    warnings = (*((too_short,) if too_short else ()), *_warnings(text, fit))
    return Drawing(width_mm=width, height_mm=height, parts=tuple(parts), warnings=warnings)


def _flag_letters(text: LabelText, x: float, width: float, height: float) -> list[Part]:
    """The letters beside the QR: the end's mark, the code, the type and length."""
    if width < 3.5:
        return []
    mark = min(5.0, width, height * 0.3)
    top = EDGE + 0.3
    parts = _end_mark(text.end, x, top, mark) if text.end else []
    if width < 6.5:
        return parts
    below = top + (mark + 0.8 if text.end else 0)
    rows = [*_code_lines(text.code, width, CODE_CAP_MM), *_name_lines(text.name, text.length, width, 2.6, 2)]
    return parts + _stack(rows, x, below, width, height - below - EDGE)


def _flag_foot(text: LabelText, x: float, y: float, width: float, height: float) -> list[Part]:
    """The letters under the QR, where a flag is taller than wide: the end's mark, and beside it code and name."""
    mark = min(5.0, height, width * 0.3) if text.end else 0.0
    parts = _end_mark(text.end, x, y + (height - mark) / 2, mark) if text.end else []
    gap = 0.8 if text.end else 0.0
    room = width - mark - gap
    rows = [*_code_lines(text.code, room, CODE_CAP_MM), *_name_lines(text.name, text.length, room, 3.0, 2)]
    return parts + _stack(rows, x + mark + gap, y, room, height)


def _flag_name(text: LabelText, x: float, width: float, height: float) -> list[Part]:
    """The other face: the end's mark and the name, and the code along the foot."""
    foot = min(5.2, height * 0.32)
    upper = height - 2 * EDGE - foot
    mark = min(9.5, upper, width * 0.4) if text.end else 0.0
    parts = _end_mark(text.end, x, EDGE + (upper - mark) / 2, mark) if text.end else []
    gap = 1.2 if text.end else 0.0
    room = width - mark - gap
    parts += _stack(_name_lines(text.name, text.length, room, 4.4, 3), x + mark + gap, EDGE, room, upper)
    parts += _stack(_code_lines(text.code, width, 4.2, alone=True), x, EDGE + upper + 0.6, width, foot - 0.6)
    return parts
