"""Where the dots of forecast against seen fall on a drawing: the forecast across, the share that was bad up."""

from collections.abc import Sequence
from dataclasses import dataclass

from maintenance.calc.cost_plot import Tick, nice_step
from maintenance.calc.plot_words import Box, Word, word_at, word_placed
from maintenance.calc.scoring import Bin

WIDTH, HEIGHT = 520, 420
LEFT, RIGHT, TOP, FOOT = 62, 20, 26, 50
LEAST_REACH = 0.1


@dataclass(frozen=True, kw_only=True)
class BinAt:
    """Forecasts of like chance on the drawing: the dot, the bar of where it would lie were all forecasts right, the count."""

    x: float
    y: float
    bar_top: float
    bar_foot: float
    bar_left: float
    bar_width: float
    words: str
    word: Word


@dataclass(frozen=True, kw_only=True)
class ScorePlot:
    """The drawing in its own units; `diagonal` is where forecast and seen agree."""

    bins: tuple[BinAt, ...]
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    diagonal: str
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = WIDTH - RIGHT
    top: int = TOP
    foot: int = HEIGHT - FOOT


def score_plot(bins: Sequence[Bin]) -> ScorePlot:
    """Lay the bins out, both axes to the same share."""
    most = min(1.0, 1.15 * max([LEAST_REACH, *(max(b.forecast, b.seen, b.bar_high) for b in bins)]))

    def x(share: float) -> float:
        return round(LEFT + (WIDTH - LEFT - RIGHT) * share / most, 1)

    def y(share: float) -> float:
        return round(HEIGHT - FOOT - (HEIGHT - FOOT - TOP) * share / most, 1)

    step = nice_step(most)
    shares = [n * step for n in range(int(most / step + 1e-9) + 1)]
    inside = Box(left=LEFT, top=TOP - 12, right=WIDTH - RIGHT, foot=HEIGHT - FOOT)
    taken = [Box(left=x(b.forecast) - 9, top=y(b.seen) - 9, right=x(b.forecast) + 9, foot=y(b.seen) + 9) for b in bins]
    bars = [[(x(b.forecast), y(b.bar_high)), (x(b.forecast), y(b.bar_low))] for b in bins]
    lines = [[(x(0), y(0)), (x(most), y(most))], *bars]
    drawn = []
    for b in bins:
        said = f"{b.bad} of {b.count}"
        word = word_placed(_places(x(b.forecast), y(b.seen), y(b.bar_high), said), lines=lines, taken=taken, inside=inside)
        taken = [*taken, word.box]
        drawn.append(
            BinAt(
                x=x(b.forecast),
                y=y(b.seen),
                bar_top=y(b.bar_high),
                bar_foot=y(b.bar_low),
                bar_left=x(b.forecast) - 9,
                bar_width=18,
                words=said,
                word=word,
            )
        )
    return ScorePlot(
        bins=tuple(drawn),
        across=tuple(Tick(at=x(s), words=f"{100 * s:.4g}") for s in shares),
        up=tuple(Tick(at=y(s), words=f"{100 * s:.4g}") for s in shares),
        diagonal=f"M{x(0):g} {y(0):g}L{x(most):g} {y(most):g}",
    )


def _places(x: float, seen: float, bar_high: float, said: str) -> list[Word]:
    """Return where the count of a dot may stand: over its bar, else beside it, the nearest first."""
    size = {"width": 9.5 * len(said), "height": 17.0}
    over = min(seen, bar_high) - 12
    levels = [seen - 4, over + 18, *(over + 24 * n for n in range(1, 16))]
    beside = [
        word_at(x + side * away, level, "start" if side > 0 else "end", **size)
        for away in (14, 34)
        for level in levels
        for side in (1, -1)
    ]
    return [word_at(x, over, "middle", **size), *beside, *(word_at(x, over - 22 * n, "middle", **size) for n in range(1, 8))]
