"""Write the use ledger: which item was used at which show, how long and fed by what. Bench and cells read it."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal

from django.db.models import Q

from company.rows import rows_delete, rows_put
from maintenance.models import UseLedger
from shows.calc.times import running_time
from shows.models import Checkout, PullRow
from shows.services.programme import Programme, Use

LONGEST_MINUTES = 100_000
FIELDS = ("day", "state", "on_minutes", "fed_by", "basis")
ONE_SHOW = Decimal(1)


def occasion(show: int) -> str:
    """Return the ledger's name of a show."""
    return f"show:{show}"


def ledger_write(*, pairs: Iterable[tuple[int, int]], at: datetime, programme: Programme, whole: Iterable[int] = ()) -> None:
    """Bring the ledger in step for (item, show) pairs, and for every show of the items in `whole`; constant queries.

    A stay that ended before the show's line check was no use of it. A pull row naming an item is a planned use until the
    show is over. An item on a line was on from line check to end, nights left out; one that only came along
    was not.
    """
    wanted = set(pairs)
    whole = set(whole)
    items = {item for item, _show in wanted} | whole
    if not items:
        return
    uses = programme.uses(show for _item, show in wanted)
    # by the item and, unless all is wanted, by the time: were the shows named, a planner might walk all that is out to them
    out = Checkout.objects.filter(item__in=items).order_by()
    if not whole:
        earliest = min((use.line_check for use in uses.values()), default=at)
        out = out.filter(Q(closed_at=None) | Q(closed_at__gt=earliest))
    stays: dict[tuple[int, int], list[datetime | None]] = defaultdict(list)
    for item, show, closed_at in out.values_list("item_id", "show_id", "closed_at"):
        stays[item, show].append(closed_at)
    on_lists = PullRow.objects.filter(item__in=items).order_by()
    if not whole:
        on_lists = on_lists.filter(show__in=uses)
    pulled = on_lists.values_list("item_id", "show_id", "line", "feed")
    rows = {(item, show): (line, feed) for item, show, line, feed in pulled}
    old: dict[tuple[int, str], tuple] = {}
    if whole:
        kept = UseLedger.objects.filter(item__in=items, occasion__startswith="show:").order_by()
        old = {(item, named): tuple(fields) for item, named, *fields in kept.values_list("item_id", "occasion", *FIELDS)}
        wanted |= {pair for pair in (*stays, *rows) if pair[0] in whole}
        uses = programme.uses(show for _item, show in wanted)

    right: dict[tuple[int, str], tuple] = {}
    for item, show in wanted:
        use = uses.get(show)
        if use is None or use.cancelled:
            continue
        used = any(closed is None or closed > use.line_check for closed in stays.get((item, show), ()))
        if used or ((item, show) in rows and use.end > at):
            line, feed = rows.get((item, show), ("", ""))
            right[item, occasion(show)] = _fields(use, used=used, line=line, feed=feed, at=at, programme=programme)
    wrong = {(item, occasion(show)) for item, show in wanted} | {key for key in old if key[0] in whole}
    rows_delete(UseLedger, ("item_id", "occasion"), sorted(wrong - set(right)))
    changed = [(*key, ONE_SHOW, *fields) for key, fields in sorted(right.items()) if old.get(key) != fields]
    rows_put(UseLedger, ("item_id", "occasion", "shows", *FIELDS), changed, unique=("item_id", "occasion"))


def _fields(use: Use, *, used: bool, line: str, feed: str, at: datetime, programme: Programme) -> tuple:
    minutes = int(running_time(use.line_check, use.end, programme.zone).total_seconds() // 60) if line else 0
    return (
        programme.day(use.start),
        "done" if used and use.end <= at else "planned",
        min(minutes, LONGEST_MINUTES),
        feed if line else "",
        "line" if line else "carried",
    )
