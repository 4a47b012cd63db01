"""Shows and scans over HTTP."""

from dataclasses import asdict
from datetime import datetime
from enum import StrEnum
from typing import Annotated, Any
from uuid import UUID

from django.http import Http404, HttpRequest
from ninja import Body, Query, Router, Schema
from pydantic import AfterValidator, Field

from company.api import PROBLEMS, CleanText, Instant, person_of
from company.clock import now, today
from shows.models import Show
from shows.planning.input_list import advised_of, line_of, lines_of
from shows.planning.readiness import readiness_of
from shows.progress import PullLine, pull_progress, totals_of
from shows.services.scans import scans_record

router = Router()

MOST_SCANS = 500
LARGEST_KEY = 2**63 - 1
ShowKey = Annotated[int, Field(ge=1, le=LARGEST_KEY)]


class When(StrEnum):
    PAST = "past"
    NOW = "now"
    COMING = "coming"


class ShowRow(Schema):
    id: int
    name: str
    client: str
    venue: str
    load_in: datetime
    start: datetime
    end: datetime
    home_by: datetime
    state: str


class ShowQuery(Schema):
    when: When | None = None


class PulledOut(Schema):
    code: str
    name: str
    standing: str
    state: str


class PullRowOut(Schema):
    """One line of a pull list. `wanted` 0 is something that went along unasked."""

    type: str
    name: str
    length_mm: int
    wanted: int
    out: int
    back: int
    lacking: int
    lines: list[str]
    reasons: list[str]
    critical: str
    items: list[PulledOut]


class PullListOut(Schema):
    show: int
    wanted: int
    packed: int
    still_out: int
    rows: list[PullRowOut]


class ReadinessOut(Schema):
    """Whether a show is ready, and each thing that keeps it from being so as a sentence."""

    show: int
    ready: bool
    not_ready_because: list[str]


class LineOut(Schema):
    """One line of an input list. `advised`: the mic/DI the numbers choose, where nobody has said another."""

    number: int
    way: str
    source: str
    kind: str
    side: str
    player: str
    where: str
    pickup: str
    advised: str
    stand: str
    desk: int | None
    box: str
    box_input: int | None
    phantom: str
    feed: str
    whose: str
    critical: str
    notes: str


class LinesOut(Schema):
    show: int
    lines: list[LineOut]


def _some_name(value: str) -> str:
    if len(value) > 64:
        raise ValueError("A device's name has at most 64 characters.")
    return value


class ScanIn(Schema):
    """One scan. Only `id` is judged here; everything else is judged scan by scan and answered, whatever was sent."""

    model_config = {"extra": "allow"}

    id: UUID = Field(description="Made on the device; the same id is stored once, however often it is sent.")
    seq: Any = Field(None, description="The device's own running number.", json_schema_extra={"type": "integer"})
    code: Any = Field(None, description="What was read, as it was read.", json_schema_extra={"type": "string"})
    action: Any = Field(None, description="out, truck, back, inspect or undo.", json_schema_extra={"type": "string"})
    show: Any = Field(None, description="The show's id, for out and truck.", json_schema_extra={"type": ["integer", "null"]})
    happened_at: Any = Field(
        None, description="When, by the device's clock, with an offset.", json_schema_extra={"type": "string"}
    )
    condition: Any = Field(None, description="suspect, damaged, parts missing, label gone, or empty.")
    symptom: Any = Field(None, description="hums, crackles, dead and so on.")
    note: Any = None
    counted: Any = Field(None, description="How many were counted in the case, or of a counted line.")
    missing: Any = Field(None, description="Codes of contents that were not in the case.")
    undoes: Any = Field(None, description="The id of the scan that this one takes back.")
    replaces: Any = Field(None, description="The code of the dead item whose place on the pull list this one takes.")
    into: Any = Field(
        None, description="The code of the bench bag or case it was put in; whatever goes in a bench bag is suspect."
    )
    said: Any = Field(
        None,
        description="What the device said by itself, without signal: fine, look or stop. Is ours graver, a technician is told.",
    )
    ticked: Any = Field(None, description="True when it was ticked on paper or for a whole truck, not scanned.")


class ScansIn(Schema):
    device: Annotated[CleanText, AfterValidator(_some_name)] = ""
    sent_at: Instant | None = Field(None, description="The device's clock when it sent this; corrects a clock that is off.")
    scans: list[ScanIn] = Field(max_length=MOST_SCANS)


class ScanAnswerOut(Schema):
    id: UUID
    outcome: str
    signal: str
    reason: str
    code: str


class ScansOut(Schema):
    results: list[ScanAnswerOut]


@router.get("/shows", response={200: list[ShowRow], **PROBLEMS}, tags=["shows"], summary="Shows")
def shows(request: HttpRequest, query: Query[ShowQuery]) -> list[dict[str, Any]]:
    """List shows: past (the newest hundred), now, coming; without `when` those now and coming."""
    at = now()
    live = Show.objects.live().select_related("venue")
    if query.when == When.PAST:
        chosen = live.past_at(at).order_by("-load_in")[:100]
    elif query.when == When.NOW:
        chosen = live.under_way_at(at)
    elif query.when == When.COMING:
        chosen = live.coming_at(at)
    else:
        chosen = live.under_way_at(at) | live.coming_at(at)
    return [
        {
            "id": show.pk,
            "name": show.name,
            "client": show.client,
            "venue": show.venue.name if show.venue else "",
            "load_in": show.load_in,
            "start": show.start,
            "end": show.end,
            "home_by": show.home_by,
            "state": show.state,
        }
        for show in chosen
    ]


@router.get("/shows/{show_id}/pull-list", response={200: PullListOut, **PROBLEMS}, tags=["shows"], summary="A pull list")
def pull_list(request: HttpRequest, show_id: ShowKey) -> dict[str, Any]:
    """Return what a show pulls, how far it is packed, and what is with it now."""
    show = _show(show_id)
    lines = pull_progress(show, day=today())
    totals = totals_of(lines)
    return {
        "show": show.pk,
        "wanted": totals.wanted,
        "packed": totals.packed,
        "still_out": totals.still_out,
        "rows": [_pull_row(line) for line in lines],
    }


@router.get("/shows/{show_id}/lines", response={200: LinesOut, **PROBLEMS}, tags=["shows"], summary="An input list")
def input_list(request: HttpRequest, show_id: ShowKey) -> dict[str, Any]:
    """Return a show's input list, inputs then outputs."""
    show = _show(show_id)
    found = lines_of(show)
    advised = advised_of(show) if found else {}
    rows = [{**asdict(line_of(line)), "kind": line.type.name if line.type else ""} for line in found]
    lines = [{**row, "advised": "" if row["pickup"] else advised.get((row["way"], row["number"]), "")} for row in rows]
    return {"show": show.pk, "lines": lines}


@router.get("/shows/{show_id}/readiness", response={200: ReadinessOut, **PROBLEMS}, tags=["shows"], summary="Is it ready")
def readiness(request: HttpRequest, show_id: ShowKey) -> dict[str, Any]:
    """Say whether a show is ready to go, and what keeps it from being so."""
    show = _show(show_id)
    found = readiness_of(show, now())
    return {"show": show.pk, "ready": found.ready, "not_ready_because": [one.words for one in found.because]}


@router.post("/scans", response={200: ScansOut, **PROBLEMS}, tags=["scans"], summary="Send scans")
def scans(request: HttpRequest, body: Body[ScansIn]) -> dict[str, Any]:
    """Take up to 500 scans and answer each, in order, for good. Sending the same ids again gives the same answers.

    On 401, 403, 429 and 5xx keep the scans and send them again; on 413 and 422 halve the batch and send again.
    """
    answers = scans_record(
        actor=person_of(request),
        device=body.device,
        sent_at=body.sent_at,
        scans=[{**scan.model_dump(exclude_unset=True), "id": scan.id} for scan in body.scans],
        received_at=now(),
    )
    return {
        "results": [{"id": a.id, "outcome": a.outcome, "signal": a.signal, "reason": a.reason, "code": a.code} for a in answers]
    }


def _show(show_id: int) -> Show:
    found = Show.objects.filter(pk=show_id).first()
    if found is None:
        raise Http404(f"There is no show {show_id}.")
    return found


def _pull_row(line: PullLine) -> dict[str, Any]:
    return {
        "type": line.type_name,
        "name": line.name,
        "length_mm": line.length_mm,
        "wanted": line.wanted,
        "out": line.out,
        "back": line.back,
        "lacking": line.lacking,
        "lines": line.lines,
        "reasons": line.reasons,
        "critical": line.critical,
        "items": [
            {"code": item.code, "name": item.label, "standing": item.standing, "state": item.state} for item in line.items
        ],
    }
