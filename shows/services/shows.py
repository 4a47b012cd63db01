"""Writes to shows: add, edit, cancel, close with what is missing, open again."""

import uuid
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Sum

from company.models import Person
from inventory.calc.kinds import Kind
from inventory.models import CountedLine, CountMove, Item
from inventory.services.counted import count_back, count_lost
from shows.calc.times import ShowTimes
from shows.calc.words import ShowState
from shows.models import Checkout, PullRow, Show, Venue
from shows.services.custody import items_refold, show_refold
from shows.services.pull import rows_copy


@transaction.atomic
def show_add(
    *,
    name: str,
    client: str,
    venue: Venue | None,
    times: ShowTimes,
    notes: str,
    at: datetime,
    rehearsal: bool = False,
    copy_from: Show | None = None,
) -> Show:
    """Add a show; with `copy_from` its pull list comes along."""
    show = Show(name=name, client=client, venue=venue, notes=notes, rehearsal=rehearsal, added_at=at, **times.as_fields())
    show.full_clean()
    show.save()
    if copy_from is not None:
        rows_copy(source=copy_from, show=show)
    return show


@transaction.atomic
def show_edit(
    *, show: Show, name: str, client: str, venue: Venue | None, times: ShowTimes, notes: str, rehearsal: bool = False
) -> Show:
    """Change what was planned; scans already made keep their show."""
    changed = {"name": name, "client": client, "venue": venue, "notes": notes, "rehearsal": rehearsal, **times.as_fields()}
    for field, value in changed.items():
        setattr(show, field, value)
    show.full_clean()
    show.save(update_fields=list(changed))
    show_refold(show_id=show.pk)  # what is a contradiction depends on a show's times
    return show


def _set_state(show: Show, state: ShowState, *, was: set[ShowState], closed_at: datetime | None = None) -> bool:
    """Change the state of a show that is in one of some states; False where somebody was quicker."""
    with transaction.atomic():
        held = Show.objects.select_for_update().filter(pk=show.pk, state__in=was).first()
        if held is None:
            return False
        held.state, held.closed_at = state, closed_at
        held.save(update_fields=["state", "closed_at"])
        show_refold(show_id=held.pk)
        return True


def show_cancel(*, show: Show) -> bool:
    """Cancel a planned show: it holds no gear from now on. Answers False where it was not planned any more."""
    return _set_state(show, ShowState.CANCELLED, was={ShowState.PLANNED})


def show_plan_again(*, show: Show) -> bool:
    """Open a closed or cancelled show again; what was declared missing stays so until it is scanned."""
    return _set_state(show, ShowState.PLANNED, was={ShowState.CLOSED, ShowState.CANCELLED})


@transaction.atomic
def show_close(*, show: Show, uid: uuid.UUID, person: Person, at: datetime) -> tuple[int, int]:
    """Close a show: what is still out is declared missing, counted things still out are counted off,
    consumables still out are used up.

    Answers (items declared missing, counted things counted off). Closing twice changes nothing the second time.
    """
    if not _set_state(show, ShowState.CLOSED, was={ShowState.PLANNED}, closed_at=at):
        return 0, 0
    out = Checkout.objects.filter(show=show, closed_at=None).values_list("item_id", flat=True)
    declared = items_declare_missing(item_ids=list(out), at=at)
    lost = 0
    left = CountMove.objects.filter(show=show.pk).values("line").annotate(net=Sum("delta")).filter(net__lt=0)
    nets = {row["line"]: -row["net"] for row in left.order_by("line")}
    for line in CountedLine.objects.filter(pk__in=nets).select_related("type").order_by("pk"):
        entered = uuid.uuid5(uid, f"closed:{line.pk}")
        if line.type.kind == Kind.CONSUMABLE:
            count_back(uid=entered, line=line, show=show.pk, good=0, at=at, person=person)  # what never came back is used up
        else:
            lost += nets[line.pk]
            count_lost(uid=entered, line=line, show=show.pk, count=nets[line.pk], at=at, person=person)
    return declared, lost


def show_delete(*, show: Show) -> None:
    """Delete a show nothing was ever scanned or counted for; otherwise say why it cannot go."""
    if show.scans.exists() or show.checkouts.exists() or CountMove.objects.filter(show=show.pk).exists():
        raise ValidationError(f"Gear was scanned for {show.name}, so its record stays. Cancel or close it instead.")
    with transaction.atomic():
        rows = PullRow.objects.filter(show=show)
        named = set(rows.filter(item__isnull=False).values_list("item_id", flat=True))
        rows.delete()
        show.delete()
        if named:
            items_refold(item_ids=named)  # they are not planned for it any more


def items_declare_missing(*, item_ids: list[int], at: datetime) -> int:
    """Declare items missing from now; those that already are keep their day. A later scan clears it."""
    return Item.objects.filter(pk__in=item_ids, missing_since=None).update(missing_since=at)


def item_not_missing(*, item: Item) -> bool:
    """Take back a declaration made by mistake."""
    return bool(Item.objects.filter(pk=item.pk, missing_since__isnull=False).update(missing_since=None))


@transaction.atomic
def item_said_at(*, item: Item, words: str, person: Person, day: str) -> None:
    """Write where somebody says a thing is at the head of its notes: hearsay, so custody does not change."""
    held = Item.objects.select_for_update().get(pk=item.pk)
    held.notes = f"{day}: {words} ({person})\n{held.notes}"[:4000].rstrip()
    held.save(update_fields=["notes"])
