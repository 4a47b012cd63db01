"""Lives of which only ends or intervals are known: how many last how long, fitted curves, and when replacing by age pays.

A life lies in (low, high]: low == high is an exact end, high infinite a life still going, low 0 an end before its first look.
A pass at `low` says that it ended after `low`, so the interval is open there.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, gamma, inf, isfinite, log, sqrt

import numpy as np

from maintenance.calc.retest_record import Floats, Records

LEAST_ENDS = 5  # fewer ends than this say nothing of a shape without a prior
_STEPS = 20_000


@dataclass(frozen=True, kw_only=True)
class Weibull:
    """S(t) = exp(-(t / scale)^shape), with the log likelihood and standard errors of ln shape and ln scale of its fit."""

    shape: float
    scale: float
    log_likelihood: float = 0.0
    shape_se_log: float = 0.0
    scale_se_log: float = 0.0

    @property
    def mean(self) -> float:
        return self.scale * gamma(1 + 1 / self.shape)

    @property
    def sd(self) -> float:
        return self.scale * sqrt(gamma(1 + 2 / self.shape) - gamma(1 + 1 / self.shape) ** 2)

    def fails_between(self, now: float, then: float) -> float:
        """Return the chance that what lasted until `now` ends by `then`."""
        return -float(np.expm1((now / self.scale) ** self.shape - (then / self.scale) ** self.shape))

    def until(self, now: float, target: float) -> float:
        """Return how much further what lasted until `now` goes before its chance of ending passes `target`."""
        return self.scale * float(((now / self.scale) ** self.shape - np.log1p(-target)) ** (1 / self.shape)) - now

    def limits(self, *, z: float = 1.959963984540054) -> tuple[tuple[float, float], tuple[float, float]]:
        """Return 95 % limits of shape and scale, from their logarithms, so that neither falls below nothing."""
        pairs = (self.shape, self.shape_se_log), (self.scale, self.scale_se_log)
        (low_b, high_b), (low_s, high_s) = ((at * exp(-z * se), at * exp(z * se)) for at, se in pairs)
        return (low_b, high_b), (low_s, high_s)


def _log_likelihood(log_shape: float, log_scale: float, low: Floats, high: Floats, many: Floats) -> float:
    """Sum over lives of ln f, ln S(low) or -H(low) + ln(1 - exp(-(H(high) - H(low))))."""
    shape = exp(log_shape)
    exact, going = low == high, ~np.isfinite(high)
    between = ~exact & ~going
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        ages = np.log(low) - log_scale
        hazard_low = np.where(low > 0, np.exp(shape * ages), 0.0)
        total = -np.sum(many * hazard_low)
        total += np.sum(many[exact] * (log_shape - log_scale + (shape - 1) * ages[exact]))
        rise = np.exp(shape * (np.log(high[between]) - log_scale)) - hazard_low[between]
        total += np.sum(many[between] * np.log(-np.expm1(-rise)))
    return float(total) if isfinite(total) else -inf


def weibull_fit(low: Sequence[float], high: Sequence[float], many: Sequence[float] | None = None) -> Weibull:
    """Return the Weibull that makes the lives likeliest. ValueError with fewer than LEAST_ENDS ends, or intervals out of order.

    Starts are tried from several shapes around the data's own scale (a bad start ends anywhere) and the best likelihood wins.
    Likelihood: Meeker and Escobar 1998, Nelson 1982.
    """
    from scipy.optimize import minimize

    a, b = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    n = np.ones(len(a)) if many is None else np.asarray(many, dtype=np.float64)
    a, b, n = a[n > 0], b[n > 0], n[n > 0]
    if np.any(a < 0) or np.any(b < a) or np.any(b <= 0):
        raise ValueError("A life ends after it was last seen well, and both are at least nothing.")
    if n[np.isfinite(b)].sum() < LEAST_ENDS:
        raise ValueError(f"Fewer than {LEAST_ENDS} ends say nothing of the shape.")
    ends = np.concatenate([a[a > 0], b[np.isfinite(b)]])
    scale = log(float(np.median(ends)))

    def cost(at: Floats) -> float:
        value = _log_likelihood(float(at[0]), float(at[1]), a, b, n)
        return -value if isfinite(value) else 1e12

    tries = [
        minimize(
            cost,
            np.array([log(shape), scale + shift]),
            method="Nelder-Mead",
            options={"xatol": 1e-10, "fatol": 1e-11, "maxiter": 4000},
        )
        for shape in (0.7, 1.5, 3.0)
        for shift in (0.0, 1.0)
    ]
    best = min(tries, key=lambda found: found.fun)
    at = best.x
    step = 1e-4
    hessian = np.empty((2, 2))
    for i in range(2):
        for j in range(2):
            e, f = np.eye(2)[i] * step, np.eye(2)[j] * step
            hessian[i, j] = (cost(at + e + f) - cost(at + e - f) - cost(at - e + f) + cost(at - e - f)) / (4 * step * step)
    spread = np.sqrt(np.maximum(np.diag(np.linalg.pinv(hessian)), 0.0))
    return Weibull(
        shape=exp(float(at[0])),
        scale=exp(float(at[1])),
        log_likelihood=-float(best.fun),
        shape_se_log=float(spread[0]),
        scale_se_log=float(spread[1]),
    )


def exponential_limits(failures: int, exposure: float, *, sure: float = 0.90) -> tuple[float, float]:
    """Return two-sided limits of the mean exposure between failures; with none, one-sided: (low, infinite).

    2T / chi2(1 - a/2; 2r + 2) to 2T / chi2(a/2; 2r); none: T / -ln a. Source: NIST/SEMATECH e-Handbook, 8.4.5.1.
    """
    from scipy.special import gammaincinv

    if failures < 0 or exposure <= 0:
        raise ValueError("Failures are at least nothing and exposure is more.")
    tail = (1 - sure) / 2
    if not failures:
        return exposure / -log(1 - sure), inf
    # a chi-square quantile with 2k degrees of freedom is twice a gamma's with shape k
    low = exposure / float(gammaincinv(failures + 1, 1 - tail))
    return low, exposure / float(gammaincinv(failures, tail))


@dataclass(frozen=True, kw_only=True)
class Step:
    """The share that lasts beyond `at`, with its standard error (Greenwood) and how many were under watch then."""

    at: float
    lasting: float
    se: float
    watched: int
    ended: int


def kaplan_meier(times: Sequence[float], ended: Sequence[bool]) -> tuple[Step, ...]:
    """Return the steps of the share lasting, at each time at which some ended; what was taken out then counts as watched.

    S = prod (1 - d / n), var = S^2 sum d / (n (n - d)). Source: NIST/SEMATECH e-Handbook, 8.2.1.5.
    """
    t, d = np.asarray(times, dtype=np.float64), np.asarray(ended, dtype=bool)
    lasting, spread, steps = 1.0, 0.0, []
    for at in np.unique(t[d]).tolist():
        watched, gone = int(np.sum(t >= at)), int(np.sum(d & (t == at)))
        lasting *= 1 - gone / watched
        spread += gone / (watched * (watched - gone)) if watched > gone else 0.0
        steps.append(Step(at=at, lasting=lasting, se=lasting * sqrt(spread), watched=watched, ended=gone))
    return tuple(steps)


@dataclass(frozen=True, kw_only=True)
class Mass:
    """A share of lives that ended somewhere in (low, high]."""

    low: float
    high: float
    share: float


def turnbull(
    low: Sequence[float], high: Sequence[float], many: Sequence[float] | None = None, *, close: float = 1e-9
) -> tuple[Mass, ...]:
    """Return where lives of which only intervals are known ended, without any shape: mass on innermost intervals, by EM.

    Turnbull 1976. Intervals are (low, high]; an exact end is one of no length. Masses below `close` are left out.
    """
    a, b = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    n = np.ones(len(a)) if many is None else np.asarray(many, dtype=np.float64)
    if not len(a):
        return ()
    if np.any(b < a):
        raise ValueError("A life ends after it was last seen well.")
    # an innermost interval runs from a low end to the next high end with no low end between; a low end opens just after itself,
    # so that among equals highs come first, except that an exact end opens just before itself
    ends = sorted(
        {(at, 0 if exact else 2, "low") for at, exact in zip(a.tolist(), (a == b).tolist(), strict=True)}
        | {(at, 1, "high") for at in b.tolist()}
    )
    inner = [(ends[i][0], ends[i + 1][0]) for i in range(len(ends) - 1) if ends[i][2] == "low" and ends[i + 1][2] == "high"]
    q, p = np.array([i[0] for i in inner]), np.array([i[1] for i in inner])
    holds = (a[:, None] <= q) & (p <= b[:, None]) & ~((q == p) & (q == a[:, None]))  # an end at a is not in (a, b]
    exact = a == b
    holds[exact] = (q == a[exact, None]) & (p == b[exact, None])
    share = np.full(len(inner), 1.0 / len(inner))
    for _ in range(_STEPS):
        split = holds * share
        new = (n[:, None] * split / split.sum(axis=1, keepdims=True)).sum(axis=0) / n.sum()
        moved = float(np.max(np.abs(new - share)))
        share = new
        if moved < 1e-12:
            break
    return tuple(
        Mass(low=float(at), high=float(to), share=float(s)) for at, to, s in zip(q, p, share, strict=True) if s > close
    )


def first_ends(records: Records) -> tuple[Floats, Floats]:
    """Return for each item used at all the interval, in shows of age, in which it failed first; infinite while it has not.

    Exposure that nobody has vouched for is not counted as lasting.
    """
    low, high = np.maximum(records.age - records.since, 0.0), np.full(len(records), inf)
    failed = np.flatnonzero(records.spans_failed)
    items, where = np.unique(records.spans_item[failed], return_index=True)
    low[items], high[items] = records.spans_from[failed[where]], records.spans_to[failed[where]]
    used = (low > 0) | np.isfinite(high)
    return low[used], high[used]


def age_replacement(fit: Weibull, *, planned_cost: float, failure_cost: float) -> tuple[float, float]:
    """Return the age at which replacing costs least, and that cost a show; (infinite, cost of running to failure) if never.

    h(T) int_0^T S du - F(T) = cp / (cf - cp), cost (cf - cp) h(T). Only a rising hazard has one: never for shape <= 1.
    Barlow and Proschan 1965.
    """
    from scipy.optimize import brentq
    from scipy.special import gammainc

    if planned_cost <= 0:
        raise ValueError("Replacing costs something.")
    never = inf, failure_cost / fit.mean
    if fit.shape <= 1 or failure_cost <= planned_cost:
        return never
    wanted = planned_cost / (failure_cost - planned_cost)

    def gap(log_age: float) -> float:
        x = exp(log_age)  # age over scale
        lived = gamma(1 / fit.shape) / fit.shape * float(gammainc(1 / fit.shape, x**fit.shape))
        return fit.shape * x ** (fit.shape - 1) * lived + float(np.expm1(-(x**fit.shape))) - wanted

    low, high = log(1e-9), log(1e3)
    if gap(high) < 0:
        return never
    age = fit.scale * exp(brentq(gap, low, high, xtol=1e-13))
    return age, (failure_cost - planned_cost) * fit.shape / fit.scale * (age / fit.scale) ** (fit.shape - 1)


def block_replacement(fit: Weibull, *, planned_cost: float, failure_cost: float) -> tuple[float, float]:
    """Return the age at which to replace what is mended at each failure, and its cost a show; infinite for shape <= 1.

    C(T) = (cp + cf H(T)) / T, T = scale (cp / (cf (shape - 1)))^(1 / shape). Barlow and Proschan 1965 (minimal repair).
    """
    if fit.shape <= 1:
        return inf, inf
    age = fit.scale * (planned_cost / (failure_cost * (fit.shape - 1))) ** (1 / fit.shape)
    return age, (planned_cost + failure_cost * (age / fit.scale) ** fit.shape) / age
