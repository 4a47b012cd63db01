"""Who may take back what was noted of cells, at once or after reading what will follow; and what follows, in sentences."""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Any

from company.models import Person
from company.templatetags.tape import day as day_words
from company.templatetags.tape import moment
from inventory.models import Item
from maintenance.calc.cell_words import Pool
from maintenance.models import CapacityTest, CellReading, Charge, FittedSet, HoursNote, Swap
from maintenance.services.cell_refused import CellRefused
from maintenance.services.cell_stock import POOL_WORDS, lot_left, lot_words

OWN = timedelta(days=1)  # a hand takes back what they noted themselves, so long
TOLD_LATE = timedelta(days=8)  # hours are told of a time that is past: so far back a hand's own still is
LATELY = timedelta(days=7)
FEW = 3  # of each sort, the newest of a thing: a technician takes those back with one tap
SORTS: dict[str, Any] = {"swap": Swap, "reading": CellReading, "hours": HoursNote, "charge": Charge, "test": CapacityTest}


class Undo(StrEnum):
    """How something noted may be taken back by somebody."""

    FREE = "free"  # one tap
    ASKED = "asked"  # by the page that says what follows
    NO = "no"


def noted_at(row: Any) -> datetime:
    """Return when something was noted, or where that is not kept when it was done."""
    return getattr(row, "received_at", None) or getattr(row, "at", None) or row.done_at


def undo_of(row: Any, *, person: Person | None, at: datetime, newest: bool) -> Undo:
    """Say how a person may take a row back; `newest`: it is one of the thing's newest few of its sort."""
    if person is None:
        return Undo.FREE
    age = at - noted_at(row)
    if not person.is_technician:
        long = TOLD_LATE if isinstance(row, HoursNote) else OWN
        return Undo.FREE if row.person_id == person.pk and age <= long else Undo.NO
    return Undo.FREE if newest and age <= LATELY else Undo.ASKED


def undo_checked(rows: Sequence[Any], *, person: Person | None, at: datetime, sure: bool) -> None:
    """Raise CellRefused, in a sentence, where somebody may not take these back, or has not been told what follows."""
    for row in rows:
        if getattr(row, "withdrawn_at", None) or getattr(row, "taken_back_by", None):
            continue  # asked twice: it is taken back once
        how = undo_of(row, person=person, at=at, newest=_is_newest(row))
        if how is Undo.NO:
            who = f"{row.person} noted that" if row.person_id and row.person_id != person.pk else "That was noted"  # type: ignore[union-attr]
            raise CellRefused(f"{who} {moment(noted_at(row))}: ask a technician to take it back.", "did")
        if how is Undo.ASKED and not sure:
            raise CellRefused(
                f"That was noted {moment(noted_at(row))}, and what came after rests on it: take it back on its own page.",
                "did",
            )


def _is_newest(row: Any) -> bool:
    counting = {"takes_back": None, "taken_back_by": None} if hasattr(row, "takes_back_id") else {"withdrawn_at": None}
    rows = type(row).objects.filter(item=row.item_id, **counting)
    # the bays of one device that were changed together count once
    clock = "at" if isinstance(row, HoursNote | Charge) else "read_at" if isinstance(row, CellReading) else "done_at"
    newest = rows.order_by(f"-{clock}").values_list(clock, flat=True).distinct()[:FEW]
    return getattr(row, clock) in list(newest)


def undo_states(item: Item, *, person: Person | None, at: datetime, dids: Iterable[str]) -> dict[str, Undo]:
    """Return how each of these (`swap.UID`, newest first) may be taken back by a person, in a query a sort."""
    wanted: dict[str, list[str]] = {}
    for did in dids:
        sort, _dot, uid = did.partition(".")
        if sort in SORTS:
            wanted.setdefault(sort, []).append(uid)
    found: dict[str, Undo] = {}
    for sort, uids in wanted.items():
        rows = {str(row.uid): row for row in SORTS[sort].objects.filter(uid__in=uids)}
        times: list[datetime] = []
        for uid in uids:
            row = rows.get(uid)
            if row is None:
                continue
            when = getattr(row, "read_at", None) or getattr(row, "done_at", None) or row.at
            if when not in times:
                times.append(when)
            found[f"{sort}.{uid}"] = undo_of(row, person=person, at=at, newest=times.index(when) < FEW)
    return found


def follows(rows: Sequence[Any]) -> list[str]:
    """Say what taking these back will change."""
    said: list[str] = []
    for row in rows:
        said += [words for words in (_of_swap(row) if isinstance(row, Swap) else _of_other(row)) if words not in said]
    return said


def _of_swap(swap: Swap) -> list[str]:
    said = []
    bay = f" in bay {swap.bay}" if swap.bay > 1 else ""
    sets = FittedSet.objects.filter(item=swap.item_id, bay=swap.bay).exclude(opened_uid=swap.uid).select_related("type")
    before = sets.filter(removed_at=swap.done_at).order_by("-fitted_at").first()
    after = sets.filter(fitted_at__gt=swap.done_at).order_by("fitted_at").first()
    until = f" until {day_words(after.fitted_at)}" if after else " again"
    if before is not None:
        said.append(f"{before.type.name}, fitted {day_words(before.fitted_at)}, counts as in it{bay}{until}.")
    else:
        said.append(f"What is{bay or ' in it'} from {day_words(swap.done_at)}{until if after else ''} is not on record then.")
    if swap.lot is not None:
        back = "1 cell goes back to" if swap.cells == 1 else f"{swap.cells} cells go back to"
        said.append(f"{back} {lot_words(swap.lot)}: {lot_left(swap.lot) + swap.cells} left then.")
    if swap.cell_set is not None:
        said.append(f"{swap.cell_set} is out of it; where it was before counts again.")
    if swap.out_to in (Pool.REHEARSAL, Pool.RECYCLE, Pool.QUARANTINE) and before is not None and before.cell_set_id is None:
        said.append(f"What came out no longer counts as {POOL_WORDS[Pool(swap.out_to)]}.")
    said.append("What the thing draws is learnt anew, and forecasts kept for shows since then are judged anew.")
    return said


def _of_other(row: Any) -> list[str]:
    if isinstance(row, CellReading):
        return [f"Hours left go by what was known without the {row.volts:g} V, or by an older reading."]
    if isinstance(row, HoursNote):
        return ["Its hours count again as the shows have them, and what is left is worked out anew."]
    if isinstance(row, Charge):
        return ["It counts as last charged the time before, its hours since then with it."]
    return ["The set's trend is drawn without that test."]
