"""How a type fails: a weighted grid of gamma priors, learnt from all its items, and what it foretells of one of them.

Item i fails at a rate l_i a show, l_i ~ Gamma(a, rate b); a and the mean rate m = a / b are not known and are held as a grid of
weights. Items enter by r and T of `retest_record`. For small data a grid is safer than a plugged-in estimate, whose shape often
runs to infinity with few failures. Formulas: gamma-Poisson pooling as in the NIST/SEMATECH e-Handbook of Statistical Methods,
8.4.6, with the shape integrated out (our design).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from math import exp, log
from typing import Any

import numpy as np

from maintenance.calc.retest_record import Floats

VERSION = 1
SHAPE_LIKELY = 2.0  # how alike the items of a type are at first: the prior median of a (our proposal)
SPREAD_LOG = 1.0  # standard deviation of ln m and of ln a before any data (our proposal)
ARRIVAL = (0.5, 19.5)  # beta prior of being bad when received or just repaired: 2.5 %, worth 20 (our proposal)
_COARSE = (25, 13)
_FINE = (15, 11)
_REACH = 3.6  # standard deviations the grid reaches out
_NEGLIGIBLE = 1e-5  # of all weight, in the cells dropped


@cache
def gamma_of_guesses(median_shows: float, pessimistic_shows: float) -> tuple[float, float]:
    """Return shape a and rate b of the gamma whose rate has its middle and 95 % point at the two guesses.

    Source: the 50/95 method of the NIST/SEMATECH e-Handbook, 8.4.5.3 and 8.4.6. ValueError unless 0 < pessimistic < median.
    """
    from scipy.optimize import brentq
    from scipy.special import gammaincinv

    if not 0 < pessimistic_shows < median_shows:
        raise ValueError("The pessimistic guess must be below the median one, and both above nothing.")
    wanted = log(median_shows / pessimistic_shows)

    def gap(log_shape: float) -> float:
        shape = np.exp(log_shape)
        return float(np.log(gammaincinv(shape, 0.95)) - np.log(gammaincinv(shape, 0.5)) - wanted)

    low, high = log(0.02), log(1e6)
    if gap(low) < 0:  # guesses further apart than any gamma worth computing with
        shape = 0.02
    elif gap(high) > 0:
        shape = 1e6
    else:
        shape = float(np.exp(brentq(gap, low, high, xtol=1e-13)))
    return shape, median_shows * float(gammaincinv(shape, 0.5))


@dataclass(frozen=True, kw_only=True)
class TypeModel:
    """What is known of a type: cells of weight, shape a and rate b (in shows), and how much of it is still the first guess.

    `guess_left` is the variance of ln(mean rate) left by the data over what it was before: 1 with no data, towards 0.
    `start_bad` are the two numbers of the beta of being bad when received or just repaired. `items`, `failures` and `shows` are
    what it was learnt from; `log_evidence` the log chance of the data, up to a term that no parameter changes.
    """

    weight: Floats
    a: Floats
    b: Floats
    guess_left: float = 1.0
    start_bad: tuple[float, float] = ARRIVAL
    items: int = 0
    failures: float = 0.0
    shows: float = 0.0
    log_evidence: float = 0.0

    @property
    def mean_rate(self) -> float:
        """Failures a show of a thing of this type, on average."""
        return float(self.weight @ (self.a / self.b))

    @property
    def start_chance(self) -> float:
        """The chance that a thing is bad when received or just repaired."""
        return self.start_bad[0] / sum(self.start_bad)

    def told(self) -> dict[str, Any]:
        """Return it for storing as JSON; `model_from` reads it. Numbers are kept whole so that both give the same."""
        return {
            "version": VERSION,
            "cells": [list(cell) for cell in zip(self.weight.tolist(), self.a.tolist(), self.b.tolist(), strict=True)],
            "guess_left": self.guess_left,
            "start_bad": list(self.start_bad),
            "items": self.items,
            "failures": self.failures,
            "shows": self.shows,
        }


def model_from(stored: Mapping[str, Any]) -> TypeModel:
    """Read what `TypeModel.told` wrote. ValueError when it is of another version or broken."""
    try:
        if stored["version"] != VERSION:
            raise ValueError("This model is of another version: work it out anew.")
        cells = np.array(stored["cells"], dtype=np.float64).reshape(-1, 3).T.copy()
        alpha, beta = stored["start_bad"]
        model = TypeModel(
            weight=cells[0],
            a=cells[1],
            b=cells[2],
            guess_left=float(stored["guess_left"]),
            start_bad=(float(alpha), float(beta)),
            items=int(stored["items"]),
            failures=float(stored["failures"]),
            shows=float(stored["shows"]),
        )
    except (KeyError, TypeError) as broken:
        raise ValueError("This is not a stored model.") from broken
    if not cells.size or not np.all(np.isfinite(cells)) or np.any(cells <= 0):
        raise ValueError("This is not a stored model.")
    return model


@cache
def _prior_of_mean(median_shows: float, pessimistic_shows: float) -> tuple[float, float]:
    """Return middle and standard deviation of ln m before data: at the mean of the 50/95 gamma, as wide as SPREAD_LOG at least.

    Guesses further apart than the usual four to one make it wider.
    """
    shape, rate = gamma_of_guesses(median_shows, pessimistic_shows)
    return log(shape / rate), max(SPREAD_LOG, log(median_shows / pessimistic_shows) / 1.645)


def _evidence(m: Floats, a: Floats, failures: Floats, shows: Floats) -> Floats:
    """Return the log chance of the items' records in each cell of means m and shapes a, as an array [m, a].

    m(r, T) = Gamma(a + r) / Gamma(a) * b^a / (b + T)^(a + r), a negative binomial up to T^r / r!.
    """
    from scipy.special import gammaln

    pairs, many = np.unique(np.column_stack([failures, shows]), axis=0, return_counts=True)
    r, exposure = pairs[:, 0], pairs[:, 1]
    b = a[None, :] / m[:, None]
    whole, back = np.unique(r, return_inverse=True)
    items_of = np.bincount(back, weights=many)
    rising = (gammaln(a[:, None] + whole) - gammaln(a)[:, None]) @ items_of
    total = rising[None, :] + many.sum() * a[None, :] * np.log(b)
    powers = (a[:, None] + r) * many  # [a, item]
    step = max(1, 400_000 // max(1, b.size))
    for at in range(0, len(r), step):
        part = slice(at, at + step)
        total = total - np.einsum("mai,ai->ma", np.log(b[:, :, None] + exposure[part]), powers[:, part])
    return total


def _weights(log_m: Floats, log_a: Floats, middle: float, spread: float, failures: Floats, shows: Floats) -> Floats:
    prior_m = -0.5 * ((log_m - middle) / spread) ** 2
    prior_a = -0.5 * ((log_a - log(SHAPE_LIKELY)) / SPREAD_LOG) ** 2
    logs = prior_m[:, None] + prior_a[None, :]
    return logs + _evidence(np.exp(log_m), np.exp(log_a), failures, shows) if len(failures) else logs


def _sums_to_one(logs: Floats) -> Floats:
    weights = np.exp(logs - logs.max())
    return weights / weights.sum()


def _line(middle: float, spread: float, low: float, high: float, count: int) -> Floats:
    return np.linspace(max(low, middle - _REACH * spread), min(high, middle + _REACH * spread), count)


def _moments(axis: Floats, weight: Floats) -> tuple[float, float]:
    middle = float(weight @ axis)
    return middle, max(float(weight @ (axis - middle) ** 2), 1e-12) ** 0.5


def type_fit(
    *,
    median_shows: float,
    pessimistic_shows: float,
    failures: Floats | Sequence[float],
    shows: Floats | Sequence[float],
    starts: int = 0,
    starts_bad: int = 0,
) -> TypeModel:
    """Return what the records of a type's items (r and T of each) make of the first guesses.

    The grid is laid twice: coarsely over the prior (25 x 13), then finely where the weight is. ValueError for negative records.
    """
    r, exposure = np.asarray(failures, dtype=np.float64), np.asarray(shows, dtype=np.float64)
    if np.any(r < 0) or np.any(exposure < 0) or len(r) != len(exposure):
        raise ValueError("Failures and shows are at least nothing, and as many of one as of the other.")
    middle, spread = _prior_of_mean(float(median_shows), float(pessimistic_shows))
    told = (r > 0) | (exposure > 0)
    r, exposure = r[told], exposure[told]
    low_a, high_a = log(SHAPE_LIKELY) - 3.6 * SPREAD_LOG, log(SHAPE_LIKELY) + 3.6 * SPREAD_LOG
    reach = _REACH * spread
    log_m, log_a = np.linspace(middle - reach, middle + reach, _COARSE[0]), np.linspace(low_a, high_a, _COARSE[1])
    # far more failures or far fewer than guessed: let the grid reach what was seen
    if len(r):
        crude = log(float(r.sum() + 0.5) / float(exposure.sum() + 0.5 / exp(middle)))
        log_m = np.linspace(min(float(log_m[0]), crude - 1), max(float(log_m[-1]), crude + 1), _COARSE[0])
    prior_logs = _weights(log_m, log_a, middle, spread, r[:0], exposure[:0])
    logs = _weights(log_m, log_a, middle, spread, r, exposure)
    # the prior alone sums to one on the same grid, so the sums' ratio is the chance of the data
    peak = logs.max()
    evidence = peak + log(np.exp(logs - peak).sum()) - log(np.exp(prior_logs).sum())
    for _ in range(3):
        weight = _sums_to_one(logs)
        step_m, step_a = log_m[1] - log_m[0], log_a[1] - log_a[0]
        mean_m, sd_m = _moments(log_m, weight.sum(axis=1))
        mean_a, sd_a = _moments(log_a, weight.sum(axis=0))
        # a peak between two points of the grid shows no width: allow it some, and look again
        seen_m, seen_a = max(sd_m, 0.4 * step_m), max(sd_a, 0.4 * step_a)
        log_m = _line(mean_m, seen_m, -np.inf, np.inf, _FINE[0])
        log_a = _line(mean_a, seen_a, low_a, high_a, _FINE[1])
        logs = _weights(log_m, log_a, middle, spread, r, exposure)
        if sd_m > 0.8 * step_m and sd_a > 0.8 * step_a:
            break
    weight = _sums_to_one(logs)
    _, sd_m = _moments(log_m, weight.sum(axis=1))
    flat = weight.ravel()
    order = np.argsort(-flat, kind="stable")
    kept = np.sort(order[: int(np.searchsorted(np.cumsum(flat[order]), 1 - _NEGLIGIBLE)) + 1])
    a = np.broadcast_to(np.exp(log_a)[None, :], weight.shape).ravel()[kept]
    m = np.broadcast_to(np.exp(log_m)[:, None], weight.shape).ravel()[kept]
    return TypeModel(
        weight=flat[kept] / flat[kept].sum(),
        a=a,
        b=a / m,
        guess_left=min(1.0, (sd_m / spread) ** 2) if len(r) else 1.0,
        start_bad=(ARRIVAL[0] + starts_bad, ARRIVAL[1] + starts - starts_bad),
        items=len(r),
        failures=float(r.sum()),
        shows=float(exposure.sum()),
        log_evidence=float(evidence),
    )


_BLOCK = 200_000  # cells times items worked on at once, which keeps memory small and in the cache


def _blocks(count: int, cells: int) -> list[slice]:
    step = max(1, _BLOCK // max(1, cells))
    return [slice(at, min(count, at + step)) for at in range(0, count, step)]


def chance(model: TypeModel, failures: Floats, shows: Floats, ahead: Floats) -> Floats:
    """Return the chance of failing within `ahead` shows, item by item (arrays of one length).

    1 - sum w [(b + T) / (b + T + h)]^(a + r), a mixture of Lomax distributions.
    """
    found = np.empty(len(failures))
    for part in _blocks(len(failures), len(model.weight)):
        logs = np.log1p(ahead[part, None] / (model.b + shows[part, None]))
        found[part] = -np.expm1(-(model.a + failures[part, None]) * logs) @ model.weight
    return np.minimum(found, 1.0)  # weights add to 1 up to the last bit


def shows_until(model: TypeModel, failures: Floats, shows: Floats, target: Floats) -> Floats:
    """Return the most shows ahead that keep the chance of failing at `target` or below, item by item.

    ln of the chance of lasting is convex and falls (a mixture of Lomax is completely monotone), so Newton's steps from nothing
    never pass the root; they stop when none moves by more than a part in 1e12. Infinite where nothing is ever reached.
    """
    found = np.zeros(len(failures))
    for part in _blocks(len(failures), len(model.weight)):
        base = model.b + shows[part, None]
        power = model.a + failures[part, None]
        wanted = np.log1p(-np.clip(target[part], 0.0, 1.0 - 1e-12))
        at = np.zeros(base.shape[0])
        for _ in range(60):
            terms = model.weight * np.exp(-power * np.log1p(at[:, None] / base))
            lasting = terms.sum(axis=1)
            falling = (terms * power / (base + at[:, None])).sum(axis=1)
            step = np.maximum((np.log(lasting) - wanted) * lasting / falling, 0.0)
            at += step
            if np.all(step <= 1e-12 * (1.0 + at)):
                break
        found[part] = at
    return found


def rate_above(model: TypeModel, failures: Floats, shows: Floats, rate: float) -> Floats:
    """Return the chance that an item's own rate of failing is above `rate` a show, item by item."""
    from scipy.special import gammaincc

    found = np.empty(len(failures))
    for part in _blocks(len(failures), len(model.weight)):
        found[part] = gammaincc(model.a + failures[part, None], rate * (model.b + shows[part, None])) @ model.weight
    return found


def rate_quantile(model: TypeModel, share: float, *, failures: float = 0.0, shows: float = 0.0) -> float:
    """Return the rate a show that an item with this record stays below with chance `share`; bisection in the logarithm.

    With no record it is that of the type, such as its median item's with share 0.5.
    """
    one = np.array([failures]), np.array([shows])
    middle = log(max(float(model.weight @ ((model.a + failures) / (model.b + shows))), 1e-300))
    low, high = middle - 60.0, middle + 20.0
    while high - low > 1e-12 * max(1.0, abs(low)):
        at = (low + high) / 2
        if rate_above(model, *one, float(np.exp(at)))[0] > 1 - share:
            low = at
        else:
            high = at
    return float(np.exp((low + high) / 2))


def guess_share(model: TypeModel, shows: Floats) -> Floats:
    """Return how much of each item's forecast is still the first guess, 0 to 1.

    An item's rate is drawn to its type's by b / (b + T); of the type's, `guess_left` is the guess: the product of the two.
    """
    found = np.empty(len(shows))
    for part in _blocks(len(shows), len(model.weight)):
        found[part] = (model.b / (model.b + shows[part, None])) @ model.weight
    return found * model.guess_left
