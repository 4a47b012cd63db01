"""Writes that make a pull list from its plan, and take the last making back."""

from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max

from company.models import Person
from inventory.models import Item
from shows.models import PullRow, Show, StagePlan
from shows.planning.making import Making, making_of
from shows.planning.pulling import Planned
from shows.services.custody import items_refold
from shows.services.pull import MOST_ROWS, kept_of, row_edit, row_remove

FIELDS = ("type_id", "length_mm", "count", "item_id", "reason", "feed", "critical", "line")


@transaction.atomic
def pull_make(*, show: Show, person: Person | None, at: datetime) -> Making:
    """Write the plan's rows to a show's pull list and answer what was done.

    Rows that a person changed stay, rows that a person removed are not written again, what other rows ask for is not
    asked for twice; what the plan no longer wants goes, unless it is out with the show. Raises where the list grows too long.
    """
    Show.objects.select_for_update().get(pk=show.pk)
    made = making_of(show)
    if made.too_many:
        raise ValidationError(f"A pull list holds at most {MOST_ROWS} rows: the plan asks for more. Nothing was written.")
    if made.nothing:
        _reword(made)
        return made
    before = [{**kept_of(change.row), "pk": change.row.pk} for change in (*made.changed, *made.reworded)]
    removed = [kept_of(stays.row) for stays in made.removed]
    PullRow.objects.filter(pk__in=[stays.row.pk for stays in made.removed]).delete()
    _reword(made)
    _change(made)
    start = (PullRow.objects.filter(show=show).aggregate(top=Max("rank"))["top"] or 0) + 1
    rows = [_row(show, one, start + number) for number, one in enumerate(made.added)]
    PullRow.objects.bulk_create(rows, batch_size=500)
    done = {"added": [one.key for one in made.added], "changed": before, "removed": removed}
    _remember(show, done, at)
    items = {kept["item"] for kept in (*before, *removed)}
    items |= {one.item.pk for one in (*made.added, *(change.planned for change in made.changed)) if one.item}
    _planned(items)
    return made


@transaction.atomic
def beyond_cut(*, show: Show, row_id: int) -> tuple[PullRow, dict[str, Any] | None] | None:
    """Cut a rig's row to what the lines ask for. Answer the row and, where all of it went, what puts it back.

    None: it is not there, or not more than enough, by now.
    """
    Show.objects.select_for_update().get(pk=show.pk)
    found = next((one for one in making_of(show).beyond if one.row.pk == row_id), None)
    if found is None:
        return None
    if found.keep:
        return row_edit(row=found.row, count=found.keep), None
    return found.row, row_remove(row=found.row)


def _row(show: Show, one: Planned, rank: int) -> PullRow:
    return PullRow(
        show=show,
        type=one.type,
        length_mm=one.length_mm,
        count=one.count,
        item=one.item,
        reason=one.reason,
        feed=one.feed,
        critical=one.critical,
        line=one.line,
        origin=PullRow.Origin.PLAN,
        rank=rank,
        made=one.key,
    )


def _change(made: Making) -> None:
    rows = [change.row for change in made.changed]
    if any(row.item_id for row in rows):
        # two rows may change things with each other: neither may hold its old one while the other is written
        PullRow.objects.filter(pk__in=[row.pk for row in rows], item__isnull=False).update(item=None)
    for change in made.changed:
        row, one = change.row, change.planned
        row.type, row.length_mm, row.count, row.item = one.type, one.length_mm, one.count, one.item
        row.reason, row.feed, row.critical, row.line = one.reason, one.feed, one.critical, one.line
    PullRow.objects.bulk_update(rows, [name.removesuffix("_id") for name in FIELDS], batch_size=500)


def _reword(made: Making) -> None:
    for each in made.reworded:
        each.row.reason = each.planned.reason
    PullRow.objects.bulk_update([each.row for each in made.reworded], ["reason"], batch_size=500)


def _remember(show: Show, done: dict[str, Any], at: datetime | None) -> None:
    StagePlan.objects.update_or_create(show=show, defaults={"last_made": done, "pulled_at": at})


def _planned(items: set[int | None]) -> None:
    named = {pk for pk in items if pk is not None}
    if named:
        items_refold(item_ids=named)


@transaction.atomic
def pull_unmake(*, show: Show, at: datetime) -> tuple[int, int]:
    """Take the last making of a show's pull list back: (rows put as they were, rows left since somebody changed them)."""
    Show.objects.select_for_update().get(pk=show.pk)
    plan = StagePlan.objects.filter(show=show).first()
    done = plan.last_made if plan else {}
    if not done:
        raise ValidationError("There is no making of this list to take back.")
    there = {row.made: row for row in PullRow.objects.filter(show=show).exclude(made="")}
    items: set[int | None] = set()
    undone = left = 0
    gone: list[int] = []
    for key in done["added"]:
        row = there.get(key)
        if row is None:
            continue
        if row.by_hand or row.origin == PullRow.Origin.SWAPPED:
            left += 1
            continue
        gone.append(row.pk)
        items.add(row.item_id)
    PullRow.objects.filter(pk__in=gone).delete()
    undone += len(gone)
    keys = {kept["made"] for kept in done["changed"]}
    before = [row for key, row in there.items() if key in keys and not row.by_hand and row.origin != PullRow.Origin.SWAPPED]
    left += len(keys) - len(before)
    PullRow.objects.filter(pk__in=[row.pk for row in before], item__isnull=False).update(item=None)
    items |= {row.item_id for row in before}
    told = {kept["made"]: kept for kept in done["changed"]}
    free = _free(show, done)
    for row in before:
        _as_it_was(row, told[row.made], free)
    PullRow.objects.bulk_update(before, [name.removesuffix("_id") for name in FIELDS], batch_size=500)
    back = [_again(show, kept, free) for kept in done["removed"] if kept["made"] not in there]
    PullRow.objects.bulk_create(back, batch_size=500)
    items |= {row.item_id for row in (*before, *back)}
    _remember(show, {}, None)
    _planned(items)
    return undone + len(before) + len(back), left


def _free(show: Show, done: dict[str, Any]) -> set[int]:
    """Return the things the rows named before that no other row names now and that are still on record."""
    named = {kept["item"] for kept in (*done["changed"], *done["removed"]) if kept["item"]}
    taken = set(PullRow.objects.filter(show=show, item__in=named).values_list("item", flat=True))
    return set(Item.objects.filter(pk__in=named).values_list("pk", flat=True)) - taken


def _as_it_was(row: PullRow, kept: dict[str, Any], free: set[int]) -> None:
    row.type_id, row.length_mm, row.count = kept["type"], kept["length_mm"], kept["count"]
    row.item_id = kept["item"] if kept["item"] in free else None
    row.reason, row.feed, row.critical, row.line = kept["reason"], kept["feed"], kept["critical"], kept["line"]


def _again(show: Show, kept: dict[str, Any], free: set[int]) -> PullRow:
    row = PullRow(show=show, origin=kept["origin"], rank=kept["rank"], made=kept["made"], by_hand=kept["by_hand"])
    _as_it_was(row, kept, free)
    return row
