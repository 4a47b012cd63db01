"""Which test fits a thing, which steps it has where certain things can be measured, and what its answers come to."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

from inventory.calc.kinds import KINDS_WITHOUT_STANDING, Kind
from maintenance.calc import active_boxes, boxes, drivers, inputs, mains, microphones, phantom_out, wireless
from maintenance.calc.bench import Capability, Judgement, Procedure, ReadingError, StepReading, Verdict
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.steps import Answers, Found, Step, judge, read
from maintenance.calc.suspicions import likely_steps

__all__ = ["Step", "every_step", "judge_steps", "not_measurable", "procedures_for", "steps_for"]

Facts = Mapping[str, object]
Golden = Mapping[str, float]


@dataclass(frozen=True, kw_only=True)
class _Family:
    """How a family lays out its steps, what it finds besides, which limits it uses, and what a pass says."""

    lay_out: Callable[[Facts, BenchLimits, Golden], tuple[Step, ...]]
    look: Callable[[tuple[Step, ...], Answers, Facts, BenchLimits, Golden], Found]
    uses: tuple[str, ...] = ()
    passed: str = ""


_FAMILIES = {
    Procedure.PASSIVE_BOX: _Family(
        lay_out=boxes.lay_out,
        look=boxes.look,
        uses=("golden_share", "gain_db", "pad_db"),
        passed="All that was measured is as it should be.",
    ),
    Procedure.ACTIVE_BOX: _Family(
        lay_out=active_boxes.lay_out,
        look=active_boxes.look,
        uses=("golden_share", "gain_db", "pad_db"),
        passed="All that was measured is as it should be.",
    ),
    Procedure.PHANTOM: _Family(
        lay_out=phantom_out.lay_out, look=phantom_out.look, uses=("phantom_match_share",), passed="Phantom holds under load."
    ),
    Procedure.INPUT: _Family(
        lay_out=inputs.lay_out, look=inputs.look, uses=("level_db",), passed="Every channel does as its neighbours do."
    ),
    Procedure.MICROPHONE: _Family(
        lay_out=microphones.lay_out,
        look=microphones.look,
        uses=("level_db", "golden_share"),
        passed="It does as the reference one does.",
    ),
    Procedure.TRANSMITTER: _Family(
        lay_out=wireless.lay_out, look=wireless.look, uses=("golden_share",), passed="It links and carries."
    ),
    Procedure.DRIVER: _Family(lay_out=drivers.lay_out, look=drivers.look, uses=("golden_share",), passed="It plays cleanly."),
    Procedure.HEADPHONES: _Family(
        lay_out=drivers.lay_out_headphones, look=drivers.look_headphones, uses=("golden_share",), passed="Both sides play."
    ),
    Procedure.MAINS: _Family(lay_out=mains.lay_out, look=mains.look, uses=mains.USES, passed=mains.PASSED),
}


def procedures_for(kind: str, facts: Facts) -> tuple[Procedure, ...]:
    """Return the tests that fit a kind of gear with these facts, the likeliest first; none where it has no standing."""
    kind = Kind(kind)
    if kind in KINDS_WITHOUT_STANDING:
        return ()
    if kind in {Kind.LEAD, Kind.MULTICORE}:
        return Procedure.WIRING, Procedure.WORD
    if kind == Kind.INTERFACE_BOX:
        return (Procedure.ACTIVE_BOX if facts.get("active") else Procedure.PASSIVE_BOX), Procedure.WORD
    if kind == Kind.MICROPHONE:
        return Procedure.MICROPHONE, Procedure.WORD
    if kind in {Kind.TRANSMITTER, Kind.RECEIVER}:
        return Procedure.TRANSMITTER, Procedure.WORD
    if kind == Kind.STAGE_BOX and is_passive_stage_box(facts):
        return Procedure.WIRING, Procedure.WORD
    if kind in {Kind.DESK, Kind.STAGE_BOX}:
        fed = facts.get("phantom") != "none"
        return (*((Procedure.PHANTOM,) if fed else ()), Procedure.INPUT, Procedure.WORD)
    if kind == Kind.LOUDSPEAKER:
        if drivers.is_headphones(facts):
            return Procedure.HEADPHONES, Procedure.WORD
        return (Procedure.DRIVER, *((Procedure.MAINS,) if facts.get("powered") else ()), Procedure.WORD)
    if kind == Kind.AMPLIFIER:
        return Procedure.INPUT, Procedure.MAINS, Procedure.WORD
    if kind == Kind.POWER:
        return (Procedure.MAINS,)
    return (Procedure.WORD,)


def is_passive_stage_box(facts: Facts) -> bool:
    """Say whether a stage box is sockets and cores alone, with neither preamplifiers nor phantom: tested as a multicore is."""
    return facts.get("digital") is False and facts.get("phantom") == "none"


def steps_for(
    *,
    procedure: Procedure,
    facts: Facts,
    capabilities: Collection[Capability],
    limits: BenchLimits,
    golden: Golden,
    symptoms: Sequence[str] = (),
) -> tuple[Step, ...]:
    """Return the steps of a test that can be done here, those that a symptom points at first; none for pins or a word."""
    asked = [
        step for step in every_step(procedure=procedure, facts=facts, limits=limits, golden=golden) if _can(step, capabilities)
    ]
    keys = {step.key for step in asked}
    asked = [step for step in asked if not any(key in keys for key in step.stands_in_for)]
    order = {base: place for place, base in enumerate(likely_steps(procedure=procedure, symptoms=symptoms))}
    return tuple(sorted(asked, key=lambda step: order.get(step.base, len(order))))


def not_measurable(
    *, procedure: Procedure, facts: Facts, capabilities: Collection[Capability], limits: BenchLimits, golden: Golden
) -> tuple[str, ...]:
    """Name what of a test cannot be measured here, each with what it would need."""
    steps = every_step(procedure=procedure, facts=facts, limits=limits, golden=golden)
    can = {step.key for step in steps if _can(step, capabilities)}
    left = [step for step in steps if step.key not in can and not any(key in can for key in step.stands_in_for)]
    return tuple(dict.fromkeys(f"{step.title} (needs: {step.needs})" for step in left))


def judge_steps(
    *, procedure: Procedure, facts: Facts, readings: Sequence[StepReading], limits: BenchLimits, golden: Golden
) -> Judgement:
    """Return what the answers of a test come to. Raises ReadingError for a step it has not, or an answer that cannot be."""
    if procedure not in _FAMILIES:
        if readings:
            raise ReadingError("This kind of test has no steps: its answers are pins, or the tester's own word.", 0)
        return Judgement(verdict=Verdict.CANNOT_TELL, reasons=("Nothing was measured.",))
    family = _FAMILIES[procedure]
    steps = family.lay_out(facts, limits, golden)
    answers = read(steps, readings)
    found = family.look(steps, answers, facts, limits, golden)
    return judge(steps=steps, answers=answers, found=found, limits=limits, uses=family.uses, passed=family.passed)


def every_step(*, procedure: Procedure, facts: Facts, limits: BenchLimits, golden: Golden) -> tuple[Step, ...]:
    """Return every step that answers may be given for, measurable here or not, in the order of the test."""
    family = _FAMILIES.get(procedure)
    return () if family is None else family.lay_out(facts, limits, golden)


def _can(step: Step, capabilities: Collection[Capability]) -> bool:
    if step.needs is None or step.needs in capabilities:
        return True
    more = {
        Capability.CONTINUITY: {Capability.OHMS, Capability.MILLIOHMS},
        Capability.OHMS: {Capability.MILLIOHMS},
    }
    return any(c in capabilities for c in more.get(step.needs, set()))
