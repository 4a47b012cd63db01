"""Write the use ledger: which item was used at which show, how long and fed by what. Bench and cells read it."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime

from django.db.models import Q

from company.models import Company
from maintenance.models import UseLedger
from shows.calc.words import ShowState
from shows.models import Checkout, PullRow, Show

LONGEST_MINUTES = 100_000
FIELDS = ("day", "state", "on_minutes", "fed_by", "basis")


def occasion(show: int) -> str:
    """Return the ledger's name of a show."""
    return f"show:{show}"


def ledger_write(*, pairs: Iterable[tuple[int, int]], at: datetime, whole: Iterable[int] = ()) -> None:
    """Bring the ledger in step for (item, show) pairs, and for every show of the items in `whole`; constant queries.

    A stay that ended before the show's line check was no use of it. A pull row naming an item is a planned use until the
    show is over. An item on a line was on from line check to end; one that only came along was not.
    """
    wanted = set(pairs)
    whole = set(whole)
    items = {item for item, _show in wanted} | whole
    if not items:
        return
    named = {show for _item, show in wanted}
    narrow = Q(item__in=items) if whole else Q(item__in=items, show__in=named)
    stays: dict[tuple[int, int], list[datetime | None]] = defaultdict(list)
    for item, show, closed_at in Checkout.objects.filter(narrow).order_by().values_list("item_id", "show_id", "closed_at"):
        stays[item, show].append(closed_at)
    rows = {
        (item, show): (line, feed)
        for item, show, line, feed in PullRow.objects.filter(narrow)
        .order_by()
        .values_list("item_id", "show_id", "line", "feed")
    }
    kept = UseLedger.objects.filter(item__in=items, occasion__startswith="show:")
    if not whole:
        kept = kept.filter(occasion__in=[occasion(show) for show in named])
    old = {(row[1], row[2]): (row[0], row[3:]) for row in kept.order_by().values_list("pk", "item_id", "occasion", *FIELDS)}
    if whole:
        wanted |= {pair for pair in (*stays, *rows) if pair[0] in whole}
    shows = Show.objects.in_bulk({show for _item, show in wanted})
    zone = Company.current().zone

    written: list[UseLedger] = []
    right: set[tuple[int, str]] = set()
    for item, show_id in sorted(wanted):
        held_for = shows.get(show_id)
        if held_for is None or held_for.state == ShowState.CANCELLED:
            continue
        used = any(closed is None or closed > held_for.line_check for closed in stays.get((item, show_id), ()))
        over = held_for.end <= at
        if not used and ((item, show_id) not in rows or over):
            continue
        line, feed = rows.get((item, show_id), ("", ""))
        minutes = int((held_for.end - held_for.line_check).total_seconds() // 60) if line else 0
        new = UseLedger(
            item_id=item,
            occasion=occasion(show_id),
            day=held_for.start.astimezone(zone).date(),
            state="done" if used and over else "planned",
            on_minutes=min(minutes, LONGEST_MINUTES),
            fed_by=feed if line else "",
            basis="line" if line else "carried",
        )
        right.add((item, new.occasion))
        before = old.get((item, new.occasion))
        if before is None or before[1] != tuple(getattr(new, name) for name in FIELDS):
            written.append(new)
    exact = {(item, occasion(show)) for item, show in wanted}
    gone = [pk for key, (pk, _fields) in old.items() if key not in right and (key[0] in whole or key in exact)]
    if gone:
        UseLedger.objects.filter(pk__in=gone).delete()
    if written:
        UseLedger.objects.bulk_create(
            written, update_conflicts=True, unique_fields=["item", "occasion"], update_fields=list(FIELDS)
        )
