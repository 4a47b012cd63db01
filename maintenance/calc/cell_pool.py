"""What the devices of a type say together of its draw, kept so that one device can be taken out or put in by itself.

As `cell_learn.pool` has it (a random-effects mean; how far devices differ is learnt, beginning at .15 of ln draw). A device's
own draw starts from the class's guess; to go by its type, the guess is taken out again and what the other devices say put in
its place, so that nothing is counted twice.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from maintenance.calc.cell_learn import SPREAD_GUESS, SPREAD_WEIGHT
from maintenance.calc.cell_words import Draw

TELLS = 0.999  # a draw whose variance is at least this share of the guess's tells nothing of its own


@dataclass(frozen=True, kw_only=True)
class Pool:
    """The middle of ln draw over a type's devices, the variance of that middle, and the variance between devices."""

    mean_ln: float
    var_ln: float
    spread_ln: float = SPREAD_GUESS**2
    devices: int = 0


def told_of(own: Draw, guess: Draw) -> tuple[float, float] | None:
    """Return mean and variance of ln draw by a device's own evidence, without the guess it started from; None for nothing."""
    if own.var_ln >= guess.var_ln * TELLS:
        return None
    precision = 1 / own.var_ln - 1 / guess.var_ln
    return (own.mean_ln / own.var_ln - guess.mean_ln / guess.var_ln) / precision, 1 / precision


def pooled(draws: Sequence[Draw], guess: Draw) -> Pool:
    """Return the pool of a type's devices; with none that tells anything, the guess itself."""
    told = [one for one in (told_of(draw, guess) for draw in draws) if one is not None]
    if not told:
        return empty(guess)
    y, v = np.array([mean for mean, _ in told]), np.array([var for _, var in told])
    spread, mean, var = SPREAD_GUESS**2, guess.mean_ln, guess.var_ln
    for _ in range(30):
        weight = 1 / (v + spread)
        var = 1 / (1 / guess.var_ln + float(weight.sum()))
        mean = var * (guess.mean_ln / guess.var_ln + float(weight @ y))
        keep = spread / (spread + v)
        each = float(np.sum((keep * (y - mean)) ** 2 + keep * v))
        spread = (SPREAD_WEIGHT * SPREAD_GUESS**2 + each) / (SPREAD_WEIGHT + len(y))
    return Pool(mean_ln=float(mean), var_ln=float(var), spread_ln=float(spread), devices=len(y))


def empty(guess: Draw) -> Pool:
    """Return the pool of a type nothing was learnt of yet."""
    return Pool(mean_ln=guess.mean_ln, var_ln=guess.var_ln)


def moved(pool: Pool, *, out: tuple[float, float] | None = None, put: tuple[float, float] | None = None) -> Pool:
    """Return the pool without one device's evidence, or with it, or both; how far devices differ stays."""
    precision, weighted, devices = 1 / pool.var_ln, pool.mean_ln / pool.var_ln, pool.devices
    for told, sign in ((out, -1), (put, 1)):
        if told is not None:
            weight = 1 / (told[1] + pool.spread_ln)
            precision, weighted, devices = precision + sign * weight, weighted + sign * weight * told[0], devices + sign
    if precision <= 0 or devices < 0:
        return pool  # it was never in it
    return replace(pool, mean_ln=weighted / precision, var_ln=1 / precision, devices=devices)


def carried(own: Draw | None, guess: Draw, pool: Pool) -> Draw:
    """Return what to believe of a device's draw: what its type's other devices say, and its own evidence."""
    told = None if own is None else told_of(own, guess)
    others = moved(pool, out=told) if told is not None else pool
    var = min(others.var_ln + others.spread_ln, guess.var_ln) if others.devices else guess.var_ln
    mean = others.mean_ln if others.devices else guess.mean_ln
    if told is None:
        return replace(guess, mean_ln=mean, var_ln=var)
    precision = 1 / var + 1 / told[1]
    return replace(guess, mean_ln=(mean / var + told[0] / told[1]) / precision, var_ln=1 / precision)
