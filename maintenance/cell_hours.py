"""On-hours of sets: what the use ledger says ran on cells, line by line, and what people told beside it."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta

from django.db.models import Q, QuerySet

from company.models import Company
from inventory.models import Item
from maintenance.models import HoursNote, UseLedger
from maintenance.registries import used_when

WINDOW, LOGGED = 0.25, 0.05  # spread of hours: from line check and end; from a timer or a log
EVENING = time(18, 0)  # where nobody says when on a day a thing was on
FAR = datetime(9999, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, kw_only=True)
class Run:
    """One time a device ran on its cells, hours as they count now; `share` is their spread."""

    start: datetime
    end: datetime
    hours: float
    share: float
    occasion: str = ""
    what: str = ""  # "", logged, left in

    def within(self, first: datetime, last: datetime) -> float:
        """Return the hours of it between two instants: told hours that have no length count whole, at their start."""
        long = (self.end - self.start).total_seconds()
        if long <= 0:
            return self.hours if first <= self.start < last else 0.0
        common = (min(self.end, last) - max(self.start, first)).total_seconds()
        return self.hours * min(max(common / long, 0.0), 1.0)


@dataclass(frozen=True, kw_only=True)
class Used:
    """Hours on, and their spread in hours: windows are off together, told ones each by itself."""

    hours: float = 0.0
    sigma: float = 0.0

    @property
    def share(self) -> float:
        """Return the spread of ln hours; that of a window where there are none yet."""
        return min(max(self.sigma / self.hours, LOGGED), 1.0) if self.hours > 0 else WINDOW


@dataclass
class Book:
    """The runs of some devices, each device's by time."""

    runs: dict[int, list[Run]] = field(default_factory=dict)

    def between(self, item: int, first: datetime, last: datetime | None) -> Used:
        """Return what a device ran on its cells between two instants; `last` None: until now, whatever is in the book."""
        total = window = told = 0.0
        until = last or FAR
        for run in self.runs.get(item, ()):
            if run.start >= until:
                break  # they are in the order they began
            hours = run.within(first, until) if run.end >= first else 0.0
            if hours <= 0:
                continue
            total += hours
            if run.share > LOGGED:
                window += hours * run.share
            else:
                told += (hours * run.share) ** 2
        return Used(hours=total, sigma=(window * window + told) ** 0.5)


def book_of(items: Iterable[int] | QuerySet[Item], at: datetime) -> Book:
    """Read the runs of these devices up to an instant, in a constant number of queries.

    A row of the ledger counts when its show is over, or under way with the thing out to it: then as far as it has got. A note
    stands in for the row of its occasion (a logged figure, not used after all) or adds hours of its own (left plugged in; a
    logged figure without an occasion). Only rows fed by cells count, except that a logged figure for a row says it ran.
    """
    keys = items.order_by().values("pk") if isinstance(items, QuerySet) else list(items)
    notes: dict[tuple[int, str], HoursNote] = {}
    more: list[HoursNote] = []
    for note in HoursNote.objects.filter(item__in=keys, withdrawn_at=None, at__lte=at).order_by("at", "pk"):
        if note.occasion and note.why != HoursNote.Why.LEFT_IN:
            notes[note.item_id, note.occasion] = note  # of two for one occasion the newer counts
        elif note.minutes:
            more.append(note)
    # rows fed by phantom or mains are most of a ledger: they are read only where a note may say otherwise
    counts = Q(fed_by="cells") | Q(item__in={item for item, _occasion in notes})
    rows = list(
        UseLedger.objects.filter(counts, item__in=keys, basis="line")
        .order_by()
        .values_list("item_id", "occasion", "day", "state", "on_minutes", "fed_by", "item__custody_show")
    )
    rows = [row for row in rows if row[5] == "cells" or (row[0], row[1]) in notes]
    times = used_when({row[1] for row in rows})
    zone = Company.current().zone
    runs: dict[int, list[Run]] = defaultdict(list)
    for item, occasion, day, state, minutes, _fed, custody in rows:
        start, end = times.get(occasion) or _evening(day, minutes, zone)
        if start >= at or (state != "done" and occasion != f"show:{custody}"):
            continue
        said = notes.get((item, occasion))
        if said is not None:
            if said.why == HoursNote.Why.LOGGED:
                runs[item].append(
                    Run(start=start, end=end, hours=said.minutes / 60, share=LOGGED, occasion=occasion, what="logged")
                )
            continue
        reached = min(max((at - start) / (end - start), 0.0), 1.0) if end > start else 1.0
        last = min(end, at) if end > start else end
        runs[item].append(Run(start=start, end=last, hours=minutes / 60 * reached, share=WINDOW, occasion=occasion))
    for note in more:
        share = LOGGED if note.why == HoursNote.Why.LOGGED else WINDOW
        runs[note.item_id].append(
            Run(start=note.at, end=note.at, hours=note.minutes / 60, share=share, occasion=note.occasion, what=str(note.why))
        )
    for some in runs.values():
        some.sort(key=lambda run: run.start)
    return Book(runs=dict(runs))


def _evening(day: date, minutes: int, zone: object) -> tuple[datetime, datetime]:
    start = datetime.combine(day, EVENING, tzinfo=zone)  # type: ignore[arg-type]
    return start, start + timedelta(minutes=minutes)
