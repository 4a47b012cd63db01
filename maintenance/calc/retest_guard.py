"""The plain count beside the model: how many intervals ended good, and whether that is within its limits."""

from dataclasses import dataclass
from math import log


@dataclass(frozen=True, kw_only=True)
class Guard:
    """What the count of intervals says. `factor` is what intervals should be multiplied by, within 0.5 and 2; 1 is keep.

    `most_shows` caps an interval, only where they ought to be shorter: nothing is ever made longer by the guard. `line` is the
    whole sentence, `short` the reason as part of one.
    """

    intervals: int = 0
    good: int = 0
    low: float = 0.0
    high: float = 1.0
    factor: float = 1.0
    mean_shows: float = 0.0
    most_shows: float | None = None
    line: str = ""
    short: str = ""


def exact_limits(good: int, of: int, *, sure: float = 0.95) -> tuple[float, float]:
    """Return the exact two-sided limits of a share (Clopper and Pearson 1934). ValueError for impossible counts."""
    from scipy.special import betaincinv

    if not 0 <= good <= of:
        raise ValueError("As many are good as there are at most, and none at least.")
    tail = (1 - sure) / 2
    low = float(betaincinv(good, of - good + 1, tail)) if good else 0.0
    high = float(betaincinv(good + 1, of - good, 1 - tail)) if good < of else 1.0
    return low, high


def proof_needed(share: float, *, sure: float = 0.90) -> int:
    """Return how many tests in a row must be good to show that at least `share` are: ln(1 - sure) / ln(share), rounded up."""
    from math import ceil

    return ceil(log(1 - sure) / log(share) - 1e-12)


def interval_factor(good: int, of: int, wanted: float) -> float:
    """Return what to multiply intervals by so that a share `wanted` ends good: ln wanted / ln seen, unclipped.

    Method S1 of RP-1 (lives without memory). Infinite where all ended good, 0 where none did.
    """
    if good == of:
        return float("inf")
    return log(wanted) / log(good / of) if good else 0.0


def guard(*, intervals: int, good: int, interval_shows: float, target: float) -> Guard:
    """Return what the count of a type's intervals in use says of its intervals. `interval_shows` is their sum.

    Method A3 of RP-1 (interval test): intervals change only if the share wanted lies outside the exact 95 % limits of the share
    that ended good. The step is S1's within [0.5, 2] (ours, as A3's own was found in no published page).
    """
    if intervals <= 0:
        return Guard(line="No interval in use has ended yet, so there is nothing to hold the model against.")
    wanted = 1 - target
    low, high = exact_limits(good, intervals)
    mean = interval_shows / intervals
    step = min(2.0, max(0.5, interval_factor(good, intervals, wanted)))
    factor = step if wanted > high or wanted < low else 1.0
    counted = f"{good} of {intervals} in-service intervals ended good"
    target_words = f"{100 * wanted:.0f}\u202f%"
    limits = f"{100 * low:.0f}–{100 * high:.0f}\u202f%"
    if factor == 1.0:
        line = f"{counted}, target {target_words}: within its limits of {limits}, so intervals stay as the model says."
        return Guard(intervals=intervals, good=good, low=low, high=high, mean_shows=mean, line=line)
    if wanted > high:
        cap = factor * mean
        line = (
            f"{counted}, target {target_words}: outside its limits of {limits}, so intervals are held to {cap:.0f} shows "
            f"({factor:.2g} of the {mean:.0f} they lasted on average)."
        )
        short = f"only {good} of {intervals} intervals ended good"
        return Guard(
            intervals=intervals,
            good=good,
            low=low,
            high=high,
            factor=factor,
            mean_shows=mean,
            most_shows=cap,
            line=line,
            short=short,
        )
    line = (
        f"{counted}, target {target_words}: above its limits of {limits}, so intervals could be {factor:.2g} times as "
        "long; the model decides by how much."
    )
    return Guard(intervals=intervals, good=good, low=low, high=high, factor=factor, mean_shows=mean, line=line)


def beta_binomial(bad: int, of: int, *, alpha: float, beta: float, sure: float = 0.95) -> tuple[float, float, float]:
    """Return mean, low and high of a chance that does not grow with use: Beta(alpha + bad, beta + of - bad)."""
    from scipy.special import betaincinv

    if not 0 <= bad <= of:
        raise ValueError("As many are bad as there are at most, and none at least.")
    a, b = alpha + bad, beta + of - bad
    tail = (1 - sure) / 2
    return a / (a + b), float(betaincinv(a, b, tail)), float(betaincinv(a, b, 1 - tail))
