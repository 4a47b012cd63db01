"""Read what a device sent, one scan at a time, without ever raising: what cannot be understood is kept and answered."""

import json
import math
import uuid
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from inventory.calc import codes
from maintenance.calc.symptoms import Symptom
from shows.calc.words import Action, Condition, Signal

EARLIEST = datetime(2000, 1, 1, tzinfo=UTC)  # before it no phone made a scan: the clock is wrong beyond mending
LARGEST = 2**63 - 1
MOST_COUNTED = 100_000
MOST_MISSING = 500
LONGEST_NOTE = 500
LONGEST_DEVICE = 64
LONGEST_KEPT = 5_000
ACTIONS, CONDITIONS, SYMPTOMS, SIGNALS = frozenset(Action), frozenset(Condition), frozenset(Symptom), frozenset(Signal)
UNREAD = codes.parse("")
SYMPTOM_OF = {Condition.DAMAGED: Symptom.DAMAGED, Condition.PARTS_MISSING: Symptom.PARTS_MISSING}
ILL = frozenset({Condition.SUSPECT, Condition.DAMAGED, Condition.PARTS_MISSING})


@dataclass(kw_only=True)
class Draft:
    """One scan as understood. `wrong` lists in sentences what could not be; `show` may still prove unknown."""

    id: str
    uid: uuid.UUID
    device: str = ""
    seq: int = 0
    code_text: str = ""
    parsed: codes.Parsed = UNREAD
    action: str = ""
    show: int | None = None
    condition: str = ""
    symptom: str = ""
    note: str = ""
    counted: int | None = None
    missing: list[str] = field(default_factory=list)
    undoes: uuid.UUID | None = None
    replaces: str = ""
    into: str = ""
    into_unread: bool = False
    ticked: bool = False
    said: str = ""
    happened_at: datetime | None = None
    effective_at: datetime
    as_sent: Any = None
    wrong: list[str] = field(default_factory=list)
    unknown_show: bool = False

    @property
    def code(self) -> str:
        return self.parsed.code

    @property
    def key(self) -> tuple[datetime, str, int, uuid.UUID]:
        return (self.effective_at, self.device, self.seq, self.uid)

    @property
    def ill(self) -> bool:
        return self.condition in ILL

    @property
    def wet(self) -> bool:
        """Say whether it only says that a thing got wet: that calls for a test and makes nothing suspect. What goes in a
        bag is suspect whatever was said."""
        return self.condition == Condition.SUSPECT and self.symptom == Symptom.WET and not self.into


def draft_of(scan: dict[str, Any], *, device: str, sent_at: datetime | None, received_at: datetime) -> Draft:
    """Read one scan. Only its id must be good (a UUID); raises ValueError otherwise."""
    try:
        uid = scan["id"] if isinstance(scan["id"], uuid.UUID) else uuid.UUID(str(scan["id"]))
    except (KeyError, ValueError) as error:
        raise ValueError("A scan's id is a UUID made on the device.") from error
    draft = Draft(id=str(scan["id"]), uid=uid, device=text(device)[:LONGEST_DEVICE], effective_at=received_at)
    draft.code_text = text(scan.get("code"))[:4096]
    draft.parsed = codes.parse(text(scan.get("code")))
    draft.note = text(scan.get("note"))[:LONGEST_NOTE]
    draft.ticked = scan.get("ticked") is True
    said = scan.get("said")
    draft.said = str(said) if isinstance(said, str) and said in SIGNALS else ""
    seq = whole(scan.get("seq"), least=-LARGEST)
    draft.seq = seq or 0
    _read_action(draft, scan)
    _read_time(draft, scan, sent_at, received_at)
    _read_rest(draft, scan)
    if draft.wrong or draft.into_unread or (seq is None and scan.get("seq") is not None):
        draft.as_sent = kept(scan)
    return draft


def _read_action(draft: Draft, scan: dict[str, Any]) -> None:
    action = scan.get("action")
    if isinstance(action, str) and action in ACTIONS:
        draft.action = str(action)
    else:
        draft.wrong.append("It does not say whether it went out, on the truck or back.")
    if scan.get("undoes") is not None or draft.action == Action.UNDO:
        try:
            draft.undoes = uuid.UUID(str(scan.get("undoes")))
        except ValueError:
            draft.wrong.append("It does not say which scan to take back.")
        if draft.undoes == draft.uid:
            draft.undoes = None
            draft.wrong.append("A scan cannot take itself back.")
        if draft.action != Action.UNDO:
            draft.undoes = None


def _read_time(draft: Draft, scan: dict[str, Any], sent_at: datetime | None, received_at: datetime) -> None:
    happened = instant(scan.get("happened_at"))
    if happened is None:
        draft.wrong.append("Its time could not be read.")
        return
    draft.happened_at = happened if happened.year >= 1900 else None
    try:
        effective = happened + (received_at - sent_at) if sent_at is not None else happened
    except OverflowError:
        effective = None
    if effective is None or effective < EARLIEST:
        draft.wrong.append("The clock of that device is years off.")
        return
    draft.effective_at = min(effective, received_at)


def _read_rest(draft: Draft, scan: dict[str, Any]) -> None:
    if scan.get("show") is not None:
        draft.show = whole(scan["show"], least=1)
        draft.unknown_show = draft.show is None
    condition = scan.get("condition") or ""
    if isinstance(condition, str) and condition in CONDITIONS:
        draft.condition = str(condition)
    else:
        draft.wrong.append("Its condition is not one the program knows.")
    said = scan.get("symptom") or ""
    if said and not draft.condition:
        draft.condition = str(Condition.SUSPECT)  # who names a symptom says that something is wrong
    if draft.condition or said:
        known = isinstance(said, str) and said in SYMPTOMS
        draft.symptom = str(said) if known else str(SYMPTOM_OF.get(Condition(draft.condition), Symptom.OTHER))
        if said and not known:
            draft.note = f"{text(said)}. {draft.note}".strip()[:LONGEST_NOTE]
        if draft.condition == Condition.LABEL_GONE and not said:
            draft.symptom = ""
    if scan.get("counted") is not None:
        draft.counted = whole(scan["counted"], least=0, most=MOST_COUNTED)
        if draft.counted is None:
            draft.wrong.append("Its count is not a number of things.")
    missing = scan.get("missing") or []
    if isinstance(missing, list | tuple):
        parsed = [codes.parse(text(code)).code for code in missing[:MOST_MISSING]]
        draft.missing = sorted({code for code in parsed if code})
    else:
        draft.wrong.append("What was missing is not a list of codes.")
    if scan.get("replaces"):
        draft.replaces = codes.parse(text(scan["replaces"])).code
    if scan.get("into"):
        draft.into = codes.parse(text(scan["into"])).code
        draft.into_unread = not draft.into


def text(value: Any) -> str:
    """Return readable text of anything: no NUL, no lone surrogates."""
    if value is None:
        return ""
    said = value if isinstance(value, str) else _short(value)
    return said.replace("\0", "\ufffd").encode("utf-8", "replace").decode("utf-8")


def _short(value: Any) -> str:
    if isinstance(value, int) and not isinstance(value, bool) and value.bit_length() > 256:
        return "a huge number"
    return repr(value)[:LONGEST_KEPT] if isinstance(value, dict | list | tuple) else str(value)


def whole(value: Any, *, least: int = 0, most: int = LARGEST) -> int | None:
    """Return a whole number within its bounds, or None."""
    if isinstance(value, str) and value.isascii() and value.isdigit() and len(value) < 20:
        value = int(value)
    if isinstance(value, int) and not isinstance(value, bool) and least <= value <= most:
        return value
    return None


def instant(value: Any) -> datetime | None:
    """Return an aware instant in UTC, or None for what is no time, has no offset, or cannot be told in UTC."""
    if isinstance(value, str) and len(value) <= 64:
        try:
            value = datetime.fromisoformat(value)
        except ValueError:
            return None
    if not isinstance(value, datetime) or value.tzinfo is None:
        return None
    try:
        return value.astimezone(UTC)
    except (OverflowError, ValueError):
        return None


def kept(value: Any, depth: int = 0) -> Any:
    """Return a value as JSON that any database can hold, cut to a sane size."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, int):
        return value if -LARGEST <= value <= LARGEST else _short(value)[:100]
    if isinstance(value, float):
        return value if math.isfinite(value) else str(value)
    if depth < 4 and isinstance(value, dict):
        return {text(key)[:100]: kept(inner, depth + 1) for key, inner in list(value.items())[:50]}
    if depth < 4 and isinstance(value, list | tuple):
        return [kept(inner, depth + 1) for inner in value[:MOST_MISSING]]
    if isinstance(value, dict | list | tuple):
        return text(json.dumps(str(value)[:200]))
    return text(value)[:LONGEST_KEPT]
