"""Does a type wear out: a clock that runs faster with age, fitted only where enough failed, used only where it foretold better.

On the clock v = U (u / U)^k of an item's age u in shows, failures come at a steady rate; k = 1 is no wear, k > 1 wearing out. A
mended item keeps its age. On the clock everything of `retest_type` holds, spans counting by their difference of the clock (our
derivation: a power-law process with gamma-spread rates, conjugate at every k).
"""

from dataclasses import dataclass, replace
from math import inf, log

import numpy as np

from maintenance.calc.retest_lifetimes import Weibull, age_replacement, block_replacement
from maintenance.calc.retest_record import Floats, Records
from maintenance.calc.retest_type import SHAPE_LIKELY, SPREAD_LOG, _prior_of_mean, rate_quantile, type_fit

LEAST_FAILURES = 8
LIKELY, SPREAD = log(1.3), 0.4  # prior of ln k (our proposal)
SURE = 0.9  # that k is above 1, before an age to replace at is named
FOLDS = 5
_COARSE = np.exp(np.linspace(LIKELY - 3 * SPREAD, LIKELY + 3 * SPREAD, 9))
_FINE = 9


@dataclass(frozen=True, kw_only=True)
class Clock:
    """The age clock of a type: `power` k and `unit` U in shows."""

    power: float = 1.0
    unit: float = 1.0

    def on(self, age: Floats) -> Floats:
        """Return what the clock shows at an age."""
        return self.unit * (age / self.unit) ** self.power

    def age(self, shown: Floats) -> Floats:
        """Return the age at which the clock shows this."""
        return self.unit * (shown / self.unit) ** (1 / self.power)

    def records(self, records: Records) -> Records:
        """Return the records with `shows` and `since` by the clock: all of it, less what nobody vouches for and half of each
        interval that ended in a failure."""
        since = self.on(records.age) - self.on(np.maximum(records.age - records.since, 0.0))
        failed = records.spans_failed
        lost = (self.on(records.spans_to[failed]) - self.on(records.spans_from[failed])) / 2
        halves = np.bincount(records.spans_item[failed], lost, minlength=len(records))
        return replace(records, shows=np.maximum(self.on(records.age) - since - halves, 0.0), since=since)


@dataclass(frozen=True, kw_only=True)
class WearOut:
    """What the failures say of wear. `fitted` is False with too few; `used` says that the clock foretold better than no wear.

    `power` is the middle of k with its 80 % range, `rising` the chance that k is above 1; `gain` how much likelier (ln) the
    held-out items were with the clock. `replace_at` is the age in shows to replace at with its range, None where none is
    named. `words` say it.
    """

    fitted: bool = False
    used: bool = False
    clock: Clock = Clock()
    power: float = 1.0
    power_low: float = 1.0
    power_high: float = 1.0
    rising: float = 0.0
    gain: float = 0.0
    replace_at: float | None = None
    replace_low: float | None = None
    replace_high: float | None = None
    words: str = ""


_Ages = tuple[float | None, float | None, float | None]
NO_AGE = "no evidence that age alone raises failure: test, do not replace by age"


def _item_logs(records: Records, clock: Clock, m: Floats, a: Floats) -> Floats:
    """Return the log chance of each item's record in each cell, as [item, cell], the intervals' own lengths included."""
    from scipy.special import gammaln

    timed = clock.records(records)
    failed = records.spans_failed
    length = clock.on(records.spans_to[failed]) - clock.on(records.spans_from[failed])
    own = np.bincount(records.spans_item[failed], np.log(np.maximum(length, 1e-12)), minlength=len(records))
    count = np.bincount(records.spans_item[failed], minlength=len(records)).astype(np.float64)
    b = a / m
    power = a + count[:, None]
    return gammaln(power) - gammaln(a) + a * np.log(b) - power * np.log(b + timed.shows[:, None]) + own[:, None]


def _log_sum(logs: Floats) -> float:
    peak = float(logs.max())
    return peak + log(float(np.exp(logs - peak).sum()))


def wear_fit(
    *,
    records: Records,
    median_shows: float,
    pessimistic_shows: float,
    planned_cost: float = 0.0,
    failure_cost: float = 0.0,
    mended: bool = False,
) -> WearOut:
    """Look for wear in a type's intervals. Costs: of replacing one as planned; of one failing in use, its replacing too.

    Needs LEAST_FAILURES intervals that ended in a failure. k is held on a grid with its prior; the clock is used only if items
    held out (a fifth at a time) are likelier with it, all told, than without wear. An age to replace at is named only if k is
    above 1 with SURE; `mended` takes items to be repaired at each failure instead of replaced.
    """
    failed = int(np.sum(records.spans_failed))
    if failed < LEAST_FAILURES:
        return WearOut(words=few_words(failed))
    unit = float(np.median(records.spans_to[records.spans_failed]))
    middle, spread = _prior_of_mean(float(median_shows), float(pessimistic_shows))
    # cells where the mean rate must be, seen so many failures in so many shows: the clock is laid so that this holds at any k
    seen = log((failed + 0.5) / max(float(records.age.sum()), 1.0))
    reach = 0.8 + 4 / failed**0.5
    log_m = np.linspace(seen - reach, seen + reach, 13)
    log_a = np.linspace(log(SHAPE_LIKELY) - 2.5 * SPREAD_LOG, log(SHAPE_LIKELY) + 2.5 * SPREAD_LOG, 7)
    grid_m, grid_a = (axis.ravel() for axis in np.meshgrid(log_m, log_a, indexing="ij"))
    prior = -0.5 * ((grid_m - middle) / spread) ** 2 - 0.5 * ((grid_a - log(SHAPE_LIKELY)) / SPREAD_LOG) ** 2
    prior = prior - _log_sum(prior)
    fold = np.arange(len(records)) % FOLDS

    def sums(power: float) -> tuple[float, Floats]:
        logs = _item_logs(records, Clock(power=power, unit=unit), np.exp(grid_m), np.exp(grid_a))
        total = prior + logs.sum(axis=0)
        return _log_sum(total), np.array([_log_sum(total - logs[fold == one].sum(axis=0)) for one in range(FOLDS)])

    steady, steady_without = sums(1.0)
    powers = _COARSE
    for _ in range(2):
        found = [sums(float(power)) for power in powers]
        logs = -0.5 * ((np.log(powers) - LIKELY) / SPREAD) ** 2
        logs_without = logs[:, None] + np.array([each for _, each in found])
        logs = logs + np.array([total for total, _ in found])
        weight = np.exp(logs - logs.max())
        weight /= weight.sum()
        centre = float(weight @ np.log(powers))
        width = max(float(weight @ (np.log(powers) - centre) ** 2) ** 0.5, 0.3 * float(np.log(powers[1] / powers[0])))
        if powers is _COARSE:
            powers = np.exp(np.linspace(centre - 3 * width, centre + 3 * width, _FINE))
    gain = sum(_log_sum(logs) - _log_sum(logs_without[:, one]) - (steady - float(steady_without[one])) for one in range(FOLDS))
    reached = np.cumsum(weight) - weight / 2
    low, power, high = (float(np.exp(np.interp(share, reached, np.log(powers)))) for share in (0.1, 0.5, 0.9))
    rising = float(1 - np.interp(0.0, np.log(powers), reached, left=0.0, right=1.0))
    clock = Clock(power=power, unit=unit)
    used = gain > 0 and len(np.unique(fold)) > 1
    ages: _Ages = (None, None, None)
    if rising >= SURE and used and planned_cost > 0 and failure_cost > planned_cost:
        ages = _replace_ages(records, unit, powers, weight, median_shows, pessimistic_shows, planned_cost, failure_cost, mended)
    return WearOut(
        fitted=True,
        used=used,
        clock=clock if used else Clock(),
        power=power,
        power_low=low,
        power_high=high,
        rising=rising,
        gain=gain,
        replace_at=ages[1],
        replace_low=ages[0],
        replace_high=ages[2],
        words=_words(failed, used, rising, power, ages),
    )


def _replace_ages(
    records: Records,
    unit: float,
    powers: Floats,
    weight: Floats,
    median_shows: float,
    pessimistic_shows: float,
    planned_cost: float,
    failure_cost: float,
    mended: bool,
) -> _Ages:
    """Return the 10 %, 50 % and 90 % points of the best age to replace at, for the middle item of the type, over k."""
    found = []
    for power, share in zip(powers, weight, strict=True):
        if share < 1e-4:
            continue
        clock = Clock(power=float(power), unit=unit)
        timed = clock.records(records)
        model = type_fit(
            median_shows=median_shows, pessimistic_shows=pessimistic_shows, failures=timed.failures, shows=timed.shows
        )
        rate = rate_quantile(model, 0.5)
        # the clock reaches one failure, 1 / rate, at the scale of the Weibull
        fit = Weibull(shape=float(power), scale=float(clock.age(np.array(1 / rate))))
        by_age = block_replacement if mended else age_replacement
        found.append((by_age(fit, planned_cost=planned_cost, failure_cost=failure_cost)[0], float(share)))
    found.sort()
    shares = np.cumsum([share for _, share in found])
    points = [found[int(np.searchsorted(shares, at * shares[-1]))][0] for at in (0.1, 0.5, 0.9)]
    low, middle, high = (None if point == inf else point for point in points)
    return low, middle, high


def few_words(failed: int) -> str:
    """Say that too few failed for a look at wear."""
    return f"{failed} of the {LEAST_FAILURES} failures it takes to look for wear: {NO_AGE}."


def _words(failed: int, used: bool, rising: float, power: float, ages: _Ages) -> str:
    low, middle, high = ages
    surely = f"{100 * min(rising, 0.99):.0f}\u202f% sure that age raises them (power {power:.1f})"
    if middle is not None and low is not None:
        to = f"{high:.0f}" if high is not None else "no end in sight"
        return f"{failed} failures: {surely}: replacing at about {middle:.0f} shows costs least, {low:.0f} to {to}."
    if used and rising >= SURE:
        return f"{failed} failures: {surely}; intervals allow for it."
    return f"{failed} failures: {NO_AGE}."
