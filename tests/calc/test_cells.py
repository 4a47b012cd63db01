"""What a cell does: capacity, volts, hours to a cut-off, depth from a reading; against the reference's check cases."""

import json
from dataclasses import replace
from math import exp, inf, log, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.calc import cells
from maintenance.calc.cell_words import CellError, Load, System
from tests.calc.cell_lab import BLOCK, FIXTURE, KINDS, PLANS, unhurried

CURVED = [kind for kind in KINDS.values() if kind.curve]
LR6, FR6, HR6 = KINDS["LR6"], KINDS["FR6"], KINDS["HR6"]


@pytest.mark.parametrize("row", FIXTURE["types"], ids=lambda row: row["key"])
def test_each_shipped_type_says_where_its_figures_come_from_and_can_be_reckoned_with(row):
    assert row["source"] and len(row["source"]) <= 300
    kind = KINDS[row["key"]]
    if row["key"] == "pack":
        with pytest.raises(CellError, match="no curve"):
            cells.table_of(kind)
        return
    table = cells.table_of(kind)
    assert table.volts[0] <= kind.fresh_most_v
    assert table.volts[-1] >= kind.end_v * 0.99
    assert kind.floor_v is None or kind.end_v < kind.floor_v < table.volts[0]


def test_shipped_plans_name_gear_of_the_catalogue_whose_cells_are_shipped():
    catalogue = json.loads((cells_fixture().parent / "catalogue.json").read_text())
    types = {row["key"]: row for row in catalogue["types"]}
    assert set(PLANS) <= set(types)
    assert {row["key"] for row in catalogue["types"] if row.get("bays")} <= set(PLANS)
    for key, plan in PLANS.items():
        size = types[key].get("cell_size")
        assert size is None or size in KINDS
        assert plan.get("draw") or plan.get("full_charge_h")
        assert plan["source"]
    assert all(plan.get("fresh_every_show") for plan in PLANS.values() if plan.get("transmitter"))


def cells_fixture():
    from pathlib import Path

    return Path(__file__).resolve().parents[2] / "fixtures" / "cells.json"


# hours by steady current in mA: 6LR61 to 7.0 and 6.0 V, 6F22 to 6.0, lithium to 6.0, NiMH of 200 mAh to 7.0
LOOK_UP = {
    2: (220, 260, 167, 588, 100),
    3: (146, 173, 109, 392, 67),
    5: (87, 104, 63, 234, 40),
    8: (53, 64, 35, 146, 25),
    10: (42, 51, 26, 117, 20),
}


@pytest.mark.parametrize("ma", LOOK_UP)
def test_hours_of_9_volt_blocks_are_those_of_the_look_up(ma):
    stops = (("6LR61", 7.0), ("6LR61", 6.0), ("6F22", 6.0), ("9V-lithium", 6.0), ("9V-NiMH-7", 7.0))
    found = tuple(cells.hours_to(KINDS[key], ma, Load.CURRENT, 1, volts) for key, volts in stops)
    assert found == pytest.approx(LOOK_UP[ma], abs=0.8, rel=0.005)


@pytest.mark.parametrize(("mw", "hours"), [(300, (16.6, 30, 16.3)), (450, (9.4, 20, 10.8)), (620, (5.8, 14.4, 7.8))])
def test_hours_of_two_aa_cells_at_constant_power_are_those_of_the_look_up(mw, hours):
    kinds = (LR6, FR6, cells.rated(HR6, 1950))
    found = tuple(cells.hours_to(kind, mw, Load.POWER, 2, 1.9) for kind in kinds)
    assert found == pytest.approx(hours, rel=0.015)


def test_a_radio_load_on_a_9_volt_block():
    hours = cells.hours_to(BLOCK, 620, Load.RESISTOR, 1, 5.4)
    assert hours == pytest.approx(43.1, abs=0.1)
    assert 33 <= hours <= 50


def test_an_old_block_at_50_milliamperes_gives_what_was_measured():
    hours = cells.hours_to(BLOCK, 50, Load.CURRENT, 1, 6.0, 0.87)
    assert hours * 50 == pytest.approx(350, abs=3)
    assert 290 <= hours * 50 <= 400
    depth = cells.table_of(BLOCK).depth_where(50, 6.0)
    mean = sum(cells.volts(BLOCK, depth * (k + 0.5) / 400, 50) for k in range(400)) / 400
    assert mean == pytest.approx(7.57, abs=0.02)


def test_aa_cells_on_published_loads():
    assert cells.hours_to(LR6, 43, Load.RESISTOR, 1, 0.9) == pytest.approx(88.5, abs=0.1)
    assert cells.hours_to(LR6, 100, Load.CURRENT, 1, 0.9) == pytest.approx(22.1, abs=0.1)


def test_one_aa_cell_at_constant_power_by_system():
    found = [cells.hours_to(kind, 675, Load.POWER, 1, 0.95) for kind in (LR6, FR6, cells.rated(HR6, 2500))]
    assert found == pytest.approx([1.14, 6.22, 4.45], rel=0.01)


def test_two_lithium_cells_give_published_hours_at_the_power_reckoned_from_them():
    assert [cells.hours_to(FR6, mw, Load.POWER, 2, 1.9) for mw in (636, 1140)] == pytest.approx([14.0, 7.5], rel=0.002)


def test_charge_left_at_a_reading():
    depth, spread = cells.depth_from_reading(LR6, 1.30, 25)
    assert 1 - depth == pytest.approx(0.616, abs=0.002)
    assert 0.05 < spread < 0.12
    depth, spread = cells.depth_from_reading(BLOCK, 8.3, 4.5)
    assert (depth, spread) == pytest.approx((0.192, 0.054), abs=0.001)


# one reading says little of flat kinds in the middle: spread of the depth at .1, .3, .5, .7, .9
SPREADS = {
    ("6LR61", 5): (0.04, 0.08, 0.11, 0.07, 0.02),
    ("LR6", 100): (0.04, 0.08, 0.09, 0.06, 0.02),
    ("9V-lithium", 5): (0.12, 0.21, 0.19, 0.07, 0.02),
    ("HR6", 100): (0.05, 0.14, 0.14, 0.08, 0.03),
    ("FR6", 100): (0.06, 0.16, 0.18, 0.13, 0.04),
}


@pytest.mark.parametrize(("key", "ma"), SPREADS)
def test_spread_of_one_reading_is_near_the_reference(key, ma):
    kind = KINDS[key]
    for depth, wanted in zip((0.1, 0.3, 0.5, 0.7, 0.9), SPREADS[key, ma], strict=True):
        found = cells.depth_from_reading(kind, cells.volts(kind, depth, ma), ma)
        assert found[0] == pytest.approx(depth, abs=1e-6)
        assert found[1] == pytest.approx(wanted, rel=0.5, abs=0.02)


def test_age_takes_what_was_published():
    assert cells.aged(BLOCK, 3) == pytest.approx(0.874, abs=0.001)
    assert cells.aged(LR6, 4) == pytest.approx(0.887, abs=0.001)


@pytest.mark.parametrize(("kind", "most"), [(BLOCK, 600), (LR6, 3000)])
def test_capacity_is_never_extrapolated_to_lower_currents(kind, most):
    assert all(cells.capacity_mah(kind, ma) <= most for ma in (0.0, 0.1, 1, 2, 5))
    assert cells.capacity_mah(kind, 0.1) == pytest.approx(kind.capacity[0][1])


@unhurried
@given(kind=st.sampled_from(CURVED), a=st.floats(0.01, 5000), b=st.floats(0.01, 5000))
def test_capacity_never_grows_with_the_current(kind, a, b):
    assert cells.capacity_mah(kind, max(a, b)) <= cells.capacity_mah(kind, min(a, b)) * (1 + 1e-12)


@unhurried
@given(kind=st.sampled_from(CURVED), a=st.floats(0, 1), b=st.floats(0, 1), ma=st.floats(0, 300))
def test_volts_never_rise_as_a_cell_empties(kind, a, b, ma):
    assert cells.volts(kind, max(a, b), ma) <= cells.volts(kind, min(a, b), ma) + 1e-12


@unhurried
@given(
    kind=st.sampled_from(CURVED), load=st.sampled_from(Load), hours_rate=st.floats(3, 300), cut=st.floats(0.4, 0.99),
    n=st.integers(1, 4),
)  # fmt: skip
def test_hours_agree_with_stepping_through_the_discharge(kind, load, hours_rate, cut, n):
    """The sums in closed form and by Gauss against small steps in time, which know nothing of either."""
    ma = kind.capacity[0][1] / hours_rate
    draw = {Load.CURRENT: ma, Load.RESISTOR: 1000 * n * kind.nominal_v / ma, Load.POWER: ma * n * kind.nominal_v}[load]
    stops = cut * n * kind.nominal_v
    found = cells.hours_to(kind, draw, load, n, stops)
    depth, hours, steps = 0.0, 0.0, 4000
    while depth < 1:
        now = cells.current_ma(kind, draw, depth, load, n)
        if now == inf or cells.volts(kind, depth, now, n) < stops:
            break
        hours += cells.capacity_mah(kind, now) / now / steps
        depth += 1 / steps
    assert found == pytest.approx(hours, rel=0.003, abs=2 * kind.capacity[0][1] / ma / steps + 0.011)


@unhurried
@given(kind=st.sampled_from(CURVED), a=st.floats(-40, 40), b=st.floats(-40, 40), ma=st.floats(0.1, 1000))
def test_a_colder_night_never_helps(kind, a, b, ma):
    cold, warm = (cells.cold_factor(kind, celsius, ma) for celsius in sorted((a, b)))
    assert 0 < cold <= warm <= 1


def test_cold_tells_more_at_transmitter_drain():
    light, heavy = (cells.cold_factor(LR6, 0, ma) for ma in (10, 200))
    assert (light, heavy) == pytest.approx((0.75, 0.45))
    assert light > cells.cold_factor(LR6, 0, 80) > heavy
    assert cells.cold_factor(LR6, 0, 10, heavy=True) == heavy


def test_the_weakest_of_more_cells_holds_less():
    shares = [cells.weakest(n, same_batch=True) for n in range(1, 13)]
    assert shares == sorted(shares, reverse=True)
    assert cells.weakest(2, same_batch=True) == pytest.approx(1 - 0.03 * 0.56)
    assert cells.weakest(4, same_batch=False) == pytest.approx(1 - 0.10 * 1.03)


def test_factors_multiply():
    found = cells.factors(LR6, age_years=4, celsius=0, ma=10, n_cells=2, same_batch=False)
    assert found == pytest.approx(exp(-0.12) * 0.75 * (1 - 0.056))
    assert cells.factors(KINDS["R6"], continuous=True) == pytest.approx(0.8)
    assert cells.factors(LR6, continuous=True) == 1


@unhurried
@given(kind=st.sampled_from([k for k in CURVED if not k.regulated]), depth=st.floats(0, 1), ma=st.floats(0.1, 50))
def test_a_higher_reading_never_says_more_used(kind, depth, ma):
    volts = max(cells.volts(kind, depth, ma), 0.01)
    if volts * 1.01 <= kind.fresh_most_v:
        assert cells.depth_from_reading(kind, volts * 1.01, ma)[0] <= cells.depth_from_reading(kind, volts, ma)[0] + 1e-12


def test_a_reading_without_a_load_is_taken_down_for_rest_and_trusted_less():
    loaded, open_, soon = (
        cells.depth_from_reading(LR6, 1.25, 25),
        cells.depth_from_reading(LR6, 1.25, 0, 1, 600),
        cells.depth_from_reading(LR6, 1.25, 0, 1, 2),
    )
    assert open_[0] > soon[0]
    assert open_[1] > loaded[1]
    never_told = cells.depth_from_reading(LR6, 1.25, 0)
    assert never_told[0] >= open_[0]


@pytest.mark.parametrize(
    ("kind", "volts", "words"),
    [
        (BLOCK, 12.0, "12 V cannot come from 9 V alkaline"),
        (BLOCK, 8400.0, "looks like millivolts: 8400 mV is 8.4 V"),
        (LR6, 1480.0, "looks like millivolts"),
        (LR6, -1.5, "turn the probes round"),
        (LR6, nan, "a number of volts"),
        (KINDS["9V-Li-ion"], 8.9, "the reading says nothing"),
        (KINDS["pack"], 3.7, "says nothing"),
    ],
)
def test_impossible_readings_are_answered_in_words(kind, volts, words):
    with pytest.raises(CellError, match=words):
        cells.depth_from_reading(kind, volts, 5)


@pytest.mark.parametrize("draw", [None, 0.0, -3.0, nan, inf])
def test_a_device_without_a_draw_is_answered_in_words(draw):
    with pytest.raises(CellError, match=r"not known: put the maker.s figure"):
        cells.hours_to(BLOCK, draw, Load.CURRENT)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"curve": ()}, "no curve"),
        ({"capacity": ()}, "no capacities"),
        ({"curve": ((0, 9), (0.5, 8))}, "from depth 0 to depth 1"),
        ({"curve": ((0, 8), (1, 9))}, "must fall"),
        ({"capacity": ((5, 500), (5, 400))}, "by rising current"),
        ({"capacity": ((5, 500), (10, 600))}, "must not grow"),
    ],
)
def test_figures_that_cannot_be_are_answered_in_words(change, words):
    with pytest.raises(CellError, match=words):
        cells.capacity_mah(replace(BLOCK, **change), 5)


def test_a_night_no_cell_is_made_for_is_answered_in_words():
    with pytest.raises(CellError, match="between -40 and 60"):
        cells.cold_factor(LR6, -80, 10)


def test_a_set_that_cannot_give_the_power_stops_there_and_not_later():
    assert cells.hours_to(KINDS["6F22"], 5000, Load.POWER, 1, 0.5) == cells.LEAST_H
    early, late = cells.hours_to(LR6, 1500, Load.POWER, 1, 0.0), cells.hours_to(LR6, 1500, Load.POWER, 1, 0.9)
    assert cells.LEAST_H < late <= early < 1


def test_a_labelled_set_is_reckoned_by_its_own_capacity():
    small = cells.rated(HR6, 950)
    assert cells.hours_to(small, 100, Load.CURRENT, 1, 1.0) == pytest.approx(cells.hours_to(HR6, 100, Load.CURRENT, 1, 1.0) / 2)
    with pytest.raises(CellError):
        cells.rated(HR6, 0)


def test_zinc_carbon_is_known_by_its_letters():
    assert {key for key, kind in KINDS.items() if kind.system is System.ZINC_CARBON} == {"6F22", "R6"}
    assert all(kind.regulated for key, kind in KINDS.items() if "Li-ion" in key)
    assert log(cells.capacity_mah(LR6, 1000)) == pytest.approx(log(950))
