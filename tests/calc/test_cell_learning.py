"""What finished sets teach of a draw, what devices teach of a type, and what measuring would buy."""

from dataclasses import replace
from math import exp, log, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.calc.cell_forecast import (
    Ended,
    Finished,
    chance_of_dying,
    fresh_life,
    learn,
    life,
    metered,
    metering_worth,
    persistently_off,
    pool,
    swap_point,
)
from maintenance.calc.cell_words import CellError, Draw, Load, Seen
from tests.calc.cell_lab import BLOCK, KINDS, box, transmitter, unhurried


def finished(hours, ended=Ended.DIED, **kw):
    return Finished(**({"kind": BLOCK, "hours": hours, "ended": ended, "hours_share": 0.0, "sigma_capacity": 0.15} | kw))


def typical(draw):
    """Return low, median and high of the device's usual life: what its sets scatter about."""
    found = life(BLOCK, draw, sigma_capacity=0.0)
    return found.low_h, found.median_h, found.high_h


def test_two_sets_that_died_are_the_worked_case():
    learnt = learn(box(0.35), [finished(62), finished(70)])
    assert typical(learnt) == pytest.approx((57.8, 68.6, 81.1), rel=0.012)
    assert exp(learnt.mean_ln) == pytest.approx(7.47, abs=0.05)


def test_deaths_alone_are_the_closed_form():
    """Normal updates of ln draw, one a set, with the slope of ln hours in ln draw, which the grid knows to vary."""
    draw = box(0.35)
    learnt = learn(draw, [finished(62), finished(70)])
    prior = fresh_life(BLOCK, draw, sigma_capacity=0.0)
    precision, weighted = 1 / draw.var_ln, 0.0
    for hours in (62, 70):
        precision += prior.slope**2 / 0.15**2
        weighted += prior.slope * (log(hours) - prior.mean) / 0.15**2
    assert learnt.mean_ln - draw.mean_ln == pytest.approx(weighted / precision, abs=0.01)
    assert learnt.var_ln == pytest.approx(1 / precision, rel=0.05)


def test_an_early_swap_raises_the_estimate_as_in_the_worked_case():
    before, after = typical(box(0.35)), typical(learn(box(0.35), [finished(90, Ended.CENSORED)]))
    assert before[1] == pytest.approx(115, abs=1)
    assert after[1] == pytest.approx(132, abs=3)


@unhurried
@given(hours=st.floats(0.5, 300), sigma=st.sampled_from([0.08, 0.15, 0.45]), share=st.sampled_from([0.0, 0.05, 0.25]))
def test_an_early_swap_never_lowers_the_estimate(hours, sigma, share):
    learnt = learn(box(sigma), [finished(hours, Ended.CENSORED, hours_share=share)])
    assert learnt.mean_ln <= box(sigma).mean_ln + 1e-6


@unhurried
@given(hours=st.floats(5, 200), later=st.floats(1.01, 2))
def test_a_set_that_lived_longer_never_teaches_a_higher_draw(hours, later):
    for ended in (Ended.DIED, Ended.CENSORED):
        assert learn(box(), [finished(hours * later, ended)]).mean_ln <= learn(box(), [finished(hours, ended)]).mean_ln + 1e-6


def test_a_swap_with_a_reading_says_more_than_one_without():
    blind = learn(box(), [finished(60, Ended.CENSORED)])
    good, poor = (
        learn(box(), [finished(60, Ended.READING, seen=Seen(volts=volts, hours=60, own_load=True))]) for volts in (8.6, 7.2)
    )
    assert good.mean_ln < blind.mean_ln < poor.mean_ln
    assert max(good.var_ln, poor.var_ln) < blind.var_ln


def test_a_reading_of_a_regulated_set_says_only_that_it_lived():
    kind = KINDS["9V-Li-ion"]
    read = finished(60, Ended.READING, kind=kind, seen=Seen(volts=8.9, hours=60))
    assert learn(box(), [read]).mean_ln == pytest.approx(learn(box(), [finished(60, Ended.CENSORED, kind=kind)]).mean_ln)


def test_sets_without_hours_teach_nothing():
    assert learn(box(), [finished(0.0, Ended.CENSORED)]) == box()
    assert learn(box(), []) == box()


def test_a_few_swaps_tighten_the_band():
    wide = life(BLOCK, box())
    narrow = life(BLOCK, learn(box(), [finished(70), finished(60, Ended.CENSORED), finished(75)]))
    assert narrow.high_h - narrow.low_h < 0.5 * (wide.high_h - wide.low_h)


def test_evidence_far_from_what_was_believed_is_reached():
    learnt = learn(box(0.15), [finished(8)] * 30)
    assert life(BLOCK, learnt, sigma_capacity=0.0).median_h == pytest.approx(8, rel=0.15)
    assert 0.0 < learnt.var_ln < 0.01


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10_000), ma=st.floats(3.0, 9.0))
def test_a_careful_crew_does_not_make_its_boxes_look_hungry(seed, ma):
    """Forty sets of one box, all but those that died first swapped early: what is learnt lies about the truth."""
    dice = np.random.default_rng(seed)
    usual = life(BLOCK, box(0.08, ma), sigma_capacity=0.0).median_h
    sets = []
    for whole, swapped in zip(usual * np.exp(0.15 * dice.standard_normal(40)), usual * dice.uniform(0.7, 1.2, 40), strict=True):
        sets.append(finished(min(whole, swapped), Ended.DIED if whole < swapped else Ended.CENSORED))
    learnt = learn(box(), sets)
    assert abs(learnt.mean_ln - log(ma)) < 4.5 * sqrt(learnt.var_ln)


def test_a_transmitter_learns_too():
    usual = life(KINDS["LR6"], transmitter()).median_h
    hungry = learn(transmitter(), [finished(0.7 * usual, kind=KINDS["LR6"])] * 3)
    assert hungry.mean_ln > transmitter().mean_ln + 0.1


def test_metering_replaces_the_guess():
    known = metered(box(), 7.2)
    assert (exp(known.mean_ln), sqrt(known.var_ln)) == pytest.approx((7.2, 0.08))
    with pytest.raises(CellError):
        metered(box(), 0)


def fleet_of_boxes(true_ma, spread, count, sets, seed):
    dice = np.random.default_rng(seed)
    found = []
    for ma in true_ma * np.exp(spread * dice.standard_normal(count)):
        usual = life(BLOCK, box(0.08, ma), sigma_capacity=0.0).median_h
        found.append(learn(box(), [finished(h) for h in usual * np.exp(0.15 * dice.standard_normal(sets))]))
    return found


def test_a_type_learns_from_its_devices():
    pooled = pool(fleet_of_boxes(7.0, 0.1, 12, 3, 5), box())
    assert exp(pooled.mean_ln) == pytest.approx(7.0, rel=0.08)
    assert 0.05 < sqrt(pooled.var_ln) < 0.2


def test_devices_that_differ_leave_the_type_less_sure():
    alike, apart = (pool(fleet_of_boxes(7.0, spread, 12, 3, 5), box()) for spread in (0.05, 0.5))
    assert apart.var_ln > 3 * alike.var_ln


def test_a_guess_shared_by_twenty_devices_is_not_twenty_pieces_of_evidence():
    assert pool([box()] * 20, box()) == box()
    assert pool([], box()) == box()
    one = learn(box(), [finished(60)])
    hardly = replace(box(), mean_ln=box().mean_ln, var_ln=box().var_ln * 0.9995)
    assert pool([one, *[hardly] * 20], box()).mean_ln == pytest.approx(pool([one], box()).mean_ln)


def test_the_guess_devices_started_from_is_taken_out_before_they_are_put_together():
    """Each device's posterior lies half way between guess and truth; a hundred of them say the truth, not half way."""
    guess = box()
    half_way = replace(guess, mean_ln=guess.mean_ln + 0.25, var_ln=guess.var_ln / 2)
    assert pool([half_way] * 100, guess).mean_ln - guess.mean_ln == pytest.approx(0.5, abs=0.02)


def test_a_pooled_type_is_never_less_sure_than_the_class():
    wild = [Draw(load=Load.CURRENT, mean_ln=log(ma), var_ln=0.01) for ma in (1, 30, 2, 40)]
    assert pool(wild, box()).var_ln <= box().var_ln


def test_a_device_off_from_its_type_is_named_once_three_sets_say_so():
    hungry = learn(box(), [finished(55)] * 3)
    off = persistently_off(hungry, box(0.15), sets=3, kind=BLOCK, name="Box 7")
    assert off is not None
    assert off.times > 1.5
    assert off.words.startswith("Box 7: its 3 sets lasted shorter than others of its type, a fresh one about")
    assert "56 h, not 115" in off.words and "meter" not in off.words  # what measuring buys is said once, beside it
    assert persistently_off(hungry, box(0.15), sets=2, kind=BLOCK) is None
    assert persistently_off(learn(box(), [finished(110)] * 3), box(0.15), sets=3, kind=BLOCK) is None
    thrifty = persistently_off(learn(box(), [finished(250)] * 3), box(0.15), sets=3, kind=BLOCK)
    assert thrifty is not None and "lasted longer" in thrifty.words


def test_measuring_the_draw_moves_the_swap_point_from_about_40_to_75_hours():
    worth = metering_worth(BLOCK, box(), 5, 0.01)
    assert worth is not None
    assert (worth.now_h, worth.metered_h) == (pytest.approx(40, abs=3), pytest.approx(75, abs=3))
    assert "from about 38 to 74 h" in worth.words
    assert metering_worth(BLOCK, metered(box(), 4.5), 5, 0.01) is None


@unhurried
@given(need=st.floats(0.5, 20), limit=st.floats(0.002, 0.3), sigma=st.sampled_from([0.08, 0.15, 0.45]))
def test_the_swap_point_is_where_the_chance_passes_the_limit(need, limit, sigma):
    fresh = life(BLOCK, box(sigma))
    at = swap_point(fresh, need, limit)
    if at == 0:
        assert chance_of_dying(fresh, need) > limit or chance_of_dying(replace(fresh, hours=0.01), need) > limit * 0.99
    else:
        assert chance_of_dying(replace(fresh, hours=at), need) == pytest.approx(limit, rel=1e-4) or at > fresh.median_h * 3
    with pytest.raises(CellError):
        swap_point(fresh, need, 1.0)
