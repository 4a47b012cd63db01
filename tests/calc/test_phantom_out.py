"""Phantom outputs: the arithmetic, and what a loaded test names."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.calc import phantom_out
from maintenance.calc.bench import Capability, Procedure, ReadingError, StepReading, Verdict
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.phantom_out import SUPPLIES
from maintenance.calc.procedures import judge_steps, steps_for
from tests.calc.simulated_boxes import PhantomInput

LIMITS = BenchLimits()
ONE = {"inputs": 1}
NAMED = [s for s in SUPPLIES.values() if s.feed_ohm is not None]


def judged(answers, facts=ONE, limits=LIMITS):
    readings = [StepReading(step=key, value=value) for key, value in answers.items()]
    return judge_steps(procedure=Procedure.PHANTOM, facts=facts, readings=readings, limits=limits, golden={})


def names(judgement):
    return {finding.name for finding in judgement.findings}


@given(st.sampled_from(NAMED), st.floats(0, 10), st.floats(0.01, 5))
def test_the_more_a_device_draws_the_less_is_left(supply, current, more):
    less = phantom_out.volts_at_device(supply_v=supply.volts, feed_ohm=supply.feed_ohm, current_ma=current + more)
    assert less < phantom_out.volts_at_device(supply_v=supply.volts, feed_ohm=supply.feed_ohm, current_ma=current)


@given(st.sampled_from(NAMED), st.floats(100, 1e5), st.floats(1.001, 10))
def test_a_lighter_load_leaves_more_volts_and_never_more_than_the_supply(supply, load, times):
    heavy = phantom_out.volts_loaded(supply_v=supply.volts, feed_ohm=supply.feed_ohm, load_ohm=load)
    light = phantom_out.volts_loaded(supply_v=supply.volts, feed_ohm=supply.feed_ohm, load_ohm=load * times)
    assert heavy < light < supply.volts


@given(st.floats(10, 60), st.floats(100, 50_000), st.sampled_from([1400.0, 3300.0]))
def test_the_feed_is_estimated_back_from_the_sag(volts, feed, load):
    loaded = phantom_out.volts_loaded(supply_v=volts, feed_ohm=feed, load_ohm=load)
    assert phantom_out.feed_estimate_ohm(open_v=volts, loaded_v=loaded, load_ohm=load) == pytest.approx(feed)


def test_a_feed_that_leaves_nothing_is_estimated_as_endless():
    assert phantom_out.feed_estimate_ohm(open_v=48, loaded_v=0, load_ohm=1400) == math.inf


@given(st.floats(44.1, 51.9), st.floats(6130, 7470))
def test_every_supply_within_its_tolerances_passes(volts, feed):
    judgement = judged(PhantomInput(volts=volts, converter=0.01, feed_two=feed, feed_three=feed).answers())
    assert judgement.verdict == Verdict.PASS, judgement.findings
    assert judgement.not_measured == ()
    assert all(figure.within for figure in judgement.figures)


@pytest.mark.parametrize(
    ("fault", "name", "verdict"),
    [
        ({"feed_two": 47_000, "feed_three": 47_000}, "collapses", Verdict.FAIL),
        ({"converter": 3_000}, "collapses", Verdict.FAIL),
        ({"most_ma": 2}, "collapses", Verdict.FAIL),
        ({"pin_one": 3_000}, "collapses", Verdict.FAIL),
        ({"volts": 0}, "no phantom", Verdict.FAIL),
        ({"pin_one": 1e12}, "no phantom", Verdict.FAIL),
        ({"volts": 30}, "phantom low", Verdict.FAIL),
        ({"volts": 56}, "phantom high", Verdict.FAIL),
        ({"feed_two": 1e12}, "one leg without phantom", Verdict.FAIL),
        ({"feed_three": 1e12}, "one leg without phantom", Verdict.FAIL),
        ({"leak_two": 1}, "one leg without phantom", Verdict.FAIL),
        ({"leak_two": 100_000}, "legs differ", Verdict.FAIL),
        ({"feed_two": 6_900}, "legs differ", Verdict.WATCH),
        ({"feed_two": 8_200}, "legs differ", Verdict.FAIL),
        ({"feed_two": 4_700, "feed_three": 4_700}, "feed too small", Verdict.WATCH),
    ],
)
def test_every_single_fault_of_a_feed_is_named(fault, name, verdict):
    judgement = judged(PhantomInput(**fault).answers())
    assert name in names(judgement)
    assert judgement.verdict == verdict
    assert all(finding.effect and finding.repair for finding in judgement.findings)


def test_full_volts_that_give_way_are_said_to_look_fine():
    [finding] = [
        f for f in judged(PhantomInput(feed_two=47_000, feed_three=47_000).answers()).findings if f.name == "collapses"
    ]
    assert finding.title == "Idle looks fine but it collapses under load"
    seen = re.search(r"had ([0-9.]+)\u2009kΩ instead of 6\.8\u2009kΩ", finding.text)
    assert float(seen[1]) == pytest.approx(47, rel=0.01)


def test_a_weak_converter_is_told_from_wrong_resistors():
    weak = PhantomInput(converter=0.01, most_ma=8).answers()
    [finding] = [f for f in judged(weak).findings if f.name == "collapses"]
    assert "converter" in finding.repair


def test_open_volts_alone_prove_nothing():
    judgement = judged({"open-2": 48.0, "open-3": 48.0})
    assert judgement.verdict == Verdict.CANNOT_TELL
    assert judgement.reasons == ("Nothing that was measured shows that phantom holds under load.",)
    assert "Loaded volts" in judgement.not_measured


@pytest.mark.parametrize(
    ("key", "unit_value"),
    [("load", 14.0), ("load-3k3", 23.63), ("short-both", 14.1)],
)
def test_either_load_or_a_milliammeter_shows_that_it_holds(key, unit_value):
    judgement = judged({"open-2": 48.0, "open-3": 48.0, key: unit_value})
    assert judgement.verdict == Verdict.PASS
    assert not any("Loaded" in name for name in judgement.not_measured)


def test_a_shop_with_a_meter_alone_is_asked_for_the_current_in_place_of_a_load():
    def keys(*capabilities):
        return [
            s.key
            for s in steps_for(procedure=Procedure.PHANTOM, facts=ONE, capabilities=capabilities, limits=LIMITS, golden={})
        ]

    assert keys(Capability.VOLTS, Capability.MILLIAMPS) == ["open-2", "open-3", "short-both", "short-2", "short-3"]
    assert keys(Capability.VOLTS, Capability.PHANTOM_LOAD) == ["open-2", "open-3", "load"]
    assert keys(Capability.OHMS) == []


def test_a_shop_whose_plug_holds_the_lighter_load_is_asked_for_that():
    facts = {"inputs": 1, "phantom_load_ohm": 3300}
    steps = steps_for(procedure=Procedure.PHANTOM, facts=facts, capabilities=set(Capability), limits=LIMITS, golden={})
    assert [s.key for s in steps][:3] == ["open-2", "open-3", "load-3k3"]


def test_a_desk_is_bad_where_it_is_bad_and_says_which_channels_nobody_read():
    desk = {"inputs": 8}
    answers = {}
    for channel in range(1, 8):
        unit = PhantomInput(feed_two=47_000, feed_three=47_000) if channel in {3, 7} else PhantomInput()
        answers |= {f"{key}.{channel}": value for key, value in unit.answers().items()}
    judgement = judged(answers, desk)
    assert judgement.verdict == Verdict.FAIL
    assert judgement.dead_channels == (3, 7)
    assert {f.channel for f in judgement.findings} == {3, 7}
    assert "Loaded volts, channel 8" in judgement.not_measured
    assert any("channel 8" in reason for reason in judgement.reasons)


def test_a_good_desk_with_channels_nobody_read_is_not_called_good():
    answers = {f"{k}.{c}": v for c in (1, 2, 3) for k, v in PhantomInput().answers().items()}
    judgement = judged(answers, {"inputs": 8})
    assert judgement.verdict == Verdict.CANNOT_TELL
    assert judgement.reasons == ("Nothing that was measured shows that phantom holds under load on channel 4 to 8.",)


@pytest.mark.parametrize("name", ["SP48", "P12L"])
def test_a_supply_without_figures_is_never_judged_by_open_volts(name):
    volts = SUPPLIES[name].volts
    judgement = judged({"open-2": volts, "open-3": volts, "load": 5.0}, {"inputs": 1, "phantom_supply": name})
    assert judgement.verdict == Verdict.CANNOT_TELL


@pytest.mark.parametrize(
    ("key", "value", "word"),
    [
        ("open-2", 90.0, "millivolts"),
        ("load", 14_000.0, "millivolts"),
        ("open-3", -48.0, "below nothing"),
        ("short-2", 7060.0, "microamps"),
        ("open-2", math.nan, "not a number"),
        ("open-2", math.inf, "not a number"),
        ("open-9", 48.0, "no step"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence_and_its_place(key, value, word):
    with pytest.raises(ReadingError, match=word) as caught:
        judged({"open-3" if key != "open-3" else "open-2": 48.0, key: value})
    assert caught.value.where == 1
    assert str(caught.value).endswith((".", "?"))


def test_the_last_digit_of_the_meter_is_allowed_for_between_the_legs():
    rows = [("open-2", 48.0), ("open-3", 48.0), ("load", 14.0), ("short-2", 7.0), ("short-3", 6.9)]
    alike = phantom(rows)
    assert alike.verdict == Verdict.PASS and any("0.1\u2009mA" in r for r in alike.reasons)
    (finding,) = phantom([*rows[:3], ("short-2", 7.0), ("short-3", 6.6)]).findings
    assert "7.0\u2009mA" in finding.text and "6.600" not in finding.text
    (finer,) = phantom([*rows[:3], ("short-2", 7.061), ("short-3", 6.992)]).findings
    assert "7.061\u2009mA" in finer.text


def test_a_leg_that_gives_nothing_is_open_and_no_resistor_is_guessed_at():
    (finding,) = phantom([("open-2", 48.0), ("open-3", 48.0), ("load", 8.2), ("short-2", 7.0), ("short-3", 0.0)]).findings
    assert finding.title.startswith("The leg of pin 3 is open") and "as if each leg" not in finding.text


def phantom(rows):
    return judge_steps(
        procedure=Procedure.PHANTOM,
        facts={"inputs": 1, "phantom": "global"},
        readings=[StepReading(step=key, value=value) for key, value in rows],
        limits=BenchLimits(),
        golden={},
    )
