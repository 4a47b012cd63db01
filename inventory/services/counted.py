"""Counted lines: what came, went, broke and was used up. Every change is new rows in the ledger, never an edit.

Each function takes the move's own `uid` (from the form or the scan): the same uid is entered once, however often it is sent.
A count is evidence: it is entered even where it contradicts the record, and the answer says so.
"""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.db import IntegrityError, transaction
from django.db.models import Q, Sum

from company.models import Person
from inventory.calc.kinds import CountCondition, Kind
from inventory.models import CountedLine, CountMove, GearType, Item, Place
from inventory.registries import AFTER_LABELLED
from inventory.services.items import item_add

MOST = 100_000
UNDO = uuid.UUID("6f1c7d0e-5b3a-4a53-9d0b-0f8f0f6a4c11")  # the name space of undoings: a move has one, whoever asks for it

GOOD, BAD = CountCondition.GOOD, CountCondition.BAD
Why = CountMove.Why


class CountRefused(ValueError):  # noqa: N818 (a word of the house)
    """A count that says nothing: none at all, fewer than none, or more than anybody owns."""


@dataclass(frozen=True, kw_only=True)
class Change:
    """One row to write: so many more or fewer, good or bad, why, and for which show."""

    delta: int
    why: CountMove.Why
    condition: CountCondition = GOOD
    show: int | None = None
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Counted:
    """What was entered: its rows, and a sentence when it contradicts the record."""

    line: CountedLine
    moves: list[CountMove] = field(default_factory=list)
    warning: str = ""


@dataclass(frozen=True, kw_only=True)
class Stock:
    """How many of a line there are, at this moment."""

    owned: int
    on_shelf: int
    bad: int
    out: int


def stock_of(line: CountedLine) -> Stock:
    """Sum a line's ledger."""
    sums = line.moves.aggregate(
        owned=Sum("delta", filter=Q(show=None)),
        on_shelf=Sum("delta", filter=Q(condition=GOOD)),
        bad=Sum("delta", filter=Q(condition=BAD)),
        out=Sum("delta", filter=Q(show__isnull=False)),
    )
    return Stock(owned=sums["owned"] or 0, on_shelf=sums["on_shelf"] or 0, bad=sums["bad"] or 0, out=-(sums["out"] or 0))


def out_to(line: CountedLine, show: int) -> int:
    """Return how many of a line are out to a show."""
    return -(line.moves.filter(show=show).aggregate(delta=Sum("delta"))["delta"] or 0)


def counted_line_add(
    *,
    uid: uuid.UUID,
    type: GearType,
    length_mm: int = 0,
    count: int = 0,
    home: Place | None = None,
    notes: str = "",
    at: datetime,
    person: Person | None = None,
) -> Counted:
    """Start counting a type and length, with so many of it; a line there already is added to."""
    _check(count, least=0)
    with transaction.atomic():
        line, made = CountedLine.objects.get_or_create(
            type=type, length_mm=length_mm, defaults={"home": home, "notes": notes, "added_at": at}
        )
        if not count:
            return Counted(line=line)
        warning = "" if made else f"{line} was counted already; {count} more were added to it."
        entered = _enter(uid=uid, line=line, changes=[Change(delta=count, why=Why.BOUGHT)], at=at, person=person)
        return Counted(line=line, moves=entered.moves, warning=warning)


def count_bought(
    *, uid: uuid.UUID, line: CountedLine, count: int, at: datetime, person: Person | None = None, note: str = ""
) -> Counted:
    """Add so many new ones."""
    _check(count)
    return _enter(uid=uid, line=line, changes=[Change(delta=count, why=Why.BOUGHT)], at=at, person=person, note=note)


def count_recounted(
    *,
    uid: uuid.UUID,
    line: CountedLine,
    on_shelf: int,
    bad: int | None = None,
    at: datetime,
    person: Person | None = None,
    note: str = "",
) -> Counted:
    """Set what lies on the shelf (and, if counted, bad at the bench) to what was counted; no row where it agrees."""
    _check(on_shelf, least=0)
    _check(bad or 0, least=0)
    with transaction.atomic():
        _lock(line)
        if known := _known(uid):
            return Counted(line=line, moves=known)
        now = stock_of(line)
        changes = [Change(delta=on_shelf - now.on_shelf, why=Why.RECOUNTED)]
        if bad is not None:
            changes.append(Change(delta=bad - now.bad, why=Why.RECOUNTED, condition=BAD))
        return _enter(uid=uid, line=line, changes=changes, at=at, person=person, note=note)


def count_found_bad(
    *, uid: uuid.UUID, line: CountedLine, count: int, at: datetime, person: Person | None = None, note: str = ""
) -> Counted:
    """Move so many from the shelf to the bench: found bad."""
    _check(count)
    changes = [Change(delta=-count, why=Why.FOUND_BAD), Change(delta=count, why=Why.FOUND_BAD, condition=BAD)]
    return _enter(uid=uid, line=line, changes=changes, at=at, person=person, note=note)


def count_mended(
    *, uid: uuid.UUID, line: CountedLine, count: int, at: datetime, person: Person | None = None, note: str = ""
) -> Counted:
    """Move so many from the bench back to the shelf: mended."""
    _check(count)
    changes = [Change(delta=-count, why=Why.MENDED, condition=BAD), Change(delta=count, why=Why.MENDED)]
    return _enter(uid=uid, line=line, changes=changes, at=at, person=person, note=note)


def count_thrown_away(
    *,
    uid: uuid.UUID,
    line: CountedLine,
    count: int,
    bad: bool = True,
    at: datetime,
    person: Person | None = None,
    note: str = "",
) -> Counted:
    """Throw so many away, of the bad ones or of the good."""
    _check(count)
    changes = [Change(delta=-count, why=Why.THROWN_AWAY, condition=BAD if bad else GOOD)]
    return _enter(uid=uid, line=line, changes=changes, at=at, person=person, note=note)


def count_out(
    *, uid: uuid.UUID, line: CountedLine, show: int, count: int, at: datetime, person: Person | None = None, note: str = ""
) -> Counted:
    """Send so many out to a show (its key). More than the shelf holds is entered all the same, with a warning."""
    _check(count)
    return _enter(uid=uid, line=line, changes=[Change(delta=-count, why=Why.OUT, show=show)], at=at, person=person, note=note)


def count_back(
    *,
    uid: uuid.UUID,
    line: CountedLine,
    show: int,
    good: int,
    bad: int = 0,
    at: datetime,
    person: Person | None = None,
    note: str = "",
) -> Counted:
    """Take so many good and so many bad back from a show. Of a consumable, what did not come back is used up; should more
    come later, that much was not."""
    _check(good, least=0)
    _check(bad, least=0)
    consumable = line.type.kind == Kind.CONSUMABLE
    if not good and not bad and not consumable:
        raise CountRefused("None came back: leave it out, or say how many were lost.")
    with transaction.atomic():
        _lock(line)
        if known := _known(uid):
            return Counted(line=line, moves=known)
        changes = [
            Change(delta=good, why=Why.BACK, show=show),
            Change(delta=bad, why=Why.BACK, condition=BAD, show=show),
        ]
        if consumable:
            used = _still_used_up(line, show, back=good + bad)
            changes += [Change(delta=used, why=Why.USED_UP, show=show), Change(delta=-used, why=Why.USED_UP)]
        return _enter(uid=uid, line=line, changes=changes, at=at, person=person, note=note)


def count_lost(
    *, uid: uuid.UUID, line: CountedLine, show: int, count: int, at: datetime, person: Person | None = None, note: str = ""
) -> Counted:
    """Give up on so many that went out to a show and never came back: they are owned no longer."""
    _check(count)
    changes = [Change(delta=count, why=Why.LOST, show=show), Change(delta=-count, why=Why.LOST)]
    return _enter(uid=uid, line=line, changes=changes, at=at, person=person, note=note)


def count_straight_on(
    *,
    uid: uuid.UUID,
    line: CountedLine,
    from_show: int,
    to_show: int,
    count: int,
    at: datetime,
    person: Person | None = None,
) -> Counted:
    """Send so many from one show to the next without passing the shelf."""
    _check(count)
    if from_show == to_show:
        raise CountRefused("They are at that show already.")
    changes = [
        Change(delta=count, why=Why.STRAIGHT_ON, show=from_show),
        Change(delta=-count, why=Why.STRAIGHT_ON, show=to_show),
    ]
    return _enter(uid=uid, line=line, changes=changes, at=at, person=person)


def count_undo(
    *, undo_uid: uuid.UUID, at: datetime, person: Person | None = None, uid: uuid.UUID | None = None
) -> Counted | None:
    """Take back the move whose uid is `undo_uid`, by the opposite rows; None when no such move is known.

    A move is taken back once, whoever asks how often: the opposite rows' uid follows from the move's, so `uid`, the
    asking scan's own, is not needed.
    """
    moves = list(CountMove.objects.filter(uid=undo_uid).select_related("line__type").order_by("part"))
    if not moves:
        return None
    changes = [
        Change(delta=-move.delta, why=Why.UNDONE, condition=CountCondition(move.condition), show=move.show, note=move.why)
        for move in moves
    ]
    return _enter(uid=undo_of(undo_uid), line=moves[0].line, changes=changes, at=at, person=person)


def undo_of(uid: uuid.UUID) -> uuid.UUID:
    """Return the uid that the undoing of a move has."""
    return uuid.uuid5(UNDO, str(uid))


def counted_to_item(
    *,
    line: CountedLine,
    person: Person | None,
    at: datetime,
    code: str | None = None,
    bad: bool = False,
    uid: uuid.UUID | None = None,
) -> Item:
    """Make an item of one of a counted line, with a label of its own (`code`, or a new one); the line owns one fewer.

    Raises GearRefused for a code that is taken or wrong. A bad one becomes a suspect item; the same uid labels one.
    """
    uid = uid or uuid.uuid4()
    with transaction.atomic():
        _lock(line)
        item = item_add(
            type=line.type, length_mm=line.length_mm, code=code or "", home=line.home, person=person, at=at, uid=uid
        )
        change = Change(delta=-1, why=Why.LABELLED, condition=BAD if bad else GOOD)
        _enter(uid=uid, line=line, changes=[change], at=at, person=person, note=item.code)
        for answer in AFTER_LABELLED:
            answer(item, line, bad, uid, at, person)
        return item


def _check(count: int, *, least: int = 1) -> None:
    if count < least:
        raise CountRefused("A count is at least 1." if least else "A count is not below 0.")
    if count > MOST:
        raise CountRefused("Nobody counts more than 100 000 at once.")


def _lock(line: CountedLine) -> None:
    """Hold a line's ledger for what must be read before it is written."""
    list(CountedLine.objects.select_for_update(no_key=True).filter(pk=line.pk).values_list("pk"))


def _known(uid: uuid.UUID) -> list[CountMove]:
    return list(CountMove.objects.filter(uid=uid).order_by("part"))


def _still_used_up(line: CountedLine, show: int, *, back: int) -> int:
    """Return how many more of a consumable a return shows to be used up; below 0, how many of those used up were not."""
    outstanding = out_to(line, show) - back
    if outstanding >= 0:
        return outstanding
    rows = line.moves.filter(Q(why=Why.USED_UP) | Q(why=Why.UNDONE, note=Why.USED_UP), show=show)
    used = rows.aggregate(delta=Sum("delta"))["delta"] or 0
    return -min(-outstanding, max(used, 0))


def _enter(
    *, uid: uuid.UUID, line: CountedLine, changes: Sequence[Change], at: datetime, person: Person | None, note: str = ""
) -> Counted:
    rows = [
        CountMove(
            uid=uid,
            part=part,
            line=line,
            show=change.show,
            delta=change.delta,
            condition=change.condition,
            why=change.why,
            happened_at=at,
            person=person,
            note=(change.note or note)[:200],
        )
        for part, change in enumerate(changes)
        if change.delta
    ]
    with transaction.atomic():
        if known := _known(uid):
            return Counted(line=line, moves=known)
        try:
            with transaction.atomic():
                moves = CountMove.objects.bulk_create(rows)
        except IntegrityError:
            # the same form, sent twice at once: the other one got in first
            if known := _known(uid):
                return Counted(line=line, moves=known)
            raise
        return Counted(line=line, moves=moves, warning=_contradiction(line, rows))


def _contradiction(line: CountedLine, rows: Sequence[CountMove]) -> str:
    """Say what a count contradicts: fewer than none on the shelf, at the bench or out to a show."""
    now = stock_of(line)
    if now.on_shelf < 0 and any(row.condition == GOOD and row.delta < 0 for row in rows):
        are = "is" if now.on_shelf == -1 else "are"
        return f"{-now.on_shelf} more {are} gone from the shelf than the record had. It is entered: count the shelf of {line}."
    if now.bad < 0 and any(row.condition == BAD and row.delta < 0 for row in rows):
        return f"That is {-now.bad} more than the record has as bad. It is entered; recount {line}."
    for show in {row.show for row in rows if row.show is not None}:
        over = -out_to(line, show)
        if over > 0:
            return f"That is {over} more than went out to that show. It is entered; recount {line}."
    return ""
