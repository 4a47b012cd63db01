"""Forecasts against what came of them."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.calc import scoring
from maintenance.calc.scoring import Verdict, brier_parts, counts_of, isotonic, score, spiegelhalter, wilson, zero_allows

CHANCES = [0.05] * 4 + [0.10] * 3 + [0.20] * 2 + [0.40]
FAILED = [False, False, False, True, False, False, False, False, True, True]
shares = st.floats(0, 1).map(lambda p: round(p, 3))


@given(st.lists(shares, min_size=1, max_size=9))
def test_counts_are_those_of_all_ways_it_can_come_out(chances):
    by_hand = np.zeros(len(chances) + 1)
    for ways in itertools.product([0, 1], repeat=len(chances)):
        by_hand[sum(ways)] += np.prod([p if way else 1 - p for p, way in zip(chances, ways, strict=True)])
    assert counts_of(chances) == pytest.approx(by_hand, abs=1e-12)


@given(st.lists(st.tuples(st.sampled_from([0.02, 0.05, 0.2, 0.5]), st.booleans()), min_size=1, max_size=60))
def test_the_parts_of_the_brier_score_add_up(pairs):
    p, y = np.array([a for a, _ in pairs]), np.array([float(b) for _, b in pairs])
    brier, reliability, resolution, uncertainty = brier_parts(p, y, p)
    assert brier == pytest.approx(reliability - resolution + uncertainty, abs=1e-12)


@given(st.lists(st.tuples(shares, st.booleans()), min_size=1, max_size=40))
def test_isotonic_rises_and_keeps_the_mean(pairs):
    p, y = [a for a, _ in pairs], [float(b) for _, b in pairs]
    fitted = isotonic(p, y)
    order = np.argsort(p, kind="stable")
    assert np.all(np.diff(fitted[order]) >= -1e-12)
    assert fitted.mean() == pytest.approx(np.mean(y))


def test_isotonic_pools_what_falls():
    assert isotonic([0.1, 0.2, 0.3], [1, 0, 1]).tolist() == [0.5, 0.5, 1.0]


@settings(deadline=None)
@given(st.lists(st.tuples(shares, st.booleans()), min_size=1, max_size=120))
def test_every_score_has_at_most_five_bins_and_words(pairs):
    found = score([a for a, _ in pairs], [b for _, b in pairs])
    assert 1 <= len(found.bins) <= scoring.MOST_BINS
    assert sum(b.count for b in found.bins) == found.count
    assert sum(b.bad for b in found.bins) == found.seen
    assert 0 <= found.tail <= 1
    assert found.seen_low <= found.seen_high
    assert found.words.startswith(f"{found.seen} of {found.count}")


def test_below_fifty_it_is_too_few_to_judge():
    found = score([0.06] * 49, [True] * 20 + [False] * 29)
    assert found.verdict is Verdict.TOO_FEW
    assert found.words == ("20 of 49 were bad, 2.9 foretold: too few to judge (the true share lies between 28 and 55\u202f%).")


def test_from_fifty_there_are_signs_or_none():
    assert score([0.05] * 50, [True] * 3 + [False] * 47).verdict is Verdict.NO_SIGN
    assert score([0.05] * 50, [True] * 9 + [False] * 41).verdict is Verdict.SIGNS


@pytest.mark.parametrize(("bad", "verdict"), [(10, Verdict.HOLDS), (24, Verdict.TOO_LOW), (1, Verdict.TOO_HIGH)])
def test_from_two_hundred_there_is_a_verdict(bad, verdict):
    assert score([0.05] * 200, [True] * bad + [False] * (200 - bad)).verdict is verdict


def test_the_right_count_from_the_wrong_forecasts_is_off():
    """Half are foretold 1 %, half 19 %, and the bad ones lie in the first half: the total holds, the ranking does not."""
    found = score([0.01] * 150 + [0.19] * 150, [True] * 30 + [False] * 270)
    assert found.tail > 0.5
    assert found.verdict is Verdict.OFF


def test_the_same_forecasts_score_the_same_twice():
    assert score(CHANCES, FAILED) == score(CHANCES, FAILED)
    assert score(CHANCES, FAILED).tail == pytest.approx(2 * counts_of(CHANCES)[3:].sum())
    assert (
        score(CHANCES, FAILED).words
        == "3 of 10 were bad, 1.3 foretold: too few to judge (the true share lies between 11 and 60\u202f%)."
    )


def test_nothing_forecast_or_no_chance_is_refused():
    with pytest.raises(ValueError, match="outcome for each"):
        score([], [])
    with pytest.raises(ValueError, match="outcome for each"):
        score([0.1], [True, False])
    with pytest.raises(ValueError, match="between 0 and 1"):
        score([1.2], [True])


def test_certain_forecasts_do_not_break_the_score():
    found = score([0.0, 1.0, 0.0], [True, True, False])
    assert found.tail == 0
    assert np.isfinite(found.log_score) and found.log_score > 6
    assert found.z == 0


def test_limits_of_none_and_of_all_are_shares():
    assert wilson(0, 0) == (0.0, 1.0)
    assert wilson(0, 50)[0] == 0.0 and wilson(50, 50)[1] == 1.0
    with pytest.raises(ValueError, match="at most"):
        wilson(3, 2)
    assert zero_allows(60) == pytest.approx(0.0487, abs=1e-4)


def test_right_forecasts_are_seldom_called_wrong():
    """With forecasts as right as can be, the 95 % range of counts holds 95 times in 100 or more, and Z is standard."""
    dice = np.random.default_rng(8)
    kept, zs = 0, []
    for _ in range(300):
        p = dice.uniform(0.01, 0.12, 120)
        y = dice.random(120) < p
        spread = counts_of(p).cumsum()
        seen = int(y.sum())
        kept += np.searchsorted(spread, 0.025) <= seen <= np.searchsorted(spread, 0.975)
        zs.append(spiegelhalter(p, y.astype(float)))
    assert kept >= 0.93 * 300
    assert abs(np.mean(zs)) < 0.2 and 0.85 < np.std(zs) < 1.15


def test_bars_hold_right_forecasts():
    dice = np.random.default_rng(9)
    inside = bins = 0
    for round_ in range(60):
        p = dice.uniform(0.02, 0.3, 200)
        for one in score(p, dice.random(200) < p, seed=round_).bins:
            bins += 1
            inside += one.bar_low <= one.seen <= one.bar_high
    assert inside / bins > 0.85
