"""What the fold of custody is told and what it answers: events, placements, undos; stays, verdicts, contradictions."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from uuid import UUID

from inventory.calc.kinds import Evidence

Key = tuple[datetime, str, int, UUID]
LONGEST_REASON = 400


class Finding(StrEnum):
    """Every contradiction by name."""

    NEVER_OUT = "never out"
    TRUCK_ELSEWHERE = "truck elsewhere"
    OUT_ELSEWHERE = "out elsewhere"
    COUNT = "count"
    TICKED = "ticked"
    AGAINST_ADVICE = "against advice"
    SAID_OTHERWISE = "the phone said otherwise"


@dataclass(frozen=True, kw_only=True, slots=True)
class ShowTimes:
    """What the fold needs of a show. It is over after its strike, once closed, or when cancelled."""

    id: int
    name: str
    load_in: datetime
    strike: datetime
    closed_at: datetime | None = None
    cancelled: bool = False

    def over_at(self, at: datetime) -> bool:
        return self.cancelled or self.strike < at or (self.closed_at is not None and self.closed_at <= at)

    def begun_at(self, at: datetime) -> bool:
        return self.load_in <= at


@dataclass(frozen=True, kw_only=True, slots=True)
class Event:
    """One scan of one item. `missing` are contents (items) left out of a case; `advice` is what spoke against going out when
    it was received, `mind` what to look at before it goes; `told` is the whole reason it was then given, once on record.
    `said` is what its device said before it could ask, `answered` the signal it was then given, once on record."""

    uid: UUID
    effective_at: datetime
    device: str
    seq: int
    item: int
    action: str
    show: int | None = None
    grade: str = Evidence.SEEN
    actor: int | None = None
    counted: int | None = None
    missing: frozenset[int] = frozenset()
    advice: str = ""
    mind: str = ""
    told: str = ""
    said: str = ""
    answered: str = ""

    @property
    def key(self) -> Key:
        return (self.effective_at, self.device, self.seq, self.uid)


@dataclass(frozen=True, kw_only=True, slots=True)
class Undo:
    """A scan that takes another one back."""

    uid: UUID
    undoes: UUID
    key: Key


@dataclass(frozen=True, kw_only=True, slots=True)
class Put:
    """An item was put in a case at an instant, or (None) taken out of any."""

    key: Key
    item: int
    case: int | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Stay:
    """One item's stay with one show."""

    show: int
    opened_uid: UUID
    opened_at: datetime
    opened_by: int | None
    evidence: str
    truck_uid: UUID | None = None
    truck_at: datetime | None = None
    closed_uid: UUID | None = None
    closed_at: datetime | None = None
    closed_by: int | None = None
    closed_evidence: str = ""
    ended: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Head:
    """Where an item's fold has come to: its open stay, how well that is known and by whom, and the last key folded."""

    stay: Stay | None = None
    evidence: str = ""
    seen_at: datetime | None = None
    seen_by: int | None = None
    last: Key | None = None
    since: datetime | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Verdict:
    """What a device is told of one scan."""

    outcome: str
    signal: str
    reason: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Contradiction:
    """The record and a scan disagreed."""

    item: int
    uid: UUID
    kind: str
    said: str
    happened_at: datetime
    show: int | None


@dataclass(frozen=True, kw_only=True)
class Custody:
    """What the fold says of one item: its stays in order (the last may be open) and where it has come to."""

    head: Head
    stays: tuple[Stay, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Folded:
    """The fold of many items. `verdicts` by scan uid, for direct scans."""

    items: dict[int, Custody] = field(default_factory=dict)
    contradictions: tuple[Contradiction, ...] = ()
    verdicts: dict[UUID, Verdict] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True, slots=True)
class Advice:
    """What speaks against taking an item out, with the day from which it does. Texts are written by the caller."""

    suspect_since: datetime | None = None
    suspect: str = ""
    retired_on: date | None = None
    retired: str = ""
    lent_on: date | None = None
    lent: str = ""
    gone_home_on: date | None = None
    gone_home: str = ""

    def at(self, instant: datetime, day: date) -> str:
        """Say what spoke against it at an instant (its day in the company's zone), strongest first; empty if nothing did."""
        said = []
        if self.gone_home_on is not None and self.gone_home_on <= day:
            said.append(self.gone_home)
        if self.retired_on is not None and self.retired_on <= day:
            said.append(self.retired)
        if self.lent_on is not None and self.lent_on <= day:
            said.append(self.lent)
        if self.suspect_since is not None and self.suspect_since <= instant:
            said.append(self.suspect)
        return "; ".join(said)


def undone(undos: Iterable[Undo]) -> set[UUID]:
    """Return every scan that is taken back.

    An undo nobody takes back counts; one taken back by an undo that counts does not. Where undos take each other back in a
    ring, the last of the ring by key has the last word. An undo of itself is nothing.
    """
    by_uid = {u.uid: u for u in undos if u.uid != u.undoes}
    against: dict[UUID, list[UUID]] = defaultdict(list)
    for u in by_uid.values():
        if u.undoes in by_uid:
            against[u.undoes].append(u.uid)
    waiting = {uid: len(against[uid]) for uid in by_uid}
    counts: dict[UUID, bool] = {}
    ready = [uid for uid, number in waiting.items() if number == 0]
    ring = sorted(by_uid, key=lambda uid: by_uid[uid].key)
    while len(counts) < len(by_uid):
        if not ready:
            while ring[-1] in counts:
                ring.pop()
            ready.append(ring[-1])
        uid = ready.pop()
        if uid in counts:
            continue
        counts[uid] = True
        struck = by_uid[uid].undoes
        if struck not in by_uid or struck in counts:
            continue
        counts[struck] = False
        freed = by_uid[struck].undoes
        if freed in waiting and freed not in counts:
            waiting[freed] -= 1
            if waiting[freed] == 0:
                ready.append(freed)
    return {by_uid[uid].undoes for uid, holds in counts.items() if holds}


def shorten(said: str) -> str:
    """Cut a sentence to what the record can hold."""
    return said if len(said) <= LONGEST_REASON else f"{said[: LONGEST_REASON - 1]}…"
