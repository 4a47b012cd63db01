"""The posterior of a set's life against a sampler that shares nothing with the grid."""

import warnings
from math import exp, log, sqrt

import numpy as np
import pytest

from maintenance.calc.cell_forecast import Ended, Finished, learn, life
from maintenance.calc.cell_words import Seen
from maintenance.calc.cells import reading_sigma, table_of
from tests.calc.cell_lab import BLOCK, box

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import emcee

pytestmark = pytest.mark.filterwarnings("ignore")

TABLE = table_of(BLOCK)
DEPTHS, VOLTS = np.array(TABLE.depths), np.array(TABLE.volts)


LN_MA = np.linspace(log(4.5) - 3, log(4.5) + 3, 1201)
FINE = np.linspace(0, 1, 8001)
OHM = TABLE.r_fresh + TABLE.r_more * FINE**2
ENDS = np.array([FINE[np.argmax(np.interp(FINE, DEPTHS, VOLTS) - np.exp(one) / 1000 * OHM <= 6.0)] for one in LN_MA])


def lives_many(ln_ma, ln_capacity):
    """Return hours to 6.0 V and the depth then, from a table of where the loaded curve falls to it: written again, for many."""
    end = np.interp(ln_ma, LN_MA, ENDS)
    return end * np.exp(np.interp(ln_ma, TABLE.ln_ma, TABLE.ln_mah) + ln_capacity - ln_ma), end


def sampled(ln_likelihood, seed, sigma=0.35):
    """Return samples of (ln mA, ln capacity) from the prior of the worked case and the likelihood given, by `emcee` 3.1.6."""

    def ln_chance(points):
        ln_ma, ln_capacity = points.T
        prior = -0.5 * ((ln_ma - log(4.5)) / sigma) ** 2 - 0.5 * (ln_capacity / 0.15) ** 2
        return prior + ln_likelihood(ln_ma, ln_capacity)

    dice = np.random.RandomState(seed)
    start = np.column_stack([log(4.5) + 0.1 * dice.randn(60), 0.05 * dice.randn(60)])
    sampler = emcee.EnsembleSampler(60, 2, ln_chance, vectorize=True)
    sampler._random = dice
    sampler.run_mcmc(start, 4000)
    return sampler.get_chain(discard=500, flat=True)


@pytest.mark.parametrize(("volts", "hours"), [(8.3, 20.0), (7.6, 60.0), (9.1, 30.0)])
def test_life_after_a_reading_is_what_a_sampler_finds(volts, hours):
    """The first row is the reference's worked case: 71, 102, 158 h by a sampler with Student's t; low and median must agree."""
    sigma = reading_sigma(BLOCK, 1, loaded=True, minutes_off=None)

    def ln_likelihood(ln_ma, ln_capacity):
        whole, end = lives_many(ln_ma, ln_capacity)
        depth = np.clip(end * hours / whole, 0, 1)
        expected = np.interp(depth, DEPTHS, VOLTS) - np.exp(ln_ma) / 1000 * (TABLE.r_fresh + TABLE.r_more * depth**2)
        off = np.abs(volts - expected) / sigma
        return np.where(whole > hours, np.where(off < 1.5, -0.5 * off**2, 1.5 * (0.75 - off)), -np.inf)

    drawn = sampled(ln_likelihood, 7)
    low, middle = np.quantile(lives_many(*drawn[::10].T)[0], [0.05, 0.5])
    seen = [Seen(volts=volts, hours=hours, hours_share=0, own_load=True)]
    ours = life(BLOCK, box(0.35), hours=hours, hours_share=0, seen=seen, sigma_capacity=0.15)
    assert exp(ours.mean_ln_h) == pytest.approx(middle, rel=0.02)
    assert exp(ours.mean_ln_h - 1.645 * sqrt(ours.var_ln_h)) == pytest.approx(low, rel=0.03)
    if (volts, hours) == (8.3, 20.0):
        assert (low, middle) == pytest.approx((71, 102.5), rel=0.03)


@pytest.mark.parametrize("ended", [Ended.DIED, Ended.CENSORED])
def test_a_draw_learnt_from_one_set_is_what_a_sampler_finds(ended):
    hours = 62.0 if ended is Ended.DIED else 130.0

    def ln_likelihood(ln_ma, ln_capacity):
        whole, _ = lives_many(ln_ma, ln_capacity)
        if ended is Ended.DIED:
            return -0.5 * (np.log(hours / whole) / 0.05) ** 2
        return np.where(whole > hours, 0.0, -0.5 * (np.log(hours / whole) / 0.01) ** 2)

    drawn = sampled(ln_likelihood, 11)[:, 0]
    share = 0.05 if ended is Ended.DIED else 0.0
    ours = learn(box(0.35), [Finished(kind=BLOCK, hours=hours, ended=ended, hours_share=share, sigma_capacity=0.15)])
    assert ours.mean_ln == pytest.approx(float(drawn.mean()), abs=0.02)
    assert sqrt(ours.var_ln) == pytest.approx(float(drawn.std()), rel=0.08)
