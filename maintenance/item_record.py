"""What the bench knows of one item: its tests with what became of each, repairs, calls to test it, and its risk.

Asked once a page, in five queries however long the record; panels, life, chart, sheets and lists read the same answer.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

from company.templatetags.tape import day as day_words
from inventory.models import Item
from inventory.registries import show_names
from maintenance.calc.bench import Depth, Procedure, Verdict, how_words
from maintenance.calc.charts import Reading
from maintenance.models import BenchFigure, BenchTest, Repair, Risk, TestCall

PROCEDURE_WORDS = {
    Procedure.WIRING: "wiring",
    Procedure.WORD: "the tester's word",
    Procedure.PASSIVE_BOX: "passive box",
    Procedure.ACTIVE_BOX: "active box",
    Procedure.PHANTOM: "phantom outputs",
    Procedure.INPUT: "inputs",
    Procedure.MICROPHONE: "microphone",
    Procedure.TRANSMITTER: "transmitter",
    Procedure.DRIVER: "loudspeaker",
    Procedure.HEADPHONES: "headphones",
    Procedure.MAINS: "mains figures",
    Procedure.UNDO: "taken back",
}
DID = {Verdict.PASS: "proved", Verdict.WATCH: "watch it", Verdict.FAIL: "failed", Verdict.CANNOT_TELL: "no verdict"}
SAID = {Verdict.PASS: "Passed", Verdict.WATCH: "Passed, to watch", Verdict.FAIL: "Failed", Verdict.CANNOT_TELL: "No verdict"}
MARKS = {Verdict.PASS: "tick", Verdict.WATCH: "eye", Verdict.FAIL: "octagon", Verdict.CANNOT_TELL: "ring"}
NEAR_OHM = 1e-3  # limits are kept rounded with a test
EDGES = {Verdict.PASS: "known-good", Verdict.WATCH: "test-due", Verdict.FAIL: "suspect", Verdict.CANNOT_TELL: "unproved"}


@dataclass(kw_only=True)
class Told:
    """One row of the bench history: a test, whether it still counts, and the row that took its place if it does not."""

    test: BenchTest
    counts: bool
    by: BenchTest | None = None
    figures: list[BenchFigure] = field(default_factory=list)

    @property
    def verdict(self) -> Verdict:
        return Verdict(self.test.verdict)

    @property
    def did(self) -> str:
        return DID[self.verdict]

    @property
    def said(self) -> str:
        return SAID[self.verdict]

    @property
    def mark(self) -> str:
        return MARKS[self.verdict]

    @property
    def edge(self) -> str:
        """Return the standing whose edge a strip of this verdict wears."""
        return EDGES[self.verdict]

    @property
    def depth(self) -> str:
        return "" if self.test.procedure == Procedure.MAINS else how_words(self.test.procedure, Depth(self.test.depth))

    @property
    def procedure(self) -> str:
        return PROCEDURE_WORDS[Procedure(self.test.procedure)]

    @property
    def what(self) -> str:
        """Return the first finding's title, or the first reason: what a line of a list says of it."""
        titles = [str(f.get("title") or f.get("text") or f.get("name") or "") for f in self.test.findings]
        found = "; ".join(dict.fromkeys(t.rstrip(".") for t in titles if t))
        return found or (str(self.test.reasons[0]).rstrip(".") if self.test.reasons else "")

    @property
    def reasons(self) -> list[str]:
        """Return its reasons as sentences, and what is said in sentences of what was not measured."""
        left_out = [str(each) for each in self.test.not_measured if str(each).endswith(".")]
        return [*map(str, self.test.reasons), *left_out]

    @property
    def not_measured(self) -> str:
        """Return the names of what its readings leave out, in one line."""
        return "; ".join(str(each) for each in self.test.not_measured if not str(each).endswith("."))

    @property
    def how(self) -> str:
        """Say how it was tested: ohms while flexed, by Rowan, with Meter 2 (calibrated Tue 3 Mar)."""
        by = f"by {self.test.person}" if self.test.person else ""
        calibrated = f" (calibrated {day_words(self.test.calibrated_on)})" if self.test.calibrated_on else ""
        with_it = f"with {self.test.instrument_name}{calibrated}" if self.test.instrument_name else ""
        return ", ".join(part for part in (self.depth, by, with_it) if part)

    @property
    def struck(self) -> str:
        """Say why it counts no more: taken back by Rowan on Fri 4 Dec: wrong lead."""
        if self.counts or self.by is None:
            return ""
        who = f" by {self.by.person}" if self.by.person else ""
        how = "taken back" if self.by.procedure == Procedure.UNDO else "stood in for by a newer test"
        note = f": {self.by.note}" if self.by.note else ""
        return f"{how}{who} on {day_words(self.by.received_at)}{note}"


def told_of(rows: Iterable[BenchTest]) -> list[Told]:
    """Say of each test whether it counts (`maintenance.querysets.standing_tests`) and what stands in for it if not, in the
    order given; the rows that only take another back are left out."""
    rows = list(rows)
    correctors = {row.corrects_id: row for row in rows if row.corrects_id}
    return [
        Told(test=row, counts=row.pk not in correctors, by=correctors.get(row.pk))
        for row in rows
        if row.procedure != Procedure.UNDO
    ]


class ItemRecord:
    """One item's bench record, each part read when first asked for."""

    def __init__(self, item: Item) -> None:
        self.item = item

    @cached_property
    def told(self) -> list[Told]:
        """Every test, newest first, with its figures."""
        rows = BenchTest.objects.filter(item=self.item).select_related("person", "sitting").order_by("-done_at", "-pk")
        told = told_of(rows)
        figures: dict[int, list[BenchFigure]] = {}
        if told:
            for figure in BenchFigure.objects.filter(test__item=self.item).order_by("test", "pk"):
                figures.setdefault(figure.test_id, []).append(figure)
        for each in told:
            each.figures = figures.get(each.test.pk, [])
        return told

    @cached_property
    def counting(self) -> list[Told]:
        return [told for told in self.told if told.counts]

    @property
    def last(self) -> Told | None:
        return next(iter(self.counting), None)

    @cached_property
    def all_repairs(self) -> list[Repair]:
        """Every repair, newest first, the rows that take one back included."""
        return list(Repair.objects.filter(item=self.item).select_related("person", "takes_back", "taken_back_by"))

    @property
    def repairs(self) -> list[Repair]:
        """Repairs that stand, newest first."""
        return [r for r in self.all_repairs if not r.takes_back_id and getattr(r, "taken_back_by", None) is None]

    @cached_property
    def calls(self) -> list[TestCall]:
        """Calls to test it that were not taken back, newest first."""
        found = TestCall.objects.filter(item=self.item, withdrawn_at=None)
        calls = list(found.select_related("person", "answered_by"))
        names = show_names(call.show for call in calls)
        for call in calls:
            call.at_show = names[call.show] if call.show else None  # type: ignore[attr-defined]
        return calls

    @property
    def open_calls(self) -> list[TestCall]:
        return [call for call in self.calls if call.answered_by_id is None]

    @cached_property
    def risk(self) -> Risk | None:
        return Risk.objects.filter(item=self.item).first()

    @property
    def readings(self) -> list[Reading]:
        """The figures of every test that counts, as a chart takes them."""
        return readings_of(self.counting)

    def repair_sums(self) -> tuple[int, int, int]:
        """Return (how many repairs, minutes, cents) of those that stand."""
        done = self.repairs
        return len(done), sum(r.minutes or 0 for r in done), sum(r.cost_cents or 0 for r in done)


def readings_of(told: Iterable[Told]) -> list[Reading]:
    """Return the figures of tests as a chart takes them."""
    return [
        Reading(
            at=each.test.done_at,
            name=figure.name,
            unit=figure.unit,
            value=figure.value,
            low=figure.low,
            high=figure.high,
            watch=fails_above(each.test, figure),
            within=figure.within,
            verdict=each.test.verdict,
        )
        for each in told
        for figure in each.figures
    ]


def fails_above(test: BenchTest, figure: BenchFigure) -> float | None:
    """Return where a core or screen stops being watched and fails, as the test was held to; None where nothing says so."""
    for name in ("core", "screen"):
        passes, fails = test.limits.get(f"{name}_pass_ohm"), test.limits.get(f"{name}_fail_ohm")
        if figure.high is None or not isinstance(passes, int | float) or not isinstance(fails, int | float):
            continue
        if abs(figure.high - passes) < NEAR_OHM and fails > passes:
            return float(fails)
    return None


def record_of(item: Item) -> ItemRecord:
    """Return an item's record, the same one however often it is asked for with the same item in hand."""
    known = item.__dict__.get("_bench_record")
    if known is None:
        known = item.__dict__["_bench_record"] = ItemRecord(item)
    return known


def mended(record: ItemRecord, told: Told) -> bool:
    """Say whether a pass is the proof after something went wrong: after a failed test, a repair, or a fault it closed."""
    if told.verdict not in (Verdict.PASS, Verdict.WATCH):
        return False
    if told.test.effects.get("said", {}).get("closed"):
        return True
    before = next((t for t in record.counting if _key(t.test) < _key(told.test) and t.verdict != Verdict.CANNOT_TELL), None)
    if before is not None and before.verdict == Verdict.FAIL:
        return True
    since = before.test.done_at if before else None
    return any(r.done_at <= told.test.done_at and (since is None or r.done_at > since) for r in record.repairs)


def _key(test: BenchTest) -> tuple[datetime, int]:
    return test.done_at, test.pk
