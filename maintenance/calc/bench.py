"""The words of the bench: procedures, depths, what instruments can do, readings, findings, and what a test comes to."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Verdict(StrEnum):
    PASS = "pass"  # noqa: S105 (no password: a verdict)
    WATCH = "watch"
    FAIL = "fail"
    CANNOT_TELL = "cannot_tell"


VERDICT_WORDS = {
    Verdict.PASS: "pass",
    Verdict.WATCH: "watch",
    Verdict.FAIL: "fail",
    Verdict.CANNOT_TELL: "cannot tell",
}


class Depth(StrEnum):
    """How deep a test sees."""

    LAMPS = "lamps"
    LAMPS_FLEXED = "lamps-flexed"
    OHMS = "ohms"
    OHMS_FLEXED = "ohms-flexed"


DEPTH_WORDS = {
    Depth.LAMPS: "lamps or beeps",
    Depth.LAMPS_FLEXED: "lamps or beeps while flexed",
    Depth.OHMS: "ohms",
    Depth.OHMS_FLEXED: "ohms while flexed",
}
FLEXED = frozenset({Depth.LAMPS_FLEXED, Depth.OHMS_FLEXED})
IN_OHMS = frozenset({Depth.OHMS, Depth.OHMS_FLEXED})
# The share of what is bad that a test of this depth finds: lamps 0.6, lamps while flexed 0.9, ohms while flexed 0.97 are a
# judgement of the trade, from memory; ohms without flexing lies between (our proposal). Editable as bench settings.
SENSITIVITY = {Depth.LAMPS: 0.6, Depth.LAMPS_FLEXED: 0.9, Depth.OHMS: 0.75, Depth.OHMS_FLEXED: 0.97}


class Procedure(StrEnum):
    """What kind of test it was; which one fits follows from the kind of gear."""

    WIRING = "wiring"  # pairs of pins of a lead, adapter or multicore
    WORD = "word"  # the tester's own word: good, or not
    PASSIVE_BOX = "passive-box"
    ACTIVE_BOX = "active-box"
    PHANTOM = "phantom"  # phantom outputs of a desk or stage box
    INPUT = "input"  # inputs of a desk or stage box
    MICROPHONE = "microphone"
    TRANSMITTER = "transmitter"  # transmitters and receivers
    DRIVER = "driver"  # loudspeakers
    HEADPHONES = "headphones"
    MAINS = "mains"  # figures are recorded and compared; never declared safe
    UNDO = "undo"  # takes another test back


# How a thing without pins was tested, as "by ..." says it: ohms and lamps are words of leads.
HOW_WORDS = {
    Procedure.PASSIVE_BOX: "the steps of a passive box",
    Procedure.ACTIVE_BOX: "the steps of an active box",
    Procedure.PHANTOM: "phantom under load",
    Procedure.INPUT: "a tone beside its neighbours",
    Procedure.MICROPHONE: "ear and level beside the reference one",
    Procedure.TRANSMITTER: "a link that carries",
    Procedure.DRIVER: "ear and sweep",
    Procedure.HEADPHONES: "ear, both sides",
    Procedure.MAINS: "the appliance tester",
}


def how_words(procedure: str, depth: Depth) -> str:
    """Say how a test was done, to follow "by": lamps and ohms for leads and for the tester's word, the steps for the rest."""
    how = HOW_WORDS.get(Procedure(procedure)) if procedure else None
    if how is None:
        return DEPTH_WORDS[depth]
    return f"{how}, moved" if depth in FLEXED else how


class Capability(StrEnum):
    """What the shop's instruments can do; nothing else is asked for."""

    CONTINUITY = "continuity"
    OHMS = "ohms"
    MILLIOHMS = "milliohms"  # four-wire
    INSULATION = "insulation"
    VOLTS = "volts"
    MILLIAMPS = "milliamps"
    PHANTOM_LOAD = "phantom load"  # a plug with 1.4 or 3.3 kohm from 2 + 3 to 1
    TONE = "tone and level"  # 1 kHz in, a level out
    SUPPLY = "bench supply"  # stands in for a low cell
    POLARITY = "polarity"
    LISTEN = "listening"  # a desk, headphones and ears
    MAINS_TESTER = "appliance tester"


@dataclass(frozen=True, kw_only=True)
class PairReading:
    """One pair of pins as read, such as A1 to B1: exactly one of ohms, beep, above_ohms is given.

    `above_ohms` is the top of the meter's range when it showed "over"; `flexed` marks the worst reading while bending.
    """

    a: str
    b: str
    ohms: float | None = None
    beep: bool | None = None
    above_ohms: float | None = None
    flexed: bool = False


@dataclass(frozen=True, kw_only=True)
class StepReading:
    """One answer of a step of a box's procedure: a number in the step's unit, or yes / no."""

    step: str
    value: float | None = None
    yes: bool | None = None


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One number a verdict was made from, with the limits it was held against; kept for charts. `within` None: not judged."""

    name: str
    value: float
    unit: str
    low: float | None = None
    high: float | None = None
    within: bool | None = None


ABOVE = "worst isolation >"  # a figure of this name is the top of the meter's range: what was measured lies above it


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One named reason: what was found, what it does on a show, what to mend. `weight` is FAIL or WATCH."""

    name: str
    title: str  # a short heading: Pins 2 and 3 swapped
    text: str  # the fact with its numbers
    effect: str = ""  # what it does on a show
    repair: str = ""  # the likely repair
    pins: tuple[str, ...] = ()
    channel: int | None = None
    weight: Verdict = Verdict.FAIL


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """What a test comes to. A verdict is never guessed: what is missing or impossible makes it CANNOT_TELL, with the reason.

    `reasons` are sentences (why it cannot tell, what limits were used); `not_measured` names what the readings leave out;
    `dead_channels` says where a part-good thing is bad; `limits` is what was held against, as stored with the test. `depth`
    is how deep the readings went, where that is not what the tester set out to do.
    """

    verdict: Verdict
    findings: tuple[Finding, ...] = ()
    reasons: tuple[str, ...] = ()
    not_measured: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    dead_channels: tuple[int, ...] = ()
    limits: Mapping[str, float | str] = field(default_factory=dict)
    depth: Depth | None = None


class ReadingError(ValueError):
    """A reading that cannot be: a pin that does not exist, negative ohms. The words say which and why, for a person.

    `where` is the index of the reading, or None.
    """

    def __init__(self, words: str, where: int | None = None) -> None:
        super().__init__(words)
        self.where = where
