"""Looking at a whole type: first guesses, what a target costs, wear, and lives of which only intervals are known."""

from dataclasses import replace
from itertools import pairwise
from math import inf, isfinite

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.calc.kinds import Kind
from maintenance.calc.retest import Record, model_of, records_of, type_fit, wear_of
from maintenance.calc.retest_cost import cost_of_target, cost_words, line_check_share, target_for
from maintenance.calc.retest_defaults import COLUMNS, Rule, default_rule, rule_from
from maintenance.calc.retest_guard import beta_binomial, exact_limits
from maintenance.calc.retest_lifetimes import (
    Weibull,
    age_replacement,
    block_replacement,
    exponential_limits,
    first_ends,
    kaplan_meier,
    turnbull,
    weibull_fit,
)
from maintenance.calc.retest_record import Event, What, fold
from maintenance.calc.retest_wear import LEAST_FAILURES, Clock, wear_fit

RULE = default_rule(Kind.LEAD, "three-pin")


@pytest.mark.parametrize(
    ("kind", "wiring", "facts", "guess"),
    [
        (Kind.LEAD, "three-pin", {}, (150, 40)),
        (Kind.LEAD, "", {}, (150, 40)),
        (Kind.LEAD, "ts", {}, (80, 20)),
        (Kind.LEAD, "trs", {"end_a": "3.5 mm TRS"}, (60, 15)),
        (Kind.LEAD, "three-pin-lift", {}, (60, 15)),
        (Kind.LEAD, "network-straight", {}, (150, 40)),
        (Kind.LEAD, "loudspeaker-4", {}, (400, 100)),
        (Kind.INTERFACE_BOX, "", {"active": False}, (1000, 250)),
        (Kind.INTERFACE_BOX, "", {"active": True}, (400, 100)),
        (Kind.MICROPHONE, "", {"transducer": "dynamic"}, (800, 200)),
        (Kind.MICROPHONE, "", {"transducer": "condenser"}, (400, 100)),
        (Kind.TRANSMITTER, "", {}, (200, 50)),
        (Kind.MULTICORE, "multicore", {"sends": 16, "returns": 4}, (50, 12.5)),
        (Kind.MULTICORE, "", {}, (1000, 250)),
        ("a kind nobody knows", "", {"sends": None}, (400, 100)),
    ],
)
def test_the_first_guesses_are_the_catalogues(kind, wiring, facts, guess):
    rule = default_rule(kind, wiring, facts)
    assert (rule.median_shows, rule.pessimistic_shows) == guess
    assert rule.source


def test_leads_are_tested_in_six_months_boxes_in_twelve_and_each_kind_by_a_day():
    assert default_rule(Kind.LEAD).most_days == 183
    assert default_rule(Kind.INTERFACE_BOX).most_days == 365
    assert all(default_rule(kind).most_days for kind in Kind)


def test_a_rule_of_the_owners_is_read_from_its_row():
    row = type("Row", (), {name: getattr(RULE, name) for name in COLUMNS} | {"target": 0.02})()
    assert rule_from(row) == replace(RULE, target=0.02, source="set by the owner")


# what a target costs

KIN = records_of([Record(failures=float(n % 4 == 0), shows=50.0 + n) for n in range(60)])
LEADS = {"model": model_of(RULE, KIN), "rule": RULE, "count": 60, "shows_a_month": 8.0, "a_show": 20.0, "records": KIN}


def test_a_stricter_target_costs_minutes_and_lets_fewer_bad_ones_through():
    curve = cost_of_target(**LEADS)
    assert len(curve) > 10
    for one, other in pairwise(curve):
        assert one.target < other.target
        assert one.minutes_a_month >= other.minutes_a_month
        assert one.bad_a_show <= other.bad_a_show + 1e-12
        assert one.cents_a_month <= other.cents_a_month + 1e-9
    assert curve[0].minutes_a_month > 2 * curve[-1].minutes_a_month
    assert any(not point.held for point in curve)


def test_the_curve_is_what_a_simulated_month_shows():
    """Leads that fail at rates of the model, tested by it and taken to shows for years: bad ones a show and tests a month."""
    dice = np.random.default_rng(5)
    rule = replace(RULE, least_shows=0, least_days=0, most_days=None)
    model = model_of(rule, KIN)
    (point,) = cost_of_target(**LEADS | {"model": model, "rule": rule, "records": None}, targets=(0.06,))
    interval = point.interval_shows
    count, whole = 4000, int(interval)
    (exact,) = cost_of_target(
        **LEADS | {"model": model, "rule": replace(rule, most_shows=whole, least_shows=whole), "records": None}, targets=(0.06,)
    )
    cell = dice.choice(len(model.weight), count, p=model.weight)
    rates = dice.gamma(model.a[cell], 1 / model.b[cell])
    bad = np.zeros(count)
    for _ in range(200):
        fails_after = dice.exponential(1 / rates)
        # at its k-th show after the test (the middle of it) it is bad if it failed before
        bad += np.clip(whole - fails_after, 0, whole) / whole
    assert 20 * bad.mean() / 200 == pytest.approx(exact.bad_a_show, rel=0.03)
    assert exact.tests_a_month == pytest.approx(20 * 8 / whole)


def test_the_target_for_so_many_bad_leads_a_show_gives_as_many():
    target = target_for(bad_a_show=0.4, **LEADS)
    (point,) = cost_of_target(**LEADS, targets=(target,))
    assert point.bad_a_show == pytest.approx(0.4, rel=0.01)


def test_uneventful_shows_stretch_the_intervals():
    without, with_shows = (cost_of_target(**LEADS, sees_show=c, targets=(0.02,))[0] for c in (0.0, 0.5))
    assert with_shows.interval_shows == pytest.approx(2 * without.interval_shows)


def test_things_that_never_go_out_are_tested_by_the_calendar_alone():
    (point,) = cost_of_target(**LEADS | {"shows_a_month": 0.0}, targets=(0.05,))
    assert point.tests_a_month == pytest.approx(60 * 30.4375 / 183)
    (never,) = cost_of_target(**LEADS | {"shows_a_month": 0.0, "rule": replace(RULE, most_days=None)}, targets=(0.05,))
    assert never.tests_a_month == 0


def test_the_cost_pair_counts_what_was_found_where():
    assert line_check_share(0, 0) == 0.5
    (early,) = cost_of_target(**LEADS, at_line_check=18, in_show=0, targets=(0.05,))
    (late,) = cost_of_target(**LEADS, at_line_check=0, in_show=18, targets=(0.05,))
    assert late.cents_a_month > 5 * early.cents_a_month


def test_impossible_counts_are_refused():
    with pytest.raises(ValueError, match="at least one item"):
        cost_of_target(**LEADS | {"count": 0})
    with pytest.raises(ValueError, match="no fewer than no shows"):
        cost_of_target(**LEADS | {"shows_a_month": -1.0})


def test_the_change_is_said_in_words():
    (now,), (then,) = (cost_of_target(**LEADS, targets=(t,)) for t in (0.05, 0.02))
    words = cost_words(now, then, "leads")
    assert words.startswith(f"{then.bad_a_show:.2g} bad leads a show instead of {now.bad_a_show:.2g}, for ")
    assert words.endswith("more than now")
    assert cost_words(now, now, "leads").endswith("as many as now")


# wear


def lives(power, count, *, seed=1, mean=120.0, until=160, every=10):
    """Items that fail by a power law of age, are mended at once and tested every so many shows."""
    dice = np.random.default_rng(seed)
    found = []
    for _ in range(count):
        own = dice.gamma(3.0, 1 / 3)
        marks = np.cumsum(dice.exponential(1.0, 60)) / own
        failures = mean * marks ** (1 / power)
        events, at = [Event(what=What.AS_NEW)], 0.0
        while at < until:
            events.append(Event(what=What.USE, shows=every))
            bad = np.any((failures > at) & (failures <= at + every))
            events += (
                [Event(what=What.FAIL), Event(what=What.REPAIR), Event(what=What.PASS)] if bad else [Event(what=What.PASS)]
            )
            at += every
        found.append(fold(events, sees_show=0.5))
    return records_of(found)


def test_wear_is_not_looked_for_in_a_handful_of_failures():
    few = records_of([Record(failures=1.0, shows=30.0, age=40.0, spans=[(20.0, 40.0, True)])] * (LEAST_FAILURES - 1))
    found = wear_of(RULE, few)
    assert not found.fitted and not found.used and found.clock == Clock()
    assert found.words == (
        "7 of the 8 failures it takes to look for wear: no evidence that age alone raises failure: test, do not replace by age."
    )


@pytest.mark.parametrize("seed", range(4))
def test_steady_failures_are_not_called_wear(seed):
    found = wear_of(RULE, lives(1.0, 60, seed=seed), replacement_cents=2000)
    assert found.fitted and found.replace_at is None
    assert found.used == (found.gain > 0)
    assert found.power_low < 1.35


def test_an_age_is_named_only_where_wear_is_nearly_sure():
    found = [wear_of(RULE, lives(1.25, 18, seed=seed), replacement_cents=2000) for seed in range(10)]
    assert all(one.rising >= 0.9 and one.used for one in found if one.replace_at is not None)
    assert any(one.used and one.rising < 0.9 for one in found)
    assert any(not one.used and one.clock == Clock() for one in found)


@pytest.mark.parametrize("seed", range(4))
def test_wear_is_seen_where_it_is_and_an_age_named(seed):
    found = wear_of(RULE, lives(2.2, 60, seed=seed), replacement_cents=2000)
    assert found.used and found.gain > 0 and found.rising > 0.95
    assert found.power_low < 2.3 and found.power_high > 1.8
    assert 20 < found.replace_low <= found.replace_at <= found.replace_high < 200
    assert "costs least" in found.words


def test_without_a_price_wear_is_allowed_for_and_no_age_named():
    found = wear_of(RULE, lives(2.2, 60))
    assert found.used and found.replace_at is None
    assert found.words.endswith("intervals allow for it.")


def test_one_items_failures_alone_are_held_against_nothing():
    one = Record(failures=9.0, shows=90.0, age=95.0, spans=[(10.0 * n, 10.0 * n + 10, True) for n in range(9)])
    found = wear_fit(records=records_of([one]), median_shows=150, pessimistic_shows=40)
    assert found.fitted and isfinite(found.gain)


@given(st.floats(0.4, 4), st.floats(1, 300), st.floats(0, 500))
def test_the_clock_runs_there_and_back(power, unit, age):
    clock = Clock(power=power, unit=unit)
    assert float(clock.age(clock.on(np.array(age)))) == pytest.approx(age, rel=1e-9, abs=1e-9)
    assert float(clock.on(np.array(unit))) == pytest.approx(unit)


def test_a_clock_of_power_one_keeps_records_as_they_are():
    records = lives(1.5, 10)
    timed = Clock(power=1.0, unit=33.0).records(records)
    assert timed.shows == pytest.approx(records.shows)
    assert timed.since == pytest.approx(records.since)


# lives


def test_intervals_out_of_order_and_too_few_ends_are_refused():
    with pytest.raises(ValueError, match="Fewer than 5"):
        weibull_fit([10] * 9, [inf] * 9)
    with pytest.raises(ValueError, match="ends after"):
        weibull_fit([10] * 9, [5] * 9)
    with pytest.raises(ValueError, match="ends after"):
        turnbull([3], [2])
    with pytest.raises(ValueError, match="at least nothing"):
        exponential_limits(0, 0)


def test_a_fit_finds_the_curve_that_intervals_were_drawn_from():
    dice = np.random.default_rng(6)
    at = 80 * dice.weibull(1.8, 3000)
    low = np.floor(at / 15) * 15
    high = np.where(low >= 120, inf, low + 15)
    found = weibull_fit(np.minimum(low, 120), high)
    (shape_low, shape_high), (scale_low, scale_high) = found.limits(z=3.3)
    assert shape_low < 1.8 < shape_high and scale_low < 80 < scale_high
    assert shape_high / shape_low < 1.3


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 12), st.sampled_from([1, 3, 8, None])), min_size=1, max_size=14))
def test_turnbulls_masses_add_up_and_lie_where_lives_may_end(rows):
    low = [float(a) for a, _ in rows]
    high = [inf if width is None else a + float(width) for a, width in rows]
    masses = turnbull(low, high)
    assert sum(mass.share for mass in masses) == pytest.approx(1, abs=1e-6)
    for mass in masses:
        assert any(a <= mass.low and mass.high <= b for a, b in zip(low, high, strict=True))


@given(st.lists(st.tuples(st.integers(1, 30), st.booleans()), min_size=1, max_size=25))
def test_with_exact_ends_turnbull_is_kaplan_and_meier(rows):
    times, ended = [float(t) for t, _ in rows], [e for _, e in rows]
    steps = kaplan_meier(times, ended)
    masses = turnbull(times, [t if e else inf for t, e in rows])
    for step in steps:
        later = sum(mass.share for mass in masses if mass.low > step.at or mass.high > step.at)
        assert later == pytest.approx(step.lasting, abs=2e-3)


def test_first_ends_are_the_first_failures_and_what_is_vouched_for():
    life = [Event(what=What.USE, shows=5), Event(what=What.PASS), Event(what=What.USE, shows=4), Event(what=What.FAIL)]
    more = [Event(what=What.REPAIR), Event(what=What.PASS), Event(what=What.USE, shows=9), Event(what=What.FAIL)]
    records = records_of([fold(life + more, sees_show=0.5), fold([*life[:2], life[2]], sees_show=0.5), Record()])
    low, high = first_ends(records)
    assert (low.tolist(), high.tolist()) == ([5.0, 5.0], [9.0, inf])


@given(st.floats(1.05, 4), st.floats(10, 1000), st.floats(1.2, 40))
def test_the_best_age_costs_no_more_than_its_neighbours(shape, scale, dearer):
    fit = Weibull(shape=shape, scale=scale)
    age, cost = age_replacement(fit, planned_cost=1.0, failure_cost=dearer)

    def at(t):
        ages = np.linspace(0, t, 4001)
        lasting = np.exp(-((ages / scale) ** shape))
        return (lasting[-1] + dearer * (1 - lasting[-1])) / np.trapezoid(lasting, ages)

    if isfinite(age) and age < 8 * scale:
        assert cost == pytest.approx(at(age), rel=1e-3)
        assert at(age) <= min(at(age * 0.9), at(age * 1.1)) * (1 + 1e-6)


def test_what_does_not_wear_is_never_replaced_by_age():
    for shape in (0.6, 1.0):
        assert age_replacement(Weibull(shape=shape, scale=100), planned_cost=1, failure_cost=9)[0] == inf
        assert block_replacement(Weibull(shape=shape, scale=100), planned_cost=1, failure_cost=9)[0] == inf
    assert age_replacement(Weibull(shape=2, scale=100), planned_cost=9, failure_cost=9)[0] == inf
    with pytest.raises(ValueError, match="costs something"):
        age_replacement(Weibull(shape=2, scale=100), planned_cost=0, failure_cost=9)


def test_limits_of_none_and_all_are_closed():
    assert exact_limits(0, 10)[0] == 0.0 and exact_limits(10, 10)[1] == 1.0
    with pytest.raises(ValueError, match="at most"):
        exact_limits(11, 10)


def test_bad_on_receipt_is_a_share_that_does_not_grow_with_use():
    mean, low, high = beta_binomial(3, 60, alpha=0.5, beta=19.5)
    assert mean == pytest.approx(3.5 / 80) and low < mean < high
    model = type_fit(median_shows=150, pessimistic_shows=40, failures=[], shows=[], starts=60, starts_bad=3)
    assert model.start_chance == pytest.approx(mean)
    with pytest.raises(ValueError, match="at most"):
        beta_binomial(3, 2, alpha=1, beta=1)


def test_rules_have_the_words_of_whose_figures_they_are():
    assert Rule().source == "a proposal"
    assert "from memory" in RULE.source
