"""What follows when something goes in a bench bag, and when a bad counted lead becomes an item: it is suspect."""

from datetime import datetime
from uuid import UUID

from company.models import Person
from inventory.models import CountedLine, Item, Placement
from inventory.registries import AFTER_LABELLED, AFTER_PLACEMENT, PLACEMENT_UNDONE
from maintenance.calc.symptoms import Symptom
from maintenance.services.faults import fault_open, fault_withdraw


def suspect_in_bench_bag(item: Item, case: Item | None, placement: Placement) -> None:
    """Open a fault of what goes in a bench bag, by the placement's uid: undoing that placement, or the scan it is from,
    withdraws it. What has no standing (a stand, a bag) is never suspect; what is suspect already needs no second fault."""
    facts = getattr(case.type, "case_facts", None) if case else None
    if facts is None or not facts.bench_bag or not item.type.has_standing:
        return
    if item.faults.filter(closed_at=None, withdrawn_at=None).exists():
        return
    fault_open(
        uid=placement.uid,
        item=item,
        symptom=Symptom.OTHER,
        note=f"Put in {case}",
        at=placement.effective_at,
        person=placement.person,
    )


def no_longer_in_bench_bag(placement: Placement, at: datetime) -> None:
    """Withdraw the fault that a placement opened, once the placement is taken back."""
    if placement.item.faults.filter(uid=placement.uid).exists():
        fault_withdraw(uid=placement.uid, at=at)


def suspect_once_labelled(item: Item, line: CountedLine, bad: bool, uid: UUID, at: datetime, person: Person | None) -> None:
    """Carry over what was known of a bad one when it gets a label of its own."""
    if bad and item.type.has_standing:
        fault_open(uid=uid, item=item, symptom=Symptom.OTHER, note=f"One of the bad ones of {line}", at=at, person=person)


def register() -> None:
    """Fill the registries; called once, when the program starts."""
    AFTER_PLACEMENT.add("bench bag", suspect_in_bench_bag)
    PLACEMENT_UNDONE.add("bench bag", no_longer_in_bench_bag)
    AFTER_LABELLED.add("suspect", suspect_once_labelled)
