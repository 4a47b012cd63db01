"""Repairs: what was done to mend a thing. A repair closes nothing by itself: the thing must pass again."""

import uuid as uuids
from datetime import datetime

from django.db import transaction

from company.clock import today
from company.models import Person
from company.templatetags.tape import day as day_words
from company.templatetags.tape import moment
from inventory.models import Item
from maintenance.models import Fault, Repair
from maintenance.services.bench import item_locked, reckon
from maintenance.services.bench_effects import items_refold
from maintenance.services.bench_judging import CLOCKS_DIFFER

LONGEST_DID, LONGEST_PARTS, LONGEST_END = 500, 300, 4
MOST_MINUTES, MOST_CENTS = 100_000, 1_000_000_000


class RepairRefused(ValueError):  # noqa: N818 (a word of the house)
    """A repair cannot be noted as sent; `field` names what is wrong with it, and the words say why."""

    def __init__(self, words: str, field: str = "") -> None:
        super().__init__(words)
        self.field = field


def repair_record(
    *,
    uid: uuids.UUID,
    item: Item,
    did: str,
    done_at: datetime,
    person: Person | None,
    received_at: datetime,
    end: str = "",
    parts: str = "",
    minutes: int | None = None,
    cost_cents: int | None = None,
    as_new: bool = False,
    fault: Fault | None = None,
) -> Repair:
    """Note what was done to an item, once a uid. Faults stay open until it passes; `as_new` starts its failure record over."""
    with transaction.atomic():
        item = item_locked(item)
        known = Repair.objects.filter(uid=uid).first()
        if known is not None:
            return known
        did, parts, end = (" ".join(text.split()) for text in (did, parts, end))
        _check(item, did=did, parts=parts, end=end, minutes=minutes, cost_cents=cost_cents, fault=fault)
        if done_at > received_at + CLOCKS_DIFFER:
            raise RepairRefused(f"The repair is dated {moment(done_at)}, and that is still to come. Check the date.", "done_at")
        if item.bought_on and today(done_at) < item.bought_on:
            raise RepairRefused(f"{item} was bought on {day_words(item.bought_on)}: check the date.", "done_at")
        repair = Repair.objects.create(
            uid=uid,
            item=item,
            fault=fault,
            done_at=min(done_at, received_at),
            person=person,
            did=did,
            end=end,
            parts=parts,
            minutes=minutes,
            cost_cents=cost_cents,
            as_new=as_new,
        )
        _follow(item, received_at)
    return repair


def repair_take_back(*, repair: Repair, person: Person | None, at: datetime) -> Repair:
    """Take a repair back by a new row that names it, and answer that row; asked twice, it is taken back once."""
    with transaction.atomic():
        item = item_locked(repair.item)
        known = Repair.objects.filter(takes_back=repair).first()
        if known is not None:
            return known
        if repair.takes_back_id is not None:
            raise RepairRefused("That row takes a repair back. To have the repair again, note it again.")
        row = Repair.objects.create(
            uid=uuids.uuid5(repair.uid, "taken back"), item=item, done_at=at, person=person, takes_back=repair
        )
        _follow(item, at)
    return row


def _follow(item: Item, at: datetime) -> None:
    items_refold(item_ids=[item.pk], at=at)
    reckon(item, at=at)


def _check(
    item: Item, *, did: str, parts: str, end: str, minutes: int | None, cost_cents: int | None, fault: Fault | None
) -> None:
    if not item.type.has_standing:
        raise RepairRefused(f"{item} is never good or bad: write what was done in its notes.")
    if item.retired_on:
        raise RepairRefused(f"{item} was retired on {day_words(item.retired_on)}. Bring it back into use first.")
    if not did:
        raise RepairRefused("Say what was done.", "did")
    for name, text, most in (("did", did, LONGEST_DID), ("parts", parts, LONGEST_PARTS), ("end", end, LONGEST_END)):
        if len(text) > most:
            raise RepairRefused(f"Keep it under {most + 1} characters.", name)
    if minutes is not None and not 0 <= minutes <= MOST_MINUTES:
        raise RepairRefused(f"A repair takes between 0 and {MOST_MINUTES} minutes.", "minutes")
    if cost_cents is not None and not 0 <= cost_cents <= MOST_CENTS:
        raise RepairRefused("That cost cannot be.", "cost_cents")
    if fault is not None and fault.item_id != item.pk:
        raise RepairRefused("That fault is one of another item.", "fault")
