"""A forecast as it is stored when a test puts an item back in use, and what it says of another exposure than was planned."""

from collections.abc import Mapping
from datetime import date
from math import exp, expm1, log1p
from typing import Any

import numpy as np

from maintenance.calc.retest_due import PRIOR_DAYS, PRIOR_SHOWS, Situation, bad_chance
from maintenance.calc.retest_record import Record, records_of
from maintenance.calc.retest_type import VERSION, TypeModel, rate_quantile
from maintenance.calc.retest_wear import Clock

TERMS = 12
_TAIL = 1e-10  # of shows to come that are not looked at


def start_left(model: TypeModel, start_missed: float) -> float:
    """Return the chance that a fault from the start is still there unseen: Bayes on the type's chance of one."""
    bad = model.start_chance
    return bad * start_missed / (1.0 - bad + bad * start_missed)


def chance_by(
    model: TypeModel, record: Record, situation: Situation, *, today: date, day: date, clock: Clock | None = None
) -> float:
    """Return the chance that an item is bad by the end of a day, over the shows it may go to until then.

    Those booked up to the day count as they are; after the last of them so many may come as its past says: a negative binomial
    number N, and the chance is sum P(N = n) P(booked + n). The same as 1 - E[e^(-l booked) (d / (d + t (1 - e^-l)))^c] over the
    item's rate l. A day before today is today.
    """
    from scipy.special import gammaln

    booked = [(on, shows) for on, shows in situation.bookings if on <= day]
    free = max(0, (day - max([today, *(on for on, _ in booked)])).days)
    c, d = PRIOR_SHOWS + situation.past_shows, PRIOR_DAYS + situation.past_days
    most = 1
    if free:
        mean = c * free / d
        most = int(mean + 12 * (mean * (1 + free / d)) ** 0.5 + 40)
    n = np.arange(most, dtype=np.float64)
    logs = (
        gammaln(c + n) - gammaln(c) - gammaln(n + 1) + c * np.log(d / (d + free)) + n * np.log(free / (d + free) if free else 1)
    )
    many = np.exp(logs)
    ahead = sum(shows for _, shows in booked) + n[many > _TAIL]
    timed, on_clock = _timed(record, ahead, clock)
    bad = bad_chance(model, records_of([timed] * len(ahead)), on_clock)
    return float(many[many > _TAIL] @ bad / many[many > _TAIL].sum())


def shows_by(situation: Situation, *, today: date, day: date) -> float:
    """Return how many shows an item is to go to by the end of a day: those booked, then as many as its past says on average."""
    booked = [(on, shows) for on, shows in situation.bookings if on <= day]
    free = max(0, (day - max([today, *(on for on, _ in booked)])).days)
    pace = (PRIOR_SHOWS + situation.past_shows) / (PRIOR_DAYS + situation.past_days)
    return sum(shows for _, shows in booked) + pace * free


def _timed(record: Record, ahead: np.ndarray, clock: Clock | None) -> tuple[Record, np.ndarray]:
    """Return a record and shows ahead of it by the clock of its type, if it has one."""
    if clock is None:
        return record, ahead
    return clock.records(records_of([record])).at(0), clock.on(record.age + ahead) - clock.on(np.array([record.age]))


def chance_range(
    model: TypeModel, record: Record, ahead: float, *, share: float = 0.8, clock: Clock | None = None
) -> tuple[float, float]:
    """Return low and high of the chance of being bad after `ahead` shows were its rate known, for the middle `share` of rates.

    A forecast is one number because the rate is not known; this says how far apart the numbers lie that it is the mean of.
    """
    if record.down:
        return 1.0, 1.0
    tail = (1 - share) / 2
    timed, (more,) = _timed(record, np.array([ahead]), clock)
    rates = [rate_quantile(model, at, failures=timed.failures, shows=timed.shows) for at in (tail, 1 - tail)]
    start = start_left(model, record.start_missed)
    low, high = (1.0 - (1.0 - start) * exp(-rate * (timed.since + float(more))) for rate in rates)
    return low, high


def forecast_given(model: TypeModel, record: Record, clock: Clock | None = None) -> dict[str, Any]:
    """Return what a forecast for this item is made from, small enough to store with it.

    The item's rate is a mixture of gammas; they are put in order of their means, gathered into TERMS of like weight, and each
    gathering replaced by the gamma of its mean and variance, so that the whole keeps its own (our design). With the age clock
    of a type that wears out, T and since are by the clock, and clock and age are stored too.
    """
    timed = clock.records(records_of([record])).at(0) if clock else record
    shape, rate = model.a + timed.failures, model.b + timed.shows
    mean = shape / rate
    second = mean * (shape + 1) / rate
    order = np.argsort(mean, kind="stable")
    weight = model.weight[order]
    group = np.minimum((np.cumsum(weight) - weight / 2) * TERMS, TERMS - 1).astype(np.int64)
    sums = [np.bincount(group, values, minlength=TERMS) for values in (weight, weight * mean[order], weight * second[order])]
    full = sums[0] > 0
    whole, first, square = (values[full] for values in sums)
    middle = first / whole
    spread = square / whole - middle**2
    terms = zip(whole, middle**2 / spread, middle / spread, strict=True)
    given: dict[str, Any] = {
        "version": VERSION,
        "grid": [[float(f"{number:.9g}") for number in term] for term in terms],
        "r": timed.failures,
        "T": timed.shows,
        "since": timed.since,
        "start": start_left(model, record.start_missed),
    }
    if clock:
        given |= {"power": clock.power, "unit": clock.unit, "age": record.age}
    return given


def forecast_chance(given: Mapping[str, Any], shows: float, *, sees: float = 1.0) -> float:
    """Return the chance that it is found bad by `shows` shows after the forecast, from what was stored alone.

    `sees` is the share of what is bad that the test at the end finds: scored against tests that miss some, an unscaled forecast
    would look too high. ValueError for a negative exposure.
    """
    if shows < 0:
        raise ValueError("A forecast is for nothing or more shows ahead.")
    more = shows
    if "power" in given:
        clock, age = Clock(power=given["power"], unit=given["unit"]), float(given["age"])
        now, then = clock.on(np.array([age, age + shows]))
        more = float(then - now)
    ahead = float(given["since"]) + more
    terms = given["grid"]
    total = sum(weight for weight, _, _ in terms)
    bad = sum(-weight * expm1(-shape * log1p(ahead / rate)) for weight, shape, rate in terms) / total
    return min(1.0, max(0.0, sees * (1.0 - (1.0 - float(given["start"])) * (1.0 - bad))))
