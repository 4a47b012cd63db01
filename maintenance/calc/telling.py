"""When a person may be told: quiet hours, the instant of a day's digest, and the pauses after a failure. Zones are theirs."""

from datetime import UTC, date, datetime, time, timedelta, tzinfo

DAY = timedelta(days=1)
HOUR = timedelta(hours=1)
PAUSES = (timedelta(minutes=1), timedelta(minutes=5), timedelta(minutes=15), HOUR)
GIVE_UP_AFTER = DAY


def instant_of(day: date, at: time, zone: tzinfo) -> datetime:
    """Return the first instant at which a zone's clocks show a time of a day.

    A time the clocks leap over on a spring night is moved on by the leap, so that every day has exactly one such instant.
    """
    # fold 0: the earlier of two; in the gap, the offset of before, which lands behind it
    return datetime.combine(day, at.replace(fold=0), tzinfo=zone).astimezone(UTC)


def quiet_end(at: datetime, zone: tzinfo, start: time | None, end: time | None) -> datetime | None:
    """Return when the quiet hours that an instant lies in are over, always later than it; None if it lies in none."""
    if start is None or end is None or start == end:
        return None
    local = at.astimezone(zone)
    clock = local.time()
    if start < end:
        if not start <= clock < end:
            return None
        day = local.date()
    elif clock >= start:
        day = local.date() + DAY
    elif clock < end:
        day = local.date()
    else:
        return None
    over = instant_of(day, end, zone)
    if over <= at:  # the hour that comes twice in autumn: the second time it shows
        over = datetime.combine(day, end.replace(fold=1), tzinfo=zone).astimezone(UTC)
    return over if over > at else None


def digest_day(at: datetime, zone: tzinfo, hour: time) -> date:
    """Return the latest day, in the zone, whose digest is due by an instant: today's, or yesterday's before that hour."""
    day = at.astimezone(zone).date()
    return day if instant_of(day, hour, zone) <= at else day - DAY


def pause_after(failures: int) -> timedelta:
    """Return how long to wait after so many failures in a row (from 1): 1, 5, 15, 60 minutes, then hourly."""
    return PAUSES[min(failures, len(PAUSES)) - 1]
