"""What a crew pass lets its holder scan, and until when: for one show alone, back always, late ones for a fortnight.

A scan is judged by when it happened, not by when it came in: a phone that had no signal sends what it scanned in time.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from shows.calc.words import Action

LATE = timedelta(days=14)


@dataclass(frozen=True, kw_only=True)
class Limits:
    """One phone's pass: its show by key and name, since when it scans, when the show is home, when it was withdrawn."""

    show: int
    name: str
    since: datetime
    home_by: datetime
    withdrawn_at: datetime | None = None

    def may_start(self, at: datetime) -> bool:
        """Say whether a new phone may start on this pass."""
        return self.withdrawn_at is None and at < self.home_by

    def is_over(self, at: datetime) -> bool:
        """Say whether nothing but "back" is taken any more, however long ago it was scanned."""
        return at > self.home_by + LATE


def refusal(limits: Limits, *, action: str, show: int | None, happened: datetime, received: datetime) -> str:
    """Return why a pass's scan counts for nothing, in a sentence for the hand; empty: it counts.

    Withdrawn: what happened before still counts. "Back" is never refused for time.
    """
    if limits.withdrawn_at is not None and happened >= limits.withdrawn_at:
        return "This pass was withdrawn: the scan is kept and counts for nothing. Ask a technician."
    if show is not None and show != limits.show:
        return f"This pass scans for {limits.name} alone."
    if action == Action.BACK:
        return ""
    if happened > limits.home_by:
        return f"{limits.name} was to be home before this: a pass scans nothing but “back” now. Ask a technician."
    if received > limits.home_by + LATE:
        return "This came in more than 14 days after the show: kept, and counts for nothing. Tell a technician."
    return ""
