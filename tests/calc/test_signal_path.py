"""What a lead and an input do to a source: properties that hold whatever the figures, and bad figures' sentences."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shows.calc.signal_path import (
    Lead,
    PathError,
    Sort,
    Source,
    answer,
    common_mode_db,
    dbu_of_volts,
    grid_hz,
    level_at,
    response_db,
    transfer,
    volts_of_dbu,
)

COIL = Source(sort=Sort.PICKUP, ohm=6_000, henry=2.4, farad=110e-12, across_ohm=125_000, typical_dbu=-20, peak_dbu=3)
OHMS = st.floats(1, 1e6)
NONE = Lead(metres=0, pf_per_m=0)


def chain_oracle(source: Source, lead: Lead, load: float, hz: float) -> float:
    """Solve the same circuit by multiplying chain matrices, an independent way, and return dB."""
    w = 2 * math.pi * hz

    def series(z: complex) -> np.ndarray:
        return np.array([[1, z], [0, 1]])

    def shunt(y: complex) -> np.ndarray:
        return np.array([[1, 0], [y, 1]])

    if source.sort is Sort.PICKUP:
        chain = series(source.ohm + 1j * w * source.henry) @ shunt(1j * w * source.farad) @ shunt(1 / source.across_ohm)
    elif source.sort is Sort.PIEZO:
        chain = series(1 / (1j * w * source.farad)) @ series(source.ohm)
    else:
        chain = series(source.ohm)
    chain = chain @ shunt(1j * w * lead.farad) @ shunt(1 / load)
    return 20 * math.log10(abs(1 / chain[0, 0]))


@given(OHMS, OHMS, st.floats(0, 300), st.floats(20, 20_000))
def test_every_sort_is_what_chain_matrices_say(ohm, load, metres, hz):
    lead = Lead(metres=metres, pf_per_m=120)
    sources = [
        Source(ohm=ohm),
        Source(sort=Sort.PICKUP, ohm=ohm, henry=3.0, farad=1e-10, across_ohm=200_000),
        Source(sort=Sort.PIEZO, ohm=ohm, farad=5e-10),
    ]
    for source in sources:
        told = float(response_db(source, lead=lead, input_ohm=load, hz=[hz])[0])
        assert told == pytest.approx(chain_oracle(source, lead, load, hz), abs=1e-6)


@given(OHMS, OHMS, OHMS)
def test_a_higher_input_never_loses_more(ohm, load, other):
    low, high = sorted((load, other))
    assert (
        answer(Source(ohm=ohm), lead=NONE, input_ohm=high).loss_db <= answer(Source(ohm=ohm), lead=NONE, input_ohm=low).loss_db
    )


@given(st.floats(1e4, 1e7), st.floats(0, 30), st.floats(0, 30))
def test_a_longer_lead_never_raises_a_pickups_resonance(load, metres, more):
    short = answer(COIL, lead=Lead(metres=metres, pf_per_m=100), input_ohm=load).peak
    long = answer(COIL, lead=Lead(metres=metres + more, pf_per_m=100), input_ohm=load).peak
    if short and long and min(short.db, long.db) > 1:  # a bump of less has no place to speak of
        assert long.hz <= short.hz * 1.001


def test_a_passive_box_flattens_a_pickup_and_an_active_one_leaves_its_peak():
    lead = Lead(metres=5, pf_per_m=100)
    passive, active = answer(COIL, lead=lead, input_ohm=140_000), answer(COIL, lead=lead, input_ohm=1_000_000)
    assert passive.peak and active.peak
    assert active.peak.db - passive.peak.db > 2
    assert passive.loss_db > active.loss_db
    assert active.peak.hz == pytest.approx(4_000, rel=0.15)


def test_a_piezo_loses_its_bass_into_a_low_input():
    piezo = Source(sort=Sort.PIEZO, ohm=0, farad=500e-12)
    low, high = answer(piezo, lead=NONE, input_ohm=50_000), answer(piezo, lead=NONE, input_ohm=10_000_000)
    assert low.bass_hz is not None and low.bass_hz > 300
    assert high.bass_hz is not None and high.bass_hz < 40


def test_a_resistive_source_falls_at_its_corner():
    told = answer(Source(ohm=125_000), lead=Lead(metres=6, pf_per_m=130), input_ohm=1e9)
    assert told.corner_hz == pytest.approx(1 / (2 * math.pi * 125_000 * 780e-12), rel=0.25)
    assert answer(Source(ohm=150), lead=Lead(metres=30, pf_per_m=100), input_ohm=1_500).corner_hz is None


@given(st.floats(-80, 40))
def test_dbu_goes_there_and_back(dbu):
    assert dbu_of_volts(volts_of_dbu(dbu)) == pytest.approx(dbu, abs=1e-9)


def test_a_pad_is_needed_where_the_peak_clips_and_harmful_where_little_is_left():
    loud = Source(ohm=100, typical_dbu=4, peak_dbu=24)
    assert level_at(loud, gain_db=0, most_dbu=21).pad == "needed"
    assert level_at(loud, gain_db=-21.6, most_dbu=21).pad == ""
    quiet = Source(ohm=200, typical_dbu=-55, peak_dbu=-30)
    assert level_at(quiet, gain_db=0, most_dbu=21).pad == "harmful"
    assert level_at(loud, gain_db=0, most_dbu=None).headroom_db is None


def test_even_legs_reject_everything_and_uneven_ones_less_the_more_they_differ():
    assert common_mode_db(common_ohm=1e4, source_ohm=100, uneven_ohm=0) == math.inf
    some = [common_mode_db(common_ohm=1e4, source_ohm=100, uneven_ohm=d) for d in (1, 10, 100)]
    assert some == sorted(some, reverse=True)


def test_the_transfer_of_nothing_in_the_way_is_one():
    assert np.allclose(np.abs(transfer(Source(ohm=0), lead=NONE, input_ohm=math.inf, hz=grid_hz())), 1)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: Source(ohm=-1), "cannot be"),
        (lambda: Source(ohm=math.nan), "cannot be"),
        (lambda: Source(sort=Sort.PICKUP, ohm=6_000), "A pickup has an inductance"),
        (lambda: Source(sort=Sort.PIEZO, ohm=0), "A piezo is a capacitor"),
        (lambda: Source(ohm=1, typical_dbu=4, peak_dbu=0), "A peak is not below"),
        (lambda: Lead(metres=-3, pf_per_m=100), "A length of -3 m cannot be."),
        (lambda: answer(Source(ohm=1), lead=NONE, input_ohm=0), "An input's impedance is more than nothing."),
    ],
)
def test_what_cannot_be_gets_a_sentence(make, said):
    with pytest.raises(PathError, match=said.replace("(", r"\(")):
        make()
