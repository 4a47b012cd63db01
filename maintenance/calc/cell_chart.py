"""The curve of a set for its device's page: volts and hours left over hours used, with their band."""

from dataclasses import dataclass
from math import exp

from maintenance.calc import cells
from maintenance.calc.cell_life import fresh_life
from maintenance.calc.cell_words import CellKind, Draw, Life
from maintenance.calc.cells import WARM


@dataclass(frozen=True, kw_only=True)
class CurvePoint:
    """At so many hours used: volts under the device's load if it lasts as believed (5, 50, 95 of 100), and hours left then.

    Volts are none for a kind that has no curve.
    """

    hours: float
    volts: float | None
    volts_low: float | None
    volts_high: float | None
    left_h: float
    left_low_h: float
    left_high_h: float


def curve_points(
    kind: CellKind | None,
    draw: Draw | None,
    life: Life,
    *,
    until_h: float | None = None,
    count: int = 60,
    age_years: float = 0.0,
    celsius: float = WARM,
) -> tuple[CurvePoint, ...]:
    """Return `count` points from new to `until_h` (none: as long as it may last), the present hour among them.

    As seen now: each of the three lives is a straight use of the set, hours left falling one for one.
    """
    ends = tuple(life.hours + left for left in (life.low_h, life.median_h, life.high_h))
    last = max(until_h if until_h is not None else ends[2], life.hours, 0.1)
    marks = sorted({life.hours, *(last * k / (count - 2) for k in range(count - 1))})
    end_depth = 1.0
    if kind is None or draw is None or len(kind.curve) < 2 or not kind.capacity:
        kind = None
    else:
        end_depth = fresh_life(kind, draw, age_years=age_years, celsius=celsius).end_depth

    def volts(hours: float, end: float) -> float | None:
        if kind is None or draw is None:
            return None
        depth = min(end_depth * hours / max(end, 1e-6), 1.0)
        ma = cells.current_ma(kind, exp(draw.mean_ln), depth, draw.load, draw.in_series)
        return max(0.0, cells.volts(kind, depth, ma, draw.in_series)) if ma < float("inf") else 0.0

    return tuple(
        CurvePoint(
            hours=hours,
            volts_low=volts(hours, ends[0]),
            volts=volts(hours, ends[1]),
            volts_high=volts(hours, ends[2]),
            left_low_h=max(0.0, ends[0] - hours),
            left_h=max(0.0, ends[1] - hours),
            left_high_h=max(0.0, ends[2] - hours),
        )
        for hours in marks
    )
