"""Is it good: open a fault, take it back, close it, take a thing as good. Keeps Item.suspect_since in step with the faults."""

import uuid as uuids
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import Min, OuterRef, Subquery

from company.clock import today
from company.models import Person
from inventory.models import Item
from maintenance.calc.symptoms import Found, Symptom
from maintenance.models import Fault

LONGEST_WORDS = 500


class FaultRefused(ValueError):  # noqa: N818 (a word of the house)
    """What was asked cannot be done with this fault; the words say why."""


@dataclass(frozen=True, kw_only=True)
class Report:
    """Something said to be wrong: with an item, or with a line of a show. `uid` is the scan's, or a fresh one.

    `found` says when it came out (`Found`), empty where that is not known.
    """

    uid: uuids.UUID
    item: int | None
    at: datetime
    show: int | None = None
    line: str = ""
    symptom: str = Symptom.OTHER
    note: str = ""
    person: int | None = None
    found: str = ""


def fault_open(
    *,
    uid: uuids.UUID,
    item: Item | None,
    show: int | None = None,
    line: str = "",
    symptom: str = Symptom.OTHER,
    note: str = "",
    at: datetime,
    person: Person | None = None,
    found: str = "",
) -> Fault:
    """Open a fault, once a uid; one that was withdrawn is open again. The item is suspect from then on."""
    report = Report(
        uid=uid,
        item=item.pk if item else None,
        at=at,
        show=show,
        line=line,
        symptom=symptom,
        note=note,
        person=person.pk if person else None,
        found=found,
    )
    faults_open(reports=[report])
    return Fault.objects.get(uid=uid)


@transaction.atomic
def faults_open(*, reports: Iterable[Report]) -> None:
    """Open many faults with a constant number of queries."""
    rows = [
        Fault(
            uid=r.uid,
            item_id=r.item,
            show=r.show,
            line=r.line[:40],
            symptom=r.symptom if r.symptom in set(Symptom) else Symptom.OTHER,
            note=r.note[:LONGEST_WORDS],
            opened_at=r.at,
            found=r.found if r.found in set(Found) else "",
            person_id=r.person,
        )
        for r in sorted(reports, key=lambda r: r.uid)
    ]
    if not rows:
        return
    Fault.objects.bulk_create(rows, ignore_conflicts=True)
    Fault.objects.filter(uid__in=[r.uid for r in rows], withdrawn_at__isnull=False).update(withdrawn_at=None)
    suspicion_refresh(item_ids={r.item_id for r in rows if r.item_id})
    _answer_late({r.item_id: r.opened_at for r in rows if r.item_id})


def fault_withdraw(*, uid: uuids.UUID, at: datetime) -> bool:
    """Take back a report made by mistake; False when there is none to take back."""
    return bool(faults_withdraw(uids=[uid], at=at))


@transaction.atomic
def faults_withdraw(*, uids: Iterable[uuids.UUID], at: datetime) -> int:
    """Take back the reports of many scans; answers how many there were."""
    found = Fault.objects.filter(uid__in=list(uids), withdrawn_at=None)
    items = {item for item in found.values_list("item", flat=True) if item}
    number = found.update(withdrawn_at=at)
    suspicion_refresh(item_ids=items)
    return number


@transaction.atomic
def fault_close(*, fault: Fault, at: datetime, person: Person, how: str, taken_as_good: bool = False) -> None:
    """Close a fault with a sentence. The item stays suspect while another fault of it is open.

    `taken_as_good` says that a technician answers for it without a test: unproved, and quiet.
    """
    how = " ".join(how.split())[:LONGEST_WORDS]
    if not how:
        raise FaultRefused("Say what was done before closing it.")
    open_still = Fault.objects.filter(pk=fault.pk, closed_at=None, withdrawn_at=None)
    if not open_still.update(closed_at=at, closed_by=person, closed_how=how):
        raise FaultRefused("Somebody else closed it, or took it back.")
    if fault.item_id:
        suspicion_refresh(item_ids=[fault.item_id])
        if taken_as_good:
            Item.objects.filter(pk=fault.item_id).update(taken_as_good_on=today(at))
        from maintenance.services.retest import items_reckon

        items_reckon(item_ids=[fault.item_id], at=at)  # it is in use again, and by its rule a report may call for a test


@transaction.atomic
def item_taken_as_good(*, item: Item, at: datetime, person: Person, how: str) -> int:
    """Close every open fault of an item with one sentence and take it as good; answers how many faults were closed."""
    open_faults = list(Fault.objects.filter(item=item, closed_at=None, withdrawn_at=None))
    for fault in open_faults:
        fault_close(fault=fault, at=at, person=person, how=how)
    Item.objects.filter(pk=item.pk).update(taken_as_good_on=today(at))
    return len(open_faults)


@transaction.atomic
def fault_of_item(*, fault: Fault, item: Item) -> None:
    """Say which item a channel's report was about: that item is suspect since then."""
    found = Fault.objects.filter(pk=fault.pk, item=None, closed_at=None, withdrawn_at=None)
    if not found.update(item=item):
        raise FaultRefused("Somebody else has seen to that report.")
    suspicion_refresh(item_ids=[item.pk])
    _answer_late({item.pk: fault.opened_at})


def _answer_late(reported: Mapping[int | None, datetime]) -> None:
    """Let a test that was done after these reports, though it came in before them, answer what it answers."""
    from maintenance.querysets import telling_tests
    from maintenance.services.bench_effects import items_refold

    if not reported:
        return
    newer = telling_tests().filter(item__in=reported, done_at__gte=min(reported.values())).order_by()
    if late := set(newer.values_list("item", flat=True)):
        items_refold(item_ids=late, at=max(reported.values()))


def suspicion_refresh(*, item_ids: Iterable[int]) -> None:
    """Set suspect_since of these items to the earliest fault still open."""
    keys = sorted(set(item_ids))
    if not keys:
        return
    list(Item.objects.select_for_update(no_key=True).filter(pk__in=keys).order_by("pk").values_list("pk"))
    first = (
        Fault.objects.filter(item=OuterRef("pk"), closed_at=None, withdrawn_at=None)
        .order_by()
        .values("item")
        .annotate(first=Min("opened_at"))
        .values("first")
    )
    Item.objects.filter(pk__in=keys).update(suspect_since=Subquery(first))
