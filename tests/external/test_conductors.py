"""What copper resists, against published tables: ASTM B258 gauges, IEC 60228 class 5, and a worked amplifier manual case."""

import math

import pytest
from scipy import constants

from inventory.calc.conductors import CLASS_5_MOHM_PER_M, COPPER_OHM_MM2_PER_M, awg_diameter_mm, awg_mm2, core_of, warmth
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.wiring import Lead, core_limits
from maintenance.calc.wiring_limits import loss_db
from maintenance.calc.wirings import wiring_read

# ASTM B258 as published wire tables give it: gauge, diameter mm, mm2, ohms a thousand feet at 20 C.
GAUGES = [
    (12, 2.053, 3.309, 1.588),
    (14, 1.628, 2.081, 2.525),
    (16, 1.291, 1.309, 4.016),
    (18, 1.024, 0.823, 6.385),
    (20, 0.812, 0.518, 10.15),
    (22, 0.644, 0.3255, 16.14),
    (24, 0.511, 0.2047, 25.67),
    (26, 0.405, 0.1288, 40.81),
    (28, 0.321, 0.0810, 64.90),
]
FOOT_M = constants.foot
# IEC 60228 class 5, greatest at 20 C in mohm/m as published tables quote it: mm2, plain, tinned.
CLASS_5 = [
    (0.5, 39.0, 40.1),
    (0.75, 26.0, 26.7),
    (1.0, 19.5, 20.0),
    (1.5, 13.3, 13.7),
    (2.5, 7.98, 8.21),
    (4.0, 4.95, 5.09),
    (6.0, 3.30, 3.39),
]
THREE = wiring_read(ends="A: socket: 1 2 3\nB: plug: 1 2 3", nets="A1=B1 screen | A2=B2 hot | A3=B3 cold")


@pytest.mark.parametrize(("awg", "mm", "mm2", "per_1000_ft"), GAUGES)
def test_gauges_against_the_wire_tables(awg, mm, mm2, per_1000_ft):
    assert awg_diameter_mm(awg) == pytest.approx(mm, abs=0.0006)
    assert awg_mm2(awg) == pytest.approx(mm2, rel=1e-3)
    assert core_of(awg=awg).ohm(1000 * FOOT_M) == pytest.approx(per_1000_ft, rel=1e-3)


def test_the_ends_of_the_gauge_are_exact():
    """ASTM B258 fixes 36 AWG at 0.0050 in and 4/0 (-3) at 0.4600 in; every step between has the same ratio."""
    assert awg_diameter_mm(36) == pytest.approx(0.005 * constants.inch * 1000, rel=1e-12)
    assert awg_diameter_mm(-3) == pytest.approx(0.46 * constants.inch * 1000, rel=1e-12)
    assert awg_diameter_mm(20) / awg_diameter_mm(26) == pytest.approx(92 ** (6 / 39))


@pytest.mark.parametrize(("mm2", "plain", "tinned"), CLASS_5)
def test_flexible_cores_against_iec_60228(mm2, plain, tinned):
    assert CLASS_5_MOHM_PER_M[mm2] == (plain, tinned)
    assert core_of(mm2=mm2).mohm_per_m == plain and core_of(mm2=mm2, tinned=True).mohm_per_m == tinned


@pytest.mark.parametrize(("mm2", "guide"), [(0.22, 88.6), (0.25, 78.0), (0.34, 57.4)])
def test_thin_cores_against_the_upper_guide(mm2, guide):
    """VDE 0812 values as remembered, which IEC 60228's ratio at 0.5 mm2 gives too."""
    assert core_of(mm2=mm2).mohm_per_m == pytest.approx(guide, abs=0.06)


@pytest.mark.parametrize(
    ("core", "by_length"),
    [
        ({"awg": 24}, {3: 0.253, 5: 0.421, 6: 0.505, 10: 0.842, 15: 1.26, 20: 1.68, 30: 2.53, 50: 4.21, 100: 8.42}),
        ({"awg": 22}, {3: 0.159, 10: 0.530, 50: 2.65, 100: 5.30}),
        ({"mm2": 0.22}, {3: 0.266, 10: 0.886, 50: 4.43, 100: 8.86}),
        ({"mm2": 2.5}, {3: 0.024, 10: 0.080, 50: 0.399, 100: 0.798}),
    ],
)
def test_lengths_against_the_table_of_the_reference(core, by_length):
    for length, ohm in by_length.items():
        assert core_of(**core).ohm(length) == pytest.approx(ohm, rel=5e-3, abs=6e-4)


def test_copper_against_the_international_annealed_standard():
    """IEC publication 28: 0.017241 ohm mm2/m at 20 C, +0.393 % a kelvin: 1.1965 x at 70 C."""
    assert pytest.approx(0.017241, abs=5e-7) == COPPER_OHM_MM2_PER_M
    assert warmth(70) == pytest.approx(1.1965)


def test_the_worked_limit_of_a_ten_metre_lead():
    """24 AWG, 10 m, 20 C, two contacts: passes to 1.17 ohm, is watched to 1.84, fails above (the reference's example)."""
    limit = core_limits(lead=Lead(wiring=THREE, length_m=10, core_awg=24), limits=BenchLimits(), temperature_c=20).core
    assert (limit.pass_ohm, limit.fail_ohm) == (pytest.approx(1.17, abs=0.005), pytest.approx(1.84, abs=0.005))


def test_the_loss_of_an_amplifier_manuals_worked_case():
    """160 ft of 10 AWG into 8 ohm at 24.5 V, from an amplifier manual: 72 W out, 69 W in the loudspeaker, 3 W lost."""
    loop = 2 * core_of(awg=10).ohm(160 * FOOT_M)
    assert loop == pytest.approx(0.3264, rel=0.03)  # the manual takes 0.00204 ohm a foot out and back
    out = 24.5**2 / (8 + 0.3264)
    heard = out * 8 / (8 + 0.3264)
    assert (out, heard) == (pytest.approx(72.1, abs=0.05), pytest.approx(69.3, abs=0.05))
    assert loss_db(0.3264, 8) == pytest.approx(-10 * math.log10(heard / (24.5**2 / 8)), abs=1e-9)
