"""Loading, corners, resonance, levels and rejection against published rows and handbook formulas. Each row names its source."""

import pytest

from maintenance.calc.box_gain import Transformer, gain_db, reflected_ohm
from shows.calc.signal_path import (
    DBV_TO_DBU,
    Lead,
    Source,
    answer,
    common_mode_db,
    corner_hz,
    dbu_of_volts,
    decibels,
    loudspeaker_dbu,
    loudspeaker_lead,
    metres_to_loss,
    resonance_hz,
    response_db,
    volts_of_dbu,
)


@pytest.mark.parametrize(
    ("source", "load", "db"),
    [
        (100, 3_000, -0.28),  # published: faullab.com, "cable frequency response", 0.28 dB
        (150, 1_500, -0.83),  # voltage divider, worked by hand
        (200, 1_000, -1.58),
        (600, 10_000, -0.51),
        (1e6, 1e6, -6.02),
        (10_000, 1_500, -17.7),
        (10_000, 140_000, -0.60),
        (10_000, 1e6, -0.086),
        (1e6, 1e7, -0.83),
    ],
)
def test_loading(source, load, db):
    told = answer(Source(ohm=source), lead=Lead(metres=0, pf_per_m=0), input_ohm=load)
    assert -told.loss_db == pytest.approx(db, abs=0.05)


@pytest.mark.parametrize(
    ("ohm", "metres", "pf_per_m", "hz"),
    [
        (200, 100, 100, 79_600),  # formula of sengpielaudio.com's cable calculator
        (10_000, 3, 100, 53_100),
        (10_000, 20 * 0.3048, 30 / 0.3048, 26_500),
        (125_000, 6, 130, 1_630),
        (50_000, 10 * 0.3048, 30 / 0.3048, 10_600),  # datalinkplus.com BASICTR: "half the highs" at 10 ft
    ],
)
def test_corner(ohm, metres, pf_per_m, hz):
    assert corner_hz(ohm, metres * pf_per_m * 1e-12) == pytest.approx(hz, rel=0.005)


def test_lengths_a_microphone_drives():
    """200 ohm, 100 pF/m: 202 m for 1 dB and 398 m for 3 dB at 20 kHz; "several hundred metres" is common practice."""
    assert metres_to_loss(source_ohm=200, pf_per_m=100, loss_db=1) == pytest.approx(202, abs=1)
    assert metres_to_loss(source_ohm=200, pf_per_m=100, loss_db=3) == pytest.approx(397, abs=2)


@pytest.mark.parametrize(("metres", "db"), [(30, -0.014), (60, -0.055), (300, -1.21)])
def test_balanced_runs_at_20_khz(metres, db):
    lead = Lead(metres=metres, pf_per_m=100)
    assert float(response_db(Source(ohm=150), lead=lead, input_ohm=1e9, hz=[20_000])[0]) == pytest.approx(db, abs=0.01)


@pytest.mark.parametrize(("farad", "hz"), [(300e-12, 5_930), (2_400e-12, 2_100)])
def test_a_pickups_resonance(farad, hz):
    """wildepickups.com: 2.4 H with a short lead about 6 kHz, with a coiled one of 2,400 pF a little above 2 kHz."""
    assert resonance_hz(2.4, farad) == pytest.approx(hz, rel=0.005)


@pytest.mark.parametrize(
    ("turns", "load", "seen"),
    [(12, 1_000, 144_000), (12, 1_500, 216_000), (10, 1_000, 100_000), (133**0.5, 1_000, 133_000)],
)
def test_what_a_transformer_shows_the_source(turns, load, seen):
    """Impedance goes by the square of the turns (emusician.com "going direct": 133 to 1 in impedance)."""
    assert reflected_ohm(Transformer(turns_ratio=turns), load_ohm=load) == pytest.approx(seen, rel=1e-9)


@pytest.mark.parametrize(("turns", "db"), [(10, -20.0), (11.53, -21.24), (12, -21.58), (20, -26.02)])
def test_ratio_loss(turns, db):
    assert gain_db(Transformer(turns_ratio=turns), source_ohm=0, load_ohm=1e12) == pytest.approx(db, abs=0.01)


@pytest.mark.parametrize(
    ("load", "primary", "secondary", "db"),
    [(1_000, 0, 0, -22.17), (1_500, 0, 0, -21.98), (3_000, 0, 0, -21.78), (1_000, 2_500, 20, -22.5), (1_500, 2_500, 20, -22.2)],
)
def test_a_whole_passive_box(load, primary, secondary, db):
    """12 to 1 from 10 kohm; the windings' resistances are from memory."""
    box = Transformer(turns_ratio=12, primary_ohm=primary, secondary_ohm=secondary)
    assert gain_db(box, source_ohm=10_000, load_ohm=load) == pytest.approx(db, abs=0.06)


def test_levels():
    """IEC 60268 reference levels as published: controlbooth.com wiki; ratio of -10 dBV to +4 dBu is 11.78 dB, not 12 or 14."""
    assert volts_of_dbu(0) == pytest.approx(0.7746, abs=1e-4)
    assert pytest.approx(2.218, abs=1e-3) == DBV_TO_DBU
    assert volts_of_dbu(4) == pytest.approx(1.2277, abs=1e-3)
    assert 4 - dbu_of_volts(0.3162) == pytest.approx(11.78, abs=0.01)


@pytest.mark.parametrize(
    ("watts", "ohm", "dbu"), [(20, 8, 24.26), (50, 8, 28.24), (100, 4, 28.24), (100, 8, 31.25), (500, 8, 38.24)]
)
def test_a_loudspeaker_tap(watts, ohm, dbu):
    assert loudspeaker_dbu(watts=watts, ohm=ohm) == pytest.approx(dbu, abs=0.01)
    assert loudspeaker_dbu(watts=watts, ohm=ohm) - 40 + decibels(1 / 12) == pytest.approx(dbu - 61.58, abs=0.01)


@pytest.mark.parametrize(("common", "db"), [(10_000, 60), (50_000, 74), (50e6, 134)])
def test_rejection_with_ten_ohms_of_unevenness(common, db):
    """Whitlock's model (sound-au.com, balanced-2); an oxidised contact can add 10 ohm (Handbook for Sound Engineers)."""
    assert common_mode_db(common_ohm=common, source_ohm=0, uneven_ohm=10) == pytest.approx(db, abs=0.1)


def test_a_loudspeaker_lead():
    """20 m of 2.5 mm2 class 5 (IEC 60228, 7.98 mohm/m): 0.319 ohm of loop; DF 25 is a stored guide's (doctorproaudio.com)."""
    loop = 2 * 20 * 7.98e-3
    loss, damping = loudspeaker_lead(loudspeaker_ohm=8, loop_ohm=loop)
    assert (loss, damping) == (pytest.approx(-0.34, abs=0.005), pytest.approx(25, abs=0.1))
    assert loudspeaker_lead(loudspeaker_ohm=4, loop_ohm=loop)[0] == pytest.approx(-0.67, abs=0.005)
