"""The capacity of a rechargeable set as it ages, from its tests, and when it no longer covers a show."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, isfinite, log, sqrt

import numpy as np

from maintenance.calc import cells
from maintenance.calc.cell_words import CellError, CellKind, Draw

START_SPREAD = 0.10  # of ln capacity about the printed figure: our choice
FADE, FADE_SPREAD = -0.08, 0.08  # of ln capacity a year; sets are replaced after one to three years by common practice
TEST_SPREAD = 0.05  # one test against the next: our choice
LOW_Z = 1.6448536269514722
FURTHEST_YEARS = 5.0


@dataclass(frozen=True, kw_only=True)
class Trend:
    """A set's capacity now, mAh (5, 50, 95 of 100), its loss a year, years until the low bound no longer covers the need."""

    mah: float
    low_mah: float
    high_mah: float
    loss_a_year: float
    tests: int
    years_left: float | None
    retire: bool
    words: str


def need_mah(kind: CellKind, draw: Draw, need_h: float) -> float:
    """Return the least capacity, mAh at the rated drain, of a set that runs the device for `need_h`."""
    hours = cells.hours_to(kind, exp(draw.mean_ln), draw.load, draw.in_series, draw.stops_below_v)
    return max(mah for _, mah in kind.capacity) * need_h / hours


def capacity_trend(
    tests: Sequence[tuple[float, float]], *, rated_mah: float, now_years: float, need_mah: float | None = None
) -> Trend:
    """Return the trend from `tests` (years since the set was new, mAh). A normal line in ln mAh with a weak guess before.

    A set is retired when the bound that 95 of 100 lie above no longer covers `need_mah`, or when its last test did not.
    """
    for years, mah in tests:
        if not (isfinite(mah) and mah > 0 and isfinite(years)):
            raise CellError("A capacity test gives mAh above 0.")
        if mah > 3 * rated_mah:
            raise CellError(f"{mah:.0f} mAh cannot come from a set of {rated_mah:.0f} mAh: was it typed in another unit?")
    precision = np.diag([1 / START_SPREAD**2, 1 / FADE_SPREAD**2])
    weighted = precision @ np.array([log(rated_mah), FADE])
    for years, mah in tests:
        row = np.array([1.0, years])
        precision = precision + np.outer(row, row) / TEST_SPREAD**2
        weighted = weighted + row * log(mah) / TEST_SPREAD**2
    spread = np.linalg.inv(precision)
    line = spread @ weighted

    def at(years: float) -> tuple[float, float]:
        row = np.array([1.0, years])
        return float(row @ line), sqrt(float(row @ spread @ row))

    middle, sd = at(now_years)
    low = exp(middle - LOW_Z * sd)
    last = max(tests)[1] if tests else None
    retire, left, words = False, None, f"About {exp(middle):.0f} mAh now, {low:.0f} at worst"
    if need_mah is not None:
        if last is not None and last < need_mah:
            retire = True
            words = f"Its last test gave {last:.0f} mAh; a show takes {need_mah:.0f}: retire the set."
        elif low < need_mah:
            retire = bool(tests)
            ending = "retire the set." if tests else "test it before it goes to a show."
            words = f"{words}; a show takes {need_mah:.0f}: {ending}"
        else:
            left = _years_left(at, now_years, need_mah)
            lasts = f"for {_lasts(left)} more" if left is not None else f"for {FURTHEST_YEARS:.0f} years and more"
            words = f"{words}; a show takes {need_mah:.0f}: it covers that {lasts}."
    else:
        words += "."
    return Trend(
        mah=exp(middle),
        low_mah=low,
        high_mah=exp(middle + LOW_Z * sd),
        loss_a_year=1 - exp(float(line[1])),
        tests=len(tests),
        years_left=left,
        retire=retire,
        words=words,
    )


def _lasts(years: float) -> str:
    """Say a time in months while they are few, down."""
    months = int(years * 12 + 1e-9)
    if months < 1:
        return "less than a month"
    return "1 month" if months == 1 else f"{months} months" if months < 24 else f"{years:.0f} years"


def _years_left(at, now_years: float, need_mah: float) -> float | None:  # type: ignore[no-untyped-def]
    for step in range(1, int(FURTHEST_YEARS * 12) + 1):
        middle, sd = at(now_years + step / 12)
        if exp(middle - LOW_Z * sd) < need_mah:
            return (step - 1) / 12
    return None
