"""Where a word stands on a drawing so that it lies on no line, dot or other word."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

Point = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Box:
    """A rectangle in the units of a drawing, y down."""

    left: float
    top: float
    right: float
    foot: float

    def meets(self, other: "Box") -> bool:
        return self.left < other.right and other.left < self.right and self.top < other.foot and other.top < self.foot

    def within(self, other: "Box") -> bool:
        return self.left >= other.left and self.right <= other.right and self.top >= other.top and self.foot <= other.foot

    def crossed_by(self, a: Point, b: Point) -> bool:
        """Say whether a straight line between two points runs through it (Liang and Barsky's clipping)."""
        enter, leave = 0.0, 1.0
        for start, along, low, high in ((a[0], b[0] - a[0], self.left, self.right), (a[1], b[1] - a[1], self.top, self.foot)):
            if along == 0:
                if not low < start < high:
                    return False
                continue
            one, two = sorted(((low - start) / along, (high - start) / along))
            enter, leave = max(enter, one), min(leave, two)
            if enter >= leave:
                return False
        return True


@dataclass(frozen=True, kw_only=True)
class Word:
    """A word on a drawing: where it is anchored (start, middle, end) on its base line, and the box it fills."""

    x: float
    y: float
    anchor: str
    box: Box


def word_at(x: float, y: float, anchor: str, *, width: float, height: float) -> Word:
    """Return a word whose base line is at y."""
    left = x if anchor == "start" else x - width if anchor == "end" else x - width / 2
    box = Box(left=left, top=y - height, right=left + width, foot=y + 0.25 * height)
    return Word(x=round(x, 1), y=round(y, 1), anchor=anchor, box=box)


def word_placed(
    candidates: Sequence[Word], *, lines: Sequence[Sequence[Point]] = (), taken: Sequence[Box] = (), inside: Box
) -> Word:
    """Return the first of the places that is inside, on no line and on nothing taken; else the one that is on least."""

    def on(word: Word) -> int:
        crossed = sum(word.box.crossed_by(a, b) for line in lines for a, b in pairwise(line))
        return crossed + 3 * sum(word.box.meets(box) for box in taken) + 100 * (not word.box.within(inside))

    return min(candidates, key=on)
