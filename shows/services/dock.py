"""What the dock's forms do, all of it as scans: one thing, many ticked things, a count put right, a spare for a dead box."""

import uuid
from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.db import transaction

from company.models import Person
from maintenance.calc.symptoms import Symptom
from shows.calc.words import Action, Condition
from shows.models import Scan, Show

if TYPE_CHECKING:
    from shows.services.scans import ScanAnswer

BATCH = 500
BAG_NOTE = "Into the bench bag"

# A few symptoms are a condition of their own; every other one makes the thing suspect.
CONDITION_OF = {Symptom.DAMAGED: Condition.DAMAGED, Symptom.PARTS_MISSING: Condition.PARTS_MISSING}


def scan_shaped(
    *, code: str, action: str, at: datetime, show: int | None = None, uid: uuid.UUID | None = None, **more: Any
) -> dict[str, Any]:
    """Return one scan in the API's shape; `more` may be missing, condition, symptom, note, undoes, replaces, ticked."""
    scan: dict[str, Any] = {
        "id": str(uid or uuid.uuid4()),
        "seq": int(at.timestamp() * 1_000_000),
        "code": code,
        "action": str(action),
        "show": show,
        "happened_at": at.isoformat(),
    }
    return scan | {key: value for key, value in more.items() if value not in (None, "", False)}


def scans_sent(*, actor: Person, device: str, scans: list[dict], at: datetime) -> "list[ScanAnswer]":
    """Record scans made on a page, in batches as a device would send them."""
    from shows.services.scans import scans_record

    answers: list[ScanAnswer] = []
    for start in range(0, len(scans), BATCH):
        part = scans[start : start + BATCH]
        answers += scans_record(actor=actor, device=device, sent_at=None, scans=part, received_at=at)
    return answers


def scan_undone(*, actor: Person, device: str, scan: Scan, at: datetime, uid: uuid.UUID | None = None) -> "ScanAnswer":
    """Take one scan back by another."""
    undo = scan_shaped(
        code=scan.code or scan.code_text[:200], action=Action.UNDO, at=at, uid=uid, undoes=str(scan.uid), show=scan.show_id
    )
    return scans_sent(actor=actor, device=device, scans=[undo], at=at)[0]


def scan_counted(
    *, actor: Person, device: str, scan: Scan, counted: int, missing: list[str], at: datetime, uid: uuid.UUID
) -> "ScanAnswer":
    """Put a count on a case that was scanned without one: the scan is taken back and made again with the count."""
    with transaction.atomic():
        undo = scan_shaped(code=scan.code, action=Action.UNDO, at=at, uid=uuid.uuid5(uid, "undo"), undoes=str(scan.uid))
        again = scan_shaped(code=scan.code, action=scan.action, show=scan.show_id, at=at, uid=uid, missing=missing)
        again["counted"] = counted
        again["seq"] += 1
        return scans_sent(actor=actor, device=device, scans=[undo, again], at=at)[1]


def symptom_said(
    *, actor: Person, device: str, code: str, show: int | None, said: str, note: str, at: datetime, uid: uuid.UUID
) -> "ScanAnswer":
    """Report what a thing does, or `label gone`, as an inspection. `said` is a symptom or a condition."""
    if said == Condition.LABEL_GONE:
        condition, symptom = Condition.LABEL_GONE, ""
    else:
        symptom = Symptom(said)
        condition = CONDITION_OF.get(symptom, Condition.SUSPECT)
    scan = scan_shaped(
        code=code, action=Action.INSPECT, show=show, at=at, uid=uid, condition=str(condition), symptom=str(symptom), note=note
    )
    return scans_sent(actor=actor, device=device, scans=[scan], at=at)[0]


def dead_swapped(
    *, actor: Person, device: str, dead: str, spare: str, show: int | None, at: datetime, uid: uuid.UUID
) -> "list[ScanAnswer]":
    """The dead one is suspect from now, and the spare goes out in its place."""
    first = scan_shaped(
        code=dead,
        action=Action.INSPECT,
        show=show,
        at=at,
        uid=uuid.uuid5(uid, "dead"),
        condition=str(Condition.SUSPECT),
        symptom=str(Symptom.DEAD),
    )
    second = scan_shaped(code=spare, action=Action.OUT, show=show, at=at, uid=uid, replaces=dead)
    second["seq"] += 1
    return scans_sent(actor=actor, device=device, scans=[first, second], at=at)


def counted_moved(
    *, actor: Person, device: str, line: int, action: str, show: Show | None, good: int, bad: int, at: datetime, uid: uuid.UUID
) -> "list[ScanAnswer]":
    """Count things out, or back as good and bad: a scan of the line's shelf card each."""
    key = show.pk if show else None
    scans = []
    if good or not bad:
        scans.append(scan_shaped(code=f"COUNT.{line}", action=action, show=key, at=at, uid=uid))
        scans[-1]["counted"] = good
    if bad:
        worse = scan_shaped(
            code=f"COUNT.{line}",
            action=action,
            show=key,
            at=at,
            uid=uuid.uuid5(uid, "bad"),
            condition=str(Condition.DAMAGED),
        )
        worse["counted"] = bad
        worse["seq"] += 1
        scans.append(worse)
    return scans_sent(actor=actor, device=device, scans=scans, at=at)


def things_ticked(
    *, actor: Person, device: str, codes: Iterable[str], action: str, show: int, at: datetime, nonce: uuid.UUID
) -> "list[ScanAnswer]":
    """Say of many things that they are out or on the truck without scanning each. The same form twice is the same scans."""
    scans = []
    for place, code in enumerate(codes):
        scan = scan_shaped(code=code, action=action, show=show, at=at, uid=uuid.uuid5(nonce, f"{action} {code}"), ticked=True)
        scan["seq"] += place
        scans.append(scan)
    return scans_sent(actor=actor, device=device, scans=scans, at=at)
