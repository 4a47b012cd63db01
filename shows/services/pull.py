"""Writes to pull lists: rows added, edited, moved, removed and put back; rigs, goes-with and copies."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max

from inventory.models import GearType, Item
from shows.calc.words import Critical
from shows.models import PullRow, Rig, Show, StagePlan
from shows.services.custody import items_refold

MOST_ROWS = 2_000  # a pull list longer than this is a mistake or an attack


def _next_rank(show: Show) -> int:
    return (PullRow.objects.filter(show=show).aggregate(top=Max("rank"))["top"] or 0) + 1


def _room_for(show: Show, more: int) -> None:
    if PullRow.objects.filter(show=show).count() + more > MOST_ROWS:
        raise ValidationError(f"A pull list holds at most {MOST_ROWS} rows.")


@transaction.atomic
def row_add(
    *,
    show: Show,
    type: GearType,
    count: int = 1,
    length_mm: int = 0,
    item: Item | None = None,
    reason: str = "",
    feed: str = "",
    critical: str = Critical.NORMAL.value,
    line: str = "",
    origin: str = PullRow.Origin.HAND.value,
    rank: int | None = None,
    made: str = "",
    by_hand: bool = False,
) -> PullRow:
    """Add a row at the end of a pull list (or back at its old rank)."""
    Show.objects.select_for_update().get(pk=show.pk)
    _room_for(show, 1)
    row = PullRow(
        show=show,
        type=type,
        count=count,
        length_mm=length_mm,
        item=item,
        reason=reason,
        feed=feed,
        critical=critical,
        line=line,
        origin=origin,
        rank=_next_rank(show) if rank is None else rank,
        made=made,
        by_hand=by_hand,
    )
    row.full_clean()
    row.save()
    _planned(row.item_id)
    return row


def _planned(*item_ids: int | None) -> None:
    """Have the ledger of use written again for items a list names, or named until now."""
    named = {pk for pk in item_ids if pk is not None}
    if named:
        items_refold(item_ids=named)


@transaction.atomic
def row_edit(*, row: PullRow, **changes: Any) -> PullRow:
    """Change a row; its place on the list stays. A row the planner wrote is a person's from then on."""
    if row.made and any(getattr(row, field) != value for field, value in changes.items()):
        changes["by_hand"] = True
    for field, value in changes.items():
        setattr(row, field, value)
    row.full_clean()
    row.save(update_fields=list(changes))
    _planned(row.item_id)
    return row


@transaction.atomic
def row_remove(*, row: PullRow) -> dict[str, Any]:
    """Remove a row and answer what `row_put_back` needs. One that the planner wrote is not written again."""
    kept = kept_of(row)
    PullRow.objects.filter(pk=row.pk).delete()
    if row.made:
        _left_out(row.show_id, add=row.made)
    _planned(row.item_id)
    return kept


def kept_of(row: PullRow) -> dict[str, Any]:
    """Return all a row says, as plain values."""
    return {
        "show": row.show_id,
        "type": row.type_id,
        "count": row.count,
        "length_mm": row.length_mm,
        "item": row.item_id,
        "reason": row.reason,
        "feed": row.feed,
        "critical": row.critical,
        "line": row.line,
        "origin": row.origin,
        "rank": row.rank,
        "made": row.made,
        "by_hand": row.by_hand,
    }


def _left_out(show_id: int, *, add: str = "", drop: str = "") -> None:
    """Keep in the plan that a person left a row out, or that it is wanted again."""
    plan, _made = StagePlan.objects.select_for_update(of=("self",), no_key=True).get_or_create(show_id=show_id)
    keys = [key for key in plan.left_out if key not in {add, drop}] + ([add] if add else [])
    if keys != plan.left_out:
        plan.left_out = keys
        plan.save(update_fields=["left_out"])


@transaction.atomic
def row_bring_back(*, show: Show, made: str) -> None:
    """Let the planner write a row again that a person had left out."""
    _left_out(show.pk, drop=made)


@transaction.atomic
def row_put_back(*, show: Show, kept: dict[str, Any]) -> PullRow | None:
    """Put a removed row back where it was; a row that is back already is not doubled (None)."""
    same = {k: kept[k] for k in ("length_mm", "count", "reason", "feed", "critical", "line", "origin", "rank")}
    if PullRow.objects.filter(show=show, type_id=kept["type"], item_id=kept["item"], **same).exists():
        return None
    type_ = GearType.objects.filter(pk=kept["type"]).first()
    item = Item.objects.filter(pk=kept["item"]).first() if kept["item"] else None
    if type_ is None or (kept["item"] and item is None):
        raise ValidationError("What that row asked for is gone from the record.")
    made = kept.get("made", "")
    if made:
        if PullRow.objects.filter(show=show, made=made).exists():
            return None  # made again meanwhile
        _left_out(show.pk, drop=made)
    return row_add(show=show, type=type_, item=item, made=made, by_hand=kept.get("by_hand", False), **same)


@transaction.atomic
def row_move(*, row: PullRow, by: int) -> None:
    """Move a row up (negative) or down its list by so many places, and number the list afresh."""
    Show.objects.select_for_update().get(pk=row.show_id)
    rows = list(PullRow.objects.filter(show=row.show_id).only("pk", "rank"))
    place = next((n for n, r in enumerate(rows) if r.pk == row.pk), None)
    if place is None:
        return
    moved = rows.pop(place)
    rows.insert(max(0, min(len(rows), place + by)), moved)
    for rank, each in enumerate(rows, start=1):
        each.rank = rank
    PullRow.objects.bulk_update(rows, ["rank"], batch_size=500)


@transaction.atomic
def rig_pull(*, show: Show, rig: Rig) -> int:
    """Put all a rig holds at the end of a pull list; answers how many rows."""
    Show.objects.select_for_update().get(pk=show.pk)
    rows = list(rig.rows.all())
    _room_for(show, len(rows))
    start = _next_rank(show)
    return len(
        PullRow.objects.bulk_create(
            PullRow(
                show=show,
                type_id=r.type_id,
                length_mm=r.length_mm,
                count=r.count,
                feed=r.feed,
                critical=r.critical,
                line=r.line,
                reason=rig.name,
                origin=PullRow.Origin.RIG,
                rank=start + n,
            )
            for n, r in enumerate(rows)
        )
    )


@transaction.atomic
def rows_copy(*, source: Show, show: Show) -> int:
    """Copy a pull list to another show. A row for one particular item that has since been retired asks for its type."""
    rows = list(source.pull_rows.select_related("item"))
    taken = set(PullRow.objects.filter(show=show, item__isnull=False).values_list("item", flat=True))
    _room_for(show, len(rows))
    start = _next_rank(show)
    copies = []
    for n, r in enumerate(rows):
        item = r.item_id if r.item and r.item.retired_on is None and r.item.gone_home_on is None else None
        copies.append(
            PullRow(
                show=show,
                type_id=r.type_id,
                length_mm=r.length_mm,
                count=r.count,
                item_id=None if item in taken else item,
                reason=r.reason,
                feed=r.feed,
                critical=r.critical,
                line=r.line,
                origin=r.origin,
                rank=start + n,
            )
        )
    PullRow.objects.bulk_create(copies)
    _planned(*(copy.item_id for copy in copies))
    return len(copies)
