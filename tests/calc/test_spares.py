"""Spares against chance: the right distribution, and no cheaper plan reaches the goal."""

import math
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import gamma, nbinom, poisson

from shows.calc.spares import Stock, enough, plan, table

RATES = st.floats(0.0005, 0.2)


def stock(key="box", **kw):
    given_ = {"used": 4, "failures": 1, "item_shows": 200, "prior_rate": 0.01}
    return Stock(**{"key": key, "name": key, **given_, **kw})


@given(st.integers(1, 40), st.integers(0, 10), st.floats(0, 3000), RATES, st.integers(0, 6))
def test_the_chance_is_the_negative_binomials(used, failures, shows, rate, spares):
    one = stock(used=used, failures=failures, item_shows=shows, prior_rate=rate)
    told = nbinom.cdf(spares, one.shape, one.exposure / (one.exposure + used))
    assert enough(one, spares) == pytest.approx(told, abs=1e-9)


def test_it_is_what_drawing_rates_and_counting_failures_gives():
    one = stock(used=12, failures=5, item_shows=240)
    rates = gamma.rvs(one.shape, scale=1 / one.exposure, size=200_000, random_state=5)
    drawn = poisson.rvs(rates * one.used, random_state=6)
    assert float((drawn <= 1).mean()) == pytest.approx(enough(one, 1), abs=0.004)


@given(RATES, st.integers(1, 40))
def test_more_spares_never_lower_the_chance_and_more_lines_never_raise_it(rate, used):
    chances = [chance for _n, chance in table(stock(prior_rate=rate, used=used))]
    assert chances == sorted(chances)
    assert enough(stock(prior_rate=rate, used=used + 1), 1) <= enough(stock(prior_rate=rate, used=used), 1) + 1e-12


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 20), st.integers(0, 6)), min_size=1, max_size=3), st.sampled_from([0.8, 0.9, 0.95, 0.99])
)
def test_no_plan_with_fewer_spares_reaches_the_goal(kinds, goal):
    stocks = [stock(key=str(i), used=used, failures=failures) for i, (used, failures) in enumerate(kinds)]
    found = plan(stocks, goal=goal)
    taken = sum(one.spares for one in found.taken)
    assert found.met and found.chance == pytest.approx(math.prod(one.chance for one in found.taken))
    for counts in product(range(taken + 1), repeat=len(stocks)):
        if sum(counts) < taken:
            assert math.prod(enough(s, n) for s, n in zip(stocks, counts, strict=True)) < goal


def test_where_there_are_no_more_spares_the_plan_says_what_is_reached():
    found = plan([stock(used=30, failures=20, item_shows=100, free=2)], goal=0.99)
    assert not found.met and found.taken[0].spares == 2 and 0 < found.chance < 0.99


def test_nothing_used_needs_nothing():
    found = plan([stock(used=0)], goal=0.98)
    assert found.met and found.chance == 1 and found.steps == ()


@pytest.mark.parametrize("bad", [{"used": -1}, {"prior_rate": 0}, {"prior_rate": math.nan}, {"failures": -1}, {"cost": 0}])
def test_what_cannot_be_gets_a_sentence(bad):
    with pytest.raises(ValueError, match=r"\.$"):
        stock(**bad)
