"""Work out again what tests, repairs and calls have made of items: standing, faults found and answered, calls answered.

Everything here follows from the rows on record, so whatever arrives late, is corrected or taken back, the record comes out the
same. Callers hold the items' locks.
"""

import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

from company.models import Company
from inventory.calc.excepts import dead_channels
from inventory.models import Item
from maintenance.calc.bench import Depth, Verdict, how_words
from maintenance.calc.bench_fold import FaultSeen, Folded, TestSeen, fold
from maintenance.calc.bench_fold import Given as OnRecord
from maintenance.calc.symptoms import Found, Symptom
from maintenance.models import BenchTest, Fault, TestCall
from maintenance.querysets import standing_repairs, standing_tests
from maintenance.services.faults import suspicion_refresh

_FAULT_COLUMNS = ["closed_at", "closed_by", "closed_how", "closed_by_test", "withdrawn_at", "found_by"]
_LONGEST = 500


@dataclass(kw_only=True)
class Became:
    """What became of one item: faults by the test that answered them, open ones with why the newest test leaves them so;
    `channels_bad` says why channels stay out of use that showed no fault now."""

    newest: int | None = None
    answered: dict[int, list[Fault]] = field(default_factory=lambda: defaultdict(list))
    open_still: list[tuple[Fault, str]] = field(default_factory=list)
    found: dict[int, Fault] = field(default_factory=dict)
    channels_bad: dict[int, str] = field(default_factory=dict)


def origin_of(test: BenchTest) -> uuid.UUID:
    """Return the uid a test was first written down by; one written down again after an undo keeps it."""
    return uuid.UUID(test.effects["restates"]) if test.effects.get("restates") else test.uid


def fault_uid(test: BenchTest) -> uuid.UUID:
    """Return the uid of the fault that a failed test opens."""
    return uuid.uuid5(origin_of(test), "failed at the bench")


def items_refold(*, item_ids: Iterable[int], at: datetime) -> dict[int, Became]:
    """Bring the standing, faults and calls of these items in step with their record; a constant number of queries."""
    keys = sorted(set(item_ids))
    items = {item.pk: item for item in Item.objects.filter(pk__in=keys).select_related("type").order_by("pk")}
    tests = _by_item(standing_tests().filter(item__in=keys).defer("readings").select_related("person"))
    faults = _by_item(Fault.objects.filter(item__in=keys).order_by("opened_at", "pk"))
    repairs = _by_item(standing_repairs().filter(item__in=keys))
    calls = _by_item(TestCall.objects.filter(item__in=keys, withdrawn_at=None))
    before = {
        t.item_id: t.effects["base"] for t in BenchTest.objects.filter(item__in=keys, effects__has_key="base").order_by("-pk")
    }
    work = _Work(at)
    became = {
        pk: work.item(item, before.get(pk), tests[pk], faults[pk], repairs[pk], calls[pk]) for pk, item in sorted(items.items())
    }
    work.write()
    suspicion_refresh(item_ids=keys)
    return became


def _by_item(rows: Iterable[Any]) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        found[row.item_id].append(row)
    return found


class _Work:
    """Rows to be written once every item is worked out."""

    def __init__(self, at: datetime) -> None:
        self.at, self.zone = at, Company.current().zone
        self.new: list[Fault] = []
        self.faults: list[Fault] = []
        self.calls: list[TestCall] = []
        self.items: list[Item] = []

    def item(
        self,
        item: Item,
        before: dict[str, Any] | None,
        tests: list[BenchTest],
        faults: list[Fault],
        repairs: list[Any],
        calls: list[TestCall],
    ) -> Became:
        by_key = {test.pk: test for test in tests}
        told = [f for f in faults if f.found_by_id is None and f.withdrawn_at is None and not _closed_by_hand(f)]
        base = before or {"tested_on": None, "excepts": ""}
        folded = fold(
            OnRecord(
                tests=[seen_of(test, self.zone) for test in tests],
                reports=[FaultSeen(key=f.pk, at=f.opened_at, symptom=f.symptom) for f in told],
                mended=[repair.done_at for repair in repairs],
                called={call.pk: call.at for call in calls},
                excepts=dead_channels(base["excepts"]),
                tested_on=datetime.fromisoformat(base["tested_on"]).date() if base["tested_on"] else None,
            ),
            partial(_stays, item.type.kind),
        )
        if before is not None:
            self._standing(item, base, folded)
        newest = folded.newest.key if folded.newest else None
        answer = Became(newest=newest, channels_bad=dict(folded.channels_bad))
        for fault in told:
            self._closing(fault, by_key.get(folded.answered.get(fault.pk, 0)), answer)
            if fault.closed_at is None:
                answer.open_still.append((fault, folded.open_still.get(fault.pk, "")))
        self._found(item, by_key, faults, folded, answer)
        for call in calls:
            if call.answered_by_id != folded.calls.get(call.pk):
                call.answered_by_id = folded.calls.get(call.pk)
                self.calls.append(call)
        return answer

    def _standing(self, item: Item, base: dict[str, Any], folded: Folded) -> None:
        as_before = folded.excepts == dead_channels(base["excepts"])
        excepts = base["excepts"] if as_before else channels_words(folded.excepts)
        if (item.tested_on, item.excepts) != (folded.tested_on, excepts):
            item.tested_on, item.excepts = folded.tested_on, excepts
            self.items.append(item)

    def _found(self, item: Item, by_key: dict[int, BenchTest], faults: list[Fault], folded: Folded, answer: Became) -> None:
        """Open the faults that failed tests found, once each, and take back those whose test counts no more."""
        wanted = {fault_uid(by_key[key]): by_key[key] for key in folded.found}
        there = {fault.uid: fault for fault in faults if fault.found_by_id is not None or fault.uid in wanted}
        for uid, fault in there.items():
            if uid not in wanted and fault.withdrawn_at is None:
                fault.withdrawn_at = self.at
                self._change(fault)
        for uid, test in wanted.items():
            known = there.get(uid)
            fault = known or Fault(
                uid=uid,
                item=item,
                symptom=test.effects.get("symptom") or Symptom.OTHER,
                note=failed_words(test),
                opened_at=test.done_at,
                found=Found.BENCH,
                person=test.person,
                found_by=test,
            )
            if known is None:
                self.new.append(fault)
            elif known.withdrawn_at is not None or known.found_by_id != test.pk:
                known.withdrawn_at, known.found_by = None, test
                self._change(known)
            if not _closed_by_hand(fault):
                self._closing(fault, by_key.get(folded.found[test.pk] or 0), answer)
            answer.found[test.pk] = fault
            if fault.closed_at is None:
                answer.open_still.append((fault, folded.bench_open.get(test.pk, "")))

    def _closing(self, fault: Fault, test: BenchTest | None, answer: Became) -> None:
        if test is None:
            if fault.closed_by_test_id is not None:
                fault.closed_at, fault.closed_by, fault.closed_how, fault.closed_by_test = None, None, "", None
                self._change(fault)
            return
        answer.answered[test.pk].append(fault)
        if fault.closed_by_test_id != test.pk:
            fault.closed_at, fault.closed_by, fault.closed_by_test = test.done_at, test.person, test
            fault.closed_how = _answer_words(test)
            self._change(fault)

    def _change(self, fault: Fault) -> None:
        if fault.pk is not None and fault not in self.faults:
            self.faults.append(fault)

    def write(self) -> None:
        if self.items:
            Item.objects.bulk_update(self.items, ["tested_on", "excepts"])
        if self.new:
            Fault.objects.bulk_create(self.new)
        if self.faults:
            Fault.objects.bulk_update(self.faults, _FAULT_COLUMNS)
        if self.calls:
            TestCall.objects.bulk_update(self.calls, ["answered_by"])


def _closed_by_hand(fault: Fault) -> bool:
    return fault.closed_at is not None and fault.closed_by_test_id is None


def seen_of(test: BenchTest, zone: ZoneInfo) -> TestSeen:
    """Return a test as the fold takes it."""
    return TestSeen(
        key=test.pk,
        uid=str(origin_of(test)),
        at=test.done_at,
        day=test.done_at.astimezone(zone).date(),
        verdict=Verdict(test.verdict),
        depth=Depth(test.depth),
        procedure=test.procedure,
        dead=frozenset(test.dead_channels),
        confined=bool(test.effects.get("confined")),
        covers=frozenset(test.effects.get("covers", ())),
        channels=test.effects.get("channels", 0),
        says=bool(test.note.strip()),
        steps=frozenset(test.effects["steps"]) if "steps" in test.effects else None,
        symptom=test.effects.get("symptom", ""),
    )


def _stays(kind: str, report: FaultSeen, test: TestSeen) -> str:
    from maintenance.calc.bench import Procedure
    from maintenance.calc.suspicions import answers

    return answers(
        symptom=Symptom(report.symptom), depth=test.depth, procedure=Procedure(test.procedure), kind=kind, steps=test.steps
    )


def _answer_words(test: BenchTest) -> str:
    by = how_words(test.procedure, Depth(test.depth))
    if test.verdict == Verdict.FAIL:
        dead = channels_words(test.dead_channels)
        return f"Found at the bench, by {by}: dead on {dead}; the rest passed."
    came_to = "Passed" if test.verdict == Verdict.PASS else "Good enough, to be watched,"
    note = f" {test.note.rstrip('.')}." if test.note else ""
    return f"{came_to} at the bench, by {by}.{note}"[:_LONGEST]


def failed_words(test: BenchTest) -> str:
    """Say what a failed test found, as the note of its fault."""
    titles = [f["title"] for f in test.findings if f.get("weight", Verdict.FAIL) == Verdict.FAIL]
    return "; ".join(dict.fromkeys(titles))[:_LONGEST] or "Failed"


def channels_words(channels: Iterable[int]) -> str:
    """Write channels as 7, 14 or 3, 9 to 12."""
    runs: list[list[int]] = []
    for channel in sorted(set(channels)):
        if runs and channel == runs[-1][-1] + 1:
            runs[-1].append(channel)
        else:
            runs.append([channel])
    parts = (f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs)
    return ", ".join(parts)[:120]
