"""Keep or swap, and every sentence about it."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.calc.cell_forecast import (
    LINE_LIMITS,
    Rule,
    advise,
    behind_phantom,
    capacity_trend,
    chance_of_dying,
    chance_of_losing_one,
    curve_points,
    fresh_chance,
    hard_rules,
    hours_down,
    hours_up,
    life,
    life_from_full,
    need_mah,
    said_chance,
    said_left,
    saved,
    sentence,
    shares,
    what_would_do,
)
from maintenance.calc.cell_words import Advice, CellError, Life, Pool, Seen, Stakes
from maintenance.calc.cells import rated
from tests.calc.cell_lab import BLOCK, KINDS, box, transmitter, unhurried

LR6, FR6, HR6 = KINDS["LR6"], KINDS["FR6"], KINDS["HR6"]


@unhurried
@given(limit=st.floats(0.001, 0.5), lines=st.lists(st.sampled_from(Stakes), max_size=40))
def test_shares_keep_the_show_within_its_limit_and_no_line_above_its_usual(limit, lines):
    found = shares(limit, lines)
    assert len(found) == len(lines)
    assert all(0 < one <= LINE_LIMITS[stakes] * (1 + 1e-9) for one, stakes in zip(found, lines, strict=True))
    counted = [one for one, stakes in zip(found, lines, strict=True) if stakes is not Stakes.REHEARSAL]
    assert chance_of_losing_one(counted) <= limit + 1e-12


def test_shares_of_few_lines_are_the_defaults_and_of_many_the_whole_limit():
    assert shares(1 / 50, [Stakes.CRITICAL, Stakes.CRITICAL]) == pytest.approx((0.005, 0.005))
    assert shares(1 / 50, [Stakes.NORMAL]) == pytest.approx((0.02,))
    assert shares(1 / 50, [Stakes.REHEARSAL] * 9) == (0.2,) * 9
    many = shares(1 / 50, [Stakes.CRITICAL] * 2 + [Stakes.NORMAL] * 8)
    assert chance_of_losing_one(many) == pytest.approx(0.02)
    assert many[2] == pytest.approx(4 * many[0], rel=0.01)
    with pytest.raises(CellError, match="1 show in 50"):
        shares(0, [Stakes.NORMAL])


def test_one_line_that_is_sure_to_die_loses_the_show():
    assert chance_of_losing_one([0.1, 1.0]) == 1
    assert chance_of_losing_one([]) == 0
    assert chance_of_losing_one([0.1, 0.1]) == pytest.approx(0.19)


def test_the_sentence_is_in_hours_left():
    believed = Life(mean_ln_h=3.4, var_ln_h=0.3, hours=10, low_h=3.9, median_h=24.6, high_h=71.8)
    said = sentence(believed, 4.2, "the ceilidh", 0.02, Advice.SWAP)
    assert said.startswith("3 to 71 h left, likely 24; the ceilidh needs 5; 1 in ")
    assert said.endswith(" it dies: swap")


@unhurried
@given(st.floats(0, 1))
def test_a_chance_is_never_said_smaller_than_it_is(chance):
    said = said_chance(chance)
    if said.startswith("less than"):
        assert chance < 1e-4
    elif said.startswith("more than"):
        assert chance > 0.9
    else:
        top, of = re.fullmatch(r"(\d+) in ([\d,]+)", said).groups()
        assert int(top) / int(of.replace(",", "")) >= chance - 1e-6
        assert int(top) / int(of.replace(",", "")) <= chance * 2 + 0.1


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.1, "1 in 10"),
        (0.5, "1 in 2"),
        (0.61, "7 in 10"),
        (0.0061, "1 in 160"),
        (0.02, "1 in 50"),
        (0, "less than 1 in 10,000"),
    ],
)
def test_chances_in_words(chance, words):
    assert said_chance(chance) == words


@unhurried
@given(st.floats(0, 2000))
def test_hours_left_are_said_down_and_hours_needed_up(hours):
    assert hours_down(hours) <= hours + 1e-6
    assert hours_up(hours) >= hours - 1e-6
    assert hours - hours_down(hours) < 10.001


def test_little_left_is_said_plainly():
    spent = Life(mean_ln_h=0, var_ln_h=0.1, hours=5, low_h=0.1, median_h=0.3, high_h=0.8)
    assert said_left(spent) == "less than 1 h left"
    nearly = Life(mean_ln_h=0, var_ln_h=0.1, hours=5, low_h=0.1, median_h=0.3, high_h=2.8)
    assert said_left(nearly) == "0 to 2 h left, likely less than 1"


def test_advice_goes_from_keep_over_a_spare_to_swap_as_hours_are_used():
    found = [advise(life(BLOCK, box(), hours=hours), 5, 0.02) for hours in range(0, 120, 5)]
    assert found[0] is Advice.KEEP and found[-1] is Advice.SWAP
    assert [one for k, one in enumerate(found) if k == 0 or one is not found[k - 1]] == [
        Advice.KEEP,
        Advice.SPARE,
        Advice.SWAP,
    ]


@pytest.mark.parametrize(
    ("kind", "given_", "rule", "out_to", "words"),
    [
        (BLOCK, {"leaked": True}, Rule.LEAKED, Pool.QUARANTINE, "gloves on"),
        (HR6, {"leaked": True}, Rule.LEAKED, Pool.QUARANTINE, "gloves on"),
        (LR6, {"mixed": True}, Rule.MIXED, Pool.RECYCLE, "mixed"),
        (KINDS["R6"], {"transmitter": True}, Rule.ZINC_CARBON, Pool.RECYCLE, "minutes in a transmitter"),
        (BLOCK, {"seen": Seen(volts=7.1, hours=3)}, Rule.FLOOR, Pool.RECYCLE, "7.1 V is below 7.5 V"),
        (LR6, {"seen": Seen(volts=2.5, hours=3), "in_series": 2}, Rule.FLOOR, Pool.RECYCLE, "2.5 V is below 2.6 V"),
        (BLOCK, {"expired": True}, Rule.EXPIRED, Pool.REHEARSAL, "Past its date"),
        (BLOCK, {"was_new": None}, Rule.UNKNOWN, Pool.REHEARSAL, "Nobody knows"),
        (LR6, {"fresh_every_show": True, "hours_used": 2}, Rule.POLICY, Pool.REHEARSAL, "rehearsal pool"),
        (HR6, {"fresh_every_show": True, "hours_used": 2}, Rule.POLICY, Pool.CHARGE, "the night before"),
    ],
)
def test_hard_rules_come_before_the_sums(kind, given_, rule, out_to, words):
    (found,) = hard_rules(kind, **given_)
    assert (found.rule, found.out_to) == (rule, out_to)
    assert words in str(found)
    assert found.advice is (Advice.CHARGE if rule is Rule.POLICY and kind.rechargeable else Advice.SWAP)


def test_a_good_set_breaks_no_rule_and_the_gravest_comes_first():
    assert hard_rules(BLOCK, seen=Seen(volts=8.9, hours=2), hours_used=2) == ()
    assert hard_rules(LR6, fresh_every_show=True, hours_used=0) == ()
    assert hard_rules(KINDS["9V-Li-ion"], seen=Seen(volts=3.0, hours=2)) == ()  # a regulated set's volts say nothing
    all_of_them = hard_rules(BLOCK, leaked=True, mixed=True, expired=True, was_new=None, fresh_every_show=True, hours_used=1)
    assert [one.rule for one in all_of_them] == [Rule.LEAKED, Rule.MIXED, Rule.EXPIRED, Rule.UNKNOWN, Rule.POLICY]
    assert [one.refuse for one in all_of_them] == [True, True, False, False, False]


def test_rehearsals_take_old_and_unknown_sets_but_no_leaking_or_empty_ones():
    assert hard_rules(BLOCK, expired=True, was_new=None, fresh_every_show=True, hours_used=9, rehearsal=True) == ()
    low = hard_rules(BLOCK, seen=Seen(volts=7.0, hours=1), leaked=True, rehearsal=True)
    assert [one.rule for one in low] == [Rule.LEAKED, Rule.FLOOR]


def test_when_a_fresh_set_fails_what_would_do_is_worked_out():
    others = [FR6, HR6, KINDS["AA-Li-ion"], KINDS["R6"], KINDS["pack"]]
    assert what_would_do(LR6, transmitter(), 1, 0.005, others=others) == ()
    found = {one.key: one for one in what_would_do(LR6, transmitter(), 5, 0.005, others=others)}
    assert found["cells"].enough and found["cells"].kind == FR6
    assert found["cells"].chance == pytest.approx(fresh_chance(FR6, transmitter(), 5))
    assert found["cells"].words == "Fit AA lithium (FR6): less than 1 in 10,000 it dies."
    assert found["interval"].chance == pytest.approx(1 - (1 - fresh_chance(LR6, transmitter(), 2.5)) ** 2)
    assert found["interval"].words.endswith("still too often.")
    assert "zinc" not in " ".join(one.words for one in found.values())


def test_what_suffices_comes_first_and_two_things_together_are_tried_last():
    easy = what_would_do(LR6, transmitter(), 3, 0.005, others=[FR6, HR6])
    assert [one.enough for one in easy] == sorted((one.enough for one in easy), reverse=True)
    assert {"interval", "cells", "charge", "maker's figure", "metering"} <= {one.key for one in easy}
    long = what_would_do(LR6, transmitter(), 9, 0.005, others=[FR6, HR6])
    assert long[0].key == "both" and long[0].enough
    assert long[0].words.startswith("Fit AA lithium (FR6), and change it at the interval")


@unhurried
@given(need=st.floats(2, 12), limit=st.floats(0.001, 0.05), after=st.floats(0, 12))
def test_nothing_offered_is_worse_than_a_fresh_set(need, limit, after):
    before = fresh_chance(LR6, transmitter(), need)
    for one in what_would_do(LR6, transmitter(), need, limit, others=[FR6, HR6], interval_after_h=after):
        assert one.chance < before
        assert one.enough == (one.chance <= limit)


def test_behind_phantom_says_what_happens_without_it():
    assert behind_phantom(None) == "no cell: dead if phantom is off"
    assert re.match(
        r"behind phantom; alone the cell lasts about \d+ h, \d+ at worst", behind_phantom(life(BLOCK, box(), hours=60))
    )


def test_cells_saved_against_fresh_every_show():
    found = saved(device_shows=160, sets_used=41, cells_used=82, price_cents=60)
    assert (found.sets, found.cells, found.cents) == (119, 238, 14_280)
    assert found.words == "41 sets were fitted; fresh cells for every show would have been 160 sets: 238 cells saved."
    assert saved(device_shows=3, sets_used=5, cells_used=5).words.endswith("2 more than that.")
    assert saved(device_shows=0, sets_used=0, cells_used=0).cells == 0
    with pytest.raises(ValueError):
        saved(device_shows=-1, sets_used=0, cells_used=0)


def test_a_set_is_retired_when_the_low_bound_no_longer_covers_a_show():
    good = capacity_trend([(0.2, 1950), (1, 1850)], rated_mah=1900, now_years=1.1, need_mah=1300)
    assert not good.retire and 1 < good.years_left < 4
    assert good.low_mah < good.mah < good.high_mah
    worn = capacity_trend([(0.2, 1950), (1, 1800), (2, 1600)], rated_mah=1900, now_years=2.1, need_mah=1500)
    assert worn.retire and worn.low_mah < 1500 < worn.mah
    assert worn.words == "About 1599 mAh now, 1482 at worst; a show takes 1500: retire the set."
    sudden = capacity_trend([(0.2, 1950), (0.5, 1940), (1, 1100)], rated_mah=1900, now_years=1, need_mah=1200)
    assert sudden.retire and "last test gave 1100 mAh" in sudden.words
    untested = capacity_trend([], rated_mah=1400, now_years=3, need_mah=1300)
    assert not untested.retire and "test it before" in untested.words


@unhurried
@given(a=st.floats(800, 2200), b=st.floats(800, 2200), now=st.floats(1, 4))
def test_a_better_test_never_lowers_the_capacity(a, b, now):
    low, high = sorted((a, b))
    worse, better = (capacity_trend([(0.1, 1900), (1, one)], rated_mah=1900, now_years=now) for one in (low, high))
    assert better.low_mah >= worse.low_mah - 1e-9


def test_more_tests_tell_the_capacity_better():
    few, many = (capacity_trend([(k / 10, 1800.0) for k in range(count)], rated_mah=1900, now_years=1) for count in (1, 8))
    assert many.high_mah - many.low_mah < few.high_mah - few.low_mah


def test_impossible_capacities_are_answered_in_words():
    with pytest.raises(CellError, match="above 0"):
        capacity_trend([(1, 0)], rated_mah=1900, now_years=1)
    with pytest.raises(CellError, match="another unit"):
        capacity_trend([(1, 19_000)], rated_mah=1900, now_years=1)


def test_what_a_show_takes_is_what_a_set_of_just_that_capacity_gives():
    need = need_mah(HR6, transmitter(), 6)
    assert 1000 < need < 1900
    assert life(rated(HR6, need), transmitter(0.02), sigma_capacity=0.02, n_cells=1).median_h == pytest.approx(6, rel=0.03)


def test_the_curve_falls_has_a_band_and_holds_the_present_hour():
    read = [Seen(volts=8.2, hours=25, own_load=True)]
    believed = life(BLOCK, box(), hours=25, seen=read)
    points = curve_points(BLOCK, box(), believed, until_h=150)
    assert len(points) == 60 and points[0].hours == 0 and points[-1].hours == 150
    for name in ("volts", "volts_low", "volts_high", "left_h", "left_low_h", "left_high_h"):
        values = [getattr(one, name) for one in points]
        assert values == sorted(values, reverse=True)
    assert all(one.volts_low <= one.volts <= one.volts_high for one in points)
    assert all(one.left_low_h <= one.left_h <= one.left_high_h for one in points)
    (now,) = [one for one in points if one.hours == 25]
    assert now.volts == pytest.approx(8.2, abs=0.15)
    assert (now.left_low_h, now.left_h) == pytest.approx((believed.low_h, believed.median_h))


def test_a_pack_without_a_curve_draws_hours_alone():
    points = curve_points(KINDS["pack"], None, life_from_full(8, hours=2))
    assert all(one.volts is None for one in points)
    assert points[0].left_h > points[-1].left_h


def test_a_transmitters_curve_is_that_of_the_pair():
    points = curve_points(LR6, transmitter(), life(LR6, transmitter(), hours=2))
    assert 2.9 < points[0].volts < 3.2
    assert chance_of_dying(life(LR6, transmitter(), hours=2), 20) > 0.9
