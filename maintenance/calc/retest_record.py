"""An item's record folded to what the failure model needs: failures r, exposure T, and the exposure nobody has vouched for.

The derivation (ours). Between two renewals let u be the exposure in shows and let the item fail at rate l. Something that can
find a failure happens now and then: a bench test of sensitivity s, an uneventful show of sensitivity c. Write w(u) for the
chance that a failure at u has been missed by everything since. Tests miss independently of one another (each is a fresh look);
uneventful shows do not: a kind of fault that a show does not bring out stays hidden in every show, so however many shows follow
they multiply w by (1 - c) once. That is the cautious reading: ten quiet shows do not prove a lead.

*Nothing found.* The likelihood is 1 - int l e^(-l u) (1 - w(u)) du. As 1 - w falls with u it is the tail of a random exposure
V, and the integral is E[1 - e^(-l V)]: the likelihood is exactly E[e^(-l V)]. Taken as e^(-l E[V]) it stays conjugate and is
wrong by l^2 var(V) / 2 in the logarithm. E[V] = int (1 - w) is the exposure vouched for: **T grows by it**, and the rest,
int w, is `since`, the exposure nobody has vouched for. Then the chance that the item is bad now is the chance of failing within
`since` more shows, and h shows on it is that of failing within since + h. With one test of sensitivity s after d shows this is
(1 - s) q / (1 - s q) to first order in q = 1 - e^(-l d).

*Found at the bench or in use.* The likelihood is int l e^(-l u) g(u) du, where g is the chance that it was missed until then
and found now; taken as l G e^(-l m) with G and m the mass and mean of g it is conjugate (**r grows by 1, T by m**) and wrong by
l^2 var_g / 2. After a perfect pass g is flat over the last d shows: m = A + d / 2 and the error x^2 / 24 of the midpoint rule.
What shows up in use would have shown up in the uneventful show before, so its g begins at the last of these.

A failure found by the first look, before a show's worth of use, was there from the start: it counts against receiving or
repairing (beta-binomial, `starts` and `starts_bad`), not against the shows.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

ARRIVAL_SHOWS = 1.0  # found bad with less use than this since the start: it was bad from the start
_NOTHING = 1e-12


class What(StrEnum):
    """What can happen to an item, as far as its record of failing goes."""

    AS_NEW = "as new"  # bought, replaced: the record starts over
    USE = "use"
    PASS = "pass"  # noqa: S105 (no password: a test passed)
    FAIL = "fail"
    REPAIR = "repair"  # the record is kept


CODES = {what: code for code, what in enumerate(What)}  # as arrays hold them


@dataclass(frozen=True, kw_only=True, slots=True)
class Event:
    """One thing that happened, in the order of time.

    `shows` is for a use; `clean` says that it was uneventful and on a line, so that it is evidence. A show in which it failed
    is a use that is not clean, then a fail with `in_use`; found at line check there is no use of that show. `sees` is the
    sensitivity of a test that passed. A reported fault that turned out to be none is left out by who makes the events.
    """

    what: What
    shows: float = 0.0
    clean: bool = False
    sees: float = 1.0
    in_use: bool = False


@dataclass(kw_only=True, slots=True)
class Record:
    """What an item's past comes to. Exposures in shows.

    `failures` and `shows` are r and T; `since` the exposure not vouched for; `start_missed` the chance that a fault there from
    the start has been missed by all since; `age` all shows since new; `since_test` shows since the last test or start.
    `intervals` counts stretches of use that a test or a failure ended, `good` those that ended good.
    """

    failures: float = 0.0
    shows: float = 0.0
    since: float = 0.0
    start_missed: float = 1.0
    age: float = 0.0
    since_test: float = 0.0
    tests: int = 0
    tested: bool = False
    down: bool = False
    starts: int = 0
    starts_bad: int = 0
    intervals: int = 0
    good: int = 0
    interval_shows: float = 0.0
    spans: list[tuple[float, float, bool]] = field(default_factory=list)  # (age from, age to, failed), in the order of time


def fold(events: Iterable[Event], *, sees_show: float) -> Record:
    """Fold one item's events, in the order of time, to its record. `sees_show` is c above, 0 to 1."""
    record = Record()
    closed = 0.0  # exposure vouched for in the segments before this one
    at = seen = seen_moment = unseen = unseen_moment = 0.0  # of this segment; masses of w before and after an uneventful show
    missed, shown, fresh = 1.0, False, True

    def keep() -> float:
        return 1.0 - sees_show

    for event in events:
        if event.what is What.AS_NEW:
            spans, record = record.spans, Record(tests=record.tests)
            record.spans = spans
            closed = at = seen = seen_moment = unseen = unseen_moment = 0.0
            missed, shown, fresh = 1.0, False, True
        elif event.what is What.USE:
            if record.down or event.shows <= 0:
                continue
            unseen += event.shows
            unseen_moment += event.shows * (at + event.shows / 2)
            at += event.shows
            record.age += event.shows
            record.since_test += event.shows
            if event.clean:
                seen, seen_moment = seen + unseen, seen_moment + unseen_moment
                unseen = unseen_moment = 0.0
                shown = True
        elif event.what is What.FAIL:
            if event.in_use is False:
                record.tests += 1
                record.tested = True
            if record.down:
                continue
            if fresh and at < ARRIVAL_SHOWS:
                record.starts += 1
                record.starts_bad += 1
                closed += at
            else:
                record.starts += fresh
                mass = unseen if event.in_use else unseen + keep() * seen
                moment = unseen_moment if event.in_use else unseen_moment + keep() * seen_moment
                closed += moment / mass if mass > _NOTHING else at
                record.failures += 1
                if record.since_test > 0:
                    record.intervals += 1
                    record.interval_shows += record.since_test
                    record.spans.append((record.age - record.since_test, record.age, True))
            at = seen = seen_moment = unseen = unseen_moment = record.since_test = 0.0
            missed, shown, fresh = 1.0, False, True
            record.down = True
        elif event.what is What.REPAIR:
            if record.down:
                record.down = False
        else:
            record.down = False
            record.starts += fresh
            fresh = False
            record.tests += 1
            record.tested = True
            miss = 1.0 - event.sees
            seen, seen_moment, unseen, unseen_moment = seen * miss, seen_moment * miss, unseen * miss, unseen_moment * miss
            missed *= miss
            if record.since_test > 0:
                record.intervals += 1
                record.good += 1
                record.interval_shows += record.since_test
                record.spans.append((record.age - record.since_test, record.age, False))
            record.since_test = 0.0
    record.since = unseen + keep() * seen
    record.shows = closed + at - record.since
    record.start_missed = missed * (keep() if shown else 1.0)
    return record


_COLUMNS = tuple(name for name in Record.__dataclass_fields__ if name != "spans")


@dataclass(kw_only=True, slots=True)
class Records:
    """The records of many items: the fields of Record as arrays, an entry an item; `spans_*` an entry a closed stretch."""

    failures: Floats
    shows: Floats
    since: Floats
    start_missed: Floats
    age: Floats
    since_test: Floats
    tests: Ints
    tested: Bools
    down: Bools
    starts: Ints
    starts_bad: Ints
    intervals: Ints
    good: Ints
    interval_shows: Floats
    spans_item: Ints
    spans_from: Floats
    spans_to: Floats
    spans_failed: Bools

    def __len__(self) -> int:
        return len(self.failures)

    def at(self, index: int) -> Record:
        """Return one item's record."""
        mine = self.spans_item == index
        spans = zip(self.spans_from[mine].tolist(), self.spans_to[mine].tolist(), self.spans_failed[mine].tolist(), strict=True)
        return Record(**{name: getattr(self, name)[index].item() for name in _COLUMNS}, spans=list(spans))

    def of(self, items: Ints) -> "Records":
        """Return the records of some of the items, in the order given (each at most once)."""
        place = np.full(len(self), -1, dtype=np.int64)
        place[items] = np.arange(len(items))
        mine = place[self.spans_item] >= 0
        return Records(
            **{name: getattr(self, name)[items] for name in _COLUMNS},
            spans_item=place[self.spans_item[mine]],
            spans_from=self.spans_from[mine],
            spans_to=self.spans_to[mine],
            spans_failed=self.spans_failed[mine],
        )


def records_of(records: Iterable[Record]) -> Records:
    """Put single records side by side."""
    rows = list(records)
    kinds: dict[str, type] = {"tested": np.bool_, "down": np.bool_}
    kinds |= dict.fromkeys(("tests", "starts", "starts_bad", "intervals", "good"), np.int64)
    columns: dict[str, Any] = {
        name: np.array([getattr(row, name) for row in rows], dtype=kinds.get(name, np.float64)) for name in _COLUMNS
    }
    spans = [(index, *span) for index, row in enumerate(rows) for span in row.spans]
    return Records(
        **columns,
        spans_item=np.array([s[0] for s in spans], dtype=np.int64),
        spans_from=np.array([s[1] for s in spans], dtype=np.float64),
        spans_to=np.array([s[2] for s in spans], dtype=np.float64),
        spans_failed=np.array([s[3] for s in spans], dtype=np.bool_),
    )


def fold_many(
    *,
    count: int,
    item: Ints,
    what: Ints,
    shows: Floats,
    clean: Bools,
    sees: Floats,
    in_use: Bools,
    sees_show: float | Floats,
) -> Records:
    """Fold the events of many items at once; the same as `fold` item by item.

    `count` items are numbered 0 ... count - 1; `item` says whose each event is and must not fall, events of one item being in
    the order of time; `what` holds CODES. The other arrays are the fields of Event. The k-th events of all items go together.
    """
    if len(item) and (np.any(np.diff(item) < 0) or item[0] < 0 or item[-1] >= count):
        raise ValueError("Events must be in the order of their items, and those be numbered 0 to one below their count.")
    failures, closed, at, seen, seen_moment, unseen, unseen_moment = (np.zeros(count) for _ in range(7))
    age, since_test, interval_shows = (np.zeros(count) for _ in range(3))
    tests, starts, starts_bad, intervals, good = (np.zeros(count, dtype=np.int64) for _ in range(5))
    tested, down, shown = (np.zeros(count, dtype=bool) for _ in range(3))
    missed, fresh = np.ones(count), np.ones(count, dtype=bool)
    keep = np.broadcast_to(1.0 - np.asarray(sees_show, dtype=np.float64), (count,))
    spans: list[tuple[Ints, Floats, Floats, Bools]] = []
    first = np.searchsorted(item, np.arange(count + 1))
    events = np.diff(first)
    # items with the most events first: those that still have a k-th event are then a leading slice
    order = np.argsort(-events, kind="stable")
    left = events[order]
    segment = (at, seen, seen_moment, unseen, unseen_moment)
    for k in range(int(left[0]) if count else 0):
        who = order[: np.searchsorted(-left, -k, side="left")]
        row = first[who] + k
        code = what[row]

        used = (code == CODES[What.USE]) & ~down[who] & (shows[row] > 0)
        i, d = who[used], shows[row[used]]
        unseen[i] += d
        unseen_moment[i] += d * (at[i] + d / 2)
        at[i] += d
        age[i] += d
        since_test[i] += d
        i = i[clean[row[used]]]
        seen[i] += unseen[i]
        seen_moment[i] += unseen_moment[i]
        unseen[i] = unseen_moment[i] = 0.0
        shown[i] = True

        passed = code == CODES[What.PASS]
        if passed.any():
            i, miss = who[passed], 1.0 - sees[row[passed]]
            down[i] = False
            starts[i] += fresh[i]
            fresh[i] = False
            tests[i] += 1
            tested[i] = True
            for values in (seen, seen_moment, unseen, unseen_moment, missed):
                values[i] *= miss
            i = i[since_test[i] > 0]
            intervals[i] += 1
            good[i] += 1
            interval_shows[i] += since_test[i]
            spans.append((i, age[i] - since_test[i], age[i].copy(), np.zeros(len(i), dtype=bool)))
            since_test[who[passed]] = 0.0

        failed = code == CODES[What.FAIL]
        if failed.any():
            i = who[failed]
            at_bench = i[~in_use[row[failed]]]
            tests[at_bench] += 1
            tested[at_bench] = True
            up = ~down[i]
            i, used_then = i[up], in_use[row[failed]][up]
            starts[i] += fresh[i]
            arrived = fresh[i] & (at[i] < ARRIVAL_SHOWS)
            starts_bad[i[arrived]] += 1
            share = np.where(used_then, 0.0, keep[i])
            mass = unseen[i] + share * seen[i]
            moment = unseen_moment[i] + share * seen_moment[i]
            known = ~arrived & (mass > _NOTHING)
            closed[i] += np.where(known, moment / np.where(known, mass, 1.0), at[i])
            worn = i[~arrived]
            failures[worn] += 1
            worn = worn[since_test[worn] > 0]
            intervals[worn] += 1
            interval_shows[worn] += since_test[worn]
            spans.append((worn, age[worn] - since_test[worn], age[worn].copy(), np.ones(len(worn), dtype=bool)))
            for values in (*segment, since_test):
                values[i] = 0.0
            missed[i], shown[i], fresh[i], down[i] = 1.0, False, True, True

        down[who[code == CODES[What.REPAIR]]] = False

        i = who[code == CODES[What.AS_NEW]]
        if len(i):
            for values in (*segment, closed, failures, age, since_test, interval_shows):
                values[i] = 0.0
            for counts in (starts, starts_bad, intervals, good):
                counts[i] = 0
            tested[i], down[i], missed[i], shown[i], fresh[i] = False, False, 1.0, False, True
    since = unseen + keep * seen
    joined = [np.concatenate([s[n] for s in spans]) for n in range(4)] if spans else [np.zeros(0)] * 4
    by_item = np.argsort(joined[0], kind="stable")
    return Records(
        failures=failures,
        shows=closed + at - since,
        since=since,
        start_missed=missed * np.where(shown, keep, 1.0),
        age=age,
        since_test=since_test,
        tests=tests,
        tested=tested,
        down=down,
        starts=starts,
        starts_bad=starts_bad,
        intervals=intervals,
        good=good,
        interval_shows=interval_shows,
        spans_item=joined[0][by_item].astype(np.int64),
        spans_from=joined[1][by_item],
        spans_to=joined[2][by_item],
        spans_failed=joined[3][by_item].astype(bool),
    )
