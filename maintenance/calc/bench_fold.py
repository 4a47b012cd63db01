"""What the tests, repairs, reports and calls on record make of one item: a fold, so that no order of arrival matters."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from maintenance.calc.bench import Depth, Procedure, Verdict, how_words
from maintenance.calc.symptoms import Symptom

_FLEXED = frozenset({Depth.LAMPS_FLEXED, Depth.OHMS_FLEXED})
_OHMS = frozenset({Depth.OHMS, Depth.OHMS_FLEXED})
_SEEN = frozenset({Symptom.DAMAGED, Symptom.PARTS_MISSING})  # no reading shows it mended: somebody must say what was done


@dataclass(frozen=True, kw_only=True)
class TestSeen:
    """One test that counts. `confined` says that all it found bad lies in the channels `dead` of `channels`; `covers` names
    the channels it looked at where it did not look at the whole thing; `says` that the tester wrote what was done; `steps` the
    steps of a box that were answered, None where there are none; `symptom` what a bad one does in the tester's own word."""

    __test__ = False  # the name begins as pytest's tests do

    key: int
    uid: str
    at: datetime
    day: date
    verdict: Verdict
    depth: Depth
    procedure: str = ""
    dead: frozenset[int] = frozenset()
    confined: bool = False
    covers: frozenset[int] = frozenset()
    channels: int = 0
    says: bool = False
    steps: frozenset[str] | None = None
    symptom: str = ""


@dataclass(frozen=True, kw_only=True)
class FaultSeen:
    """One report not closed by a person: `symptom` as said on a stage."""

    key: int
    at: datetime
    symptom: str


@dataclass(frozen=True, kw_only=True)
class Given:
    """Everything on record of one item. `mended` are the instants of repairs, `called` those of calls to test it by key;
    `excepts` and `tested_on` are what stood before its first test."""

    tests: Sequence[TestSeen]
    reports: Sequence[FaultSeen] = ()
    mended: Sequence[datetime] = ()
    called: Mapping[int, datetime] = field(default_factory=dict)
    excepts: frozenset[int] = frozenset()
    tested_on: date | None = None


@dataclass(frozen=True, kw_only=True)
class Folded:
    """What is true now. `answered` names by report the test that answered it, `open_still` by report why it stays open;
    `found` by failed test the test that answered it, or None while it is bad; `bench_open` why that stays open;
    `calls` by call the test that answered it; `channels_bad` says by channel that stays out of use why the newest test that
    looked at it leaves it so."""

    tested_on: date | None
    excepts: frozenset[int]
    newest: TestSeen | None
    answered: Mapping[int, int]
    open_still: Mapping[int, str]
    found: Mapping[int, int | None]
    bench_open: Mapping[int, str]
    calls: Mapping[int, int]
    channels_bad: Mapping[int, str] = field(default_factory=dict)


def as_deep(one: Depth, other: Depth) -> bool:
    """Say whether a test of the first depth sees all that the other sees."""
    return (one in _OHMS or other not in _OHMS) and (one in _FLEXED or other not in _FLEXED)


def fold(given: Given, stays: Callable[[FaultSeen, TestSeen], str]) -> Folded:
    """Fold the record of one item in the order in which things happened.

    A failure is open until a test passes that answers it; one confined to some channels bars those and leaves the rest in
    use, unless half or more are dead. A barred channel is used again by the same rule: once it was mended, or was measured as
    deep and bent. What passes proves the item from its day on; the newest failure proves that it is
    not good. `stays` says why a test that passed leaves a report open; empty when it answers it.
    """
    tests = sorted(given.tests, key=lambda t: (t.at, t.uid))
    mended = sorted(given.mended)
    tested_on = given.tested_on
    barred: dict[int, TestSeen | None] = dict.fromkeys(given.excepts)  # by channel the newest test that found it dead
    channels_bad: dict[int, str] = {}
    answered: dict[int, int] = {}
    open_still: dict[int, str] = {}
    found: dict[int, int | None] = {}
    bench_open: dict[int, str] = {}
    calls: dict[int, int] = {}
    failed: dict[int, TestSeen] = {}
    newest = None
    for test in tests:
        if test.verdict == Verdict.CANNOT_TELL:
            continue
        newest = test
        looked = {c for c in barred if c not in test.dead and (not test.covers or c in test.covers)}
        whys = {c: _channel_stays(barred[c], test, mended) for c in sorted(looked)}
        dead = {c for c in barred if whys.get(c, "stays")} | test.dead
        half_dead = bool(test.channels) and 2 * len(dead) >= test.channels
        if test.verdict == Verdict.FAIL and (not test.confined or half_dead):
            tested_on = None
            failed[test.key] = test
            found[test.key] = None
            calls.update({key: test.key for key, at in given.called.items() if key not in calls and at <= test.at})
            continue
        channels_bad = {c: why for c, why in (channels_bad | whys).items() if why and c not in test.dead}
        barred = {c: test if c in test.dead else barred[c] for c in dead}
        if test.covers:
            continue  # part of it was looked at: that proves no whole
        tested_on = test.day
        calls.update({key: test.key for key, at in given.called.items() if key not in calls and at <= test.at})
        for key, failure in failed.items():
            if found[key] is None:
                bench_open[key] = _failure_stays(failure, test, mended)
                if not bench_open[key] and failure.symptom:
                    heard = FaultSeen(key=key, at=failure.at, symptom=failure.symptom)
                    bench_open[key] = _report_stays(heard, test, mended, stays)
                if not bench_open[key]:
                    found[key] = test.key
        for report in given.reports:
            if report.key not in answered and report.at <= test.at:
                open_still[report.key] = _report_stays(report, test, mended, stays)
                if not open_still[report.key]:
                    answered[report.key] = test.key
    return Folded(
        tested_on=tested_on,
        excepts=frozenset(barred),
        newest=newest,
        answered=answered,
        open_still={key: why for key, why in open_still.items() if why},
        found=found,
        bench_open={key: why for key, why in bench_open.items() if why},
        calls=calls,
        channels_bad=channels_bad,
    )


def _report_stays(
    report: FaultSeen, test: TestSeen, mended: Sequence[datetime], stays: Callable[[FaultSeen, TestSeen], str]
) -> str:
    if report.symptom in _SEEN and (test.says or any(report.at <= at <= test.at for at in mended)):
        return ""
    return stays(report, test)


def _failure_stays(failure: TestSeen, test: TestSeen, mended: Sequence[datetime]) -> str:
    """Say why a test that passed leaves a failure at the bench open; empty when it answers it."""
    if any(failure.at <= at <= test.at for at in mended):
        return ""
    if not as_deep(test.depth, failure.depth):
        return (
            f"It failed a test by {how_words(failure.procedure, failure.depth)}, and this one, by "
            f"{how_words(test.procedure, test.depth)}, sees less. Test it as deep, or record what was mended."
        )
    if test.depth in _FLEXED or test.says:
        return ""
    return (
        f"It failed {_ago(failure.at, test.at)} before and passes now with nothing done in between: what comes and goes does "
        "that. Bend it at both ends while you read it, or write what was done: as a repair, or in the note."
    )


def _channel_stays(found: TestSeen | None, test: TestSeen, mended: Sequence[datetime]) -> str:
    """Say why a channel that was found dead stays out of use after a test without a fault there; empty when it is used again.

    `found` is the test that found it dead, None where it was dead before any test.
    """
    since = found.at if found is not None else None
    if any((since is None or since <= at) and at <= test.at for at in mended):
        return ""
    if test.procedure == Procedure.WORD:
        return "Nobody measured it, and no repair is on record: measure that channel, or record what was mended."
    return "" if found is None else _failure_stays(found, test, mended)


def _ago(then: datetime, now: datetime) -> str:
    """Write how long lies between two instants: 5 minutes, 2 hours, 12 days."""
    minutes = max(1, round((now - then).total_seconds() / 60))
    for size, name in ((1440, "day"), (60, "hour"), (1, "minute")):
        if minutes >= size:
            many = minutes // size
            return f"{many} {name}{'' if many == 1 else 's'}"
    return "a minute"
