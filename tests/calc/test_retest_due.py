"""When an item is tested again: shows left, the date, and the sentence with its reasons."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import gamma, nbinom

from maintenance.calc.retest import (
    Event,
    Guard,
    Record,
    Situation,
    What,
    chance_by,
    chance_range,
    fold,
    forecast_chance,
    forecast_given,
    guard,
    guard_of,
    model_of,
    reckon,
    reckon_many,
    reckoned_at,
    records_of,
    situations_of,
)
from maintenance.calc.retest_defaults import Rule
from maintenance.calc.retest_due import By, Limit, bad_chance, days_for, per_cent
from maintenance.calc.retest_wear import Clock

TODAY = date(2026, 11, 27)
RULE = Rule(least_days=0, least_shows=0)


def record(**kw):
    return Record(**{"shows": 60.0, "age": 60.0, "tested": True, "tests": 6, "start_missed": 0.0} | kw)


def situation(**kw):
    return Situation(**{"tested_on": date(2026, 11, 20)} | kw)


KIN = [record(failures=float(n % 3 == 0), shows=40.0 + n) for n in range(12)]
MODEL = model_of(RULE, records_of(KIN))


def done(one=None, where=None, *, rule=RULE, model=MODEL, **kw):
    return reckon(
        model=model, rule=rule, record=one or record(), situation=where or situation(), today=TODAY, **{"noun": "lead"} | kw
    )


def booked(*days, shows=1.0):
    return [(TODAY + timedelta(n), shows) for n in days]


records = st.builds(
    record,
    failures=st.sampled_from([0.0, 1.0, 4.0]),
    shows=st.floats(0, 300),
    since=st.floats(0, 12),
    since_test=st.floats(0, 30),
    start_missed=st.sampled_from([0.0, 0.4, 1.0]),
    tested=st.booleans(),
    down=st.booleans(),
)
situations = st.builds(
    situation,
    tested_on=st.sampled_from([None, TODAY, TODAY - timedelta(30), TODAY - timedelta(500)]),
    bookings=st.lists(st.integers(0, 60), max_size=8).map(lambda days: booked(*days)),
    past_shows=st.floats(0, 80),
    past_days=st.floats(0, 700),
    last_interval=st.sampled_from([None, 3.0, 20.0]),
    last_short=st.booleans(),
)
rules = st.builds(
    Rule,
    target=st.sampled_from([0.01, 0.05, 0.3]),
    least_days=st.sampled_from([0, 7]),
    most_days=st.sampled_from([None, 10, 183]),
    least_shows=st.sampled_from([0, 3]),
    most_shows=st.sampled_from([None, 5, 50]),
    storage_shows_a_month=st.sampled_from([0.0, 0.5]),
)


@settings(max_examples=80, deadline=None)
@given(st.lists(st.tuples(records, situations), min_size=1, max_size=6), rules)
def test_many_are_reckoned_as_each_alone(pairs, rule):
    model = model_of(rule, records_of([one for one, _ in pairs]))
    together = reckon_many(
        model=model,
        rule=rule,
        records=records_of([one for one, _ in pairs]),
        situations=situations_of([where for _, where in pairs]),
        today=TODAY,
        noun="lead",
    )
    for index, (one, where) in enumerate(pairs):
        alone, among = done(one, where, rule=rule, model=model), reckoned_at(together, index)
        for name in ("chance_now", "chance_then", "wanted", "prior_share"):
            assert getattr(among, name) == pytest.approx(getattr(alone, name), abs=1e-9)
        same = {name: getattr(alone, name) for name in ("shows_left", "test_by", "limit", "by", "why", "retire", "retire_why")}
        assert {name: getattr(among, name) for name in same} == same


@settings(max_examples=120, deadline=None)
@given(records, situations, rules)
def test_whatever_the_record_the_answer_is_one_a_person_can_read(one, where, rule):
    found = done(one, where, rule=rule, model=model_of(rule, records_of([one])))
    assert 0 <= found.chance_now <= found.chance_then <= 1
    assert found.shows_left >= 0
    assert len(found.why) <= 400
    assert 0 <= found.prior_share <= 1
    assert (found.test_by is None) == (where.tested_on is None or one.down)
    if found.limit in {Limit.TARGET, Limit.STEP, Limit.MOST} and not one.down and found.shows_left > 0:
        assert found.chance_then <= rule.target + 1e-9
    if found.test_by is not None and rule.most_days is not None:
        assert found.test_by <= where.tested_on + timedelta(max(rule.most_days, rule.least_days))


def test_the_date_is_the_day_before_the_show_that_would_pass_it():
    free = done()
    left = free.shows_left
    assert left >= 3
    days = list(range(2, 2 + 3 * (left + 3), 3))
    found = done(where=situation(bookings=booked(*days)))
    assert found.by is By.BOOKED
    assert found.test_by == TODAY + timedelta(days[left] - 1)
    # one show fewer is allowed when each booking is two
    twice = done(where=situation(bookings=booked(*days, shows=2.0)))
    assert twice.test_by == TODAY + timedelta(days[left // 2] - 1)


def test_a_show_today_that_would_pass_it_is_tested_for_today():
    found = done(record(since=500.0), where=situation(bookings=booked(0, 1)))
    assert (found.shows_left, found.test_by) == (0, TODAY)
    assert found.chance_now > RULE.target


def test_the_pace_of_its_shows_sets_the_date_where_nothing_is_booked():
    seldom = done(where=situation(past_shows=2, past_days=400))
    often = done(where=situation(past_shows=80, past_days=400))
    assert seldom.by is often.by is By.RATE
    assert often.test_by < seldom.test_by
    after = done(where=situation(past_shows=80, past_days=400, bookings=booked(3, 6)))
    assert after.by is By.RATE, "bookings that do not use it up leave the rest to the pace"


@given(st.integers(0, 40), st.integers(0, 60), st.floats(0, 800))
def test_days_hold_no_more_than_so_many_shows_with_chance_80_percent(shows, past, days):
    """Against scipy's negative binomial: one more day would be too many, give or take rounding."""
    t = float(days_for(np.array([float(shows)]), np.array([float(past)]), np.array([days]))[0])
    c, d = 1.0 + past, 10.0 + days
    assert nbinom.cdf(shows, c, d / (d + t)) == pytest.approx(0.8, abs=1e-9)


def test_the_calendar_wins_when_it_is_sooner_and_says_so():
    found = done(rule=replace(RULE, most_days=20), where=situation(bookings=booked(*range(1, 90, 15))))
    assert (found.by, found.test_by) == (By.CALENDAR, date(2026, 12, 10))
    assert "the calendar says Thu 10 Dec first" in found.why


def test_one_never_tested_has_no_date():
    found = done(record(tested=False, start_missed=1.0), where=situation(tested_on=None))
    assert (found.test_by, found.by) == (None, By.NOTHING)
    assert "but never tested, so no date is set: " in found.why
    assert found.chance_now > done().chance_now, "it may have been bad from the start"


def test_a_month_on_the_shelf_counts_where_the_rule_says_so():
    resting = done(rule=replace(RULE, storage_shows_a_month=3.0), where=situation(past_shows=1, past_days=900))
    assert resting.test_by < done(where=situation(past_shows=1, past_days=900)).test_by


def test_clamps_count_from_the_last_test():
    most = done(record(since_test=4.0), rule=replace(RULE, most_shows=6))
    assert (most.shows_left, most.limit) == (2, Limit.MOST)
    least = done(record(failures=30.0, since_test=1.0), rule=replace(RULE, least_shows=3))
    assert (least.shows_left, least.limit) == (2, Limit.LEAST)
    assert least.chance_then > RULE.target
    assert least.why.endswith("likely to be bad, not 5\u202f%: carry a spare.") and "About 2 shows left" in least.why


def test_an_interval_grows_to_twice_the_last_at_most():
    assert done().shows_left > 2
    found = done(where=situation(last_interval=1.0))
    assert (found.shows_left, found.limit) == (2, Limit.STEP)
    shorter = done(where=situation(last_interval=1000.0))
    assert shorter.limit is Limit.TARGET, "nothing is made longer by it, nor held from getting shorter"


def test_the_guard_holds_intervals_short():
    found = done(guard=guard(intervals=60, good=51, interval_shows=60 * 4.0, target=0.05))
    assert (found.shows_left, found.limit) == (2, Limit.GUARD)
    assert "held short because only 51 of 60 intervals ended good" in found.why


def test_a_shallow_test_leaves_less_time_than_a_deep_one():
    deep, shallow = (done(record(since=10 * (1 - s), start_missed=1 - s)) for s in (0.97, 0.6))
    assert shallow.shows_left < deep.shows_left
    assert shallow.chance_now > deep.chance_now


def test_a_fault_from_the_start_uses_up_some_of_the_target():
    one = record(since=1.0, start_missed=0.5)
    found = done(one)
    assert bad_chance(MODEL, records_of([one]), np.array([found.wanted]))[0] == pytest.approx(RULE.target, abs=1e-9)


def test_resting_between_bookings_counts_where_the_rule_says_so():
    days = list(range(10, 100, 10))
    awake = done(where=situation(bookings=booked(*days)))
    resting = done(where=situation(bookings=booked(*days)), rule=replace(RULE, storage_shows_a_month=6.0))
    assert awake.by is resting.by is By.BOOKED
    assert resting.test_by < awake.test_by


def test_the_sentence_has_the_record_the_kin_the_limit_the_date_and_the_guess():
    kin = [record(failures=float(n < 4), shows=50.0) for n in range(12)] + [record(failures=3.0, shows=41.0)]
    model = model_of(RULE, records_of(kin))
    found = done(kin[-1], model=model, rule=replace(RULE, most_days=8))
    assert found.why == (
        "This lead has failed 3 times in 41 shows, 12 like it failed 4 times in 600; 14\u202f% of this is still our first "
        "guess. About 2 shows left, but the calendar says Sat 28 Nov first: then the chance of a bad one passes 5\u202f%."
    )


def test_one_without_a_record_says_so():
    fresh = Record(start_missed=0.0, tested=True)
    found = done(fresh, model=model_of(RULE, records_of([fresh])))
    assert found.why.startswith("This lead has no record yet; all of this is still our first guess. About ")
    assert found.prior_share == 1.0


def test_one_that_failed_waits_for_repair_not_for_a_date():
    found = done(record(failures=1.0, down=True))
    assert (found.chance_now, found.test_by) == (1.0, None)
    assert found.why.endswith("It has failed and was not mended since.")


def test_far_worse_than_its_kind_is_a_case_for_retiring():
    kin = [record(failures=0.0, shows=90.0) for _ in range(39)] + [record(failures=6.0, shows=40.0)]
    model = model_of(RULE, records_of(kin))
    bad, fine = done(kin[-1], model=model), done(kin[0], model=model)
    assert bad.retire and not fine.retire
    assert bad.retire_why.startswith("it has failed 6 times in 40 shows: 99\u202f% sure")
    assert "over 3 times as often as its kind" in bad.retire_why


def test_twice_too_short_after_repair_is_a_case_unless_its_whole_kind_is():
    rule = replace(RULE, least_shows=3)
    one = record(failures=3.0, shows=20.0)
    mild = model_of(rule, records_of([record(failures=float(n % 4 == 0), shows=50.0) for n in range(40)] + [one]))
    assert not done(one, rule=rule, model=mild).retire
    again = done(one, situation(last_short=True), rule=rule, model=mild)
    assert again.short and again.retire and "twice running" in again.retire_why
    poor = model_of(rule, records_of([record(failures=3.0, shows=20.0)] * 40))
    assert not done(record(failures=3.0, shows=20.0), situation(last_short=True), rule=rule, model=poor).retire


def test_a_stored_forecast_says_what_the_model_said():
    for failures, shows, since in ((0.0, 0.0, 0.0), (2.0, 40.0, 3.0), (0.0, 300.0, 0.5)):
        one = record(failures=failures, shows=shows, since=since, start_missed=0.4)
        given = forecast_given(MODEL, one)
        for h in (0.0, 1.0, 8.0, 40.0):
            exact = bad_chance(MODEL, records_of([one]), np.array([h]))[0]
            assert forecast_chance(given, h) == pytest.approx(exact, rel=0.01, abs=1e-5)
        assert forecast_chance(given, 8, sees=0.6) == pytest.approx(0.6 * forecast_chance(given, 8))
    assert len(str(given)) < 1500
    with pytest.raises(ValueError, match="nothing or more"):
        forecast_chance(given, -1)


@pytest.mark.parametrize(("past", "days", "ahead"), [(20.0, 200.0, 30), (0.0, 0.0, 90), (3.0, 400.0, 10)])
def test_the_chance_by_a_day_is_the_mean_over_the_shows_that_may_come(past, days, ahead):
    """Against integration over the item's rate of 1 - e^(-l n) (d / (d + t (1 - e^-l)))^c."""
    one = record(failures=1.0, shows=50.0, since=2.0)
    where = situation(bookings=booked(2, 5), past_shows=past, past_days=days)
    c, d, free = 1 + past, 10 + days, ahead - 5
    few = replace(MODEL, weight=MODEL.weight[::40] / MODEL.weight[::40].sum(), a=MODEL.a[::40], b=MODEL.b[::40])

    def lasting(rate):
        return np.exp(-rate * (2 + one.since)) * (d / (d + free * -np.expm1(-rate))) ** c

    exact = sum(
        w * quad(lambda x, a=a, b=b: gamma.pdf(x, a + 1, scale=1 / (b + 50)) * lasting(x), 0, 2, points=[0.01, 0.05, 0.2])[0]
        for w, a, b in zip(few.weight, few.a, few.b, strict=True)
    )
    found = chance_by(few, one, where, today=TODAY, day=TODAY + timedelta(ahead))
    assert found == pytest.approx(1 - exact, rel=1e-4)


def test_the_chance_by_a_day_rises_with_the_days_and_is_todays_in_the_past():
    one, where = record(since=1.0), situation(past_shows=30, past_days=300, bookings=booked(4))
    by = [chance_by(MODEL, one, where, today=TODAY, day=TODAY + timedelta(n)) for n in (-9, 0, 1, 3, 4, 30, 300)]
    assert by[0] == by[1] == pytest.approx(done(one).chance_now)
    assert all(a < b for a, b in pairwise(by[1:]))


def test_a_forecast_lies_within_its_range_and_a_longer_record_narrows_it():
    short, long = record(failures=1.0, shows=30.0), record(failures=20.0, shows=600.0)
    for one in (short, long):
        low, high = chance_range(MODEL, one, 5.0)
        assert low < bad_chance(MODEL, records_of([one]), np.array([5.0]))[0] < high
    (low, high), (low_long, high_long) = chance_range(MODEL, short, 5.0), chance_range(MODEL, long, 5.0)
    assert high_long / low_long < high / low


def test_each_uneventful_show_uses_up_less_than_a_show_and_each_failure_more():
    """What a show adds to the record, by its events: c = 0.5."""
    base = [Event(what=What.AS_NEW), Event(what=What.PASS, sees=0.97)]
    quiet = [Event(what=What.USE, shows=1, clean=True)]
    seen, unseen = (fold([*base, *kind * 6], sees_show=0.5) for kind in (quiet, [replace(quiet[0], clean=False)]))
    assert done(seen).wanted > done(unseen).wanted
    tested = fold([*base, *quiet * 6, Event(what=What.PASS, sees=0.97)], sees_show=0.5)
    failed = fold([*base, *quiet * 6, Event(what=What.FAIL), Event(what=What.REPAIR), Event(what=What.PASS)], sees_show=0.5)
    assert done(failed).wanted < done(tested).wanted


def test_with_the_age_clock_old_ones_have_fewer_shows_left():
    clock = Clock(power=2.0, unit=50.0)
    kin = records_of([record(failures=float(n % 3 == 0), shows=40.0, age=40.0) for n in range(20)])
    model = model_of(RULE, kin, clock)
    young, old = (done(record(shows=age, age=age), model=model, clock=clock) for age in (10.0, 90.0))
    assert old.shows_left < young.shows_left
    assert old.chance_then <= RULE.target
    one = record(failures=1.0, shows=60.0, age=64.0, since=2.0)
    for h in (1.0, 10.0):
        timed = clock.records(records_of([one]))
        exact = bad_chance(model, timed, clock.on(np.array([64.0 + h])) - clock.on(np.array([64.0])))[0]
        assert forecast_chance(forecast_given(model, one, clock), h) == pytest.approx(exact, rel=0.005)


def test_a_clock_that_does_not_run_faster_changes_nothing():
    one = record(failures=0.0, shows=57.0, age=60.0, since=3.0)
    steady = Clock(power=1.0, unit=20.0)
    plain, timed = done(one), done(one, clock=steady)
    assert timed.wanted == pytest.approx(plain.wanted, abs=1e-6)
    assert replace(timed, wanted=0, chance_now=0, chance_then=0) == replace(plain, wanted=0, chance_now=0, chance_then=0)


def test_shares_are_written_as_a_person_says_them():
    written = [per_cent(share).replace("\u202f", " ") for share in (0, 0.0004, 0.004, 0.013, 0.05, 0.0512, 0.3, 1)]
    assert written == ["0 %", "under 0.1 %", "0.4 %", "1.3 %", "5 %", "5.1 %", "30 %", "100 %"]


def test_the_guard_says_what_it_counted():
    assert guard(intervals=0, good=0, interval_shows=0, target=0.05) == Guard(
        line="No interval in use has ended yet, so there is nothing to hold the model against."
    )
    shorten = guard(intervals=60, good=51, interval_shows=60 * 18.0, target=0.05)
    assert (shorten.factor, shorten.most_shows) == (0.5, 9.0)
    assert shorten.line == (
        "51 of 60 in-service intervals ended good, target 95\u202f%: outside its limits of 73–93\u202f%, so intervals are held "
        "to 9 shows (0.5 of the 18 they lasted on average)."
    )
    keep = guard(intervals=52, good=50, interval_shows=100, target=0.05)
    assert (keep.factor, keep.most_shows) == (1.0, None)
    longer = guard(intervals=200, good=199, interval_shows=1000, target=0.05)
    assert (longer.factor, longer.most_shows) == (2.0, None)


def test_the_guard_of_a_type_counts_its_intervals():
    found = guard_of(RULE, records_of([record(intervals=30, good=20, interval_shows=300.0), record(intervals=30, good=31 - 1)]))
    assert (found.intervals, found.good, found.mean_shows) == (60, 50, 5.0)


@pytest.mark.parametrize(
    "one",
    [
        record(),
        record(failures=30.0, since_test=1.0),
        record(failures=1.0, down=True),
        record(tested=False, start_missed=1.0),
        Record(start_missed=0.0, tested=True),
    ],
)
def test_the_reasons_are_two_short_sentences_in_which_no_figure_parts_from_its_sign(one):
    for rule in (RULE, replace(RULE, most_days=20), replace(RULE, most_shows=4), replace(RULE, least_shows=9)):
        why = done(one, rule=rule).why
        assert why.endswith(".") and why.count(". ") == 1 and " %" not in why
        assert all(len(sentence) <= 150 for sentence in why.split(". "))


def test_one_that_never_failed_is_said_so():
    assert done(record(shows=2.0)).why.startswith("This lead has not failed in 2 shows")
