"""Whole paths, pickup and lead and box and desk, against programs that solve circuits their own way: scikit-rf and ngspice.

And the reference's own check cases through the functions that advise. Each row names its source.
"""

import math
import shutil
import subprocess

import numpy as np
import pytest
import skrf
from skrf.media import DefinedGammaZ0

from maintenance.calc.phantom_out import SUPPLIES
from shows.calc.phantom import Drawn, feed
from shows.calc.pickups import By, Pickup, Stage
from shows.calc.signal_path import (
    DBV_TO_DBU,
    Lead,
    Sort,
    Source,
    answer,
    dbu_of_volts,
    loudspeaker_dbu,
    response_db,
    volts_of_dbu,
)
from shows.calc.weighing import input_of, mixer_sees_ohm, weigh

HZ = np.geomspace(20, 20_000, 121)
LEAD = Lead(metres=5, pf_per_m=130)
SINGLE = Source(sort=Sort.PICKUP, ohm=6_000, henry=2.4, farad=110e-12, across_ohm=125_000, typical_dbu=-20, peak_dbu=3)
HUMBUCKER = Source(sort=Sort.PICKUP, ohm=8_000, henry=4.5, farad=120e-12, across_ohm=250_000, typical_dbu=-16, peak_dbu=6)
PIEZO = Source(sort=Sort.PIEZO, ohm=0, farad=500e-12, typical_dbu=-26, peak_dbu=0)
KEYS = Source(ohm=300, typical_dbu=0, peak_dbu=12)
SOURCES = {"single": SINGLE, "humbucker": HUMBUCKER, "piezo": PIEZO, "keys": KEYS}
PASSIVE = Pickup(key="p", name="Passive", by=By.PASSIVE, turns=12, input_ohm=140_000, output_ohm=150, pads_db=(20,))
ACTIVE = Pickup(key="a", name="Active", by=By.ACTIVE, input_ohm=1e6, output_ohm=150, on_phantom=True)
DESK_OHM = 3_000.0


# the reference's check cases


def test_case_1_to_3_phantom_at_the_device():
    """IEC 61938 as summarised: 48 V through 6.8 kohm legs at 5 and 10 mA, 12 V through 680 ohm at 15 mA."""
    assert feed(SUPPLIES["P48"], Drawn(draw_ma=5)).volts == pytest.approx(31.0, rel=0.005)
    ten = feed(SUPPLIES["P48"], Drawn(draw_ma=10))
    assert (ten.volts, ten.volts * 10) == (pytest.approx(14.0, rel=0.005), pytest.approx(140, rel=0.005))
    assert feed(SUPPLIES["P12"], Drawn(draw_ma=15)).volts == pytest.approx(6.90, rel=0.005)


def test_case_12_a_long_lead_behind_a_box():
    """200 ohm into 100 m of 100 pF/m: 79 577 Hz, -0.266 dB at 20 kHz (sengpielaudio.com's formula)."""
    box = Pickup(key="b", name="Box", by=By.ACTIVE, output_ohm=200)
    drives = Source(ohm=mixer_sees_ohm(KEYS, box))
    lost = float(response_db(drives, lead=Lead(metres=100, pf_per_m=100), input_ohm=1e12, hz=[20_000])[0])
    assert lost == pytest.approx(-0.266, abs=0.01)
    fallen = response_db(drives, lead=Lead(metres=100, pf_per_m=100), input_ohm=1e12, hz=[79_577])[0]
    assert fallen == pytest.approx(-3.0103, abs=0.01)


def test_case_13_ten_kilohms_into_600_pf():
    """26 526 Hz (derived)."""
    fallen = response_db(Source(ohm=10_000), lead=Lead(metres=6, pf_per_m=100), input_ohm=1e12, hz=[26_526])[0]
    assert fallen == pytest.approx(-3.0103, abs=0.01)


@pytest.mark.parametrize(("farad", "hz"), [(300e-12, 5_931), (2_400e-12, 2_097)])
def test_case_14_a_pickup_peaks_where_it_resonates(farad, hz):
    """2.4 H with 300 and 2400 pF (wildepickups.com): with little damping the peak of the answer stands there."""
    coil = Source(sort=Sort.PICKUP, ohm=500, henry=2.4, farad=farad, across_ohm=1e9)
    peak = answer(coil, lead=Lead(metres=0, pf_per_m=0), input_ohm=1e9).peak
    assert peak.hz == pytest.approx(hz, rel=0.005)


def test_case_15_100_ohm_into_3_kilohms():
    """-0.285 dB (published 0.28: faullab.com)."""
    told = weigh(
        Source(ohm=100),
        Stage(lead=Lead(metres=0, pf_per_m=0), mixer_ohm=3_000, balanced=True),
        Pickup(key="l", name="Lead", by=By.LEAD),
    )
    assert told.answer.loss_db == pytest.approx(0.285, abs=0.01)


def test_case_17_levels():
    """+4 dBu less -10 dBV is 11.78 dB; +4 dBu is 1.2277 V (controlbooth.com wiki)."""
    assert pytest.approx(11.78, abs=0.01) == 4 - (DBV_TO_DBU - 10)
    assert volts_of_dbu(4) == pytest.approx(1.2277, rel=0.005)


def test_case_18_100_watts_into_8_ohms():
    """28.28 V rms, 31.25 dBu (derived)."""
    assert loudspeaker_dbu(watts=100, ohm=8) == pytest.approx(31.25, abs=0.01)
    assert dbu_of_volts(28.28) == pytest.approx(31.25, abs=0.01)


# the same paths solved by scikit-rf: two-ports cascaded through S-parameters at 600 ohm


def cascaded_db(source, load_ohm):
    media = DefinedGammaZ0(frequency=skrf.Frequency.from_f(HZ, unit="Hz"), z0=600)

    def across(one):
        return media.shunt(one ** media.short())

    if source.sort is Sort.PICKUP:
        chain = media.resistor(source.ohm) ** media.inductor(source.henry)
        chain = chain ** media.shunt_capacitor(source.farad) ** across(media.resistor(source.across_ohm))
    elif source.sort is Sort.PIEZO:
        chain = media.capacitor(source.farad)
    else:
        chain = media.resistor(source.ohm)
    chain = chain ** media.shunt_capacitor(LEAD.farad) ** across(media.resistor(load_ohm))
    # with nothing connected behind it, volts out over volts in are 1 / A
    return 20 * np.log10(np.abs(1 / chain.a[:, 0, 0]))


@pytest.mark.parametrize("load_ohm", [50_000.0, 140_000.0, 1e6])
@pytest.mark.parametrize("name", SOURCES)
def test_every_source_into_every_input_as_scikit_rf_cascades_it(name, load_ohm):
    ours = response_db(SOURCES[name], lead=LEAD, input_ohm=load_ohm, hz=HZ)
    assert np.allclose(ours, cascaded_db(SOURCES[name], load_ohm), atol=0.01)


# and by ngspice, the transformer as a transformer


def spice_source(source):
    if source.sort is Sort.PICKUP:
        return [
            f"R1 in a {source.ohm}",
            f"L1 a x {source.henry}",
            f"C1 x 0 {source.farad}",
            f"R2 x 0 {source.across_ohm}",
        ]
    return [f"C1 in x {source.farad}", "R9 x 0 1e15"] if source.sort is Sort.PIEZO else [f"R1 in x {source.ohm}"]


def spice_box(pickup):
    """The box between node x and the mixer's input m."""
    if pickup.by is By.ACTIVE:
        return [f"R3 x 0 {pickup.input_ohm}", "E1 o 0 x 0 1", f"R4 o m {pickup.output_ohm}"]
    # an ideal transformer: volts by the ratio one way, current by it the other; windings and losses as the facts leave them
    n = pickup.turns
    windings = max(0.0, pickup.output_ohm - 10_000 / n**2)
    rated = n**2 * (1_000 + windings)
    loss = 1 / (1 / pickup.input_ohm - 1 / rated) if pickup.input_ohm < rated else 1e15
    return [f"R3 x 0 {loss}", f"E1 s 0 x 0 {1 / n}", "V2 s t 0", f"F1 x 0 V2 {1 / n}", f"R4 t m {windings or 1e-6}"]


def spiced_db(tmp_path, source, pickup):
    lines = [
        "a path", "V1 in 0 DC 0 AC 1", *spice_source(source), f"C5 x 0 {LEAD.farad}", *spice_box(pickup), f"R5 m 0 {DESK_OHM}",
        ".control", "ac dec 400 20 20k", "wrdata out.txt v(m)", "quit 0", ".endc", ".end",
    ]  # fmt: skip
    (tmp_path / "path.cir").write_text("\n".join(lines) + "\n")
    subprocess.run(["ngspice", "-b", "path.cir"], cwd=tmp_path, check=True, capture_output=True, timeout=60)
    hz, real, imag = np.loadtxt(tmp_path / "out.txt", usecols=(0, 1, 2)).T
    return hz, 20 * np.log10(np.hypot(real, imag))


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed: Debian's package of that name brings it")
@pytest.mark.parametrize("pickup", [PASSIVE, ACTIVE], ids=["passive", "active"])
@pytest.mark.parametrize("name", SOURCES)
def test_whole_paths_as_ngspice_solves_them(tmp_path, name, pickup):
    source = SOURCES[name]
    hz, spiced = spiced_db(tmp_path, source, pickup)
    told = weigh(source, Stage(lead=LEAD, mixer_ohm=DESK_OHM), pickup)
    at = told.answer.level_at_hz
    level = float(np.interp(math.log(at), np.log(hz), spiced))
    assert told.level.typical_dbu + told.pad_db - source.typical_dbu == pytest.approx(level, abs=0.01)
    # the shape is the box's input's; what is behind it is flat
    ours = response_db(source, lead=LEAD, input_ohm=input_of(pickup, mixer_ohm=DESK_OHM), hz=hz)
    assert np.allclose(ours - ours[0], spiced - spiced[0], atol=0.01)
    if told.answer.peak:
        assert told.answer.peak.hz == pytest.approx(hz[int(np.argmax(spiced))], rel=0.01)
        assert told.answer.peak.db == pytest.approx(float(spiced.max()) - level, abs=0.02)
