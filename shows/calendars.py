"""A person's calendar as a file that any calendar program reads (iCalendar, RFC 5545): shows, home-by, and what is to be done.

Hands get shows and when their gear must be home, with the notes they also read on the show's page; technicians and owners also
bench days, swaps before a show, what goes back. No prices, no people. Times are in the company's zone, with its rules in the
file: any program shows them in its own. A day's task is a day of the shop's, wherever one reads it.

Nothing in it moves with the minute it is read: the stamp of a show is when it was changed, that of a task the shop's midnight.
(There is no METHOD, with which a stamp would have to be the instant of asking; RFC 5545, 3.8.7.2.)
"""

import hashlib
import re
from collections import defaultdict
from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from auditlog.models import LogEntry
from django.conf import settings
from django.contrib.contenttypes.models import ContentType
from django.db.models import Count, Max
from django.urls import reverse
from icalendar import Calendar, Event, vDuration

from company.clock import today
from company.models import Company, Person
from company.templatetags.tape import clock, day
from inventory.models import Item
from maintenance.alert_terms import rules_now
from maintenance.models import Telling
from maintenance.recipients import zone_of
from maintenance.swap_needs import swaps_left
from shows.calc.words import ShowState
from shows.models import Show

BEFORE, AFTER = timedelta(days=60), timedelta(days=400)
BENCH_AHEAD, SWAPS_AHEAD = timedelta(days=90), timedelta(days=21)
MOST = 2_000  # events of one sort
NAMED = 12
SWAP_RULE = "swap-before-show"  # the hours before load-in are those the owner chose for its alert
LONG = 4_000
CUT = " … (cut here; the whole of it stands on its page)"
REFRESH = timedelta(hours=1)
NOWHERE = "knowngood.invalid"
# RFC 5545 allows no control character in text but the tab and, escaped, the line's end
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")


def calendar_of(person: Person, at: datetime) -> bytes:
    """Return a person's calendar at an instant; a constant number of queries."""
    company = Company.current()
    made = _Maker(company, person, at)
    shows = list(
        Show.objects.filter(home_by__gte=at - BEFORE, load_in__lte=at + AFTER)
        .select_related("venue")
        .order_by("load_in", "pk")[:MOST]
    )
    changed = _changes(shows)
    for show in shows:
        made.show(show, *changed.get(show.pk, (0, show.added_at)))
    if person.is_technician:
        made.bench()
        made.swaps()
        made.give_back()
    # a reader that meets an instant before the file's first change of clocks may take the wrong offset, and one errs where it
    # begins two years back (tests/external/test_calendars.py): begin in the summer before, which does not move from day to day
    made.calendar.add_missing_timezones(first_date=date(at.year - 1, 7, 1), last_date=date(at.year + 3, 1, 1))
    return bytes(made.calendar.to_ical())


def text_of(words: str) -> str:
    """Return words as a calendar may carry them: no control characters, lone surrogates replaced; cut at 4,000, and said so."""
    clean = _CONTROL.sub(" ", words.replace("\r\n", "\n").replace("\r", "\n"))
    clean = clean.encode("utf-8", "replace").decode()
    return clean if len(clean) <= LONG else clean[: LONG - len(CUT)].rstrip() + CUT


def _slug(words: str) -> str:
    """Return a name as a UID may carry it, the same every time."""
    return hashlib.sha256(words.encode("utf-8", "replace")).hexdigest()[:10]


def _changes(shows: Iterable[Show]) -> dict[int, tuple[int, datetime]]:
    """Return how often each show was edited and when last, from the change log."""
    keys = [show.pk for show in shows]
    if not keys:
        return {}
    entries = LogEntry.objects.filter(content_type=ContentType.objects.get_for_model(Show), object_id__in=keys)
    rows = entries.order_by().values_list("object_id").annotate(times=Count("pk"), last=Max("timestamp"))
    return {key: (max(0, times - 1), last) for key, times, last in rows}


class _Maker:
    def __init__(self, company: Company, person: Person, at: datetime) -> None:
        self.at = at
        self.zone: ZoneInfo = company.zone
        self.midnight = datetime.combine(today(at), time(), tzinfo=self.zone).astimezone(UTC)
        self.away = zone_of(Telling.objects.filter(person=person).first() or Telling(), self.zone) != self.zone
        self.base = (settings.SITE_ADDRESS or company.site_address).rstrip("/")
        self.host = self.base.split("://", 1)[-1].split("/")[0].split(":")[0] or NOWHERE
        self.calendar = Calendar()
        self.calendar.add("prodid", "-//Knowngood//Shows and gear//EN")
        self.calendar.add("version", "2.0")
        self.calendar.add("calscale", "GREGORIAN")
        self.calendar.add("x-wr-calname", text_of(company.name))
        self.calendar.add("refresh-interval", vDuration(REFRESH), parameters={"VALUE": "DURATION"})
        self.calendar.add("x-published-ttl", "PT1H")

    def _event(
        self,
        uid: str,
        summary: str,
        start: date | datetime,
        end: date | datetime,
        says: str,
        url: str,
        stamp: datetime | None = None,
    ) -> Event:
        event = Event()
        event.add("uid", f"{uid}@{self.host}")
        event.add("dtstamp", stamp or self.midnight)
        event.add("summary", text_of(summary))
        event.add("dtstart", start.astimezone(self.zone) if isinstance(start, datetime) else start)
        event.add("dtend", end.astimezone(self.zone) if isinstance(end, datetime) else end)
        event.add("description", text_of(says))
        if self.base:
            event.add("url", f"{self.base}{url}")
        if not isinstance(start, datetime):
            event.add("transp", "TRANSPARENT")  # a day's task blocks nobody's day
        self.calendar.add_component(event)
        return event

    def show(self, show: Show, times: int, changed: datetime) -> None:
        """Add a show from load-in to strike, and when its gear must be home."""
        off = show.state == ShowState.CANCELLED
        local = {
            name: getattr(show, name).astimezone(self.zone) for name in ("load_in", "line_check", "start", "end", "strike")
        }
        says = "\n".join(
            [
                f"Load-in {clock(local['load_in'])}, line check {clock(local['line_check'])}, start {clock(local['start'])}, "
                f"end {clock(local['end'])}, strike {clock(local['strike'])}"
                + (f" (the shop's time, {self.zone.key})." if self.away else "."),
                *([f"{show.venue.access}"] if show.venue and show.venue.access else []),
                *([show.notes] if show.notes else []),
            ]
        )
        url = reverse("show", args=[show.pk])
        stamp = changed.replace(microsecond=0)
        events = [self._event(f"show-{show.pk}", show.name, show.load_in, show.strike, says, url, stamp)]
        if show.venue:
            events[0].add("location", text_of(", ".join(p for p in (show.venue.name, show.venue.town) if p)))
        home = show.home_by
        words = f"Everything from {show.name} is home and scanned back."
        name = f"Home by: {show.name}"
        events.append(self._event(f"home-{show.pk}", name, home - timedelta(minutes=15), home, words, url, stamp))
        for event in events:
            event.add("sequence", times)
            event.add("last-modified", stamp)
            event.add("status", "CANCELLED" if off else "CONFIRMED")

    def bench(self) -> None:
        """Add a day for what is to be tested by then, one a day and not one a thing; what is late stands on today."""
        day_now = today(self.at)
        last = day_now + BENCH_AHEAD
        rows = Item.objects.ours_to_test().filter(test_by__lte=last, suspect_since=None)  # also what is out: it comes home
        counts: dict[date, int] = defaultdict(int)
        late = 0
        for by, count in rows.order_by().values_list("test_by").annotate(n=Count("pk")):
            counts[max(by, day_now)] += count
            late += count if by < day_now else 0
        names: dict[date, list[str]] = defaultdict(list)
        for item in rows.select_related("type").order_by("test_by", "pk")[: NAMED * 20]:
            if len(names[max(item.test_by, day_now)]) < NAMED:
                names[max(item.test_by, day_now)].append(item.label)
        for by, count in sorted(counts.items()):
            more = count - len(names[by])
            says = "\n".join(names[by] + ([f"and {more} more"] if more else []))
            if by == day_now and late:
                says = f"{late} of them past their day.\n{says}"
            things = f"{count} thing{'' if count == 1 else 's'}"
            self._event(f"bench-{by:%Y%m%d}", f"Test {things}", by, by + timedelta(days=1), says, reverse("bench"))

    def swaps(self) -> None:
        """Add what is to be swapped or charged before each coming show, so long before load-in as its alert speaks up."""
        before = rules_now()[SWAP_RULE].terms.lead
        for left in swaps_left(self.at, self.at + SWAPS_AHEAD):
            show = left.found.needs
            due = show.load_in - before
            words = f"{left.words[0].upper()}{left.words[1:]}: {show.name}"
            url = reverse("swap-list", args=[show.key])
            self._event(f"swap-{show.key}", words, due, due + timedelta(hours=1), f"Before load-in. {left.why}", url)

    def give_back(self) -> None:
        """Add what was borrowed on the day it must be back, one for each lender."""
        rows = Item.objects.owned().filter(give_back_by__isnull=False, give_back_by__gte=today(self.at) - BEFORE)
        counted = rows.order_by("give_back_by", "borrowed_from").values_list("give_back_by", "borrowed_from")
        for by, whose, count in counted.annotate(n=Count("pk"))[:MOST]:
            things = f"{count} thing{'' if count == 1 else 's'}"
            words = f"Give back {things}" + (f" to {whose}" if whose else "")
            says = f"Borrowed gear must be back by {day(by)}."
            self._event(
                f"give-back-{by:%Y%m%d}-{_slug(whose)}",
                words,
                by,
                by + timedelta(days=1),
                says,
                reverse("gear") + "?borrowed=1",
            )
