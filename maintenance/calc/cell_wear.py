"""The law of a set's life: ln hours is normal, but a set that has run longer never has more left.

Past the hour where the lognormal's rate of dying peaks, the plain law would promise an old set more hours the older it gets: an
artefact of its tail. Here the rate stays at its peak from there on, so that hours left never grow with hours used and the
chance of dying within so many hours never falls. The hours used may be off: half the sets are taken to have run one spread
longer than recorded, half one shorter (Gauss-Hermite, two points), which keeps both promises. Arrays (scipy.special).
"""

from dataclasses import dataclass, fields
from functools import cache
from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
LEAST_SD = 0.02
_STEPS = 7


def log_ndtr(z: Floats) -> Floats:
    """Return ln of the standard normal's cumulative chance."""
    from scipy import special  # takes a quarter of a second: not before something is reckoned

    return special.log_ndtr(z)


def ndtri_exp(ln_chance: Floats) -> Floats:
    """Return the z whose cumulative chance has this ln."""
    from scipy import special

    return special.ndtri_exp(ln_chance)


def _mills(z: Floats) -> Floats:
    """Return phi / (1 - Phi), the standard normal's rate."""
    return np.exp(-0.5 * z * z - log_ndtr(-z)) / sqrt(2 * pi)


@cache
def _peaks() -> tuple[Floats, Floats]:
    z = np.linspace(-30, 38, 20_001)
    return np.maximum.accumulate((_mills(z) - z)[::-1]), z[::-1].copy()


def peak_z(sd: Floats) -> Floats:
    """Return standard normal z of ln hours where the rate of dying peaks: phi / (1 - Phi) - z = sd."""
    return np.interp(sd, *_peaks())


@dataclass(frozen=True)
class Law:
    """Sets whose ln hours are N(mean, sd^2), with where the rate of dying peaks and what it is there. All of one shape."""

    mean: Floats
    sd: Floats
    top: Floats
    peak_h: Floats
    at_peak: Floats
    rate: Floats

    def some(self, which: np.ndarray) -> "Law":
        return Law(*(getattr(self, one.name)[which] for one in fields(self)))

    def ln_alive(self, hours: Floats) -> Floats:
        """Return ln of the chance of outliving `hours` from new."""
        z = (np.log(np.maximum(hours, 1e-12)) - self.mean) / self.sd
        return log_ndtr(-np.minimum(z, self.top)) - self.rate * np.maximum(hours - self.peak_h, 0.0)

    def hours_at(self, ln_alive: Floats) -> Floats:
        """Return the hours that a share of sets outlives, given as its ln: the inverse of `ln_alive`."""
        body = np.exp(self.mean - self.sd * ndtri_exp(np.maximum(np.minimum(ln_alive, -1e-300), self.at_peak)))
        return np.where(ln_alive >= self.at_peak, body, self.peak_h + (self.at_peak - ln_alive) / self.rate)


def law_of(mean: Floats, sd: Floats) -> Law:
    top = peak_z(sd)
    peak_h = np.exp(mean + sd * top)
    return Law(mean, sd, top, peak_h, log_ndtr(-top), _mills(top) / (sd * peak_h))


def clocks(hours: Floats, off: Floats) -> tuple[Floats, Floats]:
    """Return the hours used if they are one spread `off` more, and one less, than recorded."""
    return hours + off, np.maximum(hours - off, 0.0)


def left(share: float, hours: Floats, off: Floats, law: Law) -> Floats:
    """Return hours left that `share` of sets alive at `hours`, give or take `off`, do not outlast: 0.05 low, 0.95 high."""
    found = np.maximum(law.hours_at(law.ln_alive(hours) + np.log1p(-share)) - hours, 0.0)
    unsure = np.flatnonzero(off > 0)
    if len(unsure):
        found[unsure] = _left_unsure(share, hours[unsure], off[unsure], law.some(unsure))
    return found


def _left_unsure(share: float, hours: Floats, off: Floats, law: Law) -> Floats:
    slow, fast = clocks(hours, off)
    was_slow, was_fast = law.ln_alive(slow), law.ln_alive(fast)
    wanted = np.log1p(-share)
    low = np.maximum(law.hours_at(was_slow + wanted) - slow, 0.0)
    high = np.maximum(law.hours_at(was_fast + wanted) - fast, low)

    def over(more: Floats) -> Floats:
        """Return how far ln of the chance of outlasting `more` hours is above what is wanted; falls with it."""
        alive = np.exp(law.ln_alive(slow + more) - was_slow) + np.exp(law.ln_alive(fast + more) - was_fast)
        return np.log(0.5 * alive) - wanted

    f_low, f_high = over(low), over(high)
    best, f_best, side = low, np.abs(f_low), np.zeros_like(low)
    for _ in range(_STEPS):  # false position after Anderson and Björck 1973: the answer lies between what the two clocks say
        gap = f_low - f_high
        part = np.where(gap > 1e-13, f_low / np.where(gap > 1e-13, gap, 1.0), 0.5)
        at = low + (high - low) * np.clip(part, 0.0, 1.0)
        f_at = over(at)
        better = np.abs(f_at) < f_best
        best, f_best = np.where(better, at, best), np.where(better, np.abs(f_at), f_best)
        above = f_at > 0
        same = side == np.where(above, 1.0, -1.0)
        was = np.where(above, f_low, f_high)
        less = 1 - f_at / np.where(was == 0, 1.0, was)
        less = np.where(same, np.where(less > 0, less, 0.5), 1.0)
        f_high, f_low = np.where(above, f_high * less, f_at), np.where(above, f_at, f_low * less)
        low, high = np.where(above, at, low), np.where(above, high, at)
        side = np.where(above, 1.0, -1.0)
    return best


def chance(need_h: Floats, hours: Floats, off: Floats, law: Law) -> Floats:
    """Return the chance that a set alive at `hours`, give or take `off`, dies within `need_h` more."""
    need = np.maximum(need_h, 0.0)
    both = [-np.expm1(law.ln_alive(at + need) - law.ln_alive(at)) for at in clocks(hours, off)]
    return np.clip(0.5 * (both[0] + both[1]), 0.0, 1.0) + 0.0
