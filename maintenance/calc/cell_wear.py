"""The law of a set's life: ln hours is normal, but a set that has run longer never has more left.

Past the hour where the lognormal's rate of dying peaks, the plain law would promise an old set more hours the older it gets: an
artefact of its tail. Here the rate stays at its peak from there on, so that hours left never grow with hours used and the
chance of dying within so many hours never falls. Works on floats and on arrays alike (scipy.special).
"""

from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtri_exp

Floats = NDArray[np.float64]
LEAST_SD = 0.02


def _mills(z: Floats) -> Floats:
    """Return phi / (1 - Phi), the standard normal's rate."""
    return np.exp(-0.5 * z * z - log_ndtr(-z)) / sqrt(2 * pi)


_Z = np.linspace(-30, 38, 20_001)
_GAP = np.maximum.accumulate((_mills(_Z) - _Z)[::-1])  # rising as z falls


def peak_z(sd: Floats) -> Floats:
    """Return standard normal z of ln hours where the rate of dying peaks: phi / (1 - Phi) - z = sd."""
    return np.interp(sd, _GAP, _Z[::-1])


def ln_alive(hours: Floats, mean: Floats, sd: Floats) -> Floats:
    """Return ln of the chance of outliving `hours` from new."""
    top = peak_z(sd)
    z = (np.log(np.maximum(hours, 1e-12)) - mean) / sd
    peak_h = np.exp(mean + sd * top)
    beyond = log_ndtr(-top) - _mills(top) / (sd * peak_h) * (hours - peak_h)
    return np.where(z <= top, log_ndtr(-np.minimum(z, top)), beyond)


def left(share: float, hours: Floats, mean: Floats, sd: Floats) -> Floats:
    """Return hours left that `share` of sets alive at `hours` do not outlast: 0.05 low, 0.5 median, 0.95 high."""
    top = peak_z(sd)
    peak_h, at_peak = np.exp(mean + sd * top), log_ndtr(-top)
    target = ln_alive(hours, mean, sd) + np.log1p(-share)
    body = np.exp(mean - sd * ndtri_exp(np.maximum(np.minimum(target, -1e-300), at_peak)))
    tail = peak_h + (at_peak - target) * sd * peak_h / _mills(top)
    return np.maximum(np.where(target >= at_peak, body, tail) - hours, 0.0)


def chance(need_h: Floats, hours: Floats, mean: Floats, sd: Floats) -> Floats:
    """Return the chance that a set alive at `hours` dies within `need_h` more."""
    return np.clip(-np.expm1(ln_alive(hours + np.maximum(need_h, 0.0), mean, sd) - ln_alive(hours, mean, sd)), 0.0, 1.0) + 0.0
