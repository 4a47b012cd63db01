"""What finished sets say of a device's draw, and what its devices say of a gear type.

A set that died tells its life; one swapped early only that it would have lasted longer, which must raise the estimate: to count
it as a death would make a careful crew's boxes look hungry. All of it meets on a grid of ln draw.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from math import exp, log, sqrt

import numpy as np

from maintenance.calc import cells
from maintenance.calc.cell_arrays import ln_hours_of
from maintenance.calc.cell_life import METERED, capacity_sigma, chance_of_dying, fresh_life, reading_ma, separate, usual_ma
from maintenance.calc.cell_reading import reading_ln
from maintenance.calc.cell_wear import LEAST_SD, log_ndtr
from maintenance.calc.cell_words import CellError, CellKind, Draw, Life, Seen
from maintenance.calc.cells import WARM

SPREAD_GUESS, SPREAD_WEIGHT = 0.15, 4.0  # how far devices of one type differ, and how many devices that guess is worth
_NODES, _REACH, _INNER = 241, 6.0, 41


class Ended(StrEnum):
    DIED = "died"
    CENSORED = "censored"  # swapped while it still worked
    READING = "reading"  # swapped while it still worked, and read


@dataclass(frozen=True, kw_only=True)
class Finished:
    """A set that was taken out of a device after `hours` on: died, still worked, or still worked and was read (`seen`)."""

    kind: CellKind
    hours: float
    ended: Ended
    seen: Seen | None = None
    hours_share: float = 0.25
    age_years: float = 0.0
    celsius: float = WARM
    sigma_capacity: float | None = None
    n_cells: int | None = None
    same_batch: bool = True


def learn(draw: Draw, finished: Sequence[Finished]) -> Draw:
    """Return the draw as a device's finished sets, which were fresh when fitted, have it. Sets without hours say nothing.

    With deaths alone this is the closed form of normal updates; the grid gives the same and takes the others too.
    """
    counted = [one for one in finished if one.hours > 0]
    if not counted:
        return draw
    sd = max(sqrt(draw.var_ln), LEAST_SD)
    told = [_implied(draw, one) for one in counted]
    low, high = min(-_REACH * sd, *told), max(_REACH * sd, *told)
    middle, spread = 0.0, 0.0
    for _ in range(3):  # the first grid reaches all that was believed or seen, the others lie about what both make of it
        off = np.linspace(low, high, _NODES)
        weight = -0.5 * (off / sd) ** 2
        for one in counted:
            weight = weight + _ln_likelihood(draw, one, off)
        chance = np.exp(weight - weight.max())
        chance /= chance.sum()
        middle = float(chance @ off)
        spread = sqrt(max(float(chance @ (off - middle) ** 2), 1e-6))
        reach = _REACH * max(spread, (high - low) / _NODES)
        low, high = middle - reach, middle + reach
    return replace(draw, mean_ln=draw.mean_ln + middle, var_ln=spread * spread)


def _implied(draw: Draw, one: Finished) -> float:
    """Return how far from the middle, in ln draw, a set's hours alone would put the draw."""
    prior = fresh_life(one.kind, draw, age_years=one.age_years, celsius=one.celsius, sigma_capacity=0.0)
    return (log(one.hours) - prior.mean) / prior.slope if abs(prior.slope) > 0.1 else 0.0


def _ln_likelihood(draw: Draw, one: Finished, off: np.ndarray) -> np.ndarray:
    """Return ln of the chance of how a set ended, at draws `off` (of ln) from the middle."""
    kind, n = one.kind, draw.in_series
    table = cells.table_of(kind)
    share = cells.aged(kind, one.age_years) * cells.weakest(separate(kind, draw, one.n_cells), same_batch=one.same_batch)
    ln_life, ends = ln_hours_of(
        table,
        draw.mean_ln + off,
        draw.load,
        np.full(len(off), float(n)),
        np.full(len(off), draw.stops_below_v),
        np.full(len(off), share),
        np.full(len(off), cells.at_celsius(table.light, one.celsius)),
        np.full(len(off), cells.at_celsius(table.heavy, one.celsius)),
    )
    sigma = capacity_sigma(one.kind) if one.sigma_capacity is None else one.sigma_capacity
    scatter = max(sqrt(sigma * sigma + one.hours_share**2), LEAST_SD)
    z = (log(one.hours) - ln_life) / scatter
    if one.ended is Ended.DIED:
        return -0.5 * z * z
    alive = log_ndtr(-z)
    if one.ended is Ended.CENSORED or one.seen is None or one.kind.regulated:
        return alive
    own_ma = usual_ma(table, exp(draw.mean_ln), draw.load, n)
    return _with_reading(draw, one, one.seen, own_ma, np.maximum(ends, 1e-3)[:, None], ln_life, scatter)


def _with_reading(
    draw: Draw, one: Finished, seen: Seen, own_ma: float, end_depth: np.ndarray, ln_life: np.ndarray, scatter: float
) -> np.ndarray:
    """Return ln of the chance of a set still alive and reading so, over what its own capacity and hours may have been."""
    n = draw.in_series
    cells.checked_volts(one.kind, seen.volts, n)
    table = cells.table_of(one.kind)
    ma = reading_ma(seen, own_ma)
    minutes = None if seen.own_load else seen.minutes_off
    volts = seen.volts - cells.rest_rise(one.kind, n, loaded=ma > 0, minutes_off=minutes)
    sigma_v = cells.reading_sigma(one.kind, n, loaded=ma > 0, minutes_off=minutes)
    inner = np.linspace(-4.0, 4.0, _INNER)
    depth = end_depth * one.hours * np.exp(-(ln_life[:, None] + scatter * inner))
    ln_seen = reading_ln(table, depth, np.array(volts), np.array(ma), np.array(n), np.array(sigma_v)) - 0.5 * inner * inner
    ln_seen = np.where(depth <= end_depth, ln_seen, -1e3)
    most = ln_seen.max(axis=1)
    return most + np.log(np.exp(ln_seen - most[:, None]).sum(axis=1))


def metered(draw: Draw, value: float, *, sigma: float = METERED) -> Draw:
    """Return the draw as measured once: meter in series with the clip. Replaces what was guessed; the value in its own unit."""
    return replace(draw, mean_ln=log(cells.checked_draw(value)), var_ln=sigma * sigma)


def pool(draws: Sequence[Draw], class_prior: Draw) -> Draw:
    """Return what a new device of the type may be thought to draw, from its devices' draws.

    Each draw must have started from `class_prior`, or have been metered: the prior is taken out of each again before they are
    put together, so that a guess shared by twenty boxes is not twenty pieces of evidence. How far devices differ is learnt from
    them, beginning at .15 of ln draw; a random-effects mean.
    """
    prior_var = class_prior.var_ln
    told = [_told(one, class_prior) for one in draws if one.var_ln < prior_var * 0.999]
    if not told:
        return class_prior
    y, v = np.array([mean for mean, _ in told]), np.array([var for _, var in told])
    spread = SPREAD_GUESS**2
    mean = class_prior.mean_ln
    var = prior_var
    for _ in range(30):
        weight = 1 / (v + spread)
        var = 1 / (1 / prior_var + float(weight.sum()))
        mean = var * (class_prior.mean_ln / prior_var + float(weight @ y))
        keep = spread / (spread + v)
        each = float(np.sum((keep * (y - mean)) ** 2 + keep * v))
        spread = (SPREAD_WEIGHT * SPREAD_GUESS**2 + each) / (SPREAD_WEIGHT + len(y))
    return replace(class_prior, mean_ln=float(mean), var_ln=min(float(var + spread), prior_var))


def _told(one: Draw, prior: Draw) -> tuple[float, float]:
    """Return the mean and variance of what a device's own evidence says, without the prior it started from."""
    precision = 1 / one.var_ln - 1 / prior.var_ln
    return (one.mean_ln / one.var_ln - prior.mean_ln / prior.var_ln) / precision, 1 / precision


@dataclass(frozen=True, kw_only=True)
class Off:
    """A device that draws more or less than its type: how many times as much, how sure, and the sentence."""

    times: float
    z: float
    words: str


def persistently_off(
    own: Draw, of_type: Draw, *, sets: int, kind: CellKind, name: str = "This device", least_sets: int = 3, at_z: float = 2.0
) -> Off | None:
    """Return what sets a device apart from its type, once three sets or more say so beyond doubt; else none."""
    if sets < least_sets:
        return None
    apart = own.mean_ln - of_type.mean_ln
    z = apart / sqrt(own.var_ln + SPREAD_GUESS**2)
    if abs(z) < at_z:
        return None
    here, there = exp(fresh_life(kind, own).mean), exp(fresh_life(kind, of_type).mean)
    longer = "shorter" if here < there else "longer"
    words = f"{name}: its {sets} sets lasted {longer} than others of its type, a fresh one about {here:.0f} h, not {there:.0f}."
    return Off(times=exp(apart), z=z, words=words)


def swap_point(life: Life, need_h: float, limit: float, *, hours_share: float = 0.0) -> float:
    """Return the hours used at which the chance of dying within `need_h` more passes `limit`: swap from then on. 0: at once.

    `life` is that of a set before its first hour; `hours_share` how well hours are recorded.
    """
    if not (0 < limit < 1):
        raise CellError("A limit is a chance between 0 and 1.")
    if chance_of_dying(replace(life, hours=0.0, hours_sigma=0.0), need_h) > limit:
        return 0.0
    low, high = 0.0, exp(life.mean_ln_h) * 4
    for _ in range(50):
        middle = (low + high) / 2
        if chance_of_dying(replace(life, hours=middle, hours_sigma=middle * hours_share), need_h) > limit:
            high = middle
        else:
            low = middle
    return low
