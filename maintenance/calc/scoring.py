"""What came of forecasts: how many were bad against how many were foretold, with the uncertainty that so few allow."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import erfc, log, sqrt

import numpy as np

from maintenance.calc.retest_guard import exact_limits
from maintenance.calc.retest_record import Floats

TOO_FEW, ENOUGH = 50, 200
MOST_BINS = 5
SURE = 0.95
_SIGN = 0.05  # a two-sided tail smaller than this is a sign of miscalibration
_LEAST_CHANCE = 1e-9  # so that a forecast of nothing that came true scores badly and not infinitely
_DRAWS = 4_000


class Verdict(StrEnum):
    TOO_FEW = "too few to judge"
    NO_SIGN = "no sign of miscalibration"
    SIGNS = "signs of miscalibration"
    HOLDS = "forecasts hold"
    TOO_LOW = "forecasts are too low"
    TOO_HIGH = "forecasts are too high"
    OFF = "forecasts are off"


@dataclass(frozen=True, kw_only=True)
class Bin:
    """Forecasts of like chance: their count, mean forecast, share that was bad with its exact limits, and the consistency bar.

    The bar is where the share would lie 9 times in 10 if every forecast were right (Bröcker and Smith 2007).
    """

    count: int
    bad: int
    forecast: float
    seen: float
    low: float
    high: float
    bar_low: float
    bar_high: float


@dataclass(frozen=True, kw_only=True)
class Score:
    """The scores of forecasts that came to something. `expected` is the sum of the forecasts, `seen` the count that were bad.

    `seen_low` and `seen_high` are what counts would be usual (95 %) were all forecasts right; `tail` the exact two-sided
    chance of a count as far off. `brier` = `reliability` - `resolution` + `uncertainty` holds with the bins as given when all
    forecasts in a bin are equal. `z` is Spiegelhalter's. `skill` is near 0 by design where all forecasts are near the target.
    """

    count: int
    seen: int
    expected: float
    seen_low: int
    seen_high: int
    tail: float
    brier: float
    reliability: float
    resolution: float
    uncertainty: float
    skill: float
    log_score: float
    z: float
    z_tail: float
    bins: tuple[Bin, ...]
    verdict: Verdict
    words: str


def counts_of(chances: Sequence[float] | Floats) -> Floats:
    """Return the chances of 0, 1, ... n being bad when each is with its own chance: the Poisson-binomial, by convolution."""
    found = np.ones(1)
    for chance in np.asarray(chances, dtype=np.float64):
        more = np.empty(len(found) + 1)
        more[0], more[-1] = found[0] * (1 - chance), found[-1] * chance
        more[1:-1] = found[1:] * (1 - chance) + found[:-1] * chance
        found = more
    return found


def wilson(bad: int, of: int, *, z: float = 1.959963984540054) -> tuple[float, float]:
    """Return Wilson's 95 % limits of a share (Wilson 1927). ValueError for impossible counts; (0, 1) for none."""
    if not 0 <= bad <= of:
        raise ValueError("As many are bad as there are at most, and none at least.")
    if not of:
        return 0.0, 1.0
    share = bad / of
    middle = (share + z * z / (2 * of)) / (1 + z * z / of)
    reach = z * sqrt(share * (1 - share) / of + z * z / (4 * of * of)) / (1 + z * z / of)
    return (0.0 if bad == 0 else max(0.0, middle - reach)), (1.0 if bad == of else min(1.0, middle + reach))


def brier_parts(p: Floats, y: Floats, group: np.ndarray) -> tuple[float, float, float, float]:
    """Return Brier score, reliability, resolution and uncertainty over the groups, at their mean forecasts (Murphy 1973)."""
    base = y.mean()
    reliability = resolution = 0.0
    for one in np.unique(group):
        mine = group == one
        share = mine.mean()
        reliability += share * (p[mine].mean() - y[mine].mean()) ** 2
        resolution += share * (y[mine].mean() - base) ** 2
    return float(np.mean((p - y) ** 2)), float(reliability), float(resolution), float(base * (1 - base))


def spiegelhalter(p: Floats, y: Floats) -> float:
    """Return Spiegelhalter's Z, standard normal were all forecasts right (Spiegelhalter 1986); 0 where they cannot tell."""
    spread = float(np.sum((1 - 2 * p) ** 2 * p * (1 - p)))
    return float(np.sum((y - p) * (1 - 2 * p))) / sqrt(spread) if spread > 0 else 0.0


def isotonic(p: Sequence[float] | Floats, y: Sequence[float] | Floats) -> Floats:
    """Return the rising shares that fit the outcomes best, in the order given: adjacent violators pooled, equals together.

    The reliability curve without hand-made bins (Dimitriadis, Gneiting and Jordan 2021).
    """
    chances, outcomes = np.asarray(p, dtype=np.float64), np.asarray(y, dtype=np.float64)
    levels, back, many = np.unique(chances, return_inverse=True, return_counts=True)
    sums = np.bincount(back, outcomes, minlength=len(levels))
    pools: list[list[float]] = []  # [sum, count, levels]
    for total, count in zip(sums.tolist(), many.tolist(), strict=True):
        pools.append([total, count, 1])
        while len(pools) > 1 and pools[-2][0] * pools[-1][1] >= pools[-1][0] * pools[-2][1]:
            last = pools.pop()
            pools[-1] = [pools[-1][0] + last[0], pools[-1][1] + last[1], pools[-1][2] + last[2]]
    fitted = np.concatenate([np.full(int(size), total / count) for total, count, size in pools]) if pools else np.zeros(0)
    return fitted[back]


def _grouped(p: Floats) -> np.ndarray:
    """Return a group for each forecast: its distinct value where those are few, else like counts by rank, equals together."""
    levels, back = np.unique(p, return_inverse=True)
    if len(levels) <= MOST_BINS:
        return back
    bins = max(1, min(MOST_BINS, len(p) // 10))
    cuts = np.quantile(p, np.arange(1, bins) / bins)
    return np.searchsorted(cuts, p, side="left")


def _bins(p: Floats, y: Floats, group: np.ndarray, seed: int) -> tuple[Bin, ...]:
    dice = np.random.default_rng(seed)
    found = []
    for one in np.unique(group):
        mine = group == one
        count, bad = int(mine.sum()), int(y[mine].sum())
        low, high = exact_limits(bad, count)
        shares = np.zeros(_DRAWS)
        for chance in p[mine]:
            shares += dice.random(_DRAWS) < chance
        bar_low, bar_high = np.quantile(shares / count, [0.05, 0.95])
        found.append(
            Bin(
                count=count,
                bad=bad,
                forecast=float(p[mine].mean()),
                seen=bad / count,
                low=low,
                high=high,
                bar_low=float(bar_low),
                bar_high=float(bar_high),
            )
        )
    return tuple(found)


def _verdict(count: int, seen: int, expected: float, tail: float, z_tail: float) -> Verdict:
    if count < TOO_FEW:
        return Verdict.TOO_FEW
    off = tail < _SIGN
    if count < ENOUGH:
        return Verdict.SIGNS if off or z_tail < _SIGN else Verdict.NO_SIGN
    if off:
        return Verdict.TOO_LOW if seen > expected else Verdict.TOO_HIGH
    return Verdict.OFF if z_tail < _SIGN else Verdict.HOLDS


def score(chances: Sequence[float], failed: Sequence[bool], *, seed: int = 0) -> Score:
    """Score forecasts (chance of being found bad) against what came of them. ValueError for none, or chances outside 0 to 1.

    Verdict by count: below 50 none, to 199 signs or no sign, from 200 one (a forecast of 5 % that ought to be 10 % is noticed
    with 50 forecasts 23 times in 100, with 200 79 times: computed).
    """
    p, y = np.asarray(chances, dtype=np.float64), np.asarray(failed, dtype=np.float64)
    if not len(p) or len(p) != len(y):
        raise ValueError("There must be forecasts, and an outcome for each.")
    if not np.all((p >= 0) & (p <= 1)):
        raise ValueError("A chance lies between 0 and 1.")
    count, seen, expected = len(p), int(y.sum()), float(p.sum())
    spread = counts_of(p)
    below, above = float(spread[: seen + 1].sum()), float(spread[seen:].sum())
    tail = min(1.0, 2 * min(below, above))
    reached = np.cumsum(spread)
    usual = int(np.searchsorted(reached, (1 - SURE) / 2)), int(np.searchsorted(reached, 1 - (1 - SURE) / 2))
    group = _grouped(p)
    brier, reliability, resolution, uncertainty = brier_parts(p, y, group)
    z = spiegelhalter(p, y)
    z_tail = erfc(abs(z) / sqrt(2))
    safe = np.clip(p, _LEAST_CHANCE, 1 - _LEAST_CHANCE)
    verdict = _verdict(count, seen, expected, tail, z_tail)
    return Score(
        count=count,
        seen=seen,
        expected=expected,
        seen_low=usual[0],
        seen_high=usual[1],
        tail=tail,
        brier=brier,
        reliability=reliability,
        resolution=resolution,
        uncertainty=uncertainty,
        skill=1 - brier / uncertainty if uncertainty > 0 else 0.0,
        log_score=float(-np.mean(np.where(y > 0, np.log(safe), np.log1p(-safe)))),
        z=z,
        z_tail=z_tail,
        bins=_bins(p, y, group, seed),
        verdict=verdict,
        words=_words(count, seen, expected, usual, verdict),
    )


def _words(count: int, seen: int, expected: float, usual: tuple[int, int], verdict: Verdict) -> str:
    """Say it: 14 of 120 were bad, 6.2 foretold; were the forecasts right, 2 to 11 would be usual: signs of miscalibration."""
    range_of = f"{usual[0]}" if usual[0] == usual[1] else f"{usual[0]} to {usual[1]}"
    said = f"{seen} of {count} {'was' if seen == 1 else 'were'} bad, {expected:.1f} foretold"
    if verdict is Verdict.TOO_FEW:
        low, high = wilson(seen, count)
        return f"{said}: too few to judge (the true share lies between {100 * low:.0f} and {100 * high:.0f}\u202f%)."
    return f"{said}; were the forecasts right, {range_of} would be usual: {verdict}."


def zero_allows(count: int, *, sure: float = 0.95) -> float:
    """Return the share of bad ones that none in `count` still allows, one-sided: 1 - (1 - sure)^(1 / n)."""
    return 1 - float(np.exp(log(1 - sure) / count))
