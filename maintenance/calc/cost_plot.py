"""Where the curve of what a target costs falls on a drawing: bad ones a show across, bench minutes a month up."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import floor, log10

from maintenance.calc.retest_cost import CostPoint

WIDTH, HEIGHT = 640, 300
LEFT, RIGHT, TOP, FOOT = 62, 22, 26, 46


@dataclass(frozen=True, kw_only=True)
class Tick:
    at: float
    words: str


@dataclass(frozen=True, kw_only=True)
class Dot:
    """One setting on the curve; `inside` says whether it lies within the drawing; `left` that its word goes to its left."""

    x: float
    y: float
    inside: bool
    left: bool


@dataclass(frozen=True, kw_only=True)
class CostPlot:
    """The drawing in its own units: the curve as a path, ticks of both axes, today's setting and the new one, the limit."""

    path: str
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    now: Dot
    new: Dot
    limit_y: float | None
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


def cost_plot(*, points: Sequence[CostPoint], now: CostPoint, new: CostPoint, limit_minutes: float) -> CostPlot:
    """Lay the curve out. The drawing reaches twice as far up as the dearer setting, and to the limit where that is near."""
    highest = max(now.minutes_a_month, new.minutes_a_month, 1.0)
    most_up = 2.0 * highest
    if 0 < limit_minutes < 4 * highest:
        most_up = max(most_up, 1.15 * limit_minutes)
    shown = [p for p in points if p.minutes_a_month <= most_up] or list(points)
    most_across = max(1.05 * max(p.bad_a_show for p in (*shown, now, new)), 1e-3)

    def x(value: float) -> float:
        return round(LEFT + (WIDTH - LEFT - RIGHT) * value / most_across, 1)

    def y(value: float) -> float:
        return round(HEIGHT - FOOT - (HEIGHT - FOOT - TOP) * value / most_up, 1)

    def dot(point: CostPoint) -> Dot:
        at = x(point.bad_a_show)
        return Dot(x=at, y=y(point.minutes_a_month), inside=point.minutes_a_month <= most_up, left=at > WIDTH * 0.62)

    along = sorted({(x(p.bad_a_show), y(p.minutes_a_month)) for p in (*shown, now, new)}, key=lambda xy: (xy[0], -xy[1]))
    return CostPlot(
        path="M" + "L".join(f"{a:g} {b:g}" for a, b in along),
        across=_ticks(most_across, x),
        up=_ticks(most_up, y),
        now=dot(now),
        new=dot(new),
        limit_y=y(limit_minutes) if 0 < limit_minutes <= most_up else None,
        flat=len({(round(a / 4), round(b / 4)) for a, b in along}) < 3,
    )


def _ticks(most: float, place: Callable[[float], float]) -> tuple[Tick, ...]:
    step = nice_step(most)
    return tuple(Tick(at=place(n * step), words=f"{n * step:.6g}") for n in range(int(most / step + 1e-9) + 1))
