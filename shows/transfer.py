"""Shows as a list: one row a show, known by its number, or by its name and the day it loads in."""

from collections import defaultdict, deque
from collections.abc import Iterator
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction
from django.http import QueryDict

from company.models import Company, Person
from inventory.calc.typed import Odd, read_count, read_day, read_moment, read_text, tidy
from inventory.models import CountMove
from inventory.transfer.base import BAD, CHANGED, NEW, UNCHANGED, Column, Order, Plan, Row, Transfer
from inventory.transfer.logging import changes_log
from inventory.transfer.naming import Names
from shows.calc.times import FIRST_YEAR, LAST_YEAR, Reading, out_of_order, show_times, wall_read
from shows.models import Show, Venue

_TIMES = ("load_in", "line_check", "start", "end", "strike", "home_by")
_HOLDS = ("hold_from", "hold_until")
_TEXTS = {"name": 80, "client": 80, "notes": 4000}
_FIELDS = ("name", "client", "venue_id", "notes", *_TIMES, *_HOLDS)

COLUMNS = (
    Column(
        key="number",
        title="Show number",
        words=("show no", "show id"),
        says="Our own number of a show, as an export gives it. Empty for new shows.",
    ),
    Column(
        key="name",
        title="Show",
        words=("name", "title", "event", "gig", "what", "show name"),
        required=True,
        example="Harvest ceilidh",
        says="What it is called.",
    ),
    Column(
        key="client",
        title="Client",
        words=("customer", "for", "promoter"),
        example="Wenbury Folk Club",
        says="Whose show it is.",
    ),
    Column(
        key="venue",
        title="Venue",
        words=("place", "location", "where", "hall"),
        example="Tithe Barn",
        says="Where it is. A venue we do not have yet is made.",
    ),
    Column(
        key="load_in",
        title="Load-in",
        words=("load in", "get in", "arrival", "date", "begin", "from"),
        required=True,
        example="2026-10-03 14:00",
        says="Day and time, as 2026-10-03 14:00, in the company's time zone.",
    ),
    Column(
        key="line_check",
        title="Line check",
        words=("sound check", "soundcheck"),
        example="2026-10-03 16:00",
        says="Empty: two hours before the start.",
    ),
    Column(
        key="start",
        title="Start",
        words=("show time", "starts", "doors"),
        required=True,
        example="2026-10-03 18:00",
        says="When it starts.",
    ),
    Column(
        key="end",
        title="End",
        words=("ends", "finish", "until"),
        required=True,
        example="2026-10-03 22:00",
        says="When it ends.",
    ),
    Column(key="strike", title="Strike", words=("get out", "load out"), says="Empty: half an hour after the end."),
    Column(key="home_by", title="Home by", words=("back by", "return"), says="Empty: two hours after the strike."),
    Column(
        key="hold_from",
        title="Hold from",
        words=("held from",),
        says="The first day its gear is held. Empty: the day of load-in.",
    ),
    Column(key="hold_until", title="Hold until", words=("held until",), says="The last day. Empty: the day it is home."),
    Column(key="notes", title="Notes", words=("note", "remarks", "remark", "comment", "comments"), says="Anything else."),
    Column(
        key="state",
        title="State",
        says="Planned, closed or cancelled: closing has consequences, so it is done on the show's page.",
        shown_only=True,
    ),
)

EXAMPLES = (
    {
        "name": "Harvest ceilidh",
        "client": "Wenbury Folk Club",
        "venue": "Tithe Barn",
        "load_in": "2026-10-03 14:00",
        "line_check": "2026-10-03 16:00",
        "start": "2026-10-03 18:00",
        "end": "2026-10-03 22:00",
    },
    {
        "name": "School brass concert",
        "client": "Wenbury School",
        "venue": "School hall",
        "load_in": "2026-10-09 15:00",
        "start": "2026-10-09 19:00",
        "end": "2026-10-09 21:00",
    },
)


class ShowsPlan(Plan):
    """Judge and write rows of shows. What a row leaves empty keeps what is there; a new show gets the usual times."""

    def __init__(self, order: Order) -> None:
        super().__init__(order)
        self.venues = Names(self, Venue, "venue", 80)
        self.zone = order.company.zone
        self.claimed: dict[int, int] = {}
        self._by_day: dict[tuple[str, date], deque[int]] | None = None

    def take(self, row: Row, key: str, text: str) -> None:
        country = self.order.company.country
        if key == "number":
            row.values["number"] = read_count(text, most=10**12).value
        elif key == "venue":
            row.values["venue"] = self.venues.take(text)
        elif key in _TIMES:
            moment = read_moment(text, country=country)
            row.values[key] = self._instant(moment.value)
            row.notes += [moment.note] if moment.note else []
        elif key in _HOLDS:
            day = read_day(text, country=country)
            row.values[key] = day.value
            row.notes += [day.note] if day.note else []
        else:
            row.values[key] = read_text(text, longest=_TEXTS[key])

    def _instant(self, typed: datetime) -> datetime:
        if not FIRST_YEAR <= typed.year <= LAST_YEAR:
            raise Odd(f"It lies in the year {typed.year}; shows run from {FIRST_YEAR} to {LAST_YEAR}.")
        if typed.tzinfo is not None:
            return typed
        read = wall_read(typed, self.zone)
        if read.reading is Reading.NEVER:
            raise Odd(read.why)
        if read.reading is Reading.TWICE:
            first, second = (at.astimezone(self.zone).isoformat(" ", "minutes") for at in (read.first, read.second))
            raise Odd(f"{read.why} Write {first} or {second}.")
        return read.first

    def clear(self, row: Row, key: str) -> None:
        if key in ("client", "notes"):
            row.values[key] = ""
        elif key == "venue":
            row.values["venue"] = None

    def judge(self, rows: list[Row]) -> None:
        numbers = [row.values["number"] for row in rows if "number" in row.values]
        known = dict(Show.objects.filter(pk__in=numbers).values_list("pk", "name"))
        for row in rows:
            if row.verdict != BAD:
                self._find(row, known)
        found = {show.pk: show for show in Show.objects.filter(pk__in=[r.target for r in rows if r.target])}
        for row in rows:
            if row.verdict != BAD:
                self._judge_one(row, found.get(row.target or 0))

    def _find(self, row: Row, known: dict[int, str]) -> None:
        number = row.values.get("number")
        if number is not None:
            if number not in known:
                row.bad("Show number", f"There is no show {number}. Leave the number empty to add a new one.")
                return
            earlier = self.claimed.setdefault(number, row.line)
            if earlier != row.line:
                row.bad("Show number", f"Line {earlier} already gives show {number}.")
                return
            row.target = number
            return
        if "name" not in row.values or "load_in" not in row.values:
            return
        if self._by_day is None:
            self._by_day = defaultdict(deque)
            for pk, name, load_in in Show.objects.order_by("pk").values_list("pk", "name", "load_in"):
                self._by_day[_same(name), load_in.astimezone(self.zone).date()].append(pk)
        like = self._by_day.get((_same(row.values["name"]), row.values["load_in"].astimezone(self.zone).date()))
        while like and not self.order.alike_are_new:
            pk = like.popleft()
            if pk not in self.claimed:
                self.claimed[pk] = row.line
                row.target = pk
                row.notes.append(f"has no number and was taken for show {pk}, which has its name and day")
                return

    def _judge_one(self, row: Row, show: Show | None) -> None:
        lacking = [c.title for c in COLUMNS if c.required and c.key not in row.values] if show is None else []
        if lacking:
            row.bad("", f"A new show needs {', '.join(lacking)}.")
            return
        if show is not None and "number" in row.values and self._is_another(row, show):
            row.bad("Show number", f"Show {show.pk} is “{show.name}” on another day: leave the number empty to add a new show.")
            return
        given = self._given(row, show)
        times = show_times(zone=self.zone, **{name: given[name] for name in (*_TIMES, *_HOLDS)})
        for name, sentence in out_of_order(times, self.zone).items():
            if show is None or given[name] != getattr(show, name) or name in row.values:
                row.bad(next(c.title for c in COLUMNS if c.key == name), sentence)
        if row.verdict == BAD:
            return
        values = {**given, **times.as_fields()}
        if show is None:
            row.verdict, row.before = NEW, {}
        else:
            changed = {name: values[name] for name in _FIELDS if not _alike(getattr(show, name), values[name])}
            row.verdict, row.before = (CHANGED if changed else UNCHANGED), {name: getattr(show, name) for name in changed}
        row.values["columns"] = values
        if "venue" in row.values:
            try:
                self.venues.note(row.values["venue"])
            except Odd as odd:
                row.bad("Venue", str(odd))

    def _is_another(self, row: Row, show: Show) -> bool:
        other_name = "name" in row.values and _same(row.values["name"]) != _same(show.name)
        load_in = row.values.get("load_in")
        other_day = load_in is not None and load_in.astimezone(self.zone).date() != show.load_in.astimezone(self.zone).date()
        return other_name and other_day

    def _given(self, row: Row, show: Show | None) -> dict[str, Any]:
        """Return every column of a show: as the row gives it, as it is, or None for the usual time."""
        given: dict[str, Any] = {name: getattr(show, name) if show else None for name in _FIELDS}
        given.update({name: given[name] or "" for name in _TEXTS})
        given.update({name: value for name, value in row.values.items() if name in _FIELDS})
        if "venue" in row.values:
            given["venue_id"] = self.venues.key(row.values["venue"]) or row.values["venue"]
        return given

    def make_fresh(self) -> dict[str, list[int]]:
        return {"venue": self.venues.make(lambda fresh: Venue(name=fresh.name))}

    def write(self, rows: list[Row]) -> None:
        new = [row for row in rows if row.verdict == NEW]
        shows = [Show(added_at=self.order.at, **row.values["columns"]) for row in new]
        for row, show in zip(new, Show.objects.bulk_create(shows), strict=True):
            row.target = show.pk
        changed = [row for row in rows if row.verdict == CHANGED]
        changes_log(Show, [(row, row.values["columns"]["name"], row.values["columns"]) for row in changed], self.order)
        for row in rows:
            if row.verdict == CHANGED:
                Show.objects.filter(pk=row.target).update(**{name: row.values["columns"][name] for name in row.before})

    def _as_brought(self, row: Row, show: Show) -> bool:
        """Say whether a show still is as its row would make it."""
        given = self._given(row, None)
        times = show_times(zone=self.zone, **{name: given[name] for name in (*_TIMES, *_HOLDS)})
        return all(_alike(getattr(show, name), value) for name, value in {**given, **times.as_fields()}.items())

    def take_back(self, unchanged: list[Row]) -> tuple[int, int]:
        added = Show.objects.filter(added_at=self.order.at)
        whole = added.count()
        with transaction.atomic():
            rows = {row.target: row for row in unchanged if row.target}
            free = {show.pk for show in added.filter(pk__in=rows) if self._as_brought(rows[show.pk], show)}
            free -= set(CountMove.objects.filter(show__in=free).values_list("show", flat=True))
            for relation in Show._meta.related_objects:
                used = relation.related_model._base_manager.filter(**{f"{relation.field.name}__in": free})
                free -= set(used.values_list(relation.field.attname, flat=True))
            Show.objects.filter(pk__in=free).delete()
        return len(free), whole - len(free)


def _same(name: str) -> str:
    return " ".join(name.split()).casefold()


def _alike(was: Any, value: Any) -> bool:
    if isinstance(was, str) and isinstance(value, str):
        return tidy(was) == tidy(value)
    return was == value


def wall_text(at: datetime, zone: ZoneInfo) -> str:
    """Write an instant as on the company's clock; with its offset where the clock shows that time twice."""
    local = at.astimezone(zone)
    exactly = "minutes" if not (local.second or local.microsecond) else "seconds"
    naive = local.replace(tzinfo=None, fold=0)
    twice = wall_read(naive, zone).reading is not Reading.ONCE
    return (local if twice else naive).isoformat(" ", exactly)


def shows_rows(query: QueryDict, person: Person, company: Company, at: datetime) -> Iterator[dict[str, Any]]:
    """Yield shows as rows of a list."""
    for show in Show.objects.select_related("venue").order_by("load_in", "pk").iterator(chunk_size=1000):
        yield {
            "number": show.pk,
            "name": show.name,
            "client": show.client,
            "venue": show.venue.name if show.venue else "",
            **{name: wall_text(getattr(show, name), company.zone) for name in _TIMES},
            **{name: getattr(show, name) for name in _HOLDS},
            "notes": show.notes,
            "state": show.state,
        }


def shows_count(query: QueryDict, at: datetime) -> int:
    return Show.objects.count()


SHOWS = Transfer(
    key="shows",
    title="Shows",
    one="show",
    many="shows",
    says="One row a show, with its venue and times.",
    columns=COLUMNS,
    plan=ShowsPlan,
    rows_out=shows_rows,
    count_out=shows_count,
    examples=EXAMPLES,
    known_by=("number",),
)
