"""What a scan changes beside custody, and how taking it back puts that back: faults, labels gone, counts, swaps, placements.

Everything is written so that doing it twice changes nothing: a scan may be taken back, and that be taken back again.
"""

import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from company.models import Person
from inventory.calc.kinds import Evidence, Kind
from inventory.models import CountMove, Item, Placement
from inventory.services.cases import placement_record
from inventory.services.counted import count_undo, undo_of
from maintenance.models import Fault
from maintenance.services.calls import Wet, wet_record, wet_withdraw
from maintenance.services.faults import Report, faults_open, faults_withdraw
from shows.models import PullRow, Scan
from shows.services.lacking import DEEPEST, placement_turned

CALLED = "called"  # what a scan caused: these items are called to be tested, since they got wet


def swap_pull_row(*, show: int, dead: int, spare: Item) -> dict[str, Any] | None:
    """Let the spare take the dead item's place on a pull list; None where the dead one has no place there.

    A spare that is on the list itself changes places with the dead one.
    """
    rows = {
        row.item_id: row
        for row in PullRow.objects.select_for_update(no_key=True).filter(show=show, item__in=[dead, spare.pk]).order_by("pk")
    }
    row, other = rows.get(dead), rows.get(spare.pk)
    if row is None or dead == spare.pk:
        return None
    kept = {
        "row": row.pk,
        "dead": dead,
        "spare": spare.pk,
        "was": [row.origin, row.type_id, row.length_mm],
        "other": other.pk if other else None,
        "other_was": [other.origin, other.type_id, other.length_mm] if other else None,
    }
    if other:
        PullRow.objects.filter(pk=other.pk).update(item=None)
    _place(row.pk, spare.pk, [PullRow.Origin.SWAPPED, spare.type_id, spare.length_mm])
    if other:
        _place(other.pk, dead, [PullRow.Origin.SWAPPED, row.type_id, row.length_mm])
    return kept


def _place(row: int, item: int, fields: list[Any]) -> None:
    origin, type_id, length_mm = fields
    PullRow.objects.filter(pk=row).update(item=item, origin=origin, type_id=type_id, length_mm=length_mm)


def swap_back(kept: dict[str, Any]) -> None:
    """Put a swap's rows as they were, unless somebody has changed them since."""
    row = PullRow.objects.select_for_update(no_key=True).filter(pk=kept["row"], item=kept["spare"]).first()
    if row is None:
        return
    if kept["other"] is None and PullRow.objects.filter(show=row.show_id, item=kept["dead"]).exists():
        return
    if kept["other"] and not PullRow.objects.filter(pk=kept["other"], item=kept["dead"]).update(item=None):
        return
    _place(row.pk, kept["dead"], kept["was"])
    if kept["other"]:
        _place(kept["other"], kept["spare"], kept["other_was"])


def item_changes(item: Item, *, at: datetime, day: date, back: bool, came_home: bool, label_gone: bool) -> dict[str, Any]:
    """Say what a scan of the thing itself changes on its item, as {column: what it was}; empty when nothing.

    Whatever was scanned is not missing and not at the repairer. Back, it is no longer lent or gone home; and what comes home
    from a show is on its shelf, not at the bench. A label said to be gone is noted.
    """
    changes: dict[str, Any] = {}
    if item.missing_since is not None and item.missing_since <= at:
        changes["missing_since"] = item.missing_since.isoformat()
    if item.at_id and item.at and (item.at.sort == "repairer" or came_home):
        changes["at_id"] = item.at_id
    if back and item.lent_to and (item.lent_on is None or item.lent_on <= day):
        changes["lent_to"] = item.lent_to
        changes["lent_on"] = _iso(item.lent_on)
        changes["lent_home_by"] = _iso(item.lent_home_by)
    if back and item.gone_home_on is not None and item.gone_home_on <= day:
        changes["gone_home_on"] = _iso(item.gone_home_on)
    if label_gone and item.label_gone_since is None:
        changes["label_gone_since"] = None
    return changes


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None


BLANK = {"lent_to": ""}
MOMENTS = {"missing_since": datetime.fromisoformat}
DAYS = {"lent_on": date.fromisoformat, "lent_home_by": date.fromisoformat, "gone_home_on": date.fromisoformat}


def items_changed(changed: Iterable[tuple[int, dict[str, Any], datetime]]) -> None:
    """Carry out what `item_changes` named for each (item, changes, instant): one update for all that change alike."""
    alike: dict[tuple[tuple[str, ...], datetime | None], list[int]] = defaultdict(list)
    for item, changes, at in changed:
        if changes:
            alike[tuple(sorted(changes)), at if "label_gone_since" in changes else None].append(item)
    for (names, noted_at), items in sorted(alike.items(), key=lambda entry: entry[1]):
        fields: dict[str, Any] = {name: BLANK.get(name) for name in names}
        if noted_at is not None:
            fields["label_gone_since"] = noted_at
        Item.objects.filter(pk__in=sorted(items)).update(**fields)


def item_changed_back(item_id: int, changes: dict[str, Any]) -> None:
    """Put back what a scan changed on an item, where nothing has been entered since."""
    for name, was in changes.items():
        if name == "label_gone_since":
            Item.objects.filter(pk=item_id).update(label_gone_since=None)
            continue
        if name in ("lent_on", "lent_home_by"):
            continue  # go back together with lent_to
        read = MOMENTS.get(name) or DAYS.get(name)
        value = read(was) if read and was else was
        untouched = Item.objects.filter(pk=item_id, **{name: BLANK.get(name)} if name in BLANK else {f"{name}__isnull": True})
        if name == "lent_to":
            home_by, on = changes.get("lent_home_by"), changes.get("lent_on")
            untouched.update(
                lent_to=value,
                lent_on=date.fromisoformat(on) if on else None,
                lent_home_by=date.fromisoformat(home_by) if home_by else None,
            )
        else:
            untouched.update(**{name: value})


def scans_taken_back(*, scans: Iterable[Scan], at: datetime, person: Person | None) -> None:
    """Put back what these scans caused beside custody."""
    scans = list(scans)
    faults_withdraw(uids=[scan.uid for scan in scans], at=at)
    wet_withdraw(reports=_called(scans), at=at)
    placed = _placed(scans)
    for scan in scans:
        caused = scan.caused or {}
        for item, changes in caused.get("items", {}).items():
            item_changed_back(int(item), changes)
        if caused.get("swap"):
            swap_back(caused["swap"])
        if scan.uid in placed:
            placement_turned(scan.uid, done=False, at=at, person=person)
        if caused.get("counted"):
            _counts_turn(scan.uid, done=False, at=at, person=person)


def scans_done_again(*, scans: Iterable[Scan], at: datetime, person: Person | None) -> None:
    """Do again what these scans caused, since taking them back was itself taken back."""
    scans = list(scans)
    faults = Fault.objects.filter(uid__in=[s.uid for s in scans], withdrawn_at__isnull=False).order_by()
    faults_open(
        reports=[
            Report(
                uid=f.uid,
                item=f.item_id,
                at=f.opened_at,
                show=f.show,
                line=f.line,
                symptom=f.symptom,
                note=f.note,
                person=f.person_id,
                found=f.found,
            )
            for f in faults
        ]
    )
    by_uid = {scan.uid: scan for scan in scans}
    wet_record(
        reports=[
            Wet(uid=uid, items=tuple(items), at=scan.effective_at, show=scan.show_id, person=scan.actor_id)
            for uid, items in _called(scans)
            for scan in [by_uid[uid]]
        ],
        at=at,
    )
    placed = _placed(scans)
    for scan in scans:
        caused = scan.caused or {}
        items_changed((int(item), changes, scan.effective_at) for item, changes in caused.get("items", {}).items())
        if caused.get("swap") and scan.show_id:
            spare = Item.objects.filter(pk=caused["swap"]["spare"]).first()
            if spare is not None:
                swap_pull_row(show=scan.show_id, dead=caused["swap"]["dead"], spare=spare)
        if scan.uid in placed:
            placement_turned(scan.uid, done=True, at=at, person=person)
        if caused.get("counted"):
            _counts_turn(scan.uid, done=True, at=at, person=person)


def _called(scans: Iterable[Scan]) -> list[tuple[uuid.UUID, list[int]]]:
    """Return these scans that said something got wet, each with what was called to be tested by it."""
    return [(scan.uid, called) for scan in scans if (called := (scan.caused or {}).get(CALLED))]


def _counts_turn(uid: uuid.UUID, *, done: bool, at: datetime, person: Person | None) -> None:
    """Turn a counted scan's rows over, where the ledger holds it the other way round: each turn takes back the last one."""
    chain = [uid]
    while len(chain) < DEEPEST:
        chain.append(undo_of(chain[-1]))
    there = set(CountMove.objects.filter(uid__in=chain).order_by().values_list("uid", flat=True))
    turns = next((n for n, link in enumerate(chain) if link not in there), DEEPEST)
    holds = turns % 2 == 1
    if turns and holds is not done:
        count_undo(undo_uid=chain[turns - 1], at=at, person=person)


def _placed(scans: list[Scan]) -> set[uuid.UUID]:
    """Return which of these scans put something somewhere."""
    return set(Placement.objects.filter(uid__in=[s.uid for s in scans]).order_by().values_list("uid", flat=True))


@dataclass(frozen=True, kw_only=True)
class Put:
    """One thing that a scan put in a bench bag or a case."""

    scan: uuid.UUID
    item: Item
    into: Item
    at: datetime
    device: str
    seq: int
    ticked: bool


def into_cases(items: Iterable[int]) -> dict[int, Item]:
    """Read what things were put in, with what says whether it is a bench bag."""
    wanted = set(items)
    return Item.objects.select_related("type__case_facts").in_bulk(wanted) if wanted else {}


def is_bench_bag(case: Item) -> bool:
    """Say whether whatever goes in is suspect. Needs `type__case_facts`."""
    facts = getattr(case.type, "case_facts", None)
    return facts is not None and facts.bench_bag


def put_words(*, item: Item, into: Item | None) -> tuple[bool, str]:
    """Say whether a thing can be put there, and in a sentence what follows."""
    if into is None:
        return False, "Nothing of ours has that bag's label: it was noted, but in no bag."
    if into.type.kind != Kind.CASE:
        return False, f"{into} holds nothing: it was noted, but put in nothing."
    if item.type.kind == Kind.CASE:
        return False, f"{item} is a case: pack it in {into} on that case's page."
    if is_bench_bag(into) and item.type.has_standing:
        return True, f"In {into}: suspect until it is tested."
    return True, f"In {into}."


def things_put(*, puts: Iterable[Put], person: Person | None) -> None:
    """Place things where their scans put them, by the scans' own uids; items in the order of their keys, as locks ask."""
    for put in sorted(puts, key=lambda p: (p.item.pk, p.at)):
        placement_record(
            uid=put.scan,
            item=put.item,
            case=put.into,
            effective_at=put.at,
            device=put.device,
            seq=put.seq,
            evidence=Evidence.SAID if put.ticked else Evidence.SEEN,
            person=person,
        )
