"""The drawing of a stage from above, in millimetres: floor, crosses of tape, runs, letters that do not lie on one another.

The floor's left front corner as the audience sees it is 0, 0; x runs to its right, y upstage. A drawing's own y runs down, as a
page does: upstage is drawn at the top, the mix below the front edge.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from shows.calc.lines import PlaceSort

MARGIN_MM = 700
CROSS_MM = 170  # half of a cross's arm
GRID_MM = 1_000
FOOT_GRID_MM = 5 * 304.8
MOST_GRID = 120  # lines: more is a grey field
LETTER_SHARE = 1 / 42  # of the drawing's larger side
WIDE = 0.56  # of a letter's height: how wide one is on the average
FRONT_MM = 2_600  # how much of the hall is drawn: a mix further off stands at its edge, its run broken, its distance lettered
NEAR_MM = 150  # two crosses nearer than this are one spot
SCALES_MM = (500, 1_000, 2_000, 5_000, 10_000, 20_000)


@dataclass(frozen=True, kw_only=True)
class Floor:
    """A stage: its width and depth; either None: nobody knows yet."""

    width_mm: int | None
    depth_mm: int | None

    @property
    def known(self) -> bool:
        return bool(self.width_mm and self.depth_mm)


@dataclass(frozen=True, kw_only=True)
class Spot:
    """A place on the plan; without coordinates it is not drawn. `under` is a second line of small letters."""

    key: str
    name: str
    sort: str = PlaceSort.SOURCE
    x_mm: int | None = None
    y_mm: int | None = None
    under: str = ""
    runs_to: str = ""  # the key of the box or mix its lines go to
    played: bool = True  # somebody stands there: not only loudspeakers
    off_mm: int = 0  # how far in front of the stage it really stands, where it is drawn nearer

    @property
    def placed(self) -> bool:
        return self.x_mm is not None and self.y_mm is not None


@dataclass(frozen=True, kw_only=True)
class Stroke:
    """A straight line; `kind` says what it is: floor, front, middle, grid, arm, run, scale."""

    kind: str
    x1: float
    y1: float
    x2: float
    y2: float
    key: str = ""


@dataclass(frozen=True, kw_only=True)
class Lettering:
    """Words on the drawing; `anchor` is start, middle or end; `size` their height in mm."""

    kind: str
    x: float
    y: float
    words: str
    anchor: str
    size: float
    key: str = ""


@dataclass(kw_only=True)
class Drawing:
    """The whole drawing: its view box (left, top, width, height) and what lies in it, from the floor up."""

    left: float
    top: float
    width: float
    height: float
    strokes: list[Stroke] = field(default_factory=list)
    letters: list[Lettering] = field(default_factory=list)

    @property
    def view_box(self) -> str:
        return f"{self.left:.0f} {self.top:.0f} {self.width:.0f} {self.height:.0f}"


def distance_mm(one: Spot, other: Spot) -> float | None:
    """Return the straight distance between two places; None while either has no coordinates."""
    if one.x_mm is None or one.y_mm is None or other.x_mm is None or other.y_mm is None:
        return None
    return math.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm)


def drawn(floor: Floor, spots: Sequence[Spot], *, imperial: bool = False, front: str = "audience") -> Drawing:
    """Return the drawing of a floor with its places. Where the floor is not known it is as large as what stands on it."""
    placed = [_nearer(spot) for spot in spots if spot.placed]
    width, depth = _floor_of(floor, placed)
    xs = [0, width, *(spot.x_mm or 0 for spot in placed)]
    ys = [0, depth, *(spot.y_mm or 0 for spot in placed)]
    left, right = min(xs) - MARGIN_MM, max(xs) + MARGIN_MM
    size = max(right - left, max(ys) - min(ys) + 2 * MARGIN_MM) * LETTER_SHARE
    top, bottom = -max(ys) - MARGIN_MM, -min(ys) + MARGIN_MM + 3.4 * size
    drawing = Drawing(left=left, top=top, width=right - left, height=bottom - top)
    _ground(drawing, width, depth, imperial)
    drawing.letters.append(Lettering(kind="front", x=width / 2, y=1.5 * size, words=front, anchor="middle", size=size * 0.85))
    _runs(drawing, placed, size, imperial)
    _crosses(drawing, placed, size, imperial)
    _scale(drawing, size, imperial)
    return drawing


def _nearer(spot: Spot) -> Spot:
    """Bring what stands far out in the hall to the edge of the drawing: the stage is what it is for."""
    if spot.y_mm is None or spot.y_mm >= -FRONT_MM:
        return spot
    return replace(spot, y_mm=-FRONT_MM, off_mm=-spot.y_mm)


def _floor_of(floor: Floor, placed: Sequence[Spot]) -> tuple[float, float]:
    on_stage = [spot for spot in placed if spot.sort != PlaceSort.MIX]
    width = floor.width_mm or max([6_000, *((spot.x_mm or 0) + 1_000 for spot in on_stage)])
    depth = floor.depth_mm or max([4_000, *((spot.y_mm or 0) + 1_000 for spot in on_stage)])
    return width, depth


def _ground(drawing: Drawing, width: float, depth: float, imperial: bool) -> None:
    grid = FOOT_GRID_MM if imperial else GRID_MM
    while (width + depth) / grid > MOST_GRID:
        grid *= 5
    for n in range(1, math.ceil(width / grid)):
        drawing.strokes.append(Stroke(kind="grid", x1=n * grid, y1=0, x2=n * grid, y2=-depth))
    for n in range(1, math.ceil(depth / grid)):
        drawing.strokes.append(Stroke(kind="grid", x1=0, y1=-n * grid, x2=width, y2=-n * grid))
    corners = [(0, 0), (0, -depth), (width, -depth), (width, 0)]
    for (x1, y1), (x2, y2) in pairwise(corners):
        drawing.strokes.append(Stroke(kind="floor", x1=x1, y1=y1, x2=x2, y2=y2))
    drawing.strokes.append(Stroke(kind="front", x1=0, y1=0, x2=width, y2=0))
    drawing.strokes.append(Stroke(kind="middle", x1=width / 2, y1=0, x2=width / 2, y2=-depth))


def _runs(drawing: Drawing, placed: Sequence[Spot], size: float, imperial: bool) -> None:
    by_key = {spot.key: spot for spot in placed}
    for spot in placed:
        there = by_key.get(spot.runs_to)
        if there is None or there is spot:
            continue
        x1, y1, x2, y2 = spot.x_mm or 0, -(spot.y_mm or 0), there.x_mm or 0, -(there.y_mm or 0)
        drawing.strokes.append(Stroke(kind="run", x1=x1, y1=y1, x2=x2, y2=y2, key=spot.key))


def _far(mm: int, imperial: bool) -> str:
    return f"{mm / 304.8:.0f}\u2009ft" if imperial else f"{round(mm / 1000, 1):g}\u2009m"


def _crosses(drawing: Drawing, placed: Sequence[Spot], size: float, imperial: bool) -> None:
    taken = [_box_of_cross(spot) for spot in placed]
    for spot in sorted(placed, key=lambda one: (-(one.y_mm or 0), one.x_mm or 0, one.key)):
        x, y = float(spot.x_mm or 0), -float(spot.y_mm or 0)
        for dx, dy in ((CROSS_MM, CROSS_MM), (CROSS_MM, -CROSS_MM)):
            drawing.strokes.append(Stroke(kind="arm", x1=x - dx, y1=y - dy, x2=x + dx, y2=y + dy, key=spot.key))
        name = f"{spot.name}, {_far(spot.off_mm, imperial)} out" if spot.off_mm else spot.name
        lines = [name, *([spot.under] if spot.under else [])]
        place = min(_places(x, y, lines, size), key=lambda one: _overlap(one[2], taken, drawing))
        anchor, (at_x, at_y), box = place
        taken.append(box)
        drawing.letters.append(Lettering(kind="name", x=at_x, y=at_y, words=name, anchor=anchor, size=size, key=spot.key))
        if spot.under:
            small = size * 0.72
            drawing.letters.append(
                Lettering(kind="under", x=at_x, y=at_y + size * 1.0, words=spot.under, anchor=anchor, size=small, key=spot.key)
            )


Box = tuple[float, float, float, float]


def _box_of_cross(spot: Spot) -> Box:
    x, y = float(spot.x_mm or 0), -float(spot.y_mm or 0)
    return (x - CROSS_MM, y - CROSS_MM, x + CROSS_MM, y + CROSS_MM)


def _places(x: float, y: float, lines: Sequence[str], size: float) -> list[tuple[str, tuple[float, float], Box]]:
    """Return where letters may stand beside a cross, the best first: right, left, below, above, and the corners."""
    wide = max(len(lines[0]) * size * WIDE, *(len(line) * size * 0.72 * WIDE for line in lines[1:]), size)
    high, gap = size * (1.9 if len(lines) > 1 else 1.0), CROSS_MM * 1.5
    found = []
    for anchor, dx, dy in (
        *(("start", gap, 0.35), ("end", -gap, 0.35), ("middle", 0, 0), ("middle", 0, 1)),
        *(("start", gap, 1.2), ("start", gap, -0.6), ("end", -gap, 1.2), ("end", -gap, -0.6)),
    ):
        if anchor == "middle":
            base = y + gap + size if dy == 0 else y - gap - high + size
        else:
            base = y + size * dy - (high - size) / 2
        at = x + dx
        left = at if anchor == "start" else at - wide if anchor == "end" else at - wide / 2
        found.append((anchor, (at, base), (left, base - size, left + wide, base - size + high)))
    return found


def _overlap(box: Box, taken: Sequence[Box], drawing: Drawing) -> float:
    """Return how much of a box lies on others, or outside the drawing."""
    lost = sum(
        max(0.0, min(box[2], other[2]) - max(box[0], other[0])) * max(0.0, min(box[3], other[3]) - max(box[1], other[1]))
        for other in taken
    )
    outside = max(0.0, drawing.left - box[0]) + max(0.0, box[2] - drawing.left - drawing.width)
    return lost + outside * (box[3] - box[1]) * 4


def _scale(drawing: Drawing, size: float, imperial: bool) -> None:
    unit = 304.8 if imperial else 1
    steps = tuple(n * 304.8 for n in (2, 5, 10, 20, 50)) if imperial else SCALES_MM
    long = max([step for step in steps if step <= drawing.width / 3], default=steps[0])
    x, y = drawing.left + MARGIN_MM / 2, drawing.top + drawing.height - size * 1.4
    drawing.strokes.append(Stroke(kind="scale", x1=x, y1=y, x2=x + long, y2=y))
    words = f"{long / unit:g}\u2009ft" if imperial else f"{long / 1000:g}\u2009m"
    drawing.letters.append(
        Lettering(kind="scale", x=x + long + size / 2, y=y + size * 0.3, words=words, anchor="start", size=size * 0.8)
    )


def wrong_with(floor: Floor, spots: Sequence[Spot]) -> dict[str, str]:
    """Return {key of a place: what to look at, in a sentence}: off the stage, or on the spot of another one."""
    said: dict[str, str] = {}
    placed = [spot for spot in spots if spot.placed]
    for n, spot in enumerate(placed):
        x, y = spot.x_mm or 0, spot.y_mm or 0
        on_floor = 0 <= x <= (floor.width_mm or 0) and 0 <= y <= (floor.depth_mm or 0)
        if floor.known and spot.played and spot.sort != PlaceSort.MIX and not on_floor:
            said[spot.key] = "It stands beside the stage: right for a rack in the wings, wrong for a player."
        for other in placed[:n]:
            if (far := distance_mm(spot, other)) is not None and far < NEAR_MM:
                said[spot.key] = f"It is on the spot of {other.name}."
    return said


def spread(floor: Floor, sorts: Sequence[str], *, mix_mm: int | None) -> list[tuple[int, int]]:
    """Return somewhere to begin for places nobody has placed: sources in rows from the front, boxes at the back, the mix out
    front. Whole decimetres."""
    width, depth = floor.width_mm or 6_000, floor.depth_mm or 4_000
    sources = sum(sort == PlaceSort.SOURCE for sort in sorts)
    boxes = sum(sort == PlaceSort.BOX for sort in sorts)
    a_row = max(1, min(sources, math.ceil(math.sqrt(sources * width / max(depth, 1)))))
    rows = max(1, math.ceil(sources / a_row))
    found, source, box = [], 0, 0
    for sort in sorts:
        if sort == PlaceSort.MIX:
            spot = (width / 2, -float(mix_mm or 10_000))
        elif sort == PlaceSort.BOX:
            spot = (width * (box + 1) / (boxes + 1), depth * 0.92)
            box += 1
        else:
            row, place = divmod(source, a_row)
            in_row = min(a_row, sources - row * a_row)
            spot = (width * (place + 1) / (in_row + 1), depth * (0.2 + 0.6 * row / max(1, rows - 1 if rows > 1 else 1)))
            source += 1
        found.append((round(spot[0] / 100) * 100, round(spot[1] / 100) * 100))
    return found
