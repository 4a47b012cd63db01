"""What a reading at so many hours says of a set's whole life: on a grid of ln hours, many sets of one kind at once.

The chance of a reading is normal about the curve with straight tails beyond 1.5 spreads (Huber 1964): a wild reading is not
trusted to the letter, yet a higher one never lowers the estimate. With Student's t, that tells an outlier from a surprise no
better, a reading can be so good that it is not believed and the estimate falls.
"""

import numpy as np

from maintenance.calc.cell_wear import LEAST_SD, Floats
from maintenance.calc.cells import Table

NODES, REACH, HUBER = 65, 5.0, 1.5
_STEPS = np.linspace(-1.0, 1.0, NODES)
_LOW_Z = 1.6448536269514722


def open_volts(table: Table, depth: Floats) -> Floats:
    return np.interp(depth, table.depths, table.volts)


def reading_ln(table: Table, depth: Floats, seen_v: Floats, ma: Floats, n: Floats, sigma_v: Floats) -> Floats:
    """Return ln of the chance of reading `seen_v` at a depth, up to a constant; falls away straight beyond 1.5 spreads."""
    at = np.clip(depth, 0.0, 1.0)
    expected = n * (open_volts(table, at) - ma / 1000 * (table.r_fresh + table.r_more * at * at))
    off = np.abs(seen_v - expected) / sigma_v
    return np.where(off <= HUBER, -0.5 * off * off, HUBER * (0.5 * HUBER - off))


def life_given_reading(
    table: Table,
    *,
    mean: Floats,
    var: Floats,
    hours_var: Floats,
    end_depth: Floats,
    hours: Floats,
    seen_v: Floats,
    ma: Floats,
    n: Floats,
    sigma_v: Floats,
) -> tuple[Floats, Floats]:
    """Return median and spread, the lower side's, of ln life as the recorded clock counts it. All of shape (sets,).

    The recorded hours are off by a share whose ln has `hours_var`: ln life on that clock is N(mean, var + hours_var) before,
    and the set was alive when it was read. Two grids: one over the prior, one over where it and the reading agree.
    """
    wide = np.sqrt(var + hours_var)
    depth_at = (np.log(np.maximum(hours, 1e-6)) + np.log(end_depth))[:, None]
    column = (seen_v[:, None], ma[:, None], n[:, None], sigma_v[:, None])

    def ln_weight(ln_life: Floats) -> Floats:
        z = (ln_life - mean[:, None]) / wide[:, None]
        return reading_ln(table, np.exp(np.minimum(depth_at - ln_life, 0.0)), *column) - 0.5 * z * z

    rows = np.arange(len(mean))
    alive = np.log(np.maximum(hours, 1e-6))  # it was read, so it lived: less life than that is ruled out
    least = np.maximum(mean - REACH * wide, alive)
    most = np.maximum(mean + REACH * wide, alive + wide)
    coarse = 0.5 * ((most + least)[:, None] + (most - least)[:, None] * _STEPS)
    weight = ln_weight(coarse)
    likely = weight > (weight.max(axis=1) - 14.0)[:, None]
    first = np.maximum(likely.argmax(axis=1) - 1, 0)
    last = np.minimum(NODES - likely[:, ::-1].argmax(axis=1), NODES - 1)
    low, high = coarse[rows, first], coarse[rows, last]
    fine = 0.5 * ((high + low)[:, None] + (high - low)[:, None] * _STEPS)
    weight = ln_weight(fine)
    weight = np.exp(weight - weight.max(axis=1)[:, None])
    reached = np.zeros_like(weight)
    np.cumsum(0.5 * (weight[:, 1:] + weight[:, :-1]), axis=1, out=reached[:, 1:])

    def quantile(share: float) -> Floats:
        wanted = share * reached[:, -1]
        at = np.clip((reached < wanted[:, None]).sum(axis=1), 1, NODES - 1)
        below, above = reached[rows, at - 1], reached[rows, at]
        part = (wanted - below) / np.maximum(above - below, 1e-300)
        return fine[rows, at - 1] + part * (fine[rows, at] - fine[rows, at - 1])

    middle = quantile(0.5)
    return middle, np.maximum((middle - quantile(0.05)) / _LOW_Z, LEAST_SD)


def on_true_clock(
    *, mean: Floats, var: Floats, hours_var: Floats, hours: Floats, middle: Floats, spread: Floats
) -> tuple[Floats, Floats]:
    """Return mean and variance of ln life such that life less the recorded hours is what is left in true hours.

    Hours still to come are counted right whatever was recorded before; what was recorded wrong matters in proportion to it.
    """
    keep = var / (var + hours_var)
    end = np.exp(middle)
    remains = np.maximum(end - hours, 0.0)
    stretch = np.exp(np.where(end > hours, (1 - keep) * (mean - middle), 0.0))
    life = np.where(end > hours, hours + stretch * remains, end)
    var_h = stretch**2 * ((np.minimum(hours, end) + keep * remains) ** 2 * spread**2 + remains**2 * keep * hours_var)
    return np.log(life), np.maximum(var_h / life**2, LEAST_SD**2)
