"""Items: add one or many, copy, edit, lend, borrow, move, retire. What is refused is refused in a sentence."""

import uuid
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from company.clock import today
from company.models import Person
from inventory.calc import codes
from inventory.calc.kinds import Kind
from inventory.calc.names import NameStyle, names_after, style_of
from inventory.models import GearType, Item, ItemEvent, Label, Place
from inventory.registries import AFTER_BIND, ITEM_LIFE
from inventory.services.labels import LabelRefused, code_new, label_bind, labels_mint

MOST_ADDED = 100
What = ItemEvent.What
UNNAMED = frozenset({Kind.LEAD, Kind.STAND, Kind.CONSUMABLE, Kind.POWER})

# What one thing hands on to its copy: never what is its own alone (serial, photo, standing, whereabouts).
COPIED = ("length_mm", "maker", "bought_on", "price_cents", "notes", "home_id", "borrowed_from", "give_back_by")


class GearRefused(ValueError):  # noqa: N818 (a word of the house)
    """Something cannot be done with gear as asked; the message is a sentence for the person who asked."""


def names_for(*, type: GearType, length_mm: int, count: int, style: NameStyle) -> list[str]:
    """Return names for `count` more of a type and length, going on after the highest there is."""
    taken = Item.objects.filter(type=type, length_mm=length_mm).values_list("name", flat=True)
    return names_after(taken, count, style)


def style_usual(*, type: GearType, length_mm: int) -> NameStyle:
    """Guess how the next of a type and length is told apart: as the others are; leads, stands and tape by code alone."""
    taken = list(Item.objects.filter(type=type, length_mm=length_mm).values_list("name", flat=True)[:500])
    found = style_of(taken)
    if found is not NameStyle.NONE or taken:
        return found
    return NameStyle.NONE if Kind(type.kind) in UNNAMED else NameStyle.LETTERS


def item_add(
    *,
    type: GearType,
    at: datetime,
    person: Person | None = None,
    code: str = "",
    uid: uuid.UUID | None = None,
    **fields: Any,
) -> Item:
    """Add one item; `code` is a label's that is bound to nothing yet (empty: a new one). The same uid adds it once.

    Raises GearRefused for a code that is taken or wrong.
    """
    uid = uid or uuid.uuid4()
    known = _added(uid, 1)
    if known:
        return known[0]
    wanted = _free_code(code) if code else code_new()
    item = Item(type=type, code=wanted, added_at=at, **fields)
    _check(item)
    try:
        with transaction.atomic():
            item.save(force_insert=True)
            label_bind(code=wanted, item=item, at=at)
            _tell_added([item], uid=uid, at=at, person=person)
    except LabelRefused as refused:
        raise GearRefused(str(refused)) from refused
    except IntegrityError as error:
        known = _added(uid, 1)
        if known:
            return known[0]
        raise GearRefused("Somebody else has just used that code: take another label.") from error
    return item


def items_add(
    *,
    type: GearType,
    count: int,
    at: datetime,
    person: Person | None = None,
    style: NameStyle = NameStyle.LETTERS,
    uid: uuid.UUID | None = None,
    **fields: Any,
) -> list[Item]:
    """Add several alike, each with a code of its own and the next free name. The same uid adds them once."""
    if not 1 <= count <= MOST_ADDED:
        raise GearRefused(f"Between 1 and {MOST_ADDED} at a time; import a list for more.")
    uid = uid or uuid.uuid4()
    known = _added(uid, count)
    if known:
        return known
    try:
        with transaction.atomic():
            names = names_for(type=type, length_mm=fields.get("length_mm", 0), count=count, style=style)
            labels = labels_mint(count=count, at=at)
            items = [
                Item(type=type, code=label.code, name=name, added_at=at, **fields)
                for label, name in zip(labels, names, strict=True)
            ]
            for item in items:
                _check(item)
                item.save(force_insert=True)
            for label, item in zip(labels, items, strict=True):
                label.item, label.bound_at = item, at
            Label.objects.bulk_update(labels, ["item", "bound_at"])
            _tell_added(items, uid=uid, at=at, person=person)
            for work_out_again in AFTER_BIND:
                work_out_again([item.pk for item in items])
    except IntegrityError:
        known = _added(uid, count)
        if not known:
            raise
        return known
    return items


def item_copy(
    *, item: Item, at: datetime, count: int = 1, style: NameStyle, person: Person | None = None, uid: uuid.UUID | None = None
) -> list[Item]:
    """Add more like this one: same type, length, maker, price and place; new codes, the next names."""
    fields = {name: getattr(item, name) for name in COPIED}
    return items_add(type=item.type, count=count, at=at, person=person, style=style, uid=uid, **fields)


def item_edit(*, item: Item, changes: dict[str, Any]) -> Item:
    """Change what somebody may type about an item: type, name, length, serial, maker, dates, price, notes, home."""
    with transaction.atomic():
        locked = _locked(item)
        changed = [name for name, value in changes.items() if getattr(locked, name) != value]
        for name in changed:
            setattr(locked, name, changes[name])
        if changed:
            _check(locked)
            locked.save(update_fields=changed)
    return locked


def item_retire(
    *, item: Item, because: str, on: date, at: datetime, person: Person | None = None, uid: uuid.UUID | None = None
) -> Item:
    """Take an item out of use for good, with a reason."""
    because = " ".join(because.split())
    if not because:
        raise GearRefused("Say why it is retired.")
    with transaction.atomic():
        locked = _locked(item)
        if locked.retired_on is not None:
            raise GearRefused(f"{locked} is retired already.")
        if locked.contents.exists():
            raise GearRefused(f"There are still things in {locked}. Take them out first.")
        _set(locked, retired_on=on, retired_because=because[:200])
        _tell(locked, What.RETIRED, on=on, at=at, note=because, person=person, uid=uid)
    return locked


def item_unretire(*, item: Item, on: date, at: datetime, person: Person | None = None) -> Item:
    """Bring a retired item back into use; its standing is what it was."""
    with transaction.atomic():
        locked = _locked(item)
        if locked.retired_on is None:
            raise GearRefused(f"{locked} is not retired.")
        _set(locked, retired_on=None, retired_because="")
        _tell(locked, What.UNRETIRED, on=on, at=at, person=person)
    return locked


def item_lend(
    *,
    item: Item,
    to: str,
    on: date,
    at: datetime,
    home_by: date | None = None,
    person: Person | None = None,
    uid: uuid.UUID | None = None,
) -> Item:
    """Lend an item to somebody, until a day if one is known."""
    to = " ".join(to.split())
    if not to:
        raise GearRefused("Say who has it.")
    if home_by and home_by < on:
        raise GearRefused("It cannot be home before it is lent.")
    with transaction.atomic():
        locked = _locked(item)
        if locked.lent_to:
            raise GearRefused(f"{locked} is lent to {locked.lent_to} already.")
        if locked.retired_on or locked.gone_home_on:
            raise GearRefused(f"{locked} is not here to be lent.")
        if locked.custody:
            raise GearRefused(f"{locked} is with a show. Scan it back first.")
        _set(locked, lent_to=to[:80], lent_on=on, lent_home_by=home_by)
        _tell(locked, What.LENT, on=on, at=at, note=f"to {to}", person=person, uid=uid)
    return locked


def item_lent_home(*, item: Item, on: date, at: datetime, person: Person | None = None) -> Item:
    """Note that a lent item is home again."""
    with transaction.atomic():
        locked = _locked(item)
        if not locked.lent_to:
            raise GearRefused(f"{locked} is not lent to anybody.")
        note = f"from {locked.lent_to}"
        _set(locked, lent_to="", lent_on=None, lent_home_by=None)
        _tell(locked, What.LENT_HOME, on=on, at=at, note=note, person=person)
    return locked


def item_borrow(
    *, item: Item, borrowed_from: str, give_back_by: date | None, on: date, at: datetime, person: Person | None = None
) -> Item:
    """Note that an item is somebody else's, and by when it goes home; also for one that has gone home and is here again."""
    whose = " ".join(borrowed_from.split())
    if not whose:
        raise GearRefused("Say whose it is.")
    with transaction.atomic():
        locked = _locked(item)
        _set(locked, borrowed_from=whose[:80], give_back_by=give_back_by, gone_home_on=None)
        _tell(locked, What.BORROWED, on=on, at=at, note=f"from {whose}", person=person)
    return locked


def item_gone_home(*, item: Item, on: date, at: datetime, person: Person | None = None) -> Item:
    """Note that a borrowed item is with its owner again."""
    with transaction.atomic():
        locked = _locked(item)
        if not locked.borrowed_from:
            raise GearRefused(f"{locked} is ours: it cannot go home.")
        if locked.gone_home_on:
            raise GearRefused(f"{locked} has gone home already.")
        if locked.custody:
            raise GearRefused(f"{locked} is with a show. Scan it back first.")
        _set(locked, gone_home_on=on)
        _tell(locked, What.GONE_HOME, on=on, at=at, note=f"to {locked.borrowed_from}", person=person)
    return locked


def items_set_place(*, items: Iterable[Item], place: Place | None) -> int:
    """Put items at a place. A shelf becomes their home; the bench or a repairer is where they are, and their home stays.

    No place: they are at their own shelf again, if they have one.
    """
    changed = 0
    with transaction.atomic():
        for item in Item.objects.select_for_update().filter(pk__in=[i.pk for i in items]).order_by("pk"):
            before = (item.home_id, item.at_id)
            if place is None or place.sort == Place.Sort.SHELF:
                item.home, item.at = place or item.home, None
            else:
                item.at = place
            if before != (item.home_id, item.at_id):
                item.save(update_fields=["home", "at"])
                changed += 1
    return changed


def item_set_place(*, item: Item, place: Place | None) -> Item:
    """Put one item at a place; see `items_set_place`."""
    items_set_place(items=[item], place=place)
    item.refresh_from_db(fields=["home", "at"])
    return item


def item_history(*, item: Item, at: datetime) -> str:
    """Say what keeps an item from being deleted; empty for one that has been through nothing."""
    if item.events.exclude(what=What.ADDED).exists():
        return "It was lent, borrowed or retired."
    kept = {"labels", "events", "custody_head"}
    for relation in Item._meta.related_objects:
        name = relation.get_accessor_name() or ""
        if name in kept or relation.one_to_one:
            continue
        if relation.related_model._default_manager.filter(**{relation.field.name: item}).exists():
            return f"The record speaks of it: {relation.related_model._meta.verbose_name_plural}."
    for name, answer in ITEM_LIFE.items():
        if name != "inventory" and any(not entry.ahead for entry in answer(item, at)):
            return "It has a life on record."
    return ""


def item_delete(*, item: Item, at: datetime) -> None:
    """Delete an item added by mistake; its printed labels are blank again. One with a history is retired instead."""
    with transaction.atomic():
        locked = _locked(item)
        history = item_history(item=locked, at=at)
        if history:
            raise GearRefused(f"{history} Retire it instead: its history stays.")
        Label.objects.filter(item=locked, printed_at=None).delete()
        Label.objects.filter(item=locked).update(item=None, bound_at=None)
        locked.delete()


def _free_code(text: str) -> str:
    read = codes.parse(text)
    if read.read is not codes.Read.CODE:
        raise GearRefused(read.why or "That is a card, not a label to stick on a thing.")
    label = Label.objects.select_related("item__type").filter(code=read.code).first()
    taken = (label and label.item) or Item.objects.select_related("type").filter(code=read.code).first()
    if taken:
        raise GearRefused(f"{codes.spell(read.code)} is already the label of {taken}. Take another label.")
    return read.code


def _check(item: Item) -> None:
    """Say what is wrong with an item's own columns in a sentence, before the database does."""
    try:
        item.full_clean(validate_unique=False, validate_constraints=False, exclude=["type", "home", "at", "in_case"])
    except ValidationError as wrong:
        raise GearRefused(" ".join(wrong.messages)) from wrong


def _locked(item: Item) -> Item:
    locked = Item.objects.select_for_update(of=("self",)).select_related("type").filter(pk=item.pk).first()
    if locked is None:
        raise GearRefused("That item is gone: somebody has just deleted it.")
    return locked


def _set(item: Item, **values: Any) -> None:
    for name, value in values.items():
        setattr(item, name, value)
    item.save(update_fields=list(values))


def _tell(
    item: Item,
    what: str,
    *,
    on: date,
    at: datetime,
    note: str = "",
    person: Person | None = None,
    uid: uuid.UUID | None = None,
) -> None:
    ItemEvent.objects.create(item=item, what=what, on=on, at=at, note=note[:200], person=person, uid=uid or uuid.uuid4())


def _tell_added(items: Sequence[Item], *, uid: uuid.UUID, at: datetime, person: Person | None) -> None:
    day = today(at)
    ItemEvent.objects.bulk_create(
        ItemEvent(uid=uuid.uuid5(uid, str(place)), item=item, what=What.ADDED, on=day, at=at, person=person)
        for place, item in enumerate(items)
    )


def _added(uid: uuid.UUID, count: int) -> list[Item]:
    """Return the items that the same form, sent before, has added."""
    uids = [uuid.uuid5(uid, str(place)) for place in range(count)]
    found = {e.uid: e.item for e in ItemEvent.objects.filter(uid__in=uids).select_related("item__type")}
    return [found[u] for u in uids if u in found]
