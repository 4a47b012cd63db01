"""What a hand said is not in its case: from then on it is not packed there, and nobody thinks it is along.

A thing that is in the shop as far as anybody knows is missing from that instant, until it is scanned. One that is out to a
show stays out to it by itself: it does not come back with its case.
"""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from company.models import Person
from inventory.calc.kinds import Evidence
from inventory.models import Item, Placement
from inventory.services.cases import case_contents_at, placement_record, placement_undo
from inventory.services.counted import undo_of
from shows.models import CustodyHead, Scan
from shows.services.history import contents_ever
from shows.services.reading import Draft

DEEPEST = 20  # undone and done again so many times: nobody does
OUT_OF, SAID_MISSING = "out of case", "said missing"  # what a scan caused


@dataclass(frozen=True, kw_only=True)
class Lacking:
    """Things taken out of a case by what a scan said, and those of them that are missing from then on."""

    items: list[int]
    missing: list[int]
    names: list[str]


def out_of(scan: uuid.UUID, item: int) -> uuid.UUID:
    """Return the uid of the placement by which a scan of a case says that an item is not in it."""
    return uuid.uuid5(scan, f"not in it: {item}")


def case_lacks(*, draft: Draft, case: int, items: Iterable[int], person: Person | None) -> Lacking | None:
    """Take out of a case what a scan of it says is not there; None where none of it lay there on the record.

    The heads of these items are held by the caller, so that nothing moves them meanwhile.
    """
    at = draft.effective_at
    lay_there = {item for inside in case_contents_at(contents_ever([case]), at).values() for item in inside}
    gone = sorted(lay_there & set(items))
    if not gone:
        return None
    things = Item.objects.select_related("type", "at").in_bulk(gone)
    for item in gone:
        placement_record(
            uid=out_of(draft.uid, item),
            item=things[item],
            case=None,
            effective_at=at,
            device=draft.device,
            seq=draft.seq,
            evidence=Evidence.SAID,
            person=person,
        )
    seen_since = set(CustodyHead.objects.filter(pk__in=gone, seen_at__gt=at).order_by().values_list("pk", flat=True))
    missing = [item for item in gone if item not in seen_since and _is_nowhere_else(things[item])]
    Item.objects.filter(pk__in=missing).update(missing_since=at)
    return Lacking(items=gone, missing=missing, names=[things[item].label for item in gone])


def _is_nowhere_else(item: Item) -> bool:
    """Say whether nothing on record tells where a thing is that is not in its case."""
    elsewhere = item.custody or item.lent_to or item.gone_home_on or item.retired_on or item.in_case_id
    return not (elsewhere or item.missing_since or (item.at and item.at.sort != "shelf"))


def lacking_turned(*, scans: Iterable[Scan], done: bool, person: Person | None) -> None:
    """Put back in its case what these scans said was not there, or take it out again, as of the scan's instant."""
    for scan in scans:
        caused = scan.caused or {}
        for item in caused.get(OUT_OF, ()):
            placement_turned(out_of(scan.uid, item), done=done, at=scan.effective_at, person=person)
        said = Item.objects.filter(pk__in=caused.get(SAID_MISSING, ()))
        if done:
            said.filter(missing_since=None, custody="", in_case=None).update(missing_since=scan.effective_at)
        elif SAID_MISSING in caused:
            said.filter(missing_since=scan.effective_at).update(missing_since=None)


def placement_turned(uid: uuid.UUID, *, done: bool, at: datetime, person: Person | None) -> None:
    """Put a thing back where it lay before a scan moved it, or move it again: each turn takes back the last one."""
    chain = [uid]
    while len(chain) < DEEPEST:
        chain.append(undo_of(chain[-1]))
    there = set(Placement.objects.filter(uid__in=chain).values_list("uid", flat=True))
    turns = next((n for n, link in enumerate(chain) if link not in there), DEEPEST)
    holds = turns % 2 == 1
    if turns and turns < DEEPEST and holds is not done:
        placement_undo(uid=chain[turns], undoes=chain[turns - 1], at=at, person=person)
