"""What copper resists: gauges, square millimetres, length and warmth."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.calc.conductors import (
    CLASS_5_MOHM_PER_M,
    ConductorError,
    awg_mm2,
    core_of,
    ideal_mohm_per_m,
    warmth,
)


def test_a_gauge_is_nominal_and_square_millimetres_are_a_maximum():
    assert not core_of(awg=24).is_maximum
    assert core_of(mm2=0.22).is_maximum and core_of(mm2=2.5).is_maximum


def test_square_millimetres_win_over_a_gauge_and_neither_is_nothing():
    assert core_of(mm2=2.5, awg=24).mohm_per_m == 7.98
    assert core_of() is None


def test_no_flexible_core_beats_solid_copper():
    for mm2, (plain, tinned) in CLASS_5_MOHM_PER_M.items():
        assert ideal_mohm_per_m(mm2) < plain < tinned


@given(st.floats(0.01, 400), st.booleans())
def test_more_copper_never_resists_more_than_a_guide_allows(mm2, tinned):
    core = core_of(mm2=mm2, tinned=tinned)
    assert ideal_mohm_per_m(mm2) < core.mohm_per_m < 1.3 * ideal_mohm_per_m(mm2)


@given(st.integers(-3, 39))
def test_every_gauge_is_thinner_than_the_one_before(awg):
    assert awg_mm2(awg + 1) < awg_mm2(awg)


@given(st.floats(0.1, 500), st.floats(-40, 90))
def test_twice_the_length_resists_twice_and_warm_copper_more(length, at):
    core = core_of(awg=24)
    assert core.ohm(2 * length, at) == pytest.approx(2 * core.ohm(length, at))
    assert (core.ohm(length, at) > core.ohm(length)) == (at > 20) or at == pytest.approx(20)


@pytest.mark.parametrize("length", [0, -1, float("nan"), float("inf")])
def test_no_length_is_refused_with_a_sentence(length):
    with pytest.raises(ConductorError, match="more than nothing"):
        core_of(awg=24).ohm(length)


@pytest.mark.parametrize("at", [-41, 91, float("nan")])
def test_no_bench_is_that_cold_or_hot(at):
    with pytest.raises(ConductorError, match="°C"):
        warmth(at)


@pytest.mark.parametrize("wrong", [{"mm2": 0}, {"mm2": -1}, {"mm2": 401}, {"mm2": float("nan")}, {"awg": 41}, {"awg": -4}])
def test_cores_nobody_makes_are_refused(wrong):
    with pytest.raises(ConductorError, match="give one from"):
        core_of(**wrong)
