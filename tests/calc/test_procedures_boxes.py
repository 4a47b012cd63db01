"""Direct boxes: their gain as a model predicts it, and every single fault of a simulated box by name."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.calc import box_gain
from maintenance.calc.bench import Procedure, ReadingError, StepReading, Verdict
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.box_gain import Transformer
from maintenance.calc.procedures import judge_steps
from tests.calc.simulated_boxes import OPEN, PassiveBox

LIMITS = BenchLimits()
PASSIVE = {
    "active": False,
    "turns_ratio": 12.0,
    "output_ohm": 150.0,
    "pad_db": 20.0,
    "second_pad_db": 40.0,
    "transformer_isolated": True,
    "ground_lift": True,
    "channels": 1,
}
ISOLATOR = {
    "active": False,
    "turns_ratio": 1.0,
    "output_ohm": 600.0,
    "transformer_isolated": True,
    "ground_lift": True,
    "channels": 1,
}
ACTIVE = {
    "active": True,
    "transformer_isolated": False,
    "ground_lift": True,
    "pad_db": 20.0,
    "draw_ma": 4.5,
    "runs_on_phantom": True,
    "runs_on_cells": True,
    "least_supply_v": 6.0,
    "switched_by_input_jack": True,
    "channels": 1,
    "input_ohm": 1e6,
}


def readings_of(answers, suffix=""):
    made = []
    for key, answer in answers.items():
        if answer is None:
            made.append(StepReading(step=key + suffix, yes=False))  # the meter showed "over"
        elif isinstance(answer, bool | np.bool_):
            made.append(StepReading(step=key + suffix, yes=bool(answer)))
        else:
            made.append(StepReading(step=key + suffix, value=float(answer)))
    return made


def judged(procedure, facts, answers, golden=None, limits=LIMITS):
    readings = answers if isinstance(answers, list) else readings_of(answers)
    return judge_steps(procedure=procedure, facts=facts, readings=readings, limits=limits, golden=golden or {})


def names(judgement):
    return {finding.name for finding in judgement.findings}


def passive_answers(box, facts=PASSIVE):
    source, load = box_gain.loads(facts)
    answers = box.answers(source=source, load=load)
    return {k: v for k, v in answers.items() if facts is PASSIVE or not k.startswith("through")}


windings = st.builds(Transformer, turns_ratio=st.floats(1, 30), primary_ohm=st.floats(0, 5000), secondary_ohm=st.floats(0, 500))


@given(windings, st.floats(1, 50_000), st.floats(500, 20_000))
def test_the_gain_is_what_node_equations_give(box, source, load):
    simulated = PassiveBox(ratio=box.turns_ratio, primary=box.primary_ohm, secondary=box.secondary_ohm, bridge=OPEN).gain(
        source=source, load=load
    )
    assert box_gain.gain_db(box, source_ohm=source, load_ohm=load) == pytest.approx(simulated, abs=0.01)


@given(windings, st.floats(0.1, 1000), st.floats(500, 20_000), st.floats(1.01, 3))
def test_gain_falls_as_the_ratio_grows(box, source, load, times):
    """From a source well below what the box reflects; from a high one a larger ratio can load it less."""
    more = replace(box, turns_ratio=box.turns_ratio * times)
    lossless = replace(box, primary_ohm=0.0), replace(more, primary_ohm=0.0)
    low = min(source, 0.4 * load)
    assert box_gain.gain_db(lossless[1], source_ohm=low, load_ohm=load) < box_gain.gain_db(
        lossless[0], source_ohm=low, load_ohm=load
    )


@given(windings, st.floats(1, 50_000), st.floats(500, 20_000), st.floats(1.01, 10))
def test_gain_falls_with_every_resistance_and_grows_with_a_lighter_load(box, source, load, times):
    plain = box_gain.gain_db(box, source_ohm=source, load_ohm=load)
    assert box_gain.gain_db(box, source_ohm=source * times, load_ohm=load) < plain
    assert box_gain.gain_db(replace(box, secondary_ohm=box.secondary_ohm + 10), source_ohm=source, load_ohm=load) < plain
    assert box_gain.gain_db(box, source_ohm=source, load_ohm=load * times) > plain


@given(windings, st.floats(1, 50_000), st.floats(500, 20_000))
def test_output_resistance_and_ratio_tell_the_same_gain(box, source, load):
    output = box_gain.output_ohm(box, source_ohm=source)
    told = 20 * math.log10(load / (load + output) / box.turns_ratio)
    assert box_gain.gain_db(box, source_ohm=source, load_ohm=load) == pytest.approx(told)


@given(st.floats(0.1, 10))
def test_a_box_must_run_from_less_phantom_the_more_it_draws(draw):
    assert box_gain.least_phantom_v(draw) >= box_gain.least_phantom_v(min(draw + 1, 10))
    assert 6.5 <= box_gain.least_phantom_v(draw) <= 44


def test_a_box_whose_draw_nobody_knows_must_run_from_thirty_volts():
    assert box_gain.least_phantom_v(None) == 30


@pytest.mark.parametrize("ratio", [10.0, 12.0, 20.0])
@pytest.mark.parametrize("primary", [800.0, 3000.0])
@pytest.mark.parametrize("secondary", [20.0, 120.0])
def test_a_good_passive_box_passes_with_and_without_first_readings(ratio, primary, secondary):
    facts = PASSIVE | {"turns_ratio": ratio, "output_ohm": secondary + (primary + 10_000) / ratio**2}
    box = PassiveBox(ratio=ratio, primary=primary, secondary=secondary)
    answers = passive_answers(box) if facts is PASSIVE else box.answers(source=100, load=1500)
    first = judged(Procedure.PASSIVE_BOX, facts, answers)
    assert first.verdict == Verdict.PASS, first.findings
    golden = {figure.name: figure.value for figure in first.figures}
    again = judged(Procedure.PASSIVE_BOX, facts, answers, golden)
    assert again.verdict == Verdict.PASS
    assert again.not_measured == ()


FAULTS = [
    ({"joint_two": OPEN}, "output winding high"),
    ({"joint_three": OPEN}, "output winding high"),
    ({"joint_three": 3_000}, "low gain"),
    ({"joint_primary": OPEN}, "input winding high"),
    ({"across_secondary": 0.1}, "output winding low"),
    ({"across_primary": 0.1}, "input winding low"),
    ({"lift_off": OPEN}, "ground open"),
    ({"lift_on": 0.1}, "lift stuck closed"),
    ({"through_tip": OPEN}, "through open"),
    ({"through_sleeve": OPEN}, "through open"),
    ({"bridge": 1}, "not isolated"),
    ({"turned": True}, "polarity reversed"),
    ({"stuck": 20}, "pad stuck"),
    ({"stuck": 40}, "pad stuck"),
    ({"ratio": 20.0}, "low gain"),
    ({"ratio": 8.0}, "high gain"),
    ({"pad_off": 6}, "pad strong"),
    ({"pad_off": -15}, "pad weak"),
]


@pytest.mark.parametrize("known", [False, True], ids=["first test", "against its own first readings"])
@pytest.mark.parametrize(("fault", "name"), FAULTS, ids=[f"{n} {f}" for f, n in FAULTS])
def test_every_single_fault_of_a_passive_box_is_named(fault, name, known):
    good = PassiveBox()
    golden = {f.name: f.value for f in judged(Procedure.PASSIVE_BOX, PASSIVE, passive_answers(good)).figures} if known else {}
    judgement = judged(Procedure.PASSIVE_BOX, PASSIVE, passive_answers(good.with_(**fault)), golden)
    assert judgement.verdict == Verdict.FAIL
    assert name in names(judgement)
    assert all(f.effect and f.repair and f.text for f in judgement.findings)


def test_a_dead_box_is_called_dead_and_not_merely_quiet():
    judgement = judged(Procedure.PASSIVE_BOX, PASSIVE, passive_answers(PassiveBox(joint_two=OPEN)))
    assert "no signal" in names(judgement)
    assert "low gain" not in names(judgement)


def test_windings_without_a_first_reading_are_watched_and_never_failed():
    answers = passive_answers(PassiveBox(secondary=900.0)) | {"gain": -21.6}
    judgement = judged(Procedure.PASSIVE_BOX, PASSIVE | {"output_ohm": 1000.0}, answers)
    [finding] = judgement.findings
    assert (finding.name, finding.weight, judgement.verdict) == ("output winding high", Verdict.WATCH, Verdict.WATCH)
    assert "typical" in finding.text


@pytest.mark.parametrize(("share", "verdict"), [(0.05, Verdict.PASS), (0.15, Verdict.FAIL), (-0.15, Verdict.FAIL)])
def test_windings_are_held_against_the_units_own_first_reading(share, verdict):
    golden = {"Output winding": 40.0, "Input winding": 1500.0}
    answers = {"winding-out": 40.0, "winding-in": 1500.0 * (1 + share), "polarity": True}
    judgement = judged(Procedure.PASSIVE_BOX, PASSIVE, answers, golden)
    assert judgement.verdict == verdict


def test_gain_is_held_against_the_windings_just_measured():
    """The type's output impedance would allow a lossy box; this one's windings are small, so its loss has another cause."""
    facts = PASSIVE | {"output_ohm": 900.0}
    answers = {"winding-out": 40.0, "winding-in": 1500.0, "gain": -24.0}
    judgement = judged(Procedure.PASSIVE_BOX, facts, answers)
    assert "low gain" in names(judgement)
    assert "windings just measured" in judgement.findings[0].text


def test_a_capacitor_at_the_input_is_no_open_winding():
    answers = passive_answers(PassiveBox()) | {"winding-in": None}
    judgement = judged(Procedure.PASSIVE_BOX, PASSIVE, answers)
    assert judgement.verdict == Verdict.PASS
    assert any("capacitor" in reason for reason in judgement.reasons)
    once = judged(Procedure.PASSIVE_BOX, PASSIVE, answers, {"Input winding": 1500.0})
    assert names(once) == {"input winding high"}, "this one has read 1.5 kilohms before"


def test_isolation_is_asked_only_where_there_is_a_transformer():
    with pytest.raises(ReadingError, match="no step"):
        judged(Procedure.PASSIVE_BOX, PASSIVE | {"transformer_isolated": False}, {"isolation": True})
    with pytest.raises(ReadingError, match="no step"):
        judged(Procedure.ACTIVE_BOX, ACTIVE, {"isolation": True})


@pytest.mark.parametrize(
    ("fault", "name"),
    [
        ({}, None),
        ({"bridge": 1}, "not isolated"),
        ({"lift_on": 0.1}, "lift stuck closed"),
        ({"joint_three": OPEN}, "output winding high"),
        ({"turned": True}, "polarity reversed"),
        ({"across_primary": 0.1}, "input winding low"),
    ],
)
def test_a_line_isolator_has_no_through_and_no_pads(fault, name):
    box = PassiveBox(ratio=1.0, primary=60.0, secondary=60.0, pads={}).with_(**fault)
    judgement = judged(Procedure.PASSIVE_BOX, ISOLATOR, passive_answers(box, ISOLATOR))
    assert judgement.verdict == (Verdict.FAIL if name else Verdict.PASS), judgement.findings
    assert name is None or name in names(judgement)


def test_a_stereo_box_is_bad_on_the_side_that_is_bad():
    facts = PASSIVE | {"channels": 2}
    good, bad = passive_answers(PassiveBox()), passive_answers(PassiveBox(turned=True))
    judgement = judged(Procedure.PASSIVE_BOX, facts, readings_of(good, ".1") + readings_of(bad, ".2"))
    assert judgement.dead_channels == (2,)
    assert [f.title for f in judgement.findings] == ["Polarity is reversed on channel 2"]


def test_nothing_measured_is_nothing_said():
    judgement = judged(Procedure.PASSIVE_BOX, PASSIVE, [])
    assert judgement.verdict == Verdict.CANNOT_TELL
    assert judgement.reasons == ("Nothing was measured.",)


def test_one_winding_alone_proves_one_side_alone():
    judgement = judged(Procedure.PASSIVE_BOX, PASSIVE, {"winding-out": 40.0, "through": True})
    assert judgement.verdict == Verdict.CANNOT_TELL
    assert judgement.reasons == ("Nothing that was measured shows the input side.",)


@pytest.mark.parametrize(
    ("reading", "word"),
    [
        (StepReading(step="winding-out", value=-1.0), "below nothing"),
        (StepReading(step="gain", value=300.0), "cannot be"),
        (StepReading(step="gain", value=-300.0), "cannot be"),
        (StepReading(step="gain", yes=True), "wants a number"),
        (StepReading(step="gain", yes=False), "wants a number"),
        (StepReading(step="winding-in", yes=True), "wants a number"),
        (StepReading(step="polarity", value=1.0), "yes or no"),
        (StepReading(step="polarity", value=1.0, yes=True), "one answer"),
        (StepReading(step="polarity"), "one answer"),
        (StepReading(step="nothing", yes=True), "no step"),
        (StepReading(step="gain.1", value=-21.0), "no step"),
    ],
)
def test_impossible_answers_are_refused_with_a_sentence(reading, word):
    with pytest.raises(ReadingError, match=word) as caught:
        judged(Procedure.PASSIVE_BOX, PASSIVE, [reading])
    assert caught.value.where == 0


def test_a_step_answered_twice_is_refused():
    twice = [StepReading(step="gain", value=-21.0)] * 2
    with pytest.raises(ReadingError, match="twice") as caught:
        judged(Procedure.PASSIVE_BOX, PASSIVE, twice)
    assert caught.value.where == 1


GOOD_ACTIVE = {
    "gain-cells": -0.5,
    "gain-phantom": -0.4,
    "gain-low-cells": -0.7,
    "gain-low-phantom": -0.5,
    "draw": 4.3,
    "lift-off": True,
    "lift-on": False,
    "through": True,
    "loading": 6.1,
    "pad": 20.2,
    "polarity": True,
    "crackle": False,
    "idle-draw": 0.001,
}


def test_a_good_active_box_passes_with_and_without_first_readings():
    first = judged(Procedure.ACTIVE_BOX, ACTIVE, GOOD_ACTIVE)
    assert (first.verdict, first.findings, first.not_measured) == (Verdict.PASS, (), ())
    golden = {figure.name: figure.value for figure in first.figures}
    assert judged(Procedure.ACTIVE_BOX, ACTIVE, GOOD_ACTIVE, golden).verdict == Verdict.PASS


@pytest.mark.parametrize("known", [False, True], ids=["first test", "against its own first readings"])
@pytest.mark.parametrize(
    ("changed", "name", "verdict"),
    [
        ({"gain-cells": -90.0, "gain-low-cells": -90.0}, "dead on cells", Verdict.FAIL),
        ({"gain-phantom": -90.0, "gain-low-phantom": -90.0, "draw": 0.0}, "dead on phantom", Verdict.FAIL),
        (dict.fromkeys(("gain-cells", "gain-phantom", "gain-low-cells", "gain-low-phantom"), -95.0), "no signal", Verdict.FAIL),
        ({"gain-low-cells": -6.0}, "fades on low cells", Verdict.FAIL),
        ({"gain-low-cells": -90.0}, "fades on low cells", Verdict.FAIL),
        ({"gain-low-phantom": -3.0}, "fades on low phantom", Verdict.FAIL),
        ({"draw": 12.0}, "draw high", Verdict.FAIL),
        ({"draw": 0.0}, "draw low", Verdict.FAIL),
        ({"idle-draw": 3.0}, "drains in the case", Verdict.FAIL),
        ({"lift-off": False}, "ground open", Verdict.FAIL),
        ({"lift-on": True}, "lift stuck closed", Verdict.FAIL),
        ({"through": False}, "through open", Verdict.FAIL),
        ({"loading": 20.8}, "input impedance low", Verdict.FAIL),
        ({"pad": 3.0}, "pad weak", Verdict.FAIL),
        ({"pad": 25.0}, "pad strong", Verdict.FAIL),
        ({"polarity": False}, "polarity reversed", Verdict.FAIL),
        ({"crackle": True}, "crackles", Verdict.FAIL),
    ],
)
def test_every_single_fault_of_an_active_box_is_named(changed, name, verdict, known):
    golden = {f.name: f.value for f in judged(Procedure.ACTIVE_BOX, ACTIVE, GOOD_ACTIVE).figures} if known else {}
    judgement = judged(Procedure.ACTIVE_BOX, ACTIVE, GOOD_ACTIVE | changed, golden)
    assert name in names(judgement)
    assert judgement.verdict == verdict
    assert all(f.effect and f.repair and f.text for f in judgement.findings)


def test_a_pad_that_stays_in_is_told_once_its_first_gain_is_known():
    low = {key: value - 20 for key, value in GOOD_ACTIVE.items() if key.startswith("gain")}
    golden = {f.name: f.value for f in judged(Procedure.ACTIVE_BOX, ACTIVE, GOOD_ACTIVE).figures}
    judgement = judged(Procedure.ACTIVE_BOX, ACTIVE, GOOD_ACTIVE | low, golden)
    assert names(judgement) == {"pad stuck"}


def test_a_box_that_runs_on_phantom_alone_is_not_asked_for_cells():
    facts = ACTIVE | {"runs_on_cells": False, "least_supply_v": None, "switched_by_input_jack": False}
    with pytest.raises(ReadingError, match="no step"):
        judged(Procedure.ACTIVE_BOX, facts, {"gain-cells": 0.0})


def test_a_listener_alone_can_pass_an_active_box_and_what_was_not_measured_is_said():
    judgement = judged(Procedure.ACTIVE_BOX, ACTIVE, {"sound": True, "crackle": False})
    assert judgement.verdict == Verdict.PASS
    assert {"Gain on cells", "Gain on low cells", "Plus in comes out as plus"} <= set(judgement.not_measured)


@pytest.mark.parametrize(
    ("procedure", "facts", "key", "value"),
    [(Procedure.PASSIVE_BOX, PASSIVE, "gain", -21.0), (Procedure.ACTIVE_BOX, ACTIVE, "gain-cells", -0.5)],
)
def test_a_gain_alone_proves_no_box_and_what_is_left_is_named(procedure, facts, key, value):
    alone = judged(procedure, facts, {key: value})
    assert alone.verdict == Verdict.CANNOT_TELL and any("its pins: polarity" in r for r in alone.reasons)
    both = judged(procedure, facts, {key: value, "polarity": True})
    assert both.verdict == Verdict.PASS and "Through joined to input" in both.not_measured


def test_supplies_are_held_against_one_another_before_any_first_reading_is_known():
    weak = GOOD_ACTIVE | {"gain-cells": -1.2, "gain-phantom": -20.0, "gain-low-phantom": -20.0}
    judgement = judged(Procedure.ACTIVE_BOX, ACTIVE | {"pad_db": None}, {k: v for k, v in weak.items() if k != "pad"})
    assert judgement.verdict == Verdict.FAIL and "quieter on phantom" in names(judgement)
