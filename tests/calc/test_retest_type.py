"""What a type's records make of the first guesses, and what that foretells of one item."""

import json
from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import dblquad
from scipy.special import gammaln

from maintenance.calc.retest_type import (
    SHAPE_LIKELY,
    TypeModel,
    chance,
    gamma_of_guesses,
    guess_share,
    model_from,
    rate_above,
    rate_quantile,
    shows_until,
    type_fit,
)


def fit(failures=(), shows=(), **kw):
    return type_fit(**{"median_shows": 150, "pessimistic_shows": 40, "failures": list(failures), "shows": list(shows)} | kw)


def one_gamma(a, b):
    """A model that is sure of its shape and rate: the plain gamma-Poisson."""
    return TypeModel(weight=np.array([1.0]), a=np.array([float(a)]), b=np.array([float(b)]))


def at(model, r, exposure, ahead):
    return float(chance(model, np.array([float(r)]), np.array([float(exposure)]), np.array([float(ahead)]))[0])


def until(model, r, exposure, target=0.05):
    return float(shows_until(model, np.array([float(r)]), np.array([float(exposure)]), np.array([target]))[0])


items = st.lists(st.tuples(st.integers(0, 6), st.floats(0, 400)), max_size=12)


@settings(max_examples=60, deadline=None)
@given(items, st.integers(0, 8), st.floats(0, 500))
def test_the_chance_rises_with_shows_ahead_and_starts_at_nothing(records, r, exposure):
    model = fit(*zip(*records, strict=True)) if records else fit()
    chances = [at(model, r, exposure, h) for h in (0, 0.5, 1, 5, 25, 200, 5000)]
    assert chances[0] == 0
    assert all((a < b or a > 1 - 1e-9) and b <= 1 for a, b in pairwise(chances))


@settings(max_examples=60, deadline=None)
@given(items, st.integers(0, 8), st.floats(0, 500), st.floats(0.1, 100), st.sampled_from([0.01, 0.05, 0.3]))
def test_shows_left_rise_with_uneventful_use_and_fall_with_each_failure(records, r, exposure, more, target):
    model = fit(*zip(*records, strict=True)) if records else fit()
    here = until(model, r, exposure, target)
    assert until(model, r, exposure + more, target) > here
    assert until(model, r + 1, exposure, target) < here
    assert at(model, r, exposure, here) == pytest.approx(target, abs=1e-9)


@given(st.integers(0, 5), st.floats(0, 300), st.floats(0.001, 0.6))
def test_newtons_steps_end_where_bisection_does(r, exposure, target):
    model = fit([1, 0, 2], [50, 120, 30])
    low, high = 0.0, 1e7
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if at(model, r, exposure, middle) < target else (low, middle)
    assert until(model, r, exposure, target) == pytest.approx(low, rel=1e-8, abs=1e-9)


@settings(deadline=None)
@given(items)
def test_a_type_that_never_failed_and_one_of_nothing_but_failures_are_reckoned(records):
    for model in (fit([0] * len(records), [t for _, t in records]), fit([r for r, _ in records], [0.0] * len(records))):
        assert model.weight.sum() == pytest.approx(1)
        assert np.all(np.isfinite(model.a)) and np.all(np.isfinite(model.b)) and np.all(model.b > 0)
        assert 0 < until(model, 0, 0) < 1e6
        assert 0 < model.guess_left <= 1


def test_many_items_together_are_the_same_as_each_alone():
    dice = np.random.default_rng(2)
    r, exposure, ahead = dice.poisson(0.7, 3000).astype(float), dice.uniform(0, 300, 3000), dice.uniform(0, 40, 3000)
    model = fit(r[:50], exposure[:50])
    together = chance(model, r, exposure, ahead)
    left = shows_until(model, r, exposure, np.full(3000, 0.05))
    above = rate_above(model, r, exposure, 0.01)
    shares = guess_share(model, exposure)
    for i in range(0, 3000, 211):
        one = r[i : i + 1], exposure[i : i + 1]
        assert chance(model, *one, ahead[i : i + 1])[0] == pytest.approx(together[i], abs=1e-9)
        assert shows_until(model, *one, np.array([0.05]))[0] == pytest.approx(left[i], abs=1e-9)
        assert rate_above(model, *one, 0.01)[0] == pytest.approx(above[i], abs=1e-9)
        assert guess_share(model, one[1])[0] == pytest.approx(shares[i], abs=1e-9)


@pytest.mark.parametrize("records", [[], [(1, 20.0)], [(0, 10.0)] * 8, [(2, 30.0), (0, 80.0), (1, 15.0), (0, 200.0)]])
def test_the_grid_is_the_integral(records):
    """Against two-dimensional integration over ln m and ln a of prior x chance of the records, for two items' forecasts."""
    model = fit(*zip(*records, strict=True)) if records else fit()
    shape, rate = gamma_of_guesses(150.0, 40.0)
    middle = np.log(shape / rate)

    def density(log_a, log_m):
        a = np.exp(log_a)
        b = a / np.exp(log_m)
        logs = -0.5 * (log_m - middle) ** 2 - 0.5 * (log_a - np.log(SHAPE_LIKELY)) ** 2
        for r, exposure in records:
            logs += gammaln(a + r) - gammaln(a) + a * np.log(b) - (a + r) * np.log(b + exposure)
        return np.exp(logs)

    def mean(value):
        limits = (middle - 6, middle + 6, np.log(SHAPE_LIKELY) - 6, np.log(SHAPE_LIKELY) + 6)
        return dblquad(lambda la, lm: density(la, lm) * value(np.exp(la), np.exp(la - lm)), *limits, epsrel=1e-7)[0]

    whole = mean(lambda a, b: 1.0)
    for r, exposure, ahead in ((0, 0, 4), (1, 60, 12)):
        exact = mean(lambda a, b, r=r, t=exposure, h=ahead: 1 - ((b + t) / (b + t + h)) ** (a + r)) / whole
        assert at(model, r, exposure, ahead) == pytest.approx(exact, rel=0.004)


def test_evidence_is_the_chance_of_the_records():
    """With one item and no failures it is E[(b / (b + T))^a] under the prior: the chance of lasting T."""
    assert np.exp(fit([0], [30.0]).log_evidence) == pytest.approx(1 - at(fit(), 0, 0, 30), rel=0.002)


def test_many_records_end_at_what_was_seen_and_the_guess_fades():
    dice = np.random.default_rng(3)
    rate = dice.gamma(1.5, 0.02 / 1.5, 400)
    exposure = dice.uniform(20, 200, 400)
    failed = dice.poisson(rate * exposure)
    model = fit(failed, exposure)
    assert model.mean_rate == pytest.approx(failed.sum() / exposure.sum(), rel=0.05)
    assert float(model.weight @ model.a) == pytest.approx(1.5, abs=0.35)
    assert model.guess_left < 0.01
    assert fit().guess_left == 1.0
    assert guess_share(model, np.array([0.0, 500.0]))[1] < guess_share(model, np.array([0.0, 500.0]))[0] < 0.01


def test_a_stored_model_comes_back_the_same():
    model = fit([1, 0], [30.0, 60.0], starts=9, starts_bad=1)
    again = model_from(json.loads(json.dumps(model.told())))
    assert at(again, 1, 30, 7) == at(model, 1, 30, 7)
    assert again.start_chance == model.start_chance == pytest.approx(1.5 / 29)
    assert len(json.dumps(model.told())) < 20_000


@pytest.mark.parametrize("broken", [{}, {"version": 0}, {"version": 1, "cells": [[1, 2]]}, {"version": 1, "cells": []}])
def test_a_model_that_is_broken_or_of_another_version_is_refused(broken):
    with pytest.raises(ValueError):
        model_from({"guess_left": 1, "start_bad": [1, 1], "items": 0, "failures": 0, "shows": 0} | broken)


def test_guesses_out_of_order_and_negative_records_are_refused():
    with pytest.raises(ValueError, match="below the median"):
        fit(median_shows=40, pessimistic_shows=150)
    with pytest.raises(ValueError, match="at least nothing"):
        fit([-1], [3])
    with pytest.raises(ValueError, match="as many"):
        fit([1, 2], [3])


@pytest.mark.parametrize("guesses", [(1e6, 0.05), (100.0, 99.9999), (0.1, 0.05)])
def test_extreme_guesses_still_make_a_model(guesses):
    model = fit(median_shows=guesses[0], pessimistic_shows=guesses[1])
    assert np.isfinite(until(model, 0, 0)) and until(model, 0, 0) > 0


def test_quantiles_are_where_the_chance_says():
    model = fit([1, 0, 3], [40.0, 90.0, 20.0])
    for share in (0.1, 0.5, 0.9):
        rate = rate_quantile(model, share, failures=1, shows=40)
        assert rate_above(model, np.array([1.0]), np.array([40.0]), rate)[0] == pytest.approx(1 - share, abs=1e-9)


# Closed forms, computed apart from this code: prior gamma(2, 400 shows), passes over 30, 30 and 25, a failure found over 20.
def exact_posterior_mean_and_chance(a, b, clean, failed, ahead):
    """Inclusion and exclusion over the intervals that failed: m = b^a sum (-1)^|S| (b + A + sum d)^-a."""

    def sums(extra, power):
        return sum(
            (-1) ** size * (b + clean + sum(some) + extra) ** -power
            for size in range(len(failed) + 1)
            for some in combinations(failed, size)
        )

    return a * sums(0, a + 1) / sums(0, a), 1 - sums(ahead, a) / sums(0, a)


def test_the_worked_example_of_one_failure_in_an_interval():
    model = one_gamma(2, 400)
    assert float(model.a[0] + 1) / float(model.b[0] + 95) == pytest.approx(0.0060606, abs=1e-7)
    assert until(model, 1, 95) == pytest.approx(8.5362, abs=5e-5)
    assert at(model, 1, 95, 20) == pytest.approx(0.11204, abs=5e-6)
    mean, ahead = exact_posterior_mean_and_chance(2, 400, 85, [20], 20)
    assert mean == pytest.approx(0.0060639, abs=1e-7)
    assert ahead == pytest.approx(0.11209, abs=5e-6)
    low, high = 0.0, 50.0
    for _ in range(80):
        middle = (low + high) / 2
        over = exact_posterior_mean_and_chance(2, 400, 85, [20], middle)[1] > 0.05
        low, high = (low, middle) if over else (middle, high)
    assert low == pytest.approx(8.5316, abs=5e-5)


@given(st.lists(st.sampled_from([5.0, 10.0, 20.0, 40.0]), min_size=1, max_size=4), st.floats(0, 300), st.floats(1, 30))
def test_the_midpoint_is_within_its_error_of_inclusion_and_exclusion(failed, clean, ahead):
    """Each interval is off by x^2 / 24 of itself with x = l d; l is within a few times its mean."""
    exact = exact_posterior_mean_and_chance(2.0, 400.0, clean, failed, ahead)[1]
    ours = at(one_gamma(2, 400), len(failed), clean + sum(failed) / 2, ahead)
    rate = (2 + len(failed)) / (400 + clean)
    bound = sum((4 * rate * d) ** 2 / 24 for d in failed)
    assert abs(ours / exact - 1) <= bound + 1e-6


def test_simulated_types_are_foretold_as_they_turn_out():
    """Types drawn from the prior itself, tested every so often: what was foretold comes to pass, |Z| < 3."""
    dice = np.random.default_rng(20)
    shape, rate = gamma_of_guesses(150.0, 40.0)
    expected = seen = spread = 0.0
    for _ in range(150):
        mean = np.exp(np.log(shape / rate) + dice.normal())
        alike = np.exp(np.log(SHAPE_LIKELY) + dice.normal())
        rates = dice.gamma(alike, mean / alike, 12)
        r, exposure = np.zeros(12), np.zeros(12)
        for _ in range(6):
            h = dice.uniform(1, 15, 12)
            model = fit(r, exposure)
            foretold = chance(model, r, exposure, h)
            failed = dice.random(12) < -np.expm1(-rates * h)
            expected += foretold.sum()
            seen += failed.sum()
            # items of a type stand and fall together: the spread is reckoned over types
            spread += (failed.sum() - foretold.sum()) ** 2
            r += failed
            exposure += np.where(failed, h / 2, h)
    assert abs(seen - expected) / np.sqrt(spread) < 3
    assert seen > 300
