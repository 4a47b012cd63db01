"""Scores, forecasts and simulated fleets against published and computed values."""

import warnings

import numpy as np
import pytest
from scipy import stats

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # theirs, at import
    from statsmodels.stats.proportion import proportion_confint

from maintenance.calc.retest import fold_many, forecast_chance, forecast_given, model_of, records_of
from maintenance.calc.retest_defaults import Rule
from maintenance.calc.retest_due import bad_chance
from maintenance.calc.retest_record import CODES, What
from maintenance.calc.retest_type import SHAPE_LIKELY, chance, gamma_of_guesses, shows_until
from maintenance.calc.scoring import Verdict, counts_of, isotonic, score, wilson, zero_allows


def test_brier_score_of_four_forecasts():
    """Source: the example of scikit-learn's brier_score_loss (from memory): .0375."""
    assert score([0.1, 0.9, 0.8, 0.3], [False, True, True, False]).brier == pytest.approx(0.0375)


def test_all_scores_of_ten_forecasts():
    """Computed apart from this code: Brier .198 = .073 - .085 + .21 (Murphy 1973), log score .621457, Spiegelhalter Z 1.4287,
    3 seen against 1.3, and 3 or more with chance .118812."""
    p = [0.05] * 4 + [0.10] * 3 + [0.20] * 2 + [0.40]
    y = [False, False, False, True, False, False, False, False, True, True]
    found = score(p, y)
    assert (found.brier, found.reliability, found.resolution, found.uncertainty) == pytest.approx((0.198, 0.073, 0.085, 0.21))
    assert found.log_score == pytest.approx(0.621457, abs=1e-6)
    assert (found.expected, found.seen) == (pytest.approx(1.3), 3)
    assert found.z == pytest.approx(1.4287, abs=5e-5)
    assert counts_of(p)[3:].sum() == pytest.approx(0.118812, abs=5e-7)
    assert found.verdict is Verdict.TOO_FEW


@pytest.mark.parametrize(("bad", "of", "low", "high"), [(18, 20, 0.699, 0.972), (45, 50, 0.786, 0.957), (3, 10, 0.108, 0.603)])
def test_wilsons_limits(bad, of, low, high):
    """Computed (Wilson 1927); statsmodels and scipy agree."""
    assert wilson(bad, of) == pytest.approx((low, high), abs=6e-4)
    assert wilson(bad, of) == pytest.approx(proportion_confint(bad, of, method="wilson"), abs=1e-9)
    theirs = stats.binomtest(bad, of).proportion_ci(method="wilson")
    assert wilson(bad, of) == pytest.approx((theirs.low, theirs.high), abs=1e-9)


@pytest.mark.parametrize(("bad", "of", "low", "high"), [(6, 120, 0.023, 0.105), (0, 50, 0.0, 0.071)])
def test_cull_rates_have_wide_limits(bad, of, low, high):
    """Computed: 6 of 120 is 2.3 to 10.5 %, none of 50 still up to 7.1 %."""
    assert wilson(bad, of) == pytest.approx((low, high), abs=6e-4)


@pytest.mark.parametrize(("count", "low", "high"), [(20, 0, 3), (50, 0, 6), (100, 1, 10), (200, 4, 16), (400, 12, 29)])
def test_how_far_right_forecasts_of_5_percent_may_lie(count, low, high):
    """Computed: the 95 % range of the number that fail; scipy's binomial agrees."""
    found = score([0.05] * count, [False] * count)
    assert (found.seen_low, found.seen_high) == (low, high)
    assert counts_of([0.05] * count) == pytest.approx(stats.binom.pmf(np.arange(count + 1), count, 0.05), abs=1e-12)


def test_none_of_sixty_still_allows_nearly_5_percent():
    """Computed, one-sided 95 %: 4.9 %; the rule of three says 3 / n."""
    assert zero_allows(60) == pytest.approx(0.049, abs=5e-4)
    assert zero_allows(60) == pytest.approx(3 / 60, rel=0.03)


def test_poisson_binomial_against_scipy():
    """scipy.stats.poisson_binom where it is there."""
    if not hasattr(stats, "poisson_binom"):
        pytest.skip("this scipy has no Poisson-binomial distribution")
    p = np.random.default_rng(1).uniform(0, 0.4, 60)
    assert counts_of(p) == pytest.approx(stats.poisson_binom.pmf(np.arange(61), p), abs=1e-12)


def test_isotonic_against_scipy():
    """scipy.optimize.isotonic_regression on distinct forecasts."""
    from scipy.optimize import isotonic_regression

    dice = np.random.default_rng(2)
    p = np.sort(dice.uniform(0, 1, 200))
    y = (dice.random(200) < p).astype(float)
    assert isotonic(p, y) == pytest.approx(isotonic_regression(y).x, abs=1e-12)


# Simulated fleets. What is foretold is held against what a world drawn from the first guesses themselves brings: were the
# arithmetic right, what was seen less what was foretold would be nothing on average over fleets, whatever decides when to test.

RULE = Rule(least_shows=3, most_shows=60)


def drawn_type(dice, items):
    """Draw a type's mean rate and shape from the prior, and its items' rates from those."""
    shape, rate = gamma_of_guesses(RULE.median_shows, RULE.pessimistic_shows)
    mean, alike = shape / rate * np.exp(dice.normal()), SHAPE_LIKELY * np.exp(dice.normal())
    return dice.gamma(alike, mean / alike, items)


def fleet(seed, *, items=20, months=24, a_month=3):
    """Run a fleet whose items go to every show and are tested when the model says; tests miss nothing, shows tell nothing.

    Return what was foretold at each test, from what was stored at the one before and the true exposure, and what was found.
    """
    dice = np.random.default_rng(seed)
    rates = drawn_type(dice, items)
    codes = CODES[What.USE], CODES[What.PASS], CODES[What.FAIL], CODES[What.REPAIR]
    use, passed, failed, repair = codes
    # a month is its shows, a test, a repair and the test after; a use of no shows stands for what did not happen
    what, shows = np.full((items, 1 + 4 * months), use), np.zeros((items, 1 + 4 * months))
    what[:, 0] = passed
    bad, waited = np.zeros(items, dtype=bool), np.zeros(items)
    chances, found = [], []

    def learnt(until):
        many = what[:, :until].size
        records = fold_many(
            count=items,
            item=np.repeat(np.arange(items), until),
            what=what[:, :until].ravel(),
            shows=shows[:, :until].ravel(),
            clean=np.zeros(many, dtype=bool),
            sees=np.ones(many),
            in_use=np.zeros(many, dtype=bool),
            sees_show=0.0,
        )
        model = model_of(RULE, records)
        left = np.floor(shows_until(model, records.failures, records.shows, np.full(items, RULE.target)))
        return model, records, np.clip(left, RULE.least_shows, RULE.most_shows)

    model, records, planned = learnt(1)
    stored = [forecast_given(model, records.at(i)) for i in range(items)]
    for month in range(months):
        at = 1 + 4 * month
        shows[:, at] = a_month
        waited += a_month
        bad |= dice.random(items) < -np.expm1(-rates * a_month)
        due = np.flatnonzero(waited >= planned)
        chances += [forecast_chance(stored[i], waited[i]) for i in due]
        found += bad[due].tolist()
        what[due, at + 1] = np.where(bad[due], failed, passed)
        mended = due[bad[due]]
        what[mended, at + 2], what[mended, at + 3] = repair, passed
        bad[due], waited[due] = False, 0
        model, records, wanted = learnt(at + 4)
        planned[due] = wanted[due]
        for i in due:
            stored[i] = forecast_given(model, records.at(i))
    return np.array(chances), np.array(found, dtype=float)


def test_fleets_tested_as_the_model_says_are_foretold_as_they_turn_out():
    """Simulation-based calibration: 40 fleets of 20, two years; |Z| < 3 over fleets, as items of one hang together."""
    runs = [fleet(seed) for seed in range(40)]
    gaps = np.array([(y - p).sum() for p, y in runs])
    z = gaps.mean() / (gaps.std(ddof=1) / np.sqrt(len(gaps)))
    p, y = (np.concatenate(column) for column in zip(*runs, strict=True))
    assert abs(z) < 3, (p.mean(), y.mean(), z)
    assert len(p) > 3000 and y.sum() > 150
    assert p.mean() == pytest.approx(RULE.target, abs=0.03)


@pytest.mark.parametrize(("sees", "sees_show"), [(1.0, 0.0), (0.75, 0.5), (0.6, 0.0), (0.97, 0.5)])
def test_the_chance_of_being_bad_now_is_how_many_are(sees, sees_show):
    """The truth is known in a simulation: of items with an imperfect record so many are bad as their chances add up to.

    A test finds a bad item with chance `sees` each time; a share `sees_show` of faults shows in the first show they are in,
    the others in none. Types are drawn from the prior; |Z| < 3 over types.
    """
    dice = np.random.default_rng(77)
    items, months, gaps, foretold, true = 15, 16, [], 0.0, 0.0
    use, passed, failed, repair = (CODES[w] for w in (What.USE, What.PASS, What.FAIL, What.REPAIR))
    for _ in range(250):
        rates = drawn_type(dice, items)
        rows = []
        bad, silent = np.zeros(items, dtype=bool), np.zeros(items, dtype=bool)
        for _ in range(months):
            fails = ~bad & (dice.random(items) < -np.expm1(-rates))
            silent = np.where(fails, dice.random(items) >= sees_show, silent)
            bad |= fails
            shown = bad & ~silent
            rows.append((np.full(items, use), np.ones(items), ~shown, np.zeros(items, dtype=bool)))
            rows.append((np.where(shown, failed, use), np.zeros(items), np.zeros(items, dtype=bool), shown))
            tested = ~shown & (dice.random(items) < 0.3)
            caught = tested & bad & (dice.random(items) < sees)
            code = np.where(caught, failed, np.where(tested, passed, use))
            rows.append((code, np.zeros(items), np.zeros(items, dtype=bool), np.zeros(items, dtype=bool)))
            mended = shown | caught
            code = np.where(mended, repair, use)
            rows.append((code, np.zeros(items), np.zeros(items, dtype=bool), np.zeros(items, dtype=bool)))
            bad &= ~mended
        what, shows, clean, in_use = (np.array(column).T for column in zip(*rows, strict=True))
        records = fold_many(
            count=items,
            item=np.repeat(np.arange(items), what.shape[1]),
            what=what.ravel(),
            shows=shows.ravel(),
            clean=clean.ravel(),
            sees=np.full(what.size, sees),
            in_use=in_use.ravel(),
            sees_show=sees_show,
        )
        records.start_missed[:] = 0.0  # nothing is bad from the start in this world
        model = model_of(RULE, records)
        now = bad_chance(model, records, np.zeros(items))
        gaps.append(bad.sum() - now.sum())
        foretold += now.sum()
        true += bad.sum()
    z = np.mean(gaps) / (np.std(gaps, ddof=1) / np.sqrt(len(gaps)))
    assert abs(z) < 3, (foretold, true, z)
    assert true > 40


def test_forecasts_of_one_item_add_up_over_its_mixture():
    """Law of total chance: the chance over 10 shows is that over 4, and over 6 more for one that lasted (T grown by 4)."""
    model = model_of(Rule(), records_of([]))
    one = np.array([1.0]), np.array([30.0])
    first = chance(model, *one, np.array([4.0]))[0]
    both = chance(model, *one, np.array([10.0]))[0]
    # weights move too when it lasts, so the cells are weighed by their own chance of lasting
    lasting = ((model.b + 30) / (model.b + 34)) ** (model.a + 1)
    weight = model.weight * lasting / (model.weight @ lasting)
    later = 1 - weight @ ((model.b + 34) / (model.b + 40)) ** (model.a + 1)
    assert both == pytest.approx(1 - (1 - first) * (1 - later), abs=1e-12)
