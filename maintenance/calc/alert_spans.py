"""Lengths of time as people write them: 30 min, 48 h, 7 days."""

import re
from datetime import timedelta

MOST = timedelta(days=366)
_UNITS = {
    "min": timedelta(minutes=1),
    "minute": timedelta(minutes=1),
    "minutes": timedelta(minutes=1),
    "h": timedelta(hours=1),
    "hour": timedelta(hours=1),
    "hours": timedelta(hours=1),
    "d": timedelta(days=1),
    "day": timedelta(days=1),
    "days": timedelta(days=1),
    "week": timedelta(days=7),
    "weeks": timedelta(days=7),
}
_SPAN = re.compile(r"\s*([0-9]{1,6})\s*([a-z]+)\s*", re.IGNORECASE)


class SpanError(ValueError):
    """Words that are no length of time, in a sentence for a person."""


def span_read(words: str) -> timedelta:
    """Read a length of time of at most a year, in whole minutes, hours, days or weeks."""
    found = _SPAN.fullmatch(words)
    unit = _UNITS.get(found[2].lower()) if found else None
    if not found or unit is None:
        raise SpanError(f"{words.strip()[:30]} is no length of time: write it as 30 min, 48 h or 7 days.")
    span = int(found[1]) * unit
    if span > MOST:
        raise SpanError("At most a year.")
    return span


def span_words(span: timedelta) -> str:
    """Say a length of time as it would be written: whole days from two days on, then hours, then minutes."""
    minutes = int(span.total_seconds() // 60)
    if minutes % 1440 == 0 and minutes >= 2880:
        return f"{minutes // 1440} days"
    if minutes % 60 == 0:
        return f"{minutes // 60} h"
    return f"{minutes} min"
