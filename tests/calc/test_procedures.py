"""Procedures: every kind has its test, every type of the catalogue its steps, and no step lets its own fault through."""

import json
from pathlib import Path

import pytest

from inventory.calc.kinds import KINDS_WITHOUT_STANDING, Kind
from maintenance.calc.bench import Capability, Procedure, ReadingError, StepReading, Verdict
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.procedures import every_step, judge_steps, not_measurable, procedures_for, steps_for

LIMITS = BenchLimits(earth_ohm=0.5, mains_insulation_mohm=1.0, leakage_ma=3.5, residual_trip_ms=200)
TYPES = json.loads((Path(__file__).parents[2] / "fixtures" / "catalogue.json").read_text())["types"]
PAIRS = [
    pytest.param(procedure, gear["facts"], id=f"{gear['key']} {procedure}")
    for gear in TYPES
    for procedure in procedures_for(gear["kind"], gear["facts"])
    if procedure not in {Procedure.WIRING, Procedure.WORD}
]
EVERYTHING = frozenset(Capability)


def all_steps(procedure, facts, golden=None, limits=LIMITS, symptoms=()):
    return steps_for(
        procedure=procedure, facts=facts, capabilities=EVERYTHING, limits=limits, golden=golden or {}, symptoms=symptoms
    )


def perfect(step):
    """Answer a step as a perfect unit does."""
    if not step.unit:
        return StepReading(step=step.key, yes=step.wanted)
    low = step.low if step.low is not None else min(0.0, step.high or 0.0)
    high = step.high if step.high is not None else low
    return StepReading(step=step.key, value=(low + high) / 2)


def faults_of(step):
    """Return the answers that show a step's own single faults."""
    if not step.unit:
        return [StepReading(step=step.key, yes=not step.wanted)]
    made = []
    if step.below:
        floor = step.floor if step.floor is not None else step.low
        made.append(StepReading(step=step.key, value=max(floor - abs(floor) * 0.3 - 0.01, step.least)))
    if step.above:
        ceiling = step.ceiling if step.ceiling is not None else step.high
        made.append(StepReading(step=step.key, value=min(ceiling + abs(ceiling) * 0.3 + 0.01, step.most)))
    if step.over and step.above:
        made.append(StepReading(step=step.key, yes=False))
    if step.base == "level" and not made:
        made += [StepReading(step=step.key, value=v) for v in (-10.0, 10.0, -90.0)]
    return made


def judged(procedure, facts, readings, golden=None, limits=LIMITS):
    return judge_steps(procedure=procedure, facts=facts, readings=readings, limits=limits, golden=golden or {})


@pytest.mark.parametrize("kind", list(Kind))
def test_every_kind_with_a_standing_has_a_test_and_the_others_none(kind):
    assert bool(procedures_for(kind, {})) == (kind not in KINDS_WITHOUT_STANDING)
    assert Procedure.UNDO not in procedures_for(kind, {})


@pytest.mark.parametrize(
    ("kind", "facts", "first"),
    [
        ("interface-box", {"active": True}, Procedure.ACTIVE_BOX),
        ("interface-box", {"active": False}, Procedure.PASSIVE_BOX),
        ("desk", {"phantom": "global"}, Procedure.PHANTOM),
        ("stage-box", {"phantom": "none"}, Procedure.INPUT),
        ("stage-box", {"phantom": "none", "digital": False, "inputs": 16}, Procedure.WIRING),
        ("loudspeaker", {"impedance_ohm": 8}, Procedure.DRIVER),
        ("loudspeaker", {"impedance_ohm": 64, "powered": False}, Procedure.HEADPHONES),
        ("receiver", {}, Procedure.TRANSMITTER),
        ("power", {}, Procedure.MAINS),
        ("lead", {}, Procedure.WIRING),
        ("multicore", {}, Procedure.WIRING),
    ],
)
def test_the_likeliest_test_comes_first(kind, facts, first):
    assert procedures_for(kind, facts)[0] == first


def test_no_word_of_a_tester_passes_mains_gear():
    assert procedures_for("power", {}) == (Procedure.MAINS,)


@pytest.mark.parametrize(("procedure", "facts"), PAIRS)
def test_every_step_is_told_in_full_and_its_limits_are_in_order(procedure, facts):
    steps = all_steps(procedure, facts)
    assert steps
    assert len({s.key for s in steps}) == len({s.name for s in steps}) == len(steps)
    for step in steps:
        assert step.title and step.how and step.expect, step.key
        assert step.how[-1] in ".?:" and step.expect[-1] == "."
        assert len(step.name) <= 60 and len(step.unit) <= 12
        assert (step.wanted is None) == bool(step.unit)
        assert step.unit or step.says
        bounds = [b for b in (step.least, step.floor, step.low, step.high, step.ceiling, step.most) if b is not None]
        assert bounds == sorted(bounds), (step.key, bounds)
        assert step.low is None or step.below, step.key
        assert step.high is None or step.above, step.key
        for says in filter(None, (step.below, step.above, step.says)):
            assert says.title and says.effect and says.repair
        assert not step.caution or step.caution[-1] == "."


@pytest.mark.parametrize(("procedure", "facts"), PAIRS)
def test_a_perfect_unit_passes_also_against_its_own_first_readings(procedure, facts):
    readings = [perfect(step) for step in all_steps(procedure, facts)]
    judgement = judged(procedure, facts, readings)
    assert judgement.verdict == Verdict.PASS, (judgement.findings, judgement.reasons)
    assert judgement.findings == () and judgement.not_measured == () and judgement.dead_channels == ()
    assert judgement.reasons
    assert all(figure.within is not False for figure in judgement.figures)
    golden = {figure.name: figure.value for figure in judgement.figures}
    assert judged(procedure, facts, readings, golden).verdict == Verdict.PASS


@pytest.mark.parametrize(("procedure", "facts"), PAIRS)
def test_each_single_fault_is_found_where_it_is(procedure, facts):
    steps = all_steps(procedure, facts)
    good = {step.key: perfect(step) for step in steps}
    tried = 0
    for step in steps:
        if (step.channel or 1) > 3:
            continue  # the channels are alike
        for reading in faults_of(step):
            if step.base == "winding-in" and reading.yes is False:
                continue  # open to direct current while the tone comes through is a capacitor, not a fault
            judgement = judged(procedure, facts, list((good | {step.key: reading}).values()))
            tried += 1
            assert judgement.findings, (step.key, reading)
            assert judgement.verdict in {Verdict.FAIL, Verdict.WATCH}, (step.key, reading)
            assert {f.channel for f in judgement.findings} == {step.channel}, (step.key, judgement.findings)
            assert all(f.title and f.text and f.effect and f.repair for f in judgement.findings)
            if judgement.verdict == Verdict.FAIL and step.channel is not None:
                assert judgement.dead_channels == (step.channel,)
    assert tried >= 3


@pytest.mark.parametrize(("procedure", "facts"), PAIRS)
def test_what_is_left_out_is_named_and_too_little_is_never_a_pass(procedure, facts):
    steps = all_steps(procedure, facts)
    first = judged(procedure, facts, [perfect(steps[-1])])
    assert first.verdict in {Verdict.CANNOT_TELL, Verdict.PASS}
    assert first.verdict == Verdict.CANNOT_TELL or first.not_measured
    nothing = judged(procedure, facts, [])
    assert nothing.verdict == Verdict.CANNOT_TELL and nothing.reasons and nothing.figures == ()
    channels = {s.channel for s in steps}
    names = {s.title for s in steps}
    assert {name.split(", channel ")[0] for name in nothing.not_measured} == names
    assert channels == {None} or any("channel" in name for name in nothing.not_measured)


@pytest.mark.parametrize(("procedure", "facts"), PAIRS)
@pytest.mark.parametrize("capability", list(Capability))
def test_nothing_is_asked_for_that_the_shop_cannot_measure(procedure, facts, capability):
    steps = steps_for(procedure=procedure, facts=facts, capabilities={capability}, limits=LIMITS, golden={})
    wider = {Capability.OHMS: {Capability.CONTINUITY}, Capability.MILLIOHMS: {Capability.OHMS, Capability.CONTINUITY}}
    allowed = {None, capability, *wider.get(capability, set())}
    assert all(step.needs in allowed for step in steps)
    left = not_measurable(procedure=procedure, facts=facts, capabilities={capability}, limits=LIMITS, golden={})
    asked = {step.title for step in steps}
    assert all(not any(line.startswith(f"{title} (") for title in asked) for line in left)


@pytest.mark.parametrize(("procedure", "facts"), PAIRS)
def test_facts_nobody_knows_still_give_steps(procedure, facts):
    unknown = dict.fromkeys(facts)
    steps = all_steps(procedure, unknown)
    assert steps
    judged(procedure, unknown, [perfect(step) for step in steps])


@pytest.mark.parametrize("procedure", [Procedure.WIRING, Procedure.WORD, Procedure.UNDO])
def test_pins_and_words_have_no_steps(procedure):
    assert all_steps(procedure, {}) == ()
    assert judged(procedure, {}, []).verdict == Verdict.CANNOT_TELL
    with pytest.raises(ReadingError, match="no steps"):
        judged(procedure, {}, [StepReading(step="gain", value=0.0)])


def test_a_symptom_brings_its_steps_to_the_front():
    facts = {"active": True, "runs_on_cells": True, "runs_on_phantom": True, "least_supply_v": 6.0, "ground_lift": True}
    assert all_steps(Procedure.ACTIVE_BOX, facts, symptoms=["gets quieter"])[0].key == "gain-low-cells"
    assert all_steps(Procedure.ACTIVE_BOX, facts, symptoms=["hums"])[0].key == "lift-on"
    assert all_steps(Procedure.ACTIVE_BOX, facts, symptoms=["crackles"])[0].key == "crackle"


def test_eyes_come_first_on_mains_whatever_the_symptom():
    for symptoms in ((), ("hums",), ("dead",), ("got wet",)):
        assert all_steps(Procedure.MAINS, {"rating_a": 10}, symptoms=symptoms)[0].key == "visual"


def test_a_ribbon_is_never_fed_and_never_metered():
    steps = all_steps(Procedure.MICROPHONE, {"transducer": "ribbon", "needs_phantom": False, "harmed_by_phantom": True})
    assert not {"draw", "coil"} & {s.key for s in steps}
    assert any("No phantom" in s.caution for s in steps)


def test_a_dead_microphone_is_called_dead():
    judgement = judged(Procedure.MICROPHONE, {}, [StepReading(step="level", value=-60.0)])
    assert [f.name for f in judgement.findings] == ["dead"]


@pytest.mark.parametrize(
    ("level", "verdict"), [(3.0, Verdict.PASS), (-3.0, Verdict.PASS), (3.2, Verdict.FAIL), (-3.2, Verdict.FAIL)]
)
def test_a_microphone_lies_within_the_level_allowed(level, verdict):
    readings = [StepReading(step="level", value=level), StepReading(step="sound", yes=True)]
    assert judged(Procedure.MICROPHONE, {}, readings).verdict == verdict


def test_an_input_is_held_against_its_neighbours_and_not_against_itself():
    desk = {"inputs": 8}
    levels = [-18.0, -18.3, -17.9, -30.0, -18.1, -18.0, -17.0, -60.0]
    readings = [StepReading(step=f"level.{c}", value=v) for c, v in enumerate(levels, 1)]
    judgement = judged(Procedure.INPUT, desk, readings)
    assert judgement.dead_channels == (4, 8)
    assert [f.name for f in judgement.findings] == ["quiet", "dead"]
    assert [f.within for f in judgement.figures] == [True, True, True, False, True, True, True, False]


def test_a_desk_whose_inputs_nobody_counted_is_asked_for_one_and_says_so():
    readings = [perfect(step) for step in all_steps(Procedure.PHANTOM, {"inputs": None})]
    assert {r.step for r in readings} == {"open-2", "open-3", "load", "short-2", "short-3"}
    assert any("how many inputs" in reason for reason in judged(Procedure.PHANTOM, {"inputs": None}, readings).reasons)


@pytest.mark.parametrize("kind", [k for k in Kind if k not in KINDS_WITHOUT_STANDING])
def test_no_two_figures_of_a_thing_share_a_name(kind):
    """A chart and the first readings go by the figure's name."""
    facts = {"inputs": 2, "outputs": 2, "powered": True, "active": True, "draw_ma": 4.5, "phantom": "global"}
    names = [
        step.name
        for procedure in procedures_for(kind, facts)
        for step in every_step(procedure=procedure, facts=facts, limits=LIMITS, golden={})
        if step.unit
    ]
    assert len(names) == len(set(names))


def test_one_input_alone_cannot_be_told_from_the_others():
    judgement = judged(Procedure.INPUT, {"inputs": 8}, [StepReading(step="level.1", value=-18.0)])
    assert judgement.verdict == Verdict.CANNOT_TELL
    assert any("alone" in reason for reason in judgement.reasons)


@pytest.mark.parametrize(("left", "right", "name"), [(64, 66, None), (64, 50, "sides differ"), (64, None, "right open")])
def test_both_sides_of_headphones_are_alike(left, right, name):
    readings = [
        StepReading(step="both", yes=True),
        StepReading(step="left", value=float(left)),
        StepReading(step="right", value=right and float(right), yes=None if right else False),
    ]
    judgement = judged(Procedure.HEADPHONES, {"impedance_ohm": 64}, readings)
    assert [f.name for f in judgement.findings] == ([name] if name else [])


LEAD = {"rating_a": 10}


def mains(limits, **values):
    readings = [
        StepReading(step=key, yes=value) if isinstance(value, bool) else StepReading(step=key, value=value)
        for key, value in values.items()
    ]
    return judged(Procedure.MAINS, LEAD, readings, limits=limits)


def test_mains_within_the_companys_limits_is_told_so_and_never_called_safe():
    judgement = mains(LIMITS, visual=True, earth=0.2, insulation=200.0)
    assert judgement.verdict == Verdict.PASS
    assert judgement.reasons[0] == "Within the limits your company set."
    assert any("competent person" in reason for reason in judgement.reasons)
    assert judgement.limits == {"earth_ohm": 0.5, "mains_insulation_mohm": 1.0, "leakage_ma": 3.5, "residual_trip_ms": 200}


def test_mains_without_limits_is_kept_and_not_judged():
    judgement = mains(BenchLimits(), visual=True, earth=0.2, insulation=200.0)
    assert judgement.verdict == Verdict.CANNOT_TELL
    assert [f.within for f in judgement.figures] == [None, None]
    assert any("no limit" in reason for reason in judgement.reasons)
    assert judgement.limits == {}


def test_mains_that_nobody_looked_at_is_not_passed():
    assert mains(LIMITS, earth=0.2, insulation=200.0).verdict == Verdict.CANNOT_TELL


def test_mains_that_somebody_only_looked_at_is_not_passed():
    judgement = mains(LIMITS, visual=True)
    assert judgement.verdict == Verdict.CANNOT_TELL
    assert any("eyes alone" in reason for reason in judgement.reasons)


def test_damage_that_is_seen_fails_mains_gear_without_a_measurement():
    assert mains(BenchLimits(), visual=False).verdict == Verdict.FAIL


@pytest.mark.parametrize("values", [{"earth": 0.6}, {"insulation": 0.5}])
def test_mains_outside_the_companys_limits_fails(values):
    assert mains(LIMITS, visual=True, **values).verdict == Verdict.FAIL


@pytest.mark.parametrize("limits", [LIMITS, BenchLimits()])
@pytest.mark.parametrize(("key", "name"), [("earth", "earth open"), ("trip", "does not trip")])
def test_what_is_open_fails_mains_gear_whatever_the_limit(limits, key, name):
    facts = {"rating_a": 10, "residual_current_ma": 30}
    readings = [StepReading(step="visual", yes=True), StepReading(step=key, yes=False)]
    judgement = judged(Procedure.MAINS, facts, readings, limits=limits)
    assert judgement.verdict == Verdict.FAIL
    assert [f.name for f in judgement.findings] == [name]


def test_insulation_is_never_measured_into_electronics():
    powered = all_steps(Procedure.MAINS, {"powered": True, "mains_a": 3})
    assert "insulation" not in {s.key for s in powered} and "leakage" in {s.key for s in powered}
    residual = all_steps(Procedure.MAINS, {"rating_a": 10, "residual_current_ma": 30})
    assert [s.key for s in residual] == ["visual", "earth", "leakage", "trip", "button", "polarity"]
    assert any("never into electronics" in s.caution for s in all_steps(Procedure.MAINS, LEAD) if s.key == "insulation")


def test_no_sentence_of_any_procedure_says_that_a_thing_is_safe():
    said = []
    for param in PAIRS:
        procedure, facts = param.values
        steps = all_steps(procedure, facts)
        good = {s.key: perfect(s) for s in steps}
        for step in (None, *steps[:12]):
            answers = dict(good)
            if step is not None and faults_of(step):
                answers[step.key] = faults_of(step)[0]
            judgement = judged(procedure, facts, list(answers.values()))
            said += [*judgement.reasons, *judgement.not_measured]
            said += [text for f in judgement.findings for text in (f.title, f.text, f.effect, f.repair)]
        said += [text for s in steps for text in (s.title, s.how, s.expect, s.caution)]
    safe = {text for text in said if "safe" in text.lower()}
    assert safe <= {
        "The program records results; it never declares anything safe. Local codes and a licensed or competent person decide."
    }


def test_a_residual_current_device_takes_the_figures_of_whoever_has_a_tester():
    facts = {"rating_a": 16, "residual_current_ma": 30}
    asked = steps_for(procedure=Procedure.MAINS, facts=facts, capabilities=frozenset(), limits=LIMITS, golden={})
    assert {"earth", "trip", "button", "polarity"} <= {step.key for step in asked}
    readings = [
        StepReading(step="visual", yes=True),
        StepReading(step="trip", value=28.0),
        StepReading(step="button", yes=True),
    ]
    assert judged(Procedure.MAINS, facts, readings, limits=LIMITS).verdict == Verdict.PASS
    late = [StepReading(step="visual", yes=True), StepReading(step="button", yes=False)]
    assert judged(Procedure.MAINS, facts, late, limits=LIMITS).verdict == Verdict.FAIL
