"""Lives, fits and limits against worked examples in print; lifelines, surpyval, scipy, statsmodels as second opinions."""

import warnings
from math import inf, log, sqrt

import numpy as np
import pytest
from scipy import stats

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # theirs, at import
    import lifelines
    import surpyval
    from statsmodels.duration.survfunc import SurvfuncRight
    from statsmodels.stats.proportion import proportion_confint

from maintenance.calc.retest_guard import exact_limits, guard, interval_factor, proof_needed
from maintenance.calc.retest_lifetimes import (
    Weibull,
    age_replacement,
    block_replacement,
    exponential_limits,
    kaplan_meier,
    turnbull,
    weibull_fit,
)
from maintenance.calc.retest_type import TypeModel, gamma_of_guesses, rate_above, rate_quantile

pytestmark = pytest.mark.filterwarnings("ignore")  # of the second opinions, none is ours

# NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.2.1 and 8.4.1.3: 20 units, 10 failures, stopped at 500 hours.
FAILED = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
FAILED_SCRIPT = [55, *FAILED[1:]]  # the page prints 54, its published script computes with 55


def weibull_of(failed):
    times = np.array([*failed, *[500] * 10], dtype=float)
    return weibull_fit(times, [*failed, *[inf] * 10])


def test_weibull_of_right_censored_lives():
    """Source: as above; estimates 1.7208 and 606.528, log likelihood -75.135 quoted from that example in public test code."""
    fit = weibull_of(FAILED)
    assert fit.shape == pytest.approx(1.720797, abs=2e-6)
    assert fit.scale == pytest.approx(606.5275, abs=1e-3)
    assert fit.log_likelihood == pytest.approx(-75.134618, abs=1e-6)
    assert 4 - 2 * fit.log_likelihood == pytest.approx(154.27, abs=5e-3)  # AIC
    ended = np.array([1] * 10 + [0] * 10)
    times = np.array([*FAILED, *[500] * 10], dtype=float)
    theirs = lifelines.WeibullFitter().fit(times, ended)
    assert (fit.shape, fit.scale) == pytest.approx((theirs.rho_, theirs.lambda_), rel=1e-4)
    other = surpyval.Weibull.fit(x=times, c=1 - ended)
    assert (fit.scale, fit.shape) == pytest.approx(tuple(other.params), rel=1e-4)
    data = stats.CensoredData.right_censored(times, ended == 0)
    shape, _, scale = stats.weibull_min.fit(data, 1.0, floc=0, scale=400)  # with a start: without one it may end anywhere
    assert (fit.shape, fit.scale) == pytest.approx((shape, scale), rel=1e-3)


def test_weibull_as_the_published_script_computes_it():
    """Source: the e-Handbook's published R script with its output: 606.005, 1.72563, -75.122, mean 540.175, sd 322.647, s.e.

    of ln scale .205 and of ln(1 / shape) .292."""
    fit = weibull_of(FAILED_SCRIPT)
    assert (fit.scale, fit.shape) == pytest.approx((606.005, 1.72563), abs=6e-4)
    assert fit.log_likelihood == pytest.approx(-75.122, abs=5e-4)
    assert (fit.mean, fit.sd) == pytest.approx((540.175, 322.647), abs=2e-3)
    assert (fit.scale_se_log, fit.shape_se_log) == pytest.approx((0.205, 0.292), abs=5e-4)


def test_limits_are_of_the_logarithms():
    """Second opinion: another library's log-transformed limits of the first example, .9713 to 3.0487 and 405.09 to 908.13.

    Plain Wald limits (.737 to 2.705) are another style and no error."""
    (low, high), (scale_low, scale_high) = weibull_of(FAILED).limits()
    assert (low, high) == pytest.approx((0.9713, 3.0487), abs=3e-3)
    assert (scale_low, scale_high) == pytest.approx((405.09, 908.13), abs=0.5)


def test_chance_of_ending_between_and_time_until_a_target():
    """Computed apart from this code (closed forms of the first example): .232274 for 500 to 600 h, 20.479 h to 5 %."""
    fit = weibull_of(FAILED)
    assert fit.fails_between(500, 600) == pytest.approx(0.232274, abs=2e-6)
    assert fit.until(500, 0.05) == pytest.approx(20.479, abs=2e-3)
    theirs = lifelines.WeibullFitter().fit([*FAILED, *[500] * 10], [1] * 10 + [0] * 10)
    surviving = theirs.survival_function_at_times([500, 600]).to_numpy()
    assert fit.fails_between(500, 600) == pytest.approx(1 - surviving[1] / surviving[0], abs=1e-4)


def test_shares_lasting_of_twenty_units():
    """Source: NIST/SEMATECH e-Handbook 8.2.1.5: 19/20, x 18/19, x 16/17, x 15/16, x 13/14, x 10/11."""
    failed, removed = [10, 32, 56, 98, 122, 181], [50, 100, 125, 150]
    times, ended = [*failed, *removed, *[200] * 10], [True] * 6 + [False] * 14
    steps = kaplan_meier(times, ended)
    assert [s.at for s in steps] == failed
    assert [s.lasting for s in steps] == pytest.approx(
        np.cumprod([19 / 20, 18 / 19, 16 / 17, 15 / 16, 13 / 14, 10 / 11]), abs=1e-12
    )
    theirs = lifelines.KaplanMeierFitter().fit(times, ended)
    assert [s.lasting for s in steps] == pytest.approx(theirs.survival_function_at_times(failed).to_numpy(), abs=1e-9)


def test_shares_lasting_and_their_errors_of_the_remission_study():
    """Source: example results of the NAG routine g12aa (6-MP group, Freireich and others 1963; times from memory).

    Mean life by the exponential: 359 weeks over 9 ends, 39.889."""
    ended = [6, 6, 6, 7, 10, 13, 16, 22, 23]
    going = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
    steps = kaplan_meier([*ended, *going], [True] * 9 + [False] * 12)
    assert [s.at for s in steps] == [6, 7, 10, 13, 16, 22, 23]
    assert [s.lasting for s in steps] == pytest.approx([0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448], abs=5e-4)
    assert [s.se for s in steps] == pytest.approx([0.076, 0.087, 0.096, 0.107, 0.114, 0.128, 0.135], abs=5e-4)
    theirs = SurvfuncRight([*ended, *going], [1] * 9 + [0] * 12)
    assert [s.lasting for s in steps] == pytest.approx(theirs.surv_prob, abs=1e-12)
    assert [s.se for s in steps] == pytest.approx(theirs.surv_prob_se, abs=1e-12)
    assert (sum(ended) + sum(going)) / len(ended) == pytest.approx(39.889, abs=5e-4)


@pytest.mark.parametrize(
    ("sure", "factors"),
    [(0.60, (0.4674, 2.4260)), (0.80, (0.3758, 3.7607)), (0.90, (0.3177, 5.6281)), (0.95, (0.2768, 8.2573))],
)
def test_limits_of_the_mean_with_two_failures(sure, factors):
    """Source: NIST/SEMATECH e-Handbook 8.4.5.1, table of factors (numbers from memory): 2 failures in 800 h, 127 to 2251 h."""
    low, high = exponential_limits(2, 800, sure=sure)
    assert (low / 400, high / 400) == pytest.approx(factors, abs=6e-5)
    if sure == 0.90:
        assert (low, high) == pytest.approx((127.07, 2251.23), abs=6e-3)
    tail = (1 - sure) / 2
    assert low == pytest.approx(1600 / stats.chi2.ppf(1 - tail, 6))
    assert high == pytest.approx(1600 / stats.chi2.ppf(tail, 4))


def test_no_failures_have_a_lower_limit_only():
    """Source: the same page: T / -ln a."""
    assert exponential_limits(0, 800, sure=0.90) == (pytest.approx(800 / -log(0.10)), inf)


def one_gamma(a, b):
    return TypeModel(weight=np.array([1.0]), a=np.array([a]), b=np.array([b]))


def test_a_prior_from_two_guesses():
    """Source: NIST/SEMATECH e-Handbook, 50/95 method, published R script: a 2.863055, b 1522.506 from 600 and 250."""
    a, b = gamma_of_guesses(600.0, 250.0)
    assert (a, b) == pytest.approx((2.8630553, 1522.5056), abs=2e-4)
    model = one_gamma(a, b)
    nothing = np.zeros(1), np.zeros(1)
    # the script's own figures, at rates it rounds
    assert 1 - rate_above(model, *nothing, 0.001667)[0] == pytest.approx(0.5001232, abs=1e-5)
    assert 1 - rate_above(model, *nothing, 0.004)[0] == pytest.approx(0.9499963, abs=1e-5)
    # how long a test with 2 failures shows 500 h with 80 %: 1756.1 h in the same example
    assert rate_quantile(model, 0.80, failures=2, shows=1756.1) == pytest.approx(1 / 500, rel=1e-4)


def test_a_gamma_prior_and_a_test_of_1909_hours():
    """Source: NIST/SEMATECH e-Handbook 8.3.1.5 and 8.4.6 (numbers from memory): prior 2, 1400; 2 failures in 1909 h."""
    posterior = one_gamma(2.0, 1400.0)
    record = {"failures": 2, "shows": 1909.0}
    assert 1 / rate_quantile(posterior, 0.80, **record) == pytest.approx(600, abs=0.05)
    assert 1 / rate_quantile(posterior, 0.50, **record) == pytest.approx(901.13, abs=0.05)
    assert 1 / rate_quantile(posterior, 0.95, **record) == pytest.approx(426.8, abs=0.1)
    assert 1 / rate_quantile(posterior, 0.05, **record) == pytest.approx(2421.8, abs=0.5)
    assert 1 - rate_above(posterior, np.array([2.0]), np.array([1909.0]), 1 / 500)[0] == pytest.approx(0.896, abs=5e-4)
    assert rate_quantile(posterior, 0.8, **record) == pytest.approx(stats.gamma.ppf(0.8, 4, scale=1 / 3309), rel=1e-9)


# Nelson 1982, p. 415, in the getting-started example 4 of SAS/QC's RELIABILITY procedure: cracked parts found at inspections.
INSPECTED = [0, 6.12, 19.92, 29.64, 35.40, 39.72, 45.24, 52.32, 63.48, inf]
CRACKED = [5, 16, 12, 18, 18, 2, 6, 17, 73]


def test_weibull_of_inspected_parts():
    """Source: as above; scale 71.690 and shape 1.4854 (estimates from memory of that page)."""
    fit = weibull_fit(INSPECTED[:-1], INSPECTED[1:], CRACKED)
    assert sum(CRACKED) == 167
    assert (fit.scale, fit.shape) == pytest.approx((71.690, 1.4854), abs=1e-3)
    assert fit.log_likelihood == pytest.approx(-309.66841, abs=1e-5)
    low, high = np.repeat(INSPECTED[:-1], CRACKED), np.repeat(INSPECTED[1:], CRACKED)
    theirs = lifelines.WeibullFitter().fit_interval_censoring(low, high)
    assert (fit.scale, fit.shape) == pytest.approx((theirs.lambda_, theirs.rho_), rel=1e-3)
    other = surpyval.Weibull.fit(xl=INSPECTED[:-1], xr=INSPECTED[1:], n=CRACKED)
    assert (fit.scale, fit.shape) == pytest.approx(tuple(other.params), rel=1e-3)


# Nelson 1982, p. 409, and Meeker and Escobar 1998, p. 135: turbine wheels, one inspection each, at hundreds of hours.
WHEELS = {4: (0, 39), 10: (4, 49), 14: (2, 31), 18: (7, 66), 22: (5, 25), 26: (9, 30), 30: (9, 33), 34: (6, 7), 38: (22, 12)}
WHEELS |= {42: (21, 19), 46: (21, 15)}


def wheels():
    cracked = [(0.0, float(at), bad) for at, (bad, _) in WHEELS.items()]
    whole = [(float(at), inf, good) for at, (_, good) in WHEELS.items()]
    low, high, many = zip(*[row for row in cracked + whole if row[2]], strict=True)
    return list(low), list(high), list(many)


def test_weibull_where_each_was_looked_at_once():
    """Computed apart (four programs agreed): shape 2.175780, scale 46.7772, log likelihood -189.2872. The table adds to 432
    wheels though its text says 435. Ours starts from several shapes: from a bad start this likelihood leads nowhere."""
    low, high, many = wheels()
    assert sum(many) == 432
    fit = weibull_fit(low, high, many)
    assert (fit.shape, fit.scale) == pytest.approx((2.175780, 46.7772), abs=1e-3)
    assert fit.log_likelihood == pytest.approx(-189.2872, abs=1e-4)
    assert 100 * fit.until(0, 0.10) == pytest.approx(1663, abs=0.5)
    other = surpyval.Weibull.fit(xl=low, xr=high, n=many)
    assert (fit.scale, fit.shape) == pytest.approx(tuple(other.params), rel=1e-3)
    theirs = lifelines.WeibullFitter().fit_interval_censoring(low, high, weights=many)
    assert (fit.scale, fit.shape) == pytest.approx((theirs.lambda_, theirs.rho_), rel=1e-3)


def test_the_published_lognormal_is_less_likely_than_the_weibull_there():
    """Source: SAS getting-started example 5: lognormal 3.6999, .7199 (estimates from memory); log likelihood -190.7315
    computed: the same intervals and counts under the published curve, so the reading of the table is checked."""
    low, high, many = wheels()
    curve = stats.lognorm(s=0.719886, scale=np.exp(3.699908))
    total = sum(n * np.log(curve.cdf(b) - curve.cdf(a)) for a, b, n in zip(low, high, many, strict=True))
    assert total == pytest.approx(-190.7315, abs=1e-3)
    assert weibull_fit(low, high, many).log_likelihood > total


def test_heat_exchanger_tubes_of_three_plants():
    """Source: Meeker and Escobar 1998, chapter 3: plant 1 alone .01, .03, .05; pooled .0133 .0384 .0582 (from memory)."""
    plants = [(1, [1, 2, 2]), (2, [2, 3]), (3, [1])]
    rows = [(year, year + 1, bad) for _, each in plants for year, bad in enumerate(each)]
    rows += [(len(each), inf, 100 - sum(each)) for _, each in plants]
    masses = turnbull(*zip(*rows, strict=True))
    failed = np.cumsum([mass.share for mass in masses])[:3]
    assert failed == pytest.approx([0.013333, 0.038376, 0.058203], abs=1e-6)
    # every tube was looked at each year, so it is Kaplan and Meier's too
    times = [year + 1 for _, each in plants for year, bad in enumerate(each) for _ in range(bad)]
    going = [len(each) for _, each in plants for _ in range(100 - sum(each))]
    steps = kaplan_meier([*times, *going], [True] * len(times) + [False] * len(going))
    assert [1 - s.lasting for s in steps] == pytest.approx(failed, abs=1e-9)
    assert [s.se for s in steps] == pytest.approx([0.006622, 0.012802, 0.018701], abs=1e-6)
    alone = turnbull([0, 1, 2, 3], [1, 2, 3, inf], [1, 2, 2, 95])
    assert np.cumsum([m.share for m in alone])[:3] == pytest.approx([0.01, 0.03, 0.05])


# Finkelstein and Wolfe 1985 (radiotherapy alone, 46 patients), as in the R package interval, Fay and Shaw 2010 (from memory).
BREAST = (
    "45- 6-10 0-7 46- 46- 7-16 17- 7-14 37-44 0-8 4-11 15- 11-15 22- 46- 46- 25-37 46- 26-40 46- 27-34 36-44 46- 36-48 37- 40- "
    "17-25 46- 11-18 38- 5-12 37- 0-5 18- 24- 36- 5-11 19-35 17-25 24- 32- 33- 19-26 37- 34- 36-"
)
BREAST_MASSES = {
    (4, 5): 0.0463,
    (6, 7): 0.0334,
    (7, 8): 0.0887,
    (11, 12): 0.0708,
    (24, 25): 0.0926,
    (33, 34): 0.0818,
    (38, 40): 0.1209,
    (46, 48): 0.4656,
}


def test_turnbulls_masses_of_the_cosmesis_study():
    """Source: as above. Intervals are (low, high]: closed ones give .848 after 8 and .46 after 40, not .8316 and .4656."""
    pairs = [part.split("-") for part in BREAST.split()]
    low, high = [float(a) for a, _ in pairs], [float(b) if b else inf for _, b in pairs]
    assert len(low) == 46
    found = {(m.low, m.high): m.share for m in turnbull(low, high) if m.share > 1e-4}
    assert set(found) == set(BREAST_MASSES)
    for interval, share in BREAST_MASSES.items():
        assert found[interval] == pytest.approx(share, abs=6e-5), interval
    lasting = 1 - np.cumsum([found[key] for key in sorted(found)])
    assert lasting[:7] == pytest.approx([0.9537, 0.9203, 0.8316, 0.7609, 0.6682, 0.5864, 0.4656], abs=6e-5)
    held = [sum(s for (q, p), s in found.items() if a <= q and p <= b) for a, b in zip(low, high, strict=True)]
    assert np.log(held).sum() == pytest.approx(-58.0600, abs=1e-3)
    theirs = lifelines.KaplanMeierFitter().fit_interval_censoring(np.array(low) + 1e-6, np.array(high))
    assert lasting[:7] == pytest.approx(theirs.predict([5, 7, 8, 12, 25, 34, 40]).iloc[:, -1].to_numpy(), abs=2e-3)
    other = surpyval.Turnbull.fit(xl=np.array(low), xr=np.array(high), turnbull_estimator="Kaplan-Meier")
    assert lasting[:7] == pytest.approx(np.ravel(other.sf([5.5, 7.5, 9, 13, 26, 35, 41])), abs=2e-3)


def test_replacing_by_age_costs_least_where_published():
    """Source: the test suite of the library reliability, after Barlow and Proschan 1965: 493.185 and .00346204 (found there
    on a coarse grid, so within half an hour); the root of the condition itself is 493.0470."""
    age, cost = age_replacement(Weibull(shape=2.5, scale=1000), planned_cost=1, failure_cost=5)
    assert age == pytest.approx(493.185, abs=0.5)
    assert age == pytest.approx(493.0470, abs=1e-3)
    assert cost == pytest.approx(0.003462043, abs=1e-9)


def test_replacing_what_is_mended_costs_least_at_the_closed_form():
    """Barlow and Proschan 1965, minimal repair, same costs, computed: 446.658 and .00373141. With the two costs swapped it
    would be 1618.64."""
    age, cost = block_replacement(Weibull(shape=2.5, scale=1000), planned_cost=1, failure_cost=5)
    assert (age, cost) == pytest.approx((446.658, 0.00373141), abs=1e-3)
    swapped, _ = block_replacement(Weibull(shape=2.5, scale=1000), planned_cost=5, failure_cost=1)
    assert swapped == pytest.approx(1618.64, abs=0.01)


@pytest.mark.parametrize(
    ("good", "of", "low", "high", "factor"),
    [
        (16, 20, 0.5634, 0.9427, 0.230),
        (19, 20, 0.7513, 0.9987, None),
        (40, 40, 0.9119, 1.0, None),
        (51, 60, 0.7343, 0.9290, 0.316),
    ],
)
def test_the_interval_test_changes_what_lies_outside_exact_limits(good, of, low, high, factor):
    """NCSL RP-1, method A3 with Clopper and Pearson's limits and method S1's step, computed; statsmodels and scipy agree."""
    found = exact_limits(good, of)
    assert found == pytest.approx((low, high), abs=6e-5)
    assert found == pytest.approx(proportion_confint(good, of, method="beta"), abs=1e-9)
    exact = stats.binomtest(good, of).proportion_ci(method="exact")
    assert found == pytest.approx((exact.low, exact.high), abs=1e-9)
    said = guard(intervals=of, good=good, interval_shows=10.0 * of, target=0.05)
    if factor is None:
        assert said.factor == 1.0
    else:
        assert interval_factor(good, of, 0.95) == pytest.approx(factor, abs=6e-4)
        assert said.factor == 0.5  # clipped


def test_so_many_clean_tests_show_95_percent():
    """Computed: ln .1 / ln .95 = 44.9, so 45."""
    assert proof_needed(0.95, sure=0.90) == 45
    assert 0.95**45 <= 0.10 < 0.95**44


def test_the_simple_response_of_rp_1_is_not_used_and_why():
    """NCSL RP-1, method A1: with an extension of .1 a fail must cut by 1 - 1.1^(-R / (1 - R)) for no drift: .576 at .90 and
    .836 at .95 (computed). Ours never steps by the last result alone."""
    assert [1 - 1.1 ** (-r / (1 - r)) for r in (0.90, 0.95)] == pytest.approx([0.576, 0.836], abs=5e-4)
    assert guard(intervals=41, good=40, interval_shows=410, target=0.05).factor == 1.0


def test_means_of_the_weibull():
    """scipy's mean and standard deviation of the same curve."""
    fit = Weibull(shape=1.72563, scale=606.005)
    theirs = stats.weibull_min(fit.shape, scale=fit.scale)
    assert (fit.mean, fit.sd) == pytest.approx((theirs.mean(), sqrt(theirs.var())))
