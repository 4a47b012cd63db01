"""Plots, bars and words of a line: they stay inside their drawing, tell the same figures, and read round."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shows.calc import choice_words as words
from shows.calc.level_bar import WIDTH, draw_bar, level_bar
from shows.calc.lines import Sort
from shows.calc.pickups import By, Pickup, Stage
from shows.calc.response_plot import TOLD_HZ, response_plot
from shows.calc.signal_path import Lead, Source, level_at, response_db
from shows.calc.weighing import input_of, lead_of, weigh

COIL = Source(sort=Sort.PICKUP, ohm=6_000, henry=2.4, farad=110e-12, across_ohm=125_000, typical_dbu=-20, peak_dbu=3)
STAGE = Stage(lead=Lead(metres=5, pf_per_m=130), mixer_ohm=1_500, most_dbu=20)
PASSIVE = Pickup(key="p", name="Passive direct box", by=By.PASSIVE, turns=12)
ACTIVE = Pickup(key="a", name="Active direct box", by=By.ACTIVE, on_phantom=True)
PLAIN = Pickup(key="l", name="Plain lead", by=By.LEAD)
MICROPHONE = Pickup(key="m", name="Microphone", by=By.MICROPHONE)


def drawn(*pickups, source=COIL, wide=False):
    return response_plot(source, STAGE, [weigh(source, STAGE, one) for one in pickups], wide=wide)


def points(path):
    return [tuple(map(float, pair.split())) for pair in path[1:].split("L")]


@pytest.mark.parametrize("wide", [False, True])
@pytest.mark.parametrize("source", [COIL, Source(ohm=300), Source(sort=Sort.PIEZO, ohm=0, farad=500e-12)])
def test_every_curve_stays_inside_its_frame(wide, source):
    plot = drawn(PASSIVE, ACTIVE, PLAIN, source=source, wide=wide)
    for curve in plot.curves:
        for x, y in points(curve.path):
            assert plot.left <= x <= plot.right
            assert plot.top <= y <= plot.foot + 0.1


def test_the_table_beside_a_plot_tells_what_the_curve_draws():
    plot = drawn(ACTIVE)
    db = response_db(COIL, lead=lead_of(STAGE, ACTIVE), input_ohm=input_of(ACTIVE, mixer_ohm=1_500), hz=TOLD_HZ)
    assert [float(told.replace("\u2212", "-")) for told in plot.curves[0].told] == pytest.approx(list(db), abs=0.051)
    assert len(plot.heads) == len(plot.curves[0].told)


def test_a_pickups_peak_stands_higher_on_the_drawing_behind_the_active_box():
    passive, active = drawn(PASSIVE, ACTIVE).curves
    assert min(y for _x, y in points(active.path)) < min(y for _x, y in points(passive.path))
    assert (passive.stroke, active.stroke) == (0, 1)


def test_a_microphone_has_no_response_to_draw():
    assert drawn(MICROPHONE) is None


@given(st.floats(-120, 60), st.floats(0, 60), st.floats(-20, 40))
def test_a_level_bar_never_leaves_its_scale_and_says_what_is_over(typical, up, most):
    level = level_at(Source(ohm=1, typical_dbu=typical, peak_dbu=typical + up), gain_db=0, most_dbu=most)
    bar = level_bar(level, most_dbu=most)
    assert 0 <= bar.from_x < bar.to_x <= WIDTH + 3
    assert (bar.over_x is not None) == (typical + up > most)
    assert ("too much" in bar.says) == (typical + up > most)


def test_draws_lie_end_to_end_and_what_is_over_the_budget_shows():
    bar = draw_bar([("1 Fiddle", 4.5), ("2 Bass", 4.5), ("3 Choir", 3)], budget_ma=10)
    assert bar.pieces[1].x == pytest.approx(bar.pieces[0].width, abs=0.2)
    assert bar.over == pytest.approx(bar.to_x - bar.budget_x, abs=0.1)
    assert bar.says == "12 mA asked for of the 10 mA it gives."
    assert draw_bar([], budget_ma=None).says == "0 mA asked for; how much it gives is not on record."


@pytest.mark.parametrize(
    ("db", "told"),
    [
        (8.7e-06, "next to nothing"),
        (0.0051, "0.01\u2009dB"),
        (0.02, "0.02\u2009dB"),
        (0.6, "0.6\u2009dB"),
        (5.96, "6\u2009dB"),
        (17.7, "18\u2009dB"),
    ],
)
def test_a_loss_reads_round(db, told):
    assert words.loss(db) == told
    assert words.loss(-db) == told


def test_a_range_is_told_where_its_ends_read_differently():
    assert words.loss(0.41, 0.58) == "0.4 to 0.6\u2009dB"
    assert words.loss(0.58, 0.41) == "0.4 to 0.6\u2009dB"
    assert words.loss(0.57, 0.58) == "0.6\u2009dB"
    assert words.loss(0.001, 0.02) == "up to 0.02\u2009dB"
    assert words.frequencies(2_510, 2_490) == "2.5\u2009kHz"
    assert words.frequencies(700, 3_000) == "700\u2009Hz to 3\u2009kHz"


@given(st.floats(1, 30_000))
def test_a_frequency_reads_within_six_percent_of_what_it_is(hz):
    told, unit = words.frequency(hz).split("\u2009")
    assert re.fullmatch(r"\d+(\.\d)?", told)
    assert math.isclose(float(told) * (1000 if unit == "kHz" else 1), hz, rel_tol=0.06, abs_tol=0.51)


def test_no_level_reads_minus_nothing():
    assert (words.dbu(-0.3), words.dbu(-21.6), words.dbu(4)) == ("0", "\u221222", "4")
