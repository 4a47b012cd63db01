"""Where the curve of what a target costs falls on a drawing: bad ones a show across, bench minutes a month up."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import floor, log10

from maintenance.calc.plot_words import Box, Point, Word, word_at, word_placed
from maintenance.calc.retest_cost import CostPoint

WIDTH, HEIGHT = 640, 300
LEFT, RIGHT, TOP, FOOT = 62, 22, 26, 46


# where a dot's word may stand, the likeliest to be clear of a falling curve first: over and to the right, under and to the left
_AROUND = (
    *((14, -10, "start"), (-14, 28, "end"), (14, -34, "start"), (-14, 52, "end"), (0, -22, "middle"), (0, 38, "middle")),
    *((14, 28, "start"), (-14, -10, "end")),
    *(
        (across, up, anchor)
        for up in (-58, 76, -82, 100, -106)
        for across, anchor in ((14, "start"), (40, "end"), (-14, "end"))
    ),
)


@dataclass(frozen=True, kw_only=True)
class Tick:
    at: float
    words: str


@dataclass(frozen=True, kw_only=True)
class Dot:
    """One setting on the curve; `inside` says whether it lies within the drawing; `word` where its word stands."""

    x: float
    y: float
    inside: bool
    word: Word


@dataclass(frozen=True, kw_only=True)
class CostPlot:
    """The drawing in its own units: the curve as a path, ticks of both axes, today's setting and the new one, the limit.

    `alone` is the path of what the target alone would give, where the rule's limits hold the curve off it; "" where they don't.
    """

    path: str
    alone: str
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    now: Dot
    new: Dot
    limit_y: float | None
    limit: Word | None
    flat: bool = False  # every target comes to the same: there is no curve to show
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = WIDTH - RIGHT
    top: int = TOP
    foot: int = HEIGHT - FOOT


def nice_step(most: float, about: int = 4) -> float:
    """Return a step of 1, 2 or 5 times a power of ten that parts nothing to `most` about so many times."""
    rough = max(most, 1e-9) / about
    power = 10.0 ** floor(log10(rough))
    return next(power * m for m in (1, 2, 5, 10) if power * m >= rough * 0.999)


def cost_plot(
    *,
    points: Sequence[CostPoint],
    now: CostPoint,
    new: CostPoint,
    limit_minutes: float,
    alone: Sequence[CostPoint] = (),
    words: tuple[str, str] = ("now", "as it is set"),
) -> CostPlot:
    """Lay the curve out. The drawing reaches twice as far up as the dearer setting, and to the limit where that is near.

    `alone` is the curve without the rule's limits: of it as much as is near the settings is drawn. `words` are those that will
    stand at today's setting and the new one.
    """
    highest = max(now.minutes_a_month, new.minutes_a_month, 1.0)
    most_up = 2.0 * highest
    if 0 < limit_minutes < 4 * highest:
        most_up = max(most_up, 1.15 * limit_minutes)
    worst = max(now.bad_a_show, new.bad_a_show)
    shown = [p for p in points if p.minutes_a_month <= most_up] or list(points)
    free = [p for p in alone if p.minutes_a_month <= most_up and p.bad_a_show <= 3 * worst]
    most_across = max(1.05 * max(p.bad_a_show for p in (*shown, *free, now, new)), 1e-3)

    def x(value: float) -> float:
        return round(LEFT + (WIDTH - LEFT - RIGHT) * value / most_across, 1)

    def y(value: float) -> float:
        return round(HEIGHT - FOOT - (HEIGHT - FOOT - TOP) * value / most_up, 1)

    def laid(these: Sequence[CostPoint]) -> list[Point]:
        return sorted({(x(p.bad_a_show), y(p.minutes_a_month)) for p in these}, key=lambda xy: (xy[0], -xy[1]))

    along, without = laid([*shown, now, new]), laid(free)
    limit_y = y(limit_minutes) if 0 < limit_minutes <= most_up else None
    level: list[list[Point]] = [] if limit_y is None else [[(LEFT, limit_y), (WIDTH - RIGHT, limit_y)]]
    lines: list[Sequence[Point]] = [along, without, *level]
    at = [(x(p.bad_a_show), y(p.minutes_a_month)) for p in (now, new)]
    taken = [Box(left=a - 10, top=b - 10, right=a + 10, foot=b + 10) for a, b in at]
    inside = Box(left=LEFT, top=TOP - 4, right=WIDTH - RIGHT, foot=HEIGHT - FOOT)
    dots = []
    for point, word, (a, b) in zip((now, new), words, at, strict=True):
        near = [word_at(a + across, b + up, anchor, width=12 * len(word), height=24) for across, up, anchor in _AROUND]
        placed = word_placed(near, lines=lines, taken=taken, inside=inside)
        taken.append(placed.box)
        dots.append(Dot(x=a, y=b, inside=point.minutes_a_month <= most_up, word=placed))
    limit = None
    if limit_y is not None:
        ends = [
            word_at(across, limit_y + up, anchor, width=170, height=15)
            for across, anchor in ((WIDTH - RIGHT, "end"), (LEFT + 8, "start"))
            for up in (-6, 18)
        ]
        limit = word_placed(ends, lines=[along, without], taken=taken, inside=inside)
    moves = len({(round(a / 4), round(b / 4)) for a, b in along}) >= 3
    apart = len({(round(a / 4), round(b / 4)) for a, b in without}) >= 3
    off = any(abs(held.minutes_a_month - p.minutes_a_month) > 0.005 * highest for held, p in zip(points, alone, strict=False))
    return CostPlot(
        path=_path(along),
        alone=_path(without) if apart and off else "",
        across=_ticks(most_across, x),
        up=_ticks(most_up, y),
        now=dots[0],
        new=dots[1],
        limit_y=limit_y,
        limit=limit,
        flat=not moves and not apart,
    )


def _path(points: Sequence[Point]) -> str:
    return "M" + "L".join(f"{a:g} {b:g}" for a, b in points)


def _ticks(most: float, place: Callable[[float], float]) -> tuple[Tick, ...]:
    step = nice_step(most)
    return tuple(Tick(at=place(n * step), words=f"{n * step:.6g}") for n in range(int(most / step + 1e-9) + 1))
