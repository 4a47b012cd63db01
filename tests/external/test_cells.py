"""Cells against the outside: application tests and handbook figures, published discharge tests, a public table and a solver.

Where a figure is from memory it says so; those are floors, and a model that met them by being generous would fail the ceilings.
"""

import warnings
from dataclasses import replace
from math import log

import numpy as np
import pytest

from maintenance.calc import cells
from maintenance.calc.cell_words import Load
from tests.calc.cell_lab import KINDS

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # theirs, at import
    import batsoc
    import thevenin

pytestmark = pytest.mark.filterwarnings("ignore")  # of the second opinions, none is ours

# IEC 60086-2 application discharge tests, 20 degrees: kind, load, ohm or mA, end V, least average duration h. Loads, duties and
# durations from memory, editions 2011 to 2021; duty is left out, as alkaline cells at such loads give the same charge rested.
APPLICATIONS = [
    ("6LR61", Load.RESISTOR, 620, 5.4, 33),
    ("6LR61", Load.RESISTOR, 270, 5.4, 12),
    ("6LR61", Load.RESISTOR, 10_000, 7.5, 16 * 24),
    ("LR6", Load.CURRENT, 50, 1.0, 30),
    ("LR6", Load.RESISTOR, 43, 0.9, 60),
    ("LR6", Load.RESISTOR, 24, 1.0, 33),
    ("LR6", Load.CURRENT, 100, 0.9, 15),
    ("LR6", Load.CURRENT, 250, 0.9, 5),
    ("LR6", Load.RESISTOR, 3.9, 0.8, 5),
    ("LR6", Load.RESISTOR, 3.9, 0.9, 230 / 60),
    ("LR03", Load.RESISTOR, 75, 0.9, 44),
    ("LR03", Load.CURRENT, 50, 0.9, 12),
    ("LR03", Load.RESISTOR, 24, 1.0, 14.5),
    ("LR03", Load.RESISTOR, 5.1, 0.8, 2),
    ("CR2032", Load.RESISTOR, 15_000, 2.0, 920),
]


@pytest.mark.parametrize(("key", "load", "draw", "end_v", "least_h"), APPLICATIONS)
def test_application_tests_are_floors(key, load, draw, end_v, least_h):
    """IEC 60086-2, from memory. A good product gives 1.25 to 1.6 times the least; more than twice would be a boast."""
    hours = cells.hours_to(KINDS[key], draw, load, 1, end_v)
    assert least_h <= hours <= 2.05 * least_h


# the capacities of this kind were tuned until these were met: no independent check, yet it must not drift
@pytest.mark.parametrize(("ohm", "end_v", "least_h"), [(620, 5.4, 24), (270, 5.4, 7), (10_000, 7.5, 8 * 24)])
def test_zinc_carbon_blocks_meet_what_they_were_tuned_to(ohm, end_v, least_h):
    """IEC 60086-2, from memory."""
    assert least_h * 0.97 <= cells.hours_to(KINDS["6F22"], ohm, Load.RESISTOR, 1, end_v) <= 1.5 * least_h


@pytest.mark.parametrize(
    ("key", "ma", "end_v", "low_mah", "high_mah"),
    [
        ("6LR61", 100, 0.1, 310, 490),  # five brands, published discharge tests of 9 V blocks
        ("6LR61", 500, 0.1, 170, 330),
        ("LR6", 100, 0.1, 2050, 2400),  # 2130 to 2200 measured in published discharge tests of AA cells, a little about them
        ("LR6", 500, 0.1, 1170, 1840),
        ("LR6", 1000, 0.1, 830, 1410),
    ],
)
def test_published_discharge_tests(key, ma, end_v, low_mah, high_mah):
    """Published discharge tests at constant current of several brands, to nearly 0 V."""
    assert low_mah <= cells.hours_to(KINDS[key], ma, Load.CURRENT, 1, end_v) * ma <= high_mah


def test_a_block_three_years_old_gives_what_was_measured():
    """Published tests of one grade at 50 mA, mid-life and at expiry, about three years apart: 347 and 303 mAh."""
    block = KINDS["6LR61"]
    fresh = cells.hours_to(block, 50, Load.CURRENT, 1, 6.0)
    old = cells.hours_to(block, 50, Load.CURRENT, 1, 6.0, cells.factors(block, age_years=3))
    assert old / fresh == pytest.approx(303 / 347, abs=0.02)
    assert 290 <= old * 50 <= 400


def test_shelf_loss_of_aa_cells():
    """A published shelf figure: 85 % left after four years at 21 degrees."""
    assert cells.aged(KINDS["LR6"], 4) == pytest.approx(0.85, abs=0.05)


@pytest.mark.parametrize(("ma", "hours"), [(3, 450), (15, 80), (30, 32)])
def test_handbook_rows_of_a_zinc_carbon_cell(ma, hours):
    """A battery handbook's table of Leclanche AA cells, end volts not shown there: taken to the end of the curve."""
    assert cells.hours_to(KINDS["R6"], ma, Load.CURRENT, 1, 0.8) == pytest.approx(hours, rel=0.04)


def test_a_maker_s_rating_of_an_aa_cell():
    """A published data sheet: 2200 mAh at 43 ohm to 0.9 V, about 77 h; other brands give more, the floor is 60."""
    assert 60 <= cells.hours_to(KINDS["LR6"], 43, Load.RESISTOR, 1, 0.9) <= 1.25 * 77


def test_run_times_of_one_cell_transmitters_by_system():
    """A maker's published answer on a transmitter with one AA cell: alkaline under 2 h, lithium over 6, NiMH over 4."""
    found = [
        cells.hours_to(kind, 675, Load.POWER, 1, 0.95) for kind in (KINDS["LR6"], KINDS["FR6"], cells.rated(KINDS["HR6"], 2500))
    ]
    assert found[0] < 2
    assert 6.0 < found[1] < 6.6
    assert 4.0 < found[2] < 4.6


def test_cold_at_transmitter_drain():
    """A published manual: on alkaline at 0 degrees less than half the hours of a warm room; at -9, 2 h in place of 8 to 10."""
    assert cells.cold_factor(KINDS["LR6"], 0, 200) < 0.5
    assert 0.18 <= cells.cold_factor(KINDS["LR6"], -9, 200) <= 0.32
    assert cells.cold_factor(KINDS["FR6"], -9, 200) > 0.85


def test_one_aa_cell_and_common_experience():
    """Common practice, no source: a small clock runs weeks to months, a high-power torch an hour or two; fresh about 1.5 V."""
    clock = cells.hours_to(KINDS["LR6"], 1.0, Load.CURRENT, 1, 1.1)
    assert 3 * 7 * 24 <= clock <= 8 * 30 * 24
    torch = cells.hours_to(KINDS["LR6"], 1.5, Load.RESISTOR, 1, 0.8)  # lit straight from the cell: some 0.8 A when new
    assert 1 <= torch <= 2
    assert cells.volts(KINDS["LR6"], 0.02, 20) == pytest.approx(1.5, abs=0.08)


@pytest.mark.parametrize("volts", np.arange(0.85, 1.551, 0.05).round(2))
def test_alkaline_curve_against_a_public_table(volts):
    """`batsoc` 0.9.3: generic alkaline cell at light load, origin of its points not stated; our curve was set up before."""
    ours = 1 - cells.depth_from_reading(KINDS["LR6"], float(volts), 25)[0]
    theirs = batsoc.soc(batsoc.BatteryType.ALKALINE, float(volts))
    assert ours == pytest.approx(theirs, abs=0.05)


def test_coin_curve_against_the_table_it_was_fitted_to():
    """`batsoc` 0.9.3, 0.75 mA. Our points were fitted to it: this guards against slips only."""
    for volts in (2.3, 2.5, 2.7, 2.8, 2.87, 2.9):
        ours = 1 - cells.depth_from_reading(KINDS["CR2032"], volts, 0.75)[0]
        assert ours == pytest.approx(batsoc.soc(batsoc.BatteryType.CR2032, volts), abs=0.09)


def solver_hours(kind, mode, value, end_v, in_series, capacity_mah):
    """Return hours to the end volts by `thevenin`'s solver of an equivalent circuit without memory, on our U and R."""
    table = cells.table_of(kind)

    def open_volts(soc):
        return in_series * np.interp(1 - soc, table.depths, table.volts)

    def ohm(soc, t_cell):
        return in_series * (table.r_fresh + table.r_more * (1 - soc) ** 2)

    model = thevenin.Simulation(
        {
            "num_RC_pairs": 0, "soc0": 1.0, "capacity": capacity_mah / 1000, "ce": 1.0, "gamma": 0.0, "mass": 0.05,
            "isothermal": True, "Cp": 800.0, "T_inf": 293.0, "h_therm": 10.0, "A_therm": 0.01,
            "ocv": open_volts, "M_hyst": lambda soc: 0.0, "R0": ohm,
        }
    )  # fmt: skip
    longest = 3600 * 400.0
    run = thevenin.Experiment(max_step=60.0)
    run.add_step(mode, value, (longest, 60.0), limits=("voltage_V", end_v))
    return float(model.run(run).vars["time_h"][-1])


@pytest.mark.parametrize(
    ("key", "ma", "end_v"), [("6LR61", 5, 6.0), ("6LR61", 10, 7.0), ("LR6", 100, 0.9), ("LR03", 100, 1.0), ("HR6", 200, 1.1)]
)
def test_hours_at_a_steady_current_against_a_solver(key, ma, end_v):
    """`thevenin` 0.2.1; capacity given to it at that current."""
    kind = KINDS[key]
    theirs = solver_hours(kind, "current_A", ma / 1000, end_v, 1, cells.capacity_mah(kind, ma))
    assert cells.hours_to(kind, ma, Load.CURRENT, 1, end_v) == pytest.approx(theirs, rel=0.01, abs=0.02)


@pytest.mark.parametrize(("key", "mw", "end_v"), [("LR6", 300, 1.9), ("LR6", 550, 1.9), ("FR6", 636, 1.9), ("HR6", 450, 2.0)])
def test_hours_at_a_constant_power_against_a_solver(key, mw, end_v):
    """`thevenin` 0.2.1. It knows no capacity that changes with the current: both are given one that does not."""
    kind = replace(KINDS[key], capacity=((1.0, 2000.0),))
    theirs = solver_hours(kind, "power_W", mw / 1000, end_v, 2, 2000)
    assert cells.hours_to(kind, mw, Load.POWER, 2, end_v) == pytest.approx(theirs, rel=0.01, abs=0.02)


def test_an_exponent_fitted_at_high_current_would_promise_twice_what_there_is():
    """Peukert's law through the published 100 and 500 mA points: 6 Ah of an AA cell at 5 mA. What the cap is for."""
    exponent = log(500 / 100) / (log(500 / 100) - log(2165 / 1240))  # I^n T constant, T = Q / I
    naive = 2165 * (100 / 5) ** (1 - 1 / exponent) if exponent > 1 else 0
    assert exponent > 1.3
    assert naive > 1.4 * cells.capacity_mah(KINDS["LR6"], 5)
