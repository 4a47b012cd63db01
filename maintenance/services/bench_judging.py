"""Say what a test comes to before anything is written: who may test what, which readings can be, and the verdict."""

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from company.clock import today
from company.templatetags.tape import day as day_words
from company.templatetags.tape import moment
from inventory.calc.kinds import KIND_NAMES, KINDS_WITH_CHANNELS, Kind
from inventory.models import Item, ItemEvent
from maintenance.bench_subject import Subject
from maintenance.calc.bench import (
    Depth,
    Finding,
    Judgement,
    PairReading,
    Procedure,
    ReadingError,
    StepReading,
    Verdict,
)
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.suspicions import base_of
from maintenance.calc.symptoms import Symptom
from maintenance.calc.word import judge_word
from maintenance.models import BenchSettings, BenchTest, Sitting

MOST_READINGS = 20_000
LONGEST_NOTE = 500
EARLIEST = datetime(1950, 1, 1, tzinfo=UTC)
A_YEAR = timedelta(days=366)
CLOCKS_DIFFER = timedelta(minutes=10)  # a laptop's clock may be ahead of ours by so much
NONE_SEEN = UUID(int=0)  # as `after`: the tester had seen that there was no test yet


class TestRefused(ValueError):  # noqa: N818 (a word of the house)
    """A test cannot be taken as sent; `field` names what is wrong with it, and the words say why."""

    __test__ = False  # the name begins as pytest's tests do

    def __init__(self, words: str, field: str = "") -> None:
        super().__init__(words)
        self.field = field


@dataclass(frozen=True, kw_only=True)
class Given:
    """One test as it was done. `uid` is made where it was done and is stored once however often it is sent.

    `after` is the uid of the newest test the tester had seen (`NONE_SEEN`: there was none; None: not asked). `word` is the
    tester's own word, for `Procedure.WORD`. `null_ohms` is what the test leads read alone, None when nobody measured it.
    `corrects` is the test this one stands in for. `symptom` is what a bad one does, beside a word.
    """

    uid: UUID
    item: Item
    procedure: Procedure
    depth: Depth
    done_at: datetime
    readings: tuple[PairReading, ...] = ()
    steps: tuple[StepReading, ...] = ()
    word: bool | None = None
    symptom: str = ""
    instrument: Item | None = None
    instrument_name: str = ""
    null_ohms: float | None = None
    temperature_c: float = 20.0
    sitting: Sitting | None = None
    note: str = ""
    minutes: float | None = None
    corrects: BenchTest | None = None
    after: UUID | None = None


def given_check(given: Given, *, received_at: datetime) -> None:
    """Refuse, in a sentence and with its field, what cannot be a test of that item at that time. Needs `item.type`."""
    item = given.item
    if given.procedure == Procedure.UNDO:
        raise TestRefused("Taking a test back is asked for on that test.", "procedure")
    if not item.type.has_standing:
        raise TestRefused(
            f"{item} is a {KIND_NAMES[Kind(item.type.kind)]}: that is never good or bad, so it is not tested.", "code"
        )
    _when_check(given, received_at)
    for name, value, least, most, words in (
        ("null_ohms", given.null_ohms, 0, 100, "The null of the leads lies between 0 and 100 ohm."),
        ("temperature_c", given.temperature_c, -40, 60, "The temperature lies between -40 and 60 degrees Celsius."),
        ("minutes", given.minutes, 0, 1440, "A test takes between 0 and 1440 minutes."),
    ):
        if value is not None and not (math.isfinite(value) and least <= value <= most):
            raise TestRefused(words, name)
    if given.symptom and given.symptom not in set(Symptom):
        raise TestRefused(f"“{given.symptom[:40]}” is none of the things a bad one does: {', '.join(Symptom)}.", "symptom")
    if len(given.note) > LONGEST_NOTE:
        raise TestRefused(f"Keep the note under {LONGEST_NOTE} characters.", "note")
    if len(given.readings) + len(given.steps) > MOST_READINGS:
        raise TestRefused(f"More than {MOST_READINGS} readings are no test of one thing. Send them in parts.", "readings")
    if given.instrument is not None and given.instrument.type.kind != Kind.INSTRUMENT:
        raise TestRefused(f"{given.instrument} is no bench instrument.", "instrument")


def _when_check(given: Given, received_at: datetime) -> None:
    item, done_at, field = given.item, given.done_at, "done_at"
    if done_at > received_at + A_YEAR:
        raise TestRefused(f"The test is dated in the year {done_at.year}, and that is still to come. Check the date.", field)
    if done_at > received_at + CLOCKS_DIFFER:
        raise TestRefused(f"The test is dated {moment(done_at)}, and that is still to come. Check the date.", field)
    if done_at < EARLIEST:
        raise TestRefused(f"The test is dated {done_at.year}. Check the date.", field)
    if not (item.bought_on or item.retired_on or item.gone_home_on):
        return  # the day in the company's zone is not asked for: a log has thousands of rows
    day = today(done_at)
    if item.bought_on and day < item.bought_on:
        raise TestRefused(
            f"The test is dated {day_words(day)}, but {item} was bought on {day_words(item.bought_on)}. Check which is right.",
            field,
        )
    for gone_on, what, words in (
        (item.retired_on, ItemEvent.What.RETIRED, "was retired on {}. Bring it back into use first."),
        (item.gone_home_on, ItemEvent.What.GONE_HOME, "was borrowed and went home on {}. Note that it is here again first."),
    ):
        if gone_on is None:
            continue
        told = item.events.filter(what=what).order_by("-at").values_list("at", flat=True).first()
        if done_at >= told if told and today(told) == gone_on else day >= gone_on:
            raise TestRefused(f"{item} {words.format(day_words(gone_on))}", "code")


def judged(given: Given, subject: Subject, limits: BenchLimits) -> Judgement:
    """Say what a test comes to. Raises TestRefused for a reading that cannot be, naming it."""
    if given.procedure not in subject.procedures:
        fits = ", ".join(p.value for p in subject.procedures)
        raise TestRefused(
            f"A {KIND_NAMES[subject.kind]} is not tested by “{given.procedure}”; what fits is: {fits}.", "procedure"
        )
    if given.procedure == Procedure.WORD:
        if given.readings or given.steps:
            raise TestRefused(
                "Readings came with the tester’s word, and a word would throw them away. Record the readings, or clear them "
                "and give your word alone. Nothing is written yet.",
                "word",
            )
        return judge_word(word=given.word, depth=given.depth, note=given.note, symptom=_heard(given))
    if given.procedure == Procedure.WIRING:
        return _wiring_judged(given, subject, limits)
    from maintenance.calc.procedures import judge_steps

    try:
        judgement = judge_steps(
            procedure=given.procedure, facts=subject.facts, readings=given.steps, limits=limits, golden=subject.golden
        )
        return replace(judgement, depth=_steps_depth(given))
    except ReadingError as wrong:
        raise TestRefused(str(wrong), "steps" if wrong.where is None else f"steps.{wrong.where}") from wrong


def _steps_depth(given: Given) -> Depth:
    """Return how deep a test of steps went: it counts as moved where the step that moves its plugs was answered."""
    moved = any(base_of(reading.step) == "crackle" for reading in given.steps)
    return (
        given.depth if moved else {Depth.OHMS_FLEXED: Depth.OHMS, Depth.LAMPS_FLEXED: Depth.LAMPS}.get(given.depth, given.depth)
    )


def _wiring_judged(given: Given, subject: Subject, limits: BenchLimits) -> Judgement:
    if subject.lead is None:
        return Judgement(verdict=Verdict.CANNOT_TELL, reasons=(subject.no_lead,))
    from maintenance.calc.wiring import judge

    try:
        return judge(
            lead=subject.lead,
            readings=given.readings,
            limits=limits,
            null_ohms=given.null_ohms,
            temperature_c=given.temperature_c,
            depth=given.depth,
        )
    except ReadingError as wrong:
        raise TestRefused(str(wrong), "readings" if wrong.where is None else f"readings.{wrong.where}") from wrong


def bench_limits() -> BenchLimits:
    """Return what readings are held against, as the shop has set it."""
    return BenchSettings.current().limits()


def row_of(given: Given, subject: Subject, judgement: Judgement, *, person: Any, received_at: datetime) -> BenchTest:
    """Return the row of a test, not saved yet."""
    instrument = given.instrument
    return BenchTest(
        uid=given.uid,
        item=given.item,
        procedure=given.procedure,
        depth=judgement.depth or given.depth,
        done_at=min(given.done_at, received_at),
        received_at=received_at,
        person=person,
        sitting=given.sitting,
        instrument=instrument,
        instrument_name=(str(instrument) if instrument else given.instrument_name)[:140],
        calibrated_on=instrument.calibrated_on if instrument else None,
        null_ohms=given.null_ohms or 0.0,
        temperature_c=given.temperature_c,
        wiring=subject.wiring.key if subject.wiring and given.procedure == Procedure.WIRING else "",
        readings=_as_read(given),
        verdict=judgement.verdict,
        findings=[_told(finding) for finding in judgement.findings],
        reasons=list(judgement.reasons),
        not_measured=list(judgement.not_measured),
        dead_channels=sorted(judgement.dead_channels),
        limits=dict(judgement.limits),
        note=" ".join(given.note.split()),
        minutes=given.minutes,
        effects=_reach(given, subject, judgement) | _looked_into(given),
    )


def _heard(given: Given) -> str:
    """Return what a bad one does in the tester's own word; nothing where that says no more than that it is bad."""
    return given.symptom if given.word is False and given.symptom != Symptom.OTHER else ""


def _looked_into(given: Given) -> dict[str, Any]:
    """Return which steps of a box were answered, and what the tester heard: a complaint is laid to rest by these."""
    if given.procedure == Procedure.WORD:
        return {"symptom": heard} if (heard := _heard(given)) else {}
    return {"steps": sorted({base_of(reading.step) for reading in given.steps})} if given.steps else {}


def _reach(given: Given, subject: Subject, judgement: Judgement) -> dict[str, Any]:
    """Return how far the verdict reaches: how many channels there are, whether all that is bad lies in some of them, and
    which were looked at where not all were."""
    if subject.kind not in KINDS_WITH_CHANNELS:
        return {}
    dead = set(judgement.dead_channels)
    bad = [finding for finding in judgement.findings if finding.weight == Verdict.FAIL]
    reach: dict[str, Any] = {"channels": subject.channels}
    if dead and all(finding.channel in dead for finding in bad):
        reach["confined"] = True
    looked = _channels_seen(given, subject)
    if looked and len(looked) < subject.channels:
        reach["covers"] = sorted(looked)
    return reach


def _channels_seen(given: Given, subject: Subject) -> set[int]:
    if given.procedure == Procedure.WIRING:
        pins = {pin for reading in given.readings for pin in (reading.a, reading.b)}
        heads = {
            pin.split(".", 1)[0].lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz") for pin in pins if "." in pin
        }
        return {int(head) for head in heads if head.isdecimal()}
    if not given.steps:
        return set()
    from maintenance.calc.procedures import every_step

    laid_out = every_step(procedure=given.procedure, facts=subject.facts, limits=bench_limits(), golden=subject.golden)
    answered = {reading.step for reading in given.steps}
    return {step.channel for step in laid_out if step.key in answered and step.channel is not None}


def _as_read(given: Given) -> dict[str, Any]:
    if given.procedure == Procedure.WORD:
        return {"word": given.word} | ({"symptom": given.symptom} if given.symptom and given.word is False else {})
    as_read: dict[str, Any] = {}
    if given.readings:
        as_read["pairs"] = [
            {"from": r.a, "to": r.b}
            | {name: value for name in ("ohms", "beep", "above_ohms") if (value := getattr(r, name)) is not None}
            | ({"flexed": True} if r.flexed else {})
            for r in given.readings
        ]
    if given.steps:
        as_read["steps"] = [
            {"step": r.step} | {name: value for name in ("value", "yes") if (value := getattr(r, name)) is not None}
            for r in given.steps
        ]
    return as_read


def _told(finding: Finding) -> dict[str, Any]:
    return {**asdict(finding), "pins": list(finding.pins), "weight": str(finding.weight)}


def judgement_of(test: BenchTest) -> Judgement:
    """Return the judgement stored with a test, as it was made."""
    from maintenance.calc.bench import Figure

    fields: Mapping[str, Any] = Finding.__dataclass_fields__
    findings = [
        Finding(
            **{name: f[name] for name in fields if name in f and name not in ("pins", "weight")},
            pins=tuple(f.get("pins", ())),
            weight=Verdict(f.get("weight", Verdict.FAIL)),
        )
        for f in test.findings
    ]
    return Judgement(
        verdict=Verdict(test.verdict),
        findings=tuple(findings),
        reasons=tuple(test.reasons),
        not_measured=tuple(test.not_measured),
        figures=tuple(
            Figure(name=f.name, value=f.value, unit=f.unit, low=f.low, high=f.high, within=f.within) for f in test.figures.all()
        ),
        dead_channels=tuple(test.dead_channels),
        limits=test.limits,
    )
