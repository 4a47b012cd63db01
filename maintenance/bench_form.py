"""What a tester is asked about one item, and the answers read back: pairs of pins, or the steps of a box.

The same fields serve the sitting's page and the correction of a test.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from maintenance.bench_subject import Subject
from maintenance.calc.bench import Capability, Depth, PairReading, Procedure, StepReading
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.bench_typed import RANGE_TOP_OHM, Typed, TypedError, channels_typed, is_over, reading_typed, written
from maintenance.calc.steps import between, said
from maintenance.calc.symptoms import Symptom
from maintenance.calc.wiring_words import ohms_words
from maintenance.calc.wirings import Expect, is_shell, pin_words
from maintenance.models import BenchTest

FLEXED = frozenset({Depth.LAMPS_FLEXED, Depth.OHMS_FLEXED})
IN_OHMS = frozenset({Depth.OHMS, Depth.OHMS_FLEXED})
LAMPS_OF = {Depth.OHMS: Depth.LAMPS, Depth.OHMS_FLEXED: Depth.LAMPS_FLEXED}
THROUGH = "through"
PROCEDURE_NAMES = {
    Procedure.WIRING: "Pins",
    Procedure.WORD: "The tester’s word",
    Procedure.PASSIVE_BOX: "Passive box",
    Procedure.ACTIVE_BOX: "Active box",
    Procedure.PHANTOM: "Phantom outputs",
    Procedure.INPUT: "Inputs",
    Procedure.MICROPHONE: "Microphone",
    Procedure.TRANSMITTER: "Transmitter or receiver",
    Procedure.DRIVER: "Loudspeaker",
    Procedure.HEADPHONES: "Headphones",
    Procedure.MAINS: "Mains figures",
}
GROUP_WORDS = {
    "end to end": "End to end",
    "wrong pairs": "Other pins, end to end",
    "same end": "Pins of one end",
    "shells": "Shells",
}
LONGEST_ANSWER = 40
MANY = 12  # pairs of a multicore, from four channels on: it may be beeped through
LONGEST_LIST = 400  # characters of channels that failed
SMALL = 12  # pins of both ends; a bigger lead is read by those pairs alone that a verdict needs


@dataclass(kw_only=True)
class PairField:
    """One pair of pins to read: `value` and `flexed` as typed, `wrong` what is wrong with that."""

    a: str
    b: str
    expect: str = ""
    why: str = ""
    joined: bool = True
    channel: int | None = None
    value: str = ""
    flexed: str = ""
    stated: str = ""
    wrong: str = ""

    @property
    def name(self) -> str:
        return f"p:{self.a}:{self.b}"

    @property
    def flexed_name(self) -> str:
        return f"f:{self.a}:{self.b}"

    @property
    def words(self) -> str:
        return f"{pin_words(self.a)} to {pin_words(self.b)}"


@dataclass(kw_only=True)
class StepField:
    """One step of a box's test with its answer as typed."""

    step: Any
    value: str = ""
    wrong: str = ""

    @property
    def name(self) -> str:
        return f"s:{self.step.key}"

    @property
    def wanted(self) -> str:
        """Say what a good answer is, where the step does not say so itself."""
        step = self.step
        if step.expect:
            return str(step.expect)
        if not step.unit:
            return {True: "should be yes", False: "should be no"}.get(step.wanted, "")
        return between(step.low, step.high, step.unit)


@dataclass(kw_only=True)
class Group:
    """Fields under one heading. Where all of them must be apart, `rest` names one tick that answers what is left empty.

    `through` names the tick of a multicore that was beeped through: all beeps but the channels typed as `failed`.
    """

    title: str
    fields: list[Any] = field(default_factory=list)
    rest: str = ""
    ticked: bool = False
    through: str = ""
    failed: str = ""
    wrong: str = ""

    @property
    def is_long(self) -> bool:
        return len(self.fields) > 24 and hasattr(self.fields[0], "joined")

    @property
    def each(self) -> str:
        """Say once what every pair of a long group should read, where that is the same for all."""
        said = {one.expect.rpartition(": ")[2] for one in self.fields} if self.is_long else set()
        return f"Each {said.pop()}." if len(said) == 1 else ""

    @property
    def is_told(self) -> bool:
        return any(one.value or one.wrong for one in self.fields)


@dataclass(kw_only=True)
class Asked:
    """Everything asked about one item by one procedure at one depth, and why nothing can be where that is so."""

    procedure: Procedure
    depth: Depth
    groups: list[Group] = field(default_factory=list)
    why_not: str = ""
    word: bool | None = None
    symptom: str = ""
    note: str = ""
    lacking: tuple[str, ...] = ()
    caution: str = ""
    beeped: bool = False
    counts: tuple[int, int] = (0, 0)  # sends and returns of a multicore

    @property
    def in_ohms(self) -> bool:
        return self.depth in IN_OHMS

    @property
    def is_flexed(self) -> bool:
        return self.depth in FLEXED

    @property
    def seen_by(self) -> Depth:
        """Return how deep the answers go: what was beeped through is no deeper than lamps, whatever the meter can do."""
        return LAMPS_OF.get(self.depth, self.depth) if self.beeped else self.depth

    @property
    def fields(self) -> list[Any]:
        return [one for group in self.groups for one in group.fields]

    @property
    def wrong(self) -> list[Any]:
        return [one for one in (*self.fields, *self.groups) if one.wrong]


def asked_of(
    subject: Subject,
    *,
    procedure: Procedure,
    depth: Depth,
    limits: BenchLimits,
    capabilities: frozenset[Capability],
    temperature_c: float,
    symptoms: Sequence[str] = (),
    also: Iterable[tuple[str, str]] = (),
) -> Asked:
    """Return what to ask about an item. `also` are pairs to show besides, as those of a test that is corrected."""
    asked = Asked(procedure=procedure, depth=depth)
    if procedure == Procedure.WORD:
        return asked
    if procedure == Procedure.WIRING:
        if subject.lead is None:
            asked.why_not = subject.no_lead
            return asked
        if subject.lead.has_electronics:
            asked.caution = "More than copper sits between its pins: never an insulation tester on it."
        asked.groups = _pair_groups(subject, depth, limits, capabilities, temperature_c, symptoms, also)
        if asked.in_ohms and asked.is_flexed:
            for one in asked.fields:
                one.expect = f"worst while bent, {one.expect}".rstrip(", ")
        if asked.in_ohms and (blind := _too_fine(subject, limits, capabilities, temperature_c)):
            asked.caution = f"{asked.caution} {blind}".strip()
        wiring = subject.lead.wiring
        if wiring.sends is not None:
            asked.counts = (wiring.sends, len(wiring.channels) - wiring.sends)
            for group in asked.groups:
                if len(group.fields) >= MANY and all(one.joined for one in group.fields):
                    group.through = THROUGH
        return asked
    from maintenance.calc.procedures import not_measurable, steps_for

    asked.lacking = not_measurable(
        procedure=procedure, facts=subject.facts, capabilities=capabilities, limits=limits, golden=subject.golden
    )
    steps = steps_for(
        procedure=procedure,
        facts=subject.facts,
        capabilities=capabilities,
        limits=limits,
        golden=subject.golden,
        symptoms=tuple(symptoms),
    )
    if not steps:
        asked.why_not = "Nothing the shop can measure fits it: take the tester’s word, or say under Instruments what there is."
    channels: dict[int | None, Group] = {}
    for step in steps:
        title = "" if step.channel is None else f"Channel {step.channel}"
        channels.setdefault(step.channel, Group(title=title)).fields.append(StepField(step=step))
    asked.groups = list(channels.values())
    return asked


def _too_fine(subject: Subject, limits: BenchLimits, capabilities: frozenset[Capability], temperature_c: float) -> str:
    """Say that a loudspeaker lead's cores are finer than what the shop's meters show; empty where they are not."""
    from maintenance.calc.wiring import core_limits
    from maintenance.calc.wiring_limits import TEST_LEADS_OHM

    lead = subject.lead
    if lead is None or not lead.loudspeaker or Capability.MILLIOHMS in capabilities:
        return ""
    core = core_limits(lead=lead, limits=limits, temperature_c=temperature_c).core
    if core is None or core.pass_ohm >= TEST_LEADS_OHM:
        return ""
    return (
        f"A core of it may read {ohms_words(core.pass_ohm)} at most, and a two-wire meter of tenths cannot see that: a thin "
        "joint passes here. It takes a four-wire meter."
    )


def _pair_groups(
    subject: Subject,
    depth: Depth,
    limits: BenchLimits,
    capabilities: frozenset[Capability],
    temperature_c: float,
    symptoms: Sequence[str],
    also: Iterable[tuple[str, str]],
) -> list[Group]:
    from maintenance.calc.wiring import pairs_to_ask

    lead = subject.lead
    assert lead is not None  # noqa: S101 (asked_of has looked)
    groups: dict[str, Group] = {}
    seen: set[frozenset[str]] = set()
    asks = pairs_to_ask(
        wiring=lead.wiring,
        capabilities=capabilities,
        depth=depth,
        symptoms=[Symptom(symptom) for symptom in symptoms],
        lead=lead,
        limits=limits,
        temperature_c=temperature_c,
    )
    for ask in asks:
        seen.add(frozenset(ask.pair))
        joined = ask.expected in {Expect.JOINED, Expect.RESISTOR}
        hint = ask.why if ask.why.startswith("\u201c") else ""
        one = PairField(
            a=ask.a, b=ask.b, expect=_expected(ask, lead.wiring, depth), why=hint, joined=joined, channel=ask.channel
        )
        groups.setdefault(ask.group, Group(title=GROUP_WORDS.get(ask.group, ask.group))).fields.append(one)
    _mirrored(lead.wiring, groups, seen, depth)
    for name, group in groups.items():
        if all(not one.joined for one in group.fields):
            group.rest = f"rest:{name}"
    more = [pair for pair in also if frozenset(pair) not in seen]
    if more:
        groups["as read before"] = Group(title="As read before", fields=[PairField(a=a, b=b) for a, b in more])
    return list(groups.values())


def _mirrored(wiring: Any, groups: dict[str, Group], seen: set[frozenset[str]], depth: Depth) -> None:
    """Add the other way round of each wrong pair of a small lead: only both tell a swap from a broken core."""
    if len(wiring.ends) != 2 or "wrong pairs" not in groups or len(wiring.pins) > SMALL:
        return
    left, right = ([pin for place, pin in enumerate(wiring.pins) if wiring.end_index[place] == end] for end in (0, 1))
    for a in left:
        for b in right:
            if frozenset((a, b)) in seen or is_shell(a) or is_shell(b) or wiring.expected(a, b).kind != Expect.OPEN:
                continue
            seen.add(frozenset((a, b)))
            reads = "over range" if depth in IN_OHMS else "no beep"
            groups["wrong pairs"].fields.append(PairField(a=a, b=b, expect=reads, joined=False))
    groups["wrong pairs"].fields.sort(key=lambda one: (wiring.index[one.a], wiring.index[one.b]))


def _expected(ask: Any, wiring: Any, depth: Depth) -> str:
    """Say what a pair should read: screen, under 0.77 ohm."""
    if ask.expected == Expect.JOINED:
        role = "" if wiring.net_of(ask.a).role == "core" else f"{wiring.net_of(ask.a).role}: "
        reads = f"expected under {ohms_words(ask.limit)}" if ask.limit is not None else "should be joined"
        return f"{role}{reads if depth in IN_OHMS else 'should beep'}"
    if ask.expected == Expect.RESISTOR:
        return f"{ask.why}, at most {ohms_words(ask.limit)}" if ask.limit is not None else str(ask.why)
    if ask.expected == Expect.MAYBE:
        return str(ask.why)
    return "over range" if depth in IN_OHMS else "no beep"


def prefill(asked: Asked, test: BenchTest) -> None:
    """Write the readings of a test into the fields, so that one can be corrected."""
    pairs = test.readings.get("pairs", ())
    as_read = {(frozenset((p["from"], p["to"])), bool(p.get("flexed"))): _written(p) for p in pairs}
    steps = {s["step"]: s for s in test.readings.get("steps", ())}
    for one in asked.fields:
        if isinstance(one, PairField):
            pair = frozenset((one.a, one.b))
            one.value, one.flexed = as_read.get((pair, False), ""), as_read.get((pair, True), "")
            if asked.in_ohms and one.flexed and not one.value:
                one.value, one.flexed = one.flexed, ""
            if not asked.in_ohms and asked.is_flexed and one.flexed:
                one.value = "drops out" if one.value == "beep" and one.flexed == "no beep" else one.value or one.flexed
        elif found := steps.get(one.step.key):
            if "value" in found:
                one.value = f"{found['value']:g}"
            else:
                one.value = "OL" if one.step.unit else "yes" if found.get("yes") else "no"
    asked.word, asked.note, asked.symptom = test.readings.get("word"), test.note, test.readings.get("symptom", "")


def _written(pair: Mapping[str, Any]) -> str:
    return written(ohms=pair.get("ohms"), beep=pair.get("beep"), above_ohms=pair.get("above_ohms"))


def answered(asked: Asked, post: Mapping[str, str]) -> tuple[tuple[PairReading, ...], tuple[StepReading, ...]]:
    """Read a form back into readings; what is wrong stands on its field, and the rest is read all the same."""
    asked.note = post.get("note", "").replace("\0", " ")
    asked.symptom = heard if (heard := post.get("symptom", "")) in set(Symptom) else ""
    pairs: list[PairReading] = []
    steps: list[StepReading] = []
    for group in asked.groups:
        group.ticked = bool(group.rest) and post.get(group.rest) == "over"
        if group.through:
            _beeped_through(group, asked, post)
        for one in group.fields:
            one.value = post.get(one.name, "").replace("\0", " ").strip()
            if isinstance(one, PairField):
                one.flexed = post.get(one.flexed_name, "").replace("\0", " ").strip()
                pairs += _pair_answer(one, asked, rest=group.ticked)
            else:
                steps += _step_answer(one)
    return tuple(pairs), tuple(steps)


def _beeped_through(group: Group, asked: Asked, post: Mapping[str, str]) -> None:
    """Write a lamp tester's statement into the fields that are left empty: which channels failed, that the others beep."""
    group.ticked = post.get(group.through) == "beep"
    group.failed = post.get("failed", "").replace("\0", " ").strip()[:LONGEST_LIST]
    try:
        failed = channels_typed(group.failed, sends=asked.counts[0], returns=asked.counts[1])
    except TypedError as error:
        group.wrong = str(error)
        return
    pins: dict[int | None, set[str]] = {one.channel: set() for one in group.fields}
    for one in group.fields:
        pins[one.channel].add(local_pin(one.a))
    for channel, pin in failed.items():
        if pin and pin not in pins.get(channel, ()):
            group.wrong = f"Channel {channel} has no pin {pin}: it has {', '.join(sorted(pins[channel]))}."
            return
    asked.beeped = bool(failed) or group.ticked
    for one in group.fields:
        bad = None if one.channel is None else failed.get(one.channel)
        silent = bad is not None and bad in {"", local_pin(one.a)}
        one.stated = "no beep" if silent else "beep" if group.ticked or bad is not None else ""


def local_pin(pin: str) -> str:
    """Return a pin without its end and channel: 2 of A14.2."""
    return pin.rpartition(".")[2]


def _pair_answer(one: PairField, asked: Asked, *, rest: bool) -> list[PairReading]:
    low = one.value.lower()
    if one.stated and not low and not one.flexed:
        still = PairReading(a=one.a, b=one.b, beep=one.stated == "beep")
        return [still, replace(still, flexed=True)] if asked.is_flexed else [still]
    if not asked.in_ohms:
        beeps = {"beep": True, "s": True, "no beep": False, "o": False, "n": False, "drops out": True}
        if not low and rest:
            return [PairReading(a=one.a, b=one.b, beep=False)]
        if not low:
            return []
        if low in beeps and not asked.is_flexed:
            return [PairReading(a=one.a, b=one.b, beep=beeps[low])]
        if low in beeps:
            still = PairReading(a=one.a, b=one.b, beep=beeps[low])
            return [still, PairReading(a=one.a, b=one.b, beep=beeps[low] and low != "drops out", flexed=True)]
    try:
        typed = reading_typed(one.value)
        bent = reading_typed(one.flexed)
    except TypedError as error:
        one.wrong = str(error)
        return []
    if typed.is_empty and rest:
        typed = Typed(above_ohms=RANGE_TOP_OHM)
    # one answer of a flexed test is the worst while bent, and stands for both; two are lying still and bent
    found = [] if typed.is_empty else [_pair(one, typed, flexed=asked.is_flexed and bent.is_empty)]
    return found + ([] if bent.is_empty else [_pair(one, bent, flexed=True)])


def _pair(one: PairField, typed: Typed, *, flexed: bool) -> PairReading:
    return PairReading(a=one.a, b=one.b, ohms=typed.ohms, beep=typed.beep, above_ohms=typed.above_ohms, flexed=flexed)


def _step_answer(one: StepField) -> list[StepReading]:
    step, text = one.step, one.value.lower()
    if not text:
        return []
    if not step.unit:
        if text in {"yes", "y", "s"}:
            return [StepReading(step=step.key, yes=True)]
        if text in {"no", "n", "o"}:
            return [StepReading(step=step.key, yes=False)]
        one.wrong = "Say yes or no."
        return []
    if step.over and is_over(text):
        return [StepReading(step=step.key, yes=False)]
    try:
        value = float(text.replace(",", ".").replace("\u2212", "-").removesuffix(step.unit.lower()).strip())
    except ValueError:
        if step.unit.lower() in {"ohm", "\u03c9"} and (ohms := _ohms(one.value)) is not None:
            return [StepReading(step=step.key, value=ohms)]
        one.wrong = f"“{one.value[:LONGEST_ANSWER]}” is no number: write it in {step.unit}, as {_example(step)}."
        return []
    return [StepReading(step=step.key, value=value)]


def _ohms(text: str) -> float | None:
    """Return ohms written as at a meter, 1k2 or 4M7; None where it is no such number."""
    try:
        return reading_typed(text).ohms
    except TypedError:
        return None


def _example(step: Any) -> str:
    value = step.low if step.low is not None else step.high
    return said(value, "").strip() if value is not None else "4.7"
