"""What is on record of many items, as the failure model takes it: tests, reports, repairs and shows in the order of time.

What counts, and how (decisions of ours):
- A test that passed, or is to be watched, is a pass of its depth's sensitivity; one that looked at some channels only sees in
  proportion. One that failed is a failure; confined to channels it is a failure of a thing that stays in use, and found again
  none at all. One that could not tell, or was taken back, is nothing.
- A report is a failure in use, unless a test that answers it passed with no repair in between: then nothing was wrong. Wet and
  missing parts are no failures. What the bench found stands in its test. A report a person closed puts the thing back in use.
- A show that is done is exposure, on a line or carried along: a rate is failures a show gone along to, and what is rarely named
  on a line would otherwise have no exposure at all. Only a show on a line that nobody complained of is evidence of good.
- The ledger knows days, not hours: a test or a repair on a day counts before that day's shows, unless a show's report came
  first. A fault found at line check comes before its show, any other after it.
- What was in use before it was on record is not known and not guessed: the record starts when the item was added.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
from django.db import connection
from django.db.models import CharField, FloatField, QuerySet
from django.db.models.functions import Cast

from company.models import Company
from inventory.calc.kinds import KINDS_WITH_CHANNELS
from inventory.models import Item
from maintenance.calc.bench import Depth, Verdict
from maintenance.calc.retest_record import CODES, Bools, Floats, Ints, Records, What, fold_many
from maintenance.calc.symptoms import Found, Symptom
from maintenance.models import Fault, UseLedger
from maintenance.querysets import standing_repairs, telling_tests

NOFAILURE = frozenset({Symptom.WET, Symptom.PARTS_MISSING})
DAYS_A_MONTH = 365.25 / 12
_NIGHT = timedelta(hours=6)  # a report in the small hours is about the show of the evening before
_FETCH = 20_000
# Places within a day, four a day: what comes before its shows, the shows, what comes after.
BEFORE, SHOW, AFTER = 0, 1, 2
_WIDTH = 1 << 24  # more than four places a day up to the year 9999
PASS, FAIL, REPAIR, AS_NEW = (CODES[w] for w in (What.PASS, What.FAIL, What.REPAIR, What.AS_NEW))


@dataclass(frozen=True, kw_only=True)
class Uses:
    """Shows that are done, in the order of items and days; an entry an item and occasion. Days are ordinals."""

    item: Ints
    day: Ints
    shows: Floats
    clean: Bools


@dataclass(frozen=True, kw_only=True, slots=True)
class Newest:
    """An item's newest test that came to something; `proved` says that it left the item in use."""

    pk: int
    at: datetime
    watch: bool
    proved: bool


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """The events of many items, in the order of items and time, as `fold_many` takes them, and what else dates need.

    `keys` are the items' keys and `types` their types', an entry an item; `what`, `shows` ... an entry an event, `item` being
    the place in `keys`. `uses` are the shows done; `began` the day the record of an item begins, as an ordinal. By place, where
    there is one: `newest` the newest test, `previous` the key of the one before; `mended` the first repair since it was last
    proved, `spoken_for` when a person first closed a report since then. `happened` is all but the shows, as it was read.
    """

    zone: ZoneInfo
    keys: Ints
    types: Ints
    began: Ints
    happened: Sequence["Happened"]
    newest: Mapping[int, "Newest"]
    previous: Mapping[int, int]
    mended: Mapping[int, datetime]
    spoken_for: Mapping[int, datetime]
    item: Ints
    what: Ints
    shows: Floats
    clean: Bools
    sees: Floats
    in_use: Bools
    uses: Uses

    def day(self, at: datetime) -> date:
        """Return the day it is in the company's zone."""
        return at.astimezone(self.zone).date()

    def records(self, *, sees_show: float) -> Records:
        """Fold it, with the sensitivity of an uneventful show."""
        return fold_many(
            count=len(self.keys),
            item=self.item,
            what=self.what,
            shows=self.shows,
            clean=self.clean,
            sees=self.sees,
            in_use=self.in_use,
            sees_show=sees_show,
        )


class Happened(NamedTuple):
    """One event other than a show; in this order they sort. `place` says where it falls among the shows: four a day, the day's
    ordinal times four, plus BEFORE its shows or AFTER them. `rank` is the key of a test or a repair."""

    item: int
    at: datetime
    later: int  # of what bears the same instant
    rank: int
    what: int
    place: int
    sees: float = 1.0
    in_use: bool = False
    doubts_show: bool = False  # the show before it was not as uneventful as it seemed
    found: str = Found.BENCH  # of a failure: when it came out


def evidence_of(
    *, items: QuerySet[Item], at: datetime, sees: Mapping[Depth, float], storage: Mapping[int, float] | None = None
) -> Evidence:
    """Read the record of items until an instant, in a constant number of queries.

    `sees` is the sensitivity of each depth of test; `storage` what a month on the shelf counts as, in shows, by type's key.
    """
    zone = Company.current().zone
    days = _Days(zone)
    today = at.astimezone(zone).date()
    rows = items.order_by("pk").values_list(
        "pk", "type_id", "added_at", "retired_on", "gone_home_on", "missing_since", "tested_on"
    )
    keys, types, began, over = [], [], [], []
    proved: dict[int, date] = {}
    for pk, type_id, added_at, retired_on, gone_on, missing, tested_on in rows:
        if tested_on:
            proved[len(keys)] = tested_on
        keys.append(pk)
        types.append(type_id)
        began.append(days.of(added_at))
        ends = [today, retired_on, gone_on, missing.astimezone(zone).date() if missing else None]
        over.append(min(day for day in ends if day).toordinal())
    place_of = {pk: place for place, pk in enumerate(keys)}
    # the items as a question within a question: their keys need not be sent
    reading = _Reading(items.order_by().values("pk"), place_of, days, at)
    happened = [*reading.tests(sees), *reading.repairs(), *reading.reports()]
    happened += _proofs(proved, reading.newest, zone, sees)
    happened.sort()
    uses = _uses(reading.chosen, place_of, today)
    months = np.array([(storage or {}).get(type_id, 0.0) for type_id in types], dtype=np.float64)
    return Evidence(
        keys=np.array(keys, dtype=np.int64),
        types=np.array(types, dtype=np.int64),
        began=np.array(began, dtype=np.int64),
        zone=zone,
        happened=happened,
        newest=reading.newest,
        previous=reading.previous,
        mended=reading.mended,
        spoken_for=reading.spoken_for,
        **_woven(len(keys), happened, uses, months, np.array(began, dtype=np.int64), np.array(over, dtype=np.int64)),
    )


class _Days:
    """Say on which day of a zone instants (in UTC) fall, as an ordinal; quick for the many that share a quarter of an hour."""

    def __init__(self, zone: ZoneInfo) -> None:
        self.zone = zone
        self.known: dict[int, int] = {}

    def of(self, at: datetime) -> int:
        quarter = 96 * at.toordinal() + 4 * at.hour + at.minute // 15  # no zone turns its day within one
        day = self.known.get(quarter)
        if day is None:
            day = self.known[quarter] = at.astimezone(self.zone).toordinal()
        return day


def _proofs(
    proved: Mapping[int, date], newest: Mapping[int, "Newest"], zone: ZoneInfo, sees: Mapping[Depth, float]
) -> Iterator[Happened]:
    """Yield what was proved before there were tests on record: how deep is not known, so the shallowest is taken."""
    for item, day in proved.items():
        if item not in newest:
            at = datetime(day.year, day.month, day.day, tzinfo=zone)
            share = min(sees.values())
            yield Happened(item, at, _LATER[PASS], 0, PASS, 4 * day.toordinal() + BEFORE, share)


class _Reading:
    """Read events from their tables, each table once; `newest` and the like are known when the tests have been read."""

    def __init__(self, chosen: QuerySet, place_of: Mapping[int, int], days: _Days, at: datetime) -> None:
        self.chosen, self.place_of, self.days, self.at = chosen, place_of, days, at
        self.newest: dict[int, Newest] = {}
        self.previous: dict[int, int] = {}
        self.failed: dict[int, list[datetime]] = defaultdict(list)
        self.repaired: dict[int, list[datetime]] = defaultdict(list)
        self.mended: dict[int, datetime] = {}
        self.spoken_for: dict[int, datetime] = {}

    def _event(self, item: int, at: datetime, what: int, rank: int, sees: float = 1.0) -> Happened:
        return Happened(item, at, _LATER[what], rank, what, 4 * self.days.of(at) + BEFORE, sees)

    def tests(self, sees: Mapping[Depth, float]) -> Iterator[Happened]:
        """Yield what tests found, the oldest first."""
        tests = telling_tests().filter(item__in=self.chosen, done_at__lte=self.at).order_by()
        by_depth = {str(depth): share for depth, share in sees.items()}
        with_channels = tests.filter(item__type__kind__in=KINDS_WITH_CHANNELS)
        reaches = {pk: (effects, dead) for pk, effects, dead in with_channels.values_list("pk", "effects", "dead_channels")}
        dead_before: dict[int, set[int]] = defaultdict(set)
        rows = tests.values_list(Cast("done_at", CharField(max_length=40)), "pk", "item_id", "verdict", "depth")
        read = ((_instant(at), *row) for part in _raw(rows) for at, *row in part)
        for done_at, pk, item, verdict, depth in sorted(read):
            place, share = self.place_of[item], by_depth[depth]
            failed = out_of_use = verdict == Verdict.FAIL
            if pk in reaches:
                effects, dead = reaches[pk]
                known, channels = dead_before[place], effects.get("channels") or 0
                if failed and effects.get("confined") and 2 * len(known | set(dead)) < channels:
                    failed, out_of_use = not known >= set(dead), False
                if effects.get("covers") and channels:
                    share *= len(effects["covers"]) / channels
                dead_before[place] = (known - set(effects["covers"]) if effects.get("covers") else set()) | set(dead)
            if place in self.newest:
                self.previous[place] = self.newest[place].pk
            self.newest[place] = Newest(pk=pk, at=done_at, watch=verdict == Verdict.WATCH, proved=not out_of_use)
            yield self._event(place, done_at, FAIL if failed else PASS, pk, share)
            if out_of_use:
                self.failed[place].append(done_at)
            elif failed:  # some channels of it: the rest stays in use
                yield self._event(place, done_at, REPAIR, pk)

    def repairs(self) -> Iterator[Happened]:
        repairs = standing_repairs().filter(item__in=self.chosen, done_at__lte=self.at).order_by()
        for item, done_at, pk, as_new in repairs.values_list("item_id", "done_at", "pk", "as_new"):
            place = self.place_of[item]
            self.repaired[place].append(done_at)
            self._since_proof(self.mended, place, done_at)
            yield self._event(place, done_at, AS_NEW if as_new else REPAIR, pk)

    def reports(self) -> Iterator[Happened]:
        """Yield what was reported to have failed in use, and its closing by a person."""
        said = Fault.objects.filter(item__in=self.chosen, withdrawn_at=None, opened_at__lte=self.at)
        for item, pk, closed_at in self._spoken_for_at_the_bench(said):
            self._since_proof(self.spoken_for, self.place_of[item], closed_at)
            yield self._event(self.place_of[item], closed_at, REPAIR, pk)
        said = said.exclude(symptom__in=NOFAILURE).exclude(found=Found.BENCH).order_by()
        show_days = _show_days(said)
        columns = ("item_id", "pk", "opened_at", "found", "show", "closed_at", "closed_by_test_id", "closed_by_test__done_at")
        for item, pk, opened_at, found, show, closed_at, test, tested_at in said.values_list(*columns):
            place = self.place_of[item]
            if test and not any(opened_at <= at <= tested_at for at in (*self.repaired[place], *self.failed[place])):
                continue  # nothing was wrong with it
            where = _reported(opened_at, found, show_days.get((item, show)), self.days)
            doubts = found != Found.LINE_CHECK
            yield Happened(place, opened_at, _LATER[FAIL], 0, FAIL, where, 1.0, True, doubts, found or Found.AFTER)
            if closed_at and not test and closed_at <= self.at:
                self._since_proof(self.spoken_for, place, closed_at)
                yield self._event(place, closed_at, REPAIR, pk)

    def _spoken_for_at_the_bench(self, said: QuerySet) -> QuerySet:
        """Return what a test found bad and a person then answered for without one."""
        by_hand = said.filter(found=Found.BENCH, closed_by_test=None, closed_at__lte=self.at).order_by()
        return by_hand.values_list("item_id", "pk", "closed_at")

    def _since_proof(self, kept: dict[int, datetime], place: int, at: datetime) -> None:
        """Keep the earliest of these since the newest test that proved the item."""
        newest = self.newest.get(place)
        if newest is not None and newest.proved and newest.at >= at:
            return
        kept[place] = min(at, kept.get(place, at))


def _show_days(said: QuerySet) -> dict[tuple[int, int], int]:
    """Return the day of each show that something was reported from, by (item, show)."""
    wanted = set(said.filter(show__isnull=False).values_list("item_id", "show"))
    if not wanted:
        return {}
    rows = UseLedger.objects.filter(
        item__in=said.filter(show__isnull=False).values("item"), occasion__in={f"show:{show}" for _item, show in wanted}
    ).order_by()
    days = {(item, occasion): day.toordinal() for item, occasion, day in rows.values_list("item_id", "occasion", "day")}
    return {(item, show): days[item, f"show:{show}"] for item, show in wanted if (item, f"show:{show}") in days}


def _reported(opened_at: datetime, found: str, show_day: int | None, days: _Days) -> int:
    """Return the place of a report: before or after the shows of which day."""
    if found == Found.LINE_CHECK:
        return 4 * (show_day or days.of(opened_at)) + BEFORE
    if found in (Found.SHOW, Found.AFTER):
        return 4 * (show_day or days.of(opened_at - _NIGHT)) + AFTER
    here = opened_at.astimezone(days.zone)
    return 4 * here.toordinal() + (AFTER if here.hour >= 12 else BEFORE)


_LATER = {FAIL: 0, REPAIR: 1, AS_NEW: 2, PASS: 3}  # of what bears the same instant


def _raw(rows: QuerySet) -> Iterator[list[tuple]]:
    """Read many rows past the ORM, in parts: it would make an object of every date, instant and decimal among millions."""
    sql, params = rows.query.sql_with_params()
    with connection.cursor() as cursor:
        cursor.execute(sql, params)
        while fetched := cursor.fetchmany(_FETCH):
            yield fetched


def _instant(text: str) -> datetime:
    """Read an instant that a database has written as text: SQLite leaves out that it is UTC."""
    at = datetime.fromisoformat(text)
    return at if at.tzinfo else at.replace(tzinfo=UTC)


def _uses(chosen: QuerySet, place_of: Mapping[int, int], last: date) -> Uses:
    rows = UseLedger.objects.filter(item__in=chosen, state="done", day__lte=last).order_by()
    ordinals: dict[str, int] = {}
    parts: list[tuple[Ints, Ints, Floats, Bools]] = []
    for fetched in _raw(
        rows.values_list("item_id", Cast("day", CharField(max_length=10)), Cast("shows", FloatField()), "basis")
    ):
        for row in fetched:
            if row[1] not in ordinals:
                ordinals[row[1]] = date.fromisoformat(row[1]).toordinal()
        parts.append(
            (
                np.array([place_of[row[0]] for row in fetched], dtype=np.int64),
                np.array([ordinals[row[1]] for row in fetched], dtype=np.int64),
                np.array([row[2] for row in fetched], dtype=np.float64),
                np.array([row[3] == "line" for row in fetched], dtype=np.bool_),
            )
        )
    if not parts:
        none = np.zeros(0, dtype=np.int64)
        return Uses(item=none, day=none, shows=np.zeros(0), clean=np.zeros(0, dtype=np.bool_))
    item, day, shows, clean = (np.concatenate([part[n] for part in parts]) for n in range(4))
    order = np.lexsort((~clean, day, item))  # of one day, what proves nothing comes last
    return Uses(item=item[order], day=day[order], shows=shows[order], clean=clean[order])


def _woven(count: int, happened: list[Happened], uses: Uses, months: Floats, began: Ints, over: Ints) -> dict[str, Any]:
    """Put uses between the events. Those of one stretch become two at most: until its last clean show, and the rest.

    That is exact: folding many uses in a row, the last of them clean, is the same as folding their sum.
    """
    item = np.array([e.item for e in happened], dtype=np.int64)
    place = np.array([e.place for e in happened], dtype=np.int64)
    if len(item):  # what is later in time stands no earlier among the shows
        place = np.maximum.accumulate(item * _WIDTH + place) - item * _WIDTH
    event_key = item * _WIDTH + place
    use_key = uses.item * _WIDTH + 4 * uses.day + SHOW
    clean = uses.clean.copy()
    doubts = np.array([e.doubts_show for e in happened], dtype=np.bool_)
    before = np.searchsorted(use_key, event_key[doubts], side="right") - 1
    same = (before >= 0) & (uses.item[np.maximum(before, 0)] == item[doubts]) if len(use_key) else np.zeros(0, dtype=np.bool_)
    clean[before[same] if len(use_key) else []] = False

    # stretches: one before each event, one after an item's last
    stretches = len(happened) + count
    of_use = np.searchsorted(event_key, use_key, side="left") + uses.item
    of_event = np.arange(len(happened)) + item
    total = np.bincount(of_use, weights=uses.shows, minlength=stretches)
    summed = np.concatenate([[0.0], np.cumsum(uses.shows)])
    first = np.searchsorted(of_use, np.arange(stretches), side="left")
    newest = np.full(stretches, -1, dtype=np.int64)
    newest[of_use[clean]] = np.flatnonzero(clean)  # of the same stretch the last stays
    shown = newest >= 0
    until = np.where(shown, summed[newest + 1] - summed[first], 0.0)
    rest = np.where(shown, total - until, total)

    owner = np.empty(stretches, dtype=np.int64)
    owner[of_event] = item
    last = np.searchsorted(item, np.arange(count), side="right") + np.arange(count)
    owner[last] = np.arange(count)
    if np.any(months > 0):
        starts, ends = began[owner].copy(), np.empty(stretches, dtype=np.int64)
        ends[of_event], ends[last] = place // 4, over
        starts[of_event + 1] = np.where(owner[of_event + 1] == item, place // 4, starts[of_event + 1])
        shelf = months[owner] / DAYS_A_MONTH
        seen_on = np.where(shown, uses.day[np.maximum(newest, 0)] if len(use_key) else 0, starts)
        seen_on = np.clip(seen_on, starts, np.maximum(starts, ends))
        until = until + np.where(shown, shelf * np.maximum(seen_on - starts, 0), 0.0)
        rest = rest + shelf * np.maximum(ends - seen_on, 0)

    some, more = np.flatnonzero(until > 0), np.flatnonzero(rest > 0)
    order = np.argsort(np.concatenate([3 * some, 3 * more + 1, 3 * of_event + 2]), kind="stable")
    used, told = len(some) + len(more), len(happened)

    def joined(of_uses: Any, of_events: Any) -> Any:
        return np.concatenate([of_uses, of_events])[order]

    return {
        "item": joined(np.concatenate([owner[some], owner[more]]), item),
        "what": joined(np.full(used, CODES[What.USE]), np.array([e.what for e in happened], dtype=np.int64)),
        "shows": joined(np.concatenate([until[some], rest[more]]), np.zeros(told)),
        "clean": joined(np.arange(used) < len(some), np.zeros(told, dtype=np.bool_)),
        "sees": joined(np.ones(used), np.array([e.sees for e in happened], dtype=np.float64)),
        "in_use": joined(np.zeros(used, dtype=np.bool_), np.array([e.in_use for e in happened], dtype=np.bool_)),
        "uses": uses,
    }
