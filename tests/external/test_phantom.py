"""Phantom power and direct boxes against published figures, and against node equations solved with numpy.

IEC 61938 figures as summarised in published pages (a microphone maker's notes on IEC 61938 / JEITA RC-8162; the encyclopedia of
the Institute of Professional Sound; a broadcast engineers' introduction to phantom power); the standard itself was not read.
Loading, ratios and levels: handbook and magazine figures as named beside each.
"""

import math

import numpy as np
import pytest
from scipy import optimize

from maintenance.calc import box_gain, phantom_out
from maintenance.calc.box_gain import Transformer
from maintenance.calc.phantom_out import SUPPLIES
from tests.calc.simulated_boxes import Circuit, PassiveBox, PhantomInput

NAMED = ("P48", "P24", "P12")


def device(name, milliamps):
    supply = SUPPLIES[name]
    return phantom_out.volts_at_device(supply_v=supply.volts, feed_ohm=supply.feed_ohm, current_ma=milliamps)


# Supply, tolerance, feed resistor, current: the microphone maker's summary of IEC 61938. Another page gives 3 V on P12:
# the tighter figure is used.
@pytest.mark.parametrize(
    ("name", "volts", "tolerance", "feed", "most"),
    [("P48", 48, 4, 6800, 10), ("P24", 24, 4, 1200, 10), ("P12", 12, 1, 680, 15)],
)
def test_supplies_are_those_of_the_standard(name, volts, tolerance, feed, most):
    supply = SUPPLIES[name]
    assert (supply.volts, supply.tolerance_v, supply.feed_ohm, supply.most_ma) == (volts, tolerance, feed, most)


# Named in IEC 61938:2018 according to an encyclopedia's copy; their feed was found on no page.
@pytest.mark.parametrize("name", ["SP48", "P12L"])
def test_variants_without_published_figures_carry_none(name):
    assert SUPPLIES[name].feed_ohm is None
    assert phantom_out.loaded_range(SUPPLIES[name], 1400) is None


# Ohm's law on the figures above, legs in parallel (worked by hand from them).
@pytest.mark.parametrize(
    ("name", "at_device"),
    [
        ("P48", {0: 48.0, 1: 44.6, 2: 41.2, 3: 37.8, 4: 34.4, 5: 31.0, 6: 27.6, 7: 24.2, 8: 20.8, 9: 17.4, 10: 14.0}),
        ("P24", {0: 24.0, 1: 23.4, 2: 22.8, 3: 22.2, 4: 21.6, 5: 21.0, 6: 20.4, 7: 19.8, 8: 19.2, 9: 18.6, 10: 18.0}),
        ("P12", {0: 12.0, 1: 11.66, 2: 11.32, 3: 10.98, 5: 10.30, 10: 8.60, 15: 6.90}),
    ],
)
def test_volts_at_the_device(name, at_device):
    for milliamps, volts in at_device.items():
        assert device(name, milliamps) == pytest.approx(volts, abs=0.005)


@pytest.mark.parametrize("name", NAMED)
@pytest.mark.parametrize("milliamps", [0.5, 2.0, 5.0, 10.0])
def test_volts_at_the_device_by_node_equations(name, milliamps):
    supply = SUPPLIES[name]
    circuit = Circuit()
    circuit.source("rail", "0", supply.volts)
    for pin in ("two", "three"):
        circuit.resistor("rail", pin, supply.feed_ohm)
        circuit.resistor(pin, "device", 0.001)
    load = device(name, milliamps) / milliamps * 1000
    circuit.resistor("device", "0", load)
    circuit.solve()
    assert circuit.volts("device") == pytest.approx(device(name, milliamps), rel=1e-4)
    assert circuit.current() * 1000 == pytest.approx(milliamps, rel=1e-4)


# The same page's power row for P48, in milliwatts.
@pytest.mark.parametrize(
    ("milliamps", "milliwatts"), [(1, 44.6), (2, 82.4), (3, 113), (4, 138), (5, 155), (6, 166), (8, 166), (9, 157), (10, 140)]
)
def test_power_at_the_device(milliamps, milliwatts):
    assert phantom_out.power_mw(supply_v=48, feed_ohm=6800, current_ma=milliamps) == pytest.approx(milliwatts, abs=0.5)


def test_most_power_is_where_an_optimiser_finds_it():
    found = optimize.minimize_scalar(
        lambda i: -phantom_out.power_mw(supply_v=48, feed_ohm=6800, current_ma=i), bounds=(0, 10), method="bounded"
    )
    assert found.x == pytest.approx(7.06, abs=0.01)
    assert -found.fun == pytest.approx(169.4, abs=0.05)
    assert phantom_out.most_power_mw(supply_v=48, feed_ohm=6800, most_ma=10) == pytest.approx(-found.fun)


def test_the_misprint_of_240_milliwatts_is_not_p48s():
    """A much copied encyclopedia article ties 240 mW to P48. It is P24 at 20 mA, twice what P24 must give."""
    assert phantom_out.most_power_mw(supply_v=48, feed_ohm=6800, most_ma=1e9) == pytest.approx(169.4, abs=0.05)
    assert phantom_out.power_mw(supply_v=24, feed_ohm=1200, current_ma=20) == pytest.approx(240)
    assert phantom_out.most_power_mw(supply_v=24, feed_ohm=1200, most_ma=10) == pytest.approx(180)


# The Institute of Professional Sound's encyclopedia: a short to ground draws less than 15 mA. Nominal 14.12 mA.
def test_short_circuit_currents():
    assert phantom_out.short_current_ma(supply_v=48, feed_ohm=6800) == pytest.approx(14.12, abs=0.005)
    assert phantom_out.short_current_ma(supply_v=48, feed_ohm=6800) < 15
    assert phantom_out.short_current_ma(supply_v=48, feed_ohm=6800, legs=1) == pytest.approx(7.06, abs=0.005)
    low, high = phantom_out.short_range_ma(SUPPLIES["P48"], legs=2)
    assert (low, high) == (pytest.approx(11.76, abs=0.01), pytest.approx(16.99, abs=0.01))
    assert PhantomInput(converter=0.001).short("two", burden=0.01) == pytest.approx(7.06, abs=0.01)
    assert PhantomInput(converter=0.001).short("two", "three", burden=0.01) == pytest.approx(14.12, abs=0.01)


# Load tests worked from the same figures: 1.4 kohm draws the full 10 mA; 3.3 kohm 7.16 mA.
@pytest.mark.parametrize(("load", "volts", "milliamps"), [(1400, 14.0, 10.0), (3300, 23.6, 7.16)])
def test_load_tests(load, volts, milliamps):
    loaded = phantom_out.volts_loaded(supply_v=48, feed_ohm=6800, load_ohm=load)
    assert loaded == pytest.approx(volts, rel=0.005)
    assert loaded / load * 1000 == pytest.approx(milliamps, rel=0.005)
    assert PhantomInput(converter=0.001, pin_one=0.001).loaded(load) == pytest.approx(loaded, rel=1e-3)
    low, high = phantom_out.loaded_range(SUPPLIES["P48"], load)
    assert low < loaded < high


# Over the full tolerances of supply and feed, at the most current.
@pytest.mark.parametrize(
    ("name", "milliamps", "low", "high"), [("P48", 10, 6.6, 21.4), ("P24", 10, 13.4, 22.6), ("P12", 15, 5.4, 8.4)]
)
def test_range_at_the_device_over_all_tolerances(name, milliamps, low, high):
    assert phantom_out.device_range(SUPPLIES[name], milliamps) == (
        pytest.approx(low, abs=0.05),
        pytest.approx(high, abs=0.05),
    )


@pytest.mark.parametrize("name", NAMED)
def test_tolerance_ranges_hold_every_supply_drawn_at_random(name):
    """A second opinion by drawing supplies at random: none lies outside, and the corners are reached."""
    supply, dice = SUPPLIES[name], np.random.default_rng(61938)
    volts = dice.uniform(supply.volts - supply.tolerance_v, supply.volts + supply.tolerance_v, 200_000)
    feeds = dice.uniform(supply.feed_ohm * 0.9, supply.feed_ohm * 1.1, 200_000)
    drawn = volts * 1400 / (1400 + feeds / 2)
    low, high = phantom_out.loaded_range(supply, 1400)
    assert low <= drawn.min() and drawn.max() <= high
    assert drawn.min() == pytest.approx(low, rel=0.02) and drawn.max() == pytest.approx(high, rel=0.02)


# 0.4 % match of the two feed resistors (the maker's summary; a newsgroup FAQ says the same), at 10 mA.
def test_offset_between_the_legs():
    assert phantom_out.offset_v(feed_ohm=6800, mismatch_share=0.004, current_ma=10) == pytest.approx(0.136)


# Published check: 47.6 V open, 34.0 V loaded.
def test_current_from_the_sag():
    assert phantom_out.current_drawn_ma(open_v=47.6, loaded_v=34.0, feed_ohm=6800) == pytest.approx(4.0)


# Loading: 100 ohm into 3 kohm is published as 0.28 dB (a laboratory's page on cable response); 10 kohm into 1.5 kohm is a
# guitar straight into a microphone input; the rest is the same formula.
@pytest.mark.parametrize(
    ("source", "load", "decibels"),
    [
        (150, 1500, -0.83),
        (100, 3000, -0.285),
        (200, 1000, -1.58),
        (600, 10_000, -0.51),
        (1e6, 1e6, -6.02),
        (10_000, 10_000, -6.02),
        (10_000, 1500, -17.7),
        (10_000, 140_000, -0.60),
        (10_000, 1e6, -0.086),
        (1e6, 10e6, -0.83),
    ],
)
def test_loading(source, load, decibels):
    assert box_gain.loading_db(source_ohm=source, load_ohm=load) == pytest.approx(
        decibels, abs=0.03 if decibels < -17 else 0.01
    )


# Turns ratios of 10:1 to 20:1 are what an encyclopedia article on direct boxes and a musicians' magazine name.
@pytest.mark.parametrize(("ratio", "decibels"), [(10, -20.0), (11.53, -21.24), (12, -21.58), (20, -26.02)])
def test_ratio_loss(ratio, decibels):
    nothing_lost = box_gain.gain_db(Transformer(turns_ratio=ratio), source_ohm=1e-9, load_ohm=1500)
    assert nothing_lost == pytest.approx(decibels, abs=0.01)


@pytest.mark.parametrize(
    ("primary", "secondary", "load", "decibels"),
    [(0, 0, 1000, -22.17), (0, 0, 1500, -21.98), (0, 0, 3000, -21.78), (2500, 20, 1000, -22.5), (2500, 20, 1500, -22.2)],
)
def test_twelve_to_one_from_an_instrument(primary, secondary, load, decibels):
    box = Transformer(turns_ratio=12, primary_ohm=primary, secondary_ohm=secondary)
    assert box_gain.gain_db(box, source_ohm=10_000, load_ohm=load) == pytest.approx(decibels, abs=0.05 if primary else 0.01)
    nodes = PassiveBox(ratio=12, primary=primary, secondary=secondary).gain(source=10_000, load=load)
    assert box_gain.gain_db(box, source_ohm=10_000, load_ohm=load) == pytest.approx(nodes, abs=0.005)


# Impedance reflected goes with the square of the ratio; a 133:1 impedance ratio is 11.53:1 in turns.
@pytest.mark.parametrize(
    ("ratio", "load", "reflected"),
    [(12, 1000, 144e3), (12, 1500, 216e3), (10, 1000, 100e3), (10, 1500, 150e3), (11.53, 1000, 133e3)],
)
def test_reflected_impedance(ratio, load, reflected):
    assert box_gain.reflected_ohm(Transformer(turns_ratio=ratio), load_ohm=load) == pytest.approx(reflected, rel=0.001)


def test_output_impedance_from_an_instrument():
    assert box_gain.output_ohm(Transformer(turns_ratio=12), source_ohm=10_000) == pytest.approx(69.4, abs=0.05)


def test_gain_by_abcd_matrices():
    """A third way: the chain of two-ports, as filter books do it."""
    for ratio, primary, secondary, source, load in (
        (12, 2500, 20, 10_000, 1500),
        (1, 60, 60, 100, 10_000),
        (20, 900, 90, 50, 3000),
    ):
        chain = (
            np.array([[1, source + primary], [0, 1]])
            @ np.array([[ratio, 0], [0, 1 / ratio]])
            @ np.array([[1, secondary], [0, 1]])
            @ np.array([[1, 0], [1 / load, 1]])
        )
        box = Transformer(turns_ratio=ratio, primary_ohm=primary, secondary_ohm=secondary)
        assert box_gain.gain_db(box, source_ohm=source, load_ohm=load) == pytest.approx(20 * math.log10(1 / chain[0, 0]))


# One microphone maker's sheet guarantees its data down to 30 V and 2 mA on P48: the floor where a draw is not known.
def test_least_phantom_is_no_higher_than_a_good_supply_gives():
    assert box_gain.least_phantom_v(None) == 30
    for milliamps in (1, 2, 4.5, 8, 10):
        low, _high = phantom_out.device_range(SUPPLIES["P48"], milliamps)
        assert box_gain.least_phantom_v(milliamps) == pytest.approx(low, abs=0.5)
        assert box_gain.least_phantom_v(milliamps) <= low
