"""Which backups are kept: the newest of each of the last 14 days, 8 weeks and 12 months that have one."""

from collections.abc import Iterable
from datetime import datetime

DAYS, WEEKS, MONTHS = 14, 8, 12


def kept(made: Iterable[datetime]) -> set[datetime]:
    """Return the instants of the backups to keep; those of a shop that was closed for a year stay as they are."""
    newest_first = sorted(set(made), reverse=True)
    keep: set[datetime] = set()
    for most, period in (
        (DAYS, lambda at: at.date()),
        (WEEKS, lambda at: at.isocalendar()[:2]),
        (MONTHS, lambda at: (at.year, at.month)),
    ):
        seen: dict[object, datetime] = {}
        for at in newest_first:
            seen.setdefault(period(at), at)
        keep.update(list(seen.values())[:most])
    return keep
