"""Bench tests over HTTP: a tester sends what it measured and is told what it comes to."""

from datetime import date
from typing import Annotated, Any
from uuid import UUID

from django.http import HttpRequest
from ninja import Body, Router, Schema, Status
from pydantic import Field, model_validator

from company.api import PROBLEMS, CleanText, Instant, Problem, person_of, technicians_alone
from company.clock import now
from inventory.calc import codes
from inventory.calc.kinds import Kind
from inventory.models import Item
from inventory.search import item_of_code
from maintenance.bench_subject import subject_of
from maintenance.calc.bench import Depth, PairReading, Procedure, StepReading, Verdict
from maintenance.calc.symptoms import Symptom
from maintenance.models import BenchTest
from maintenance.services.bench import Given, Recorded, TestRefused, test_record
from maintenance.services.bench_judging import MOST_READINGS

router = Router(tags=["bench"])

Number = Annotated[float, Field(allow_inf_nan=False)]
Pin = Annotated[CleanText, Field(min_length=1, max_length=12)]
Short = Annotated[CleanText, Field(max_length=140)]


class PairIn(Schema):
    """One pair of pins as read; exactly one of `ohms`, `beep` and `above_ohms`."""

    a: Pin = Field(alias="from", description="A pin, such as A1; of a multicore A14.2.")
    b: Pin = Field(alias="to", description="The other pin, such as B1.")
    ohms: Number | None = None
    beep: bool | None = None
    above_ohms: Number | None = Field(None, description="The top of the meter's range, where it showed over.")
    flexed: bool = Field(False, description="The worst reading while it was bent.")

    @model_validator(mode="after")
    def _one_of_three(self) -> "PairIn":
        if sum(value is not None for value in (self.ohms, self.beep, self.above_ohms)) != 1:
            raise ValueError("Give exactly one of ohms, beep and above_ohms.")
        return self


class StepIn(Schema):
    """One answer of a step of a box's test: `value` in the step's unit, or `yes`."""

    step: Annotated[CleanText, Field(min_length=1, max_length=80)]
    value: Number | None = None
    yes: bool | None = None

    @model_validator(mode="after")
    def _one_of_two(self) -> "StepIn":
        if (self.value is None) == (self.yes is None):
            raise ValueError("Give exactly one of value and yes.")
        return self


class BenchTestIn(Schema):
    """One test as it was done."""

    id: UUID = Field(description="Made where it was done; the same id is stored once, however often it is sent.")
    code: CleanText = Field(description="What was read off the label.", max_length=4096)
    procedure: Procedure | None = Field(None, description="Left out: the one that fits that kind of thing best.")
    depth: Depth = Depth.OHMS
    done_at: Instant
    instrument: Short = Field("", description="The code of one of our instruments, or its name.")
    null_ohms: Number | None = Field(None, description="What the test leads read alone; 0 where the instrument takes it off.")
    temperature_c: Number = 20.0
    readings: Annotated[list[PairIn], Field(max_length=MOST_READINGS)] = []
    steps: Annotated[list[StepIn], Field(max_length=2000)] = []
    figures: Annotated[dict[str, Number], Field(max_length=2000)] = Field({}, description="Steps that are numbers, by name.")
    word: bool | None = Field(None, description="The tester's own word, where nothing was measured.")
    symptom: Symptom | None = Field(None, description="What a bad one does, beside a word that it is bad.")
    note: Annotated[CleanText, Field(max_length=500)] = ""
    minutes: Annotated[Number, Field(ge=0, le=1440)] | None = None
    corrects: UUID | None = Field(None, description="The id of the test this one stands in for.")
    after: UUID | None = Field(None, description="The id of the newest test you had seen; refused if there is a newer one.")


class FindingOut(Schema):
    name: str
    title: str
    text: str
    effect: str
    repair: str
    pins: list[str]
    channel: int | None
    weight: str


class OpenStill(Schema):
    symptom: str
    why: str


class BenchTestOut(Schema):
    """What a test comes to. `again`: it was on record, and this is what was answered then."""

    id: UUID
    code: str
    verdict: Verdict
    findings: list[FindingOut]
    reasons: list[str]
    not_measured: list[str]
    test_by: date | None
    said: list[str]
    open_still: list[OpenStill]
    again: bool


@router.post(
    "/bench-tests",
    response={200: BenchTestOut, **PROBLEMS},
    summary="Send a bench test",
    auth=technicians_alone("Bench tests are a technician's."),
)
def bench_tests(request: HttpRequest, body: Body[BenchTestIn]) -> Any:
    """Take one bench test and answer its verdict with reasons. Sending the same id again gives the same answer.

    A test that cannot be (a pin that does not exist, negative ohms, a date still to come, a retired item) is 422 with a
    sentence, and nothing of it is written.
    """
    person = person_of(request)
    try:
        return _answer(test_record(given=_given(body), person=person, received_at=now()))
    except TestRefused as refused:
        return Status(422, Problem(field=refused.field, detail=str(refused)))


def _given(body: BenchTestIn) -> Given:
    item = _item(body)
    instrument = _instrument(body.instrument)
    steps = [StepReading(step=step.step, value=step.value, yes=step.yes) for step in body.steps]
    steps += [StepReading(step=name, value=value) for name, value in body.figures.items()]
    return Given(
        uid=body.id,
        item=item,
        procedure=body.procedure or _likeliest(body, item),
        depth=body.depth,
        done_at=body.done_at,
        readings=tuple(
            PairReading(a=r.a, b=r.b, ohms=r.ohms, beep=r.beep, above_ohms=r.above_ohms, flexed=r.flexed) for r in body.readings
        ),
        steps=tuple(steps),
        word=body.word,
        symptom=body.symptom or "",
        instrument=instrument,
        instrument_name="" if instrument else body.instrument,
        null_ohms=body.null_ohms,
        temperature_c=body.temperature_c,
        note=body.note,
        minutes=body.minutes,
        corrects=_corrected(body),
        after=body.after,
    )


def _item(body: BenchTestIn) -> Item:
    known = BenchTest.objects.select_related("item__type").filter(uid=body.id).first()
    if known is not None:
        return known.item  # its answer is the same whatever the label says by now
    read = codes.parse(body.code)
    if read.read is not codes.Read.CODE:
        raise TestRefused(read.why or "That is a card, not the label of a thing.", "code")
    found = item_of_code(read.code)
    if found is None:
        raise TestRefused("Nothing has this label yet. Bind the label to a thing first, then send the test again.", "code")
    return found


def _instrument(text: str) -> Item | None:
    read = codes.parse(text) if text.strip() else None
    found = item_of_code(read.code) if read and read.read is codes.Read.CODE else None
    return found if found is not None and found.type.kind == Kind.INSTRUMENT else None


def _likeliest(body: BenchTestIn, item: Item) -> Procedure:
    if body.word is not None and not (body.readings or body.steps or body.figures):
        return Procedure.WORD
    return subject_of([item])[item.pk].procedures[0]


def _corrected(body: BenchTestIn) -> BenchTest | None:
    if body.corrects is None:
        return None
    found = BenchTest.objects.filter(uid=body.corrects).first()
    if found is None:
        raise TestRefused("There is no test of that id to correct.", "corrects")
    return found


def _answer(recorded: Recorded) -> dict[str, Any]:
    test, judgement = recorded.test, recorded.judgement
    return {
        "id": test.uid,
        "code": test.item.code,
        "verdict": judgement.verdict,
        "findings": [
            {
                "name": f.name,
                "title": f.title,
                "text": f.text,
                "effect": f.effect,
                "repair": f.repair,
                "pins": list(f.pins),
                "channel": f.channel,
                "weight": str(f.weight),
            }
            for f in judgement.findings
        ],
        "reasons": list(judgement.reasons),
        "not_measured": list(judgement.not_measured),
        "test_by": recorded.test_by,
        "said": recorded.words,
        "open_still": [{"symptom": fault.symptom, "why": why} for fault, why in recorded.open_still],
        "again": recorded.again,
    }
