"""Writes to rigs: a rig with its rows, or a rig made from a pull list."""

from django.db import transaction
from django.db.models import Sum

from inventory.models import GearType
from shows.calc.words import Critical
from shows.models import Rig, RigRow, Show


def rig_row_add(*, rig: Rig, type: GearType, count: int, length_mm: int, feed: str, critical: str, line: str) -> RigRow:
    """Add to a rig; the same type, length and line once more adds to the count that is there."""
    with transaction.atomic():
        held = RigRow.objects.select_for_update().filter(rig=rig, type=type, length_mm=length_mm, line=line).first()
        if held is not None:
            held.count += count
            held.full_clean()
            held.save(update_fields=["count"])
            return held
        row = RigRow(rig=rig, type=type, count=count, length_mm=length_mm, feed=feed, critical=critical, line=line)
        row.full_clean()
        row.save()
        return row


@transaction.atomic
def rig_from_show(*, rig: Rig, show: Show) -> int:
    """Fill a new rig with what a show pulls, by type and length; particular items count as their type."""
    sums = show.pull_rows.values("type", "length_mm", "line", "feed").annotate(total=Sum("count")).order_by("type", "length_mm")
    rows: dict[tuple[int, int, str], RigRow] = {}
    for s in sums:
        key = (s["type"], s["length_mm"], s["line"])
        if key in rows:
            rows[key].count += s["total"]
        else:
            rows[key] = RigRow(
                rig=rig,
                type_id=s["type"],
                length_mm=s["length_mm"],
                line=s["line"],
                feed=s["feed"],
                count=s["total"],
                critical=Critical.NORMAL,
            )
    return len(RigRow.objects.bulk_create(rows.values()))
