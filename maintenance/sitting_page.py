"""What a sitting's page shows: the thing on the bench, what is said of it, what was tested so far, and the minutes left."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from django.db.models import Q
from django.urls import reverse
from django.utils.safestring import SafeString

from company.clock import today
from company.templatetags.tape import moment
from inventory.calc import codes
from inventory.calc.kinds import KIND_NAMES, Kind
from inventory.models import Item, Label
from maintenance.bench_form import IN_OHMS, PROCEDURE_NAMES, Asked, asked_of
from maintenance.bench_subject import Subject, subject_of
from maintenance.calc.bench import Depth, Procedure, Verdict
from maintenance.calc.symptoms import Symptom
from maintenance.drawings import wiring_drawing
from maintenance.models import BenchSettings, BenchTest, Sitting
from maintenance.services.bench import NONE_SEEN
from maintenance.standing import Told, standing_told

LAST = 20
MOST_SAID = 6  # readings repeated beside a verdict
MINUTE = timedelta(minutes=1)
PAUSE = timedelta(hours=1)  # nothing tested for so long: people had gone away from the bench. Our proposal.
FEW_TESTS = 3  # fewer say nothing of the pace
EDGES = {Verdict.PASS: "known-good", Verdict.WATCH: "test-due", Verdict.FAIL: "suspect", Verdict.CANNOT_TELL: "unproved"}
MARKS = {Verdict.PASS: "tick", Verdict.WATCH: "eye", Verdict.FAIL: "octagon", Verdict.CANNOT_TELL: "ring"}
WORDS = {Verdict.PASS: "Pass", Verdict.WATCH: "Watch", Verdict.FAIL: "Fail", Verdict.CANNOT_TELL: "Cannot tell"}


@dataclass(frozen=True, kw_only=True)
class Found:
    """What a scanned text led to: an item, or a sentence and where to go with it."""

    item: Item | None = None
    code: str = ""
    says: str = ""
    url: str = ""
    go: str = ""


def found_by(text: str, *, back: str) -> Found:
    """Find what was scanned at the bench; `back` is where a label's binding comes home to."""
    read = codes.parse(text)
    if read.read in {codes.Read.COMMAND, codes.Read.SHOW_CARD}:
        return Found(says="That is a card of the dock: it says where things go. Here, scan the thing itself.")
    if read.read is codes.Read.COUNTED:
        return Found(
            says="That is a counted line: its leads have no labels, so no test could be kept. "
            "One becomes an item when it gets a label: stick a blank one on it and scan that.",
            url=f"{reverse('label-bind')}?next={back}",
            go="Say what a label is on",
        )
    if read.read is codes.Read.CHANNEL:
        return Found(says="That is the card of a channel. Here, scan what was on it.")
    if read.read is not codes.Read.CODE:
        return Found(says=read.why or "That is no label of a thing.")
    item = Item.objects.described(today()).filter(Q(code=read.code) | Q(labels__code=read.code)).first()
    spelt = codes.spell(read.code)
    if item is None:
        label = Label.objects.filter(code=read.code).exists()
        says = f"{spelt} is a label that is stuck on nothing yet." if label else f"Nothing we own has the code {spelt}."
        return Found(
            code=read.code, says=says, url=f"{reverse('label-bind')}?code={read.code}&next={back}", go="Say what it is on"
        )
    return _fit(item)


def _fit(item: Item) -> Found:
    there = item.get_absolute_url()
    if item.type.kind == Kind.CASE:
        says = f"{item} is a case. What is in it is tested one by one: scan that."
        return Found(code=item.code, says=says, url=reverse("case", args=[item.code]), go="What is in it")
    if not item.type.has_standing:
        says = f"{item} is a {KIND_NAMES[Kind(item.type.kind)]}: such a thing is never good or bad, so it is not tested."
        return Found(code=item.code, says=says, url=there, go="Its page")
    if item.gone_home_on:
        return Found(
            code=item.code, says=f"{item} was borrowed and has gone home. It is not ours to test.", url=there, go="Its page"
        )
    if item.retired_on:
        says = f"{item} is retired. Bring it back into use on its page before testing it."
        return Found(code=item.code, says=says, url=there, go="Its page")
    return Found(item=item, code=item.code)


@dataclass(kw_only=True)
class OnBench:
    """The thing on the bench with all that is asked about it."""

    item: Item
    subject: Subject
    told: Told
    asked: Asked
    procedures: Sequence[Procedure]
    picture: SafeString | str = ""
    expects: str = ""
    suspicions: list[Any] = field(default_factory=list)
    uid: UUID = field(default_factory=uuid4)
    after: UUID = NONE_SEEN
    began: str = ""
    refused: str = ""
    read: tuple[int, int] = (0, 0)  # what was read before and kept: how many answers of how many

    @property
    def takes_word(self) -> bool:
        """Say whether the tester's word is a test of it: on mains gear it is none."""
        return Procedure.WORD in self.subject.procedures

    @property
    def symptoms(self) -> list[Symptom]:
        return list(Symptom)

    @property
    def ways(self) -> list[tuple[str, str]]:
        """Return the other tests that fit it, as (procedure, name); the tester's word may always be taken."""
        others = [p for p in self.procedures if p not in {self.asked.procedure, Procedure.WORD}]
        return [(p.value, PROCEDURE_NAMES[p]) for p in others]


def on_bench(
    item: Item, *, sitting: Sitting, at: datetime, procedure: str = "", flexed: bool = False, also: Any = (), depth: str = ""
) -> OnBench:
    """Lay an item on the bench: what is said of it, what its wiring should look like, what to measure."""
    subject = subject_of([item])[item.pk]
    settings = BenchSettings.current()
    limits = settings.limits()
    deep = Depth(depth or sitting.depth)
    if flexed:
        deep = Depth.OHMS_FLEXED if deep in IN_OHMS else Depth.LAMPS_FLEXED
    chosen = next((p for p in subject.procedures if p == procedure), subject.procedures[0])
    if not procedure and chosen == Procedure.WIRING and subject.lead is None:
        chosen = Procedure.WORD
    asked = asked_of(
        subject,
        procedure=chosen,
        depth=deep,
        limits=limits,
        capabilities=settings.capabilities(),
        temperature_c=sitting.temperature_c,
        symptoms=subject.symptoms,
        also=also,
    )
    shown = OnBench(
        item=item,
        subject=subject,
        told=standing_told([item], today(at))[item.pk],
        asked=asked,
        procedures=subject.procedures,
        after=subject.last.uid if subject.last else NONE_SEEN,
        began=at.isoformat(),
        suspicions=_suspicions(subject),
    )
    if subject.lead is not None:
        shown.picture = expected_picture(subject.lead, limits)
    elif subject.kind in {Kind.LEAD, Kind.MULTICORE}:
        shown.expects = subject.no_lead
    return shown


def _suspicions(subject: Subject) -> list[Any]:
    from maintenance.calc.suspicions import likely

    symptoms = [s for s in subject.symptoms if s in set(Symptom)]
    return list(likely(kind=subject.kind, symptoms=symptoms, procedures=subject.procedures))[:3] if symptoms else []


def expected_picture(lead: Any, limits: Any) -> SafeString:
    """Draw what a lead should look like, nothing read yet."""
    from maintenance.calc.wiring import links

    return lead_drawing(lead.wiring, links(wiring=lead.wiring, limits=limits), key=False)


def lead_drawing(wiring: Any, joins: Any, *, key: bool = True) -> SafeString:
    """Draw a wiring with its roles and resistors named."""
    roles = {pin: str(net.role) for net in wiring.nets if len(net.pins) > 1 and net.role != "core" for pin in net.pins}
    resistors = {(r.a, r.b): f"{r.ohm:g} ohm" for r in wiring.resistors}
    return wiring_drawing(joins, wiring.ends, roles=roles, resistors=resistors, sends=wiring.sends, key=key)


@dataclass(frozen=True, kw_only=True)
class Row:
    """One test of this sitting, as its list and the page's answer show it."""

    test: BenchTest
    word: str
    mark: str
    standing: str
    said: str
    undone: bool = False
    undo: str = ""

    @property
    def read(self) -> str:
        """Repeat the ohms read end to end with what they might be: 0.47, 0.47, 0.48 Ω, at most 0.73."""
        pairs = self.test.readings.get("pairs", ())
        ohms = [f"{pair['ohms']:.3g}" for pair in pairs if pair.get("ohms") is not None]
        if not ohms:
            return ""
        more = f" and {len(ohms) - MOST_SAID} more" if len(ohms) > MOST_SAID else ""
        most = {self.test.limits[name] for name in ("core_pass_ohm", "screen_pass_ohm") if self.test.limits.get(name)}
        limit = f", at most {max(most):.2f}" if most else ""
        return f"{', '.join(ohms[:MOST_SAID])}{more} Ω{limit}"

    @property
    def is_plain_pass(self) -> bool:
        """Say whether its figures say it all: passed, with ohms; why it did is on the whole verdict."""
        return self.test.verdict == Verdict.PASS and bool(self.read) and not self.test.findings

    @property
    def is_word(self) -> bool:
        return self.test.procedure == Procedure.WORD


def row_of(test: BenchTest) -> Row:
    """Return a test as a row; needs `item.type` and `corrected_by`."""
    verdict = Verdict(test.verdict)
    by = getattr(test, "corrected_by", None)
    said = "; ".join(str(f.get("title", "")) for f in test.findings if f.get("title"))
    if not said and verdict == Verdict.CANNOT_TELL:
        said = str(test.reasons[0]) if test.reasons else ""
    return Row(
        test=test,
        word=WORDS[verdict],
        mark=MARKS[verdict],
        standing=EDGES[verdict],
        said=said,
        undone=by is not None,
        undo=str((by or test).uid),
    )


def rows_of(sitting: Sitting) -> list[Row]:
    """Return the last tests of a sitting, newest first: those that count, and those taken back, which can be put back."""
    tests = BenchTest.objects.filter(sitting=sitting).exclude(procedure=Procedure.UNDO)
    mine = tests.filter(Q(corrected_by=None) | Q(corrected_by__procedure=Procedure.UNDO, corrected_by__corrected_by=None))
    shown = mine.select_related("item__type", "corrected_by", "person").order_by("-done_at", "-pk")[:LAST]
    return [row_of(test) for test in shown]


def length_words(minutes: int) -> str:
    """Say how long something took: 45 min, 2 h 5 min, 3 days."""
    if minutes < 60:
        return f"{minutes} min"
    hours, rest = divmod(minutes, 60)
    if hours < 24:
        return f"{hours} h {rest} min" if rest else f"{hours} h"
    return f"{round(hours / 24)} day{'s' if round(hours / 24) > 1 else ''}"


@dataclass(frozen=True, kw_only=True)
class Count:
    """How far a sitting has come."""

    tested: int
    good: int
    watch: int
    bad: int
    unsure: int
    each: float | None
    left: int
    fits: int | None
    took: str = ""  # of a sitting that has ended, how many in what time; of one left lying, since when

    @property
    def words(self) -> str:
        """Say it in one line: 12 good, 1 to watch, 2 bad."""
        parts = [
            f"{number} {word}"
            for number, word in (
                (self.good, "good"),
                (self.watch, "to watch"),
                (self.bad, "bad"),
                (self.unsure, "undecided"),
            )
            if number
        ]
        return ", ".join(parts) or "Nothing tested yet"

    @property
    def pace(self) -> str:
        """Say how long each takes and how many more fit."""
        parts = [self.took] if self.took else []
        if self.each is not None:
            parts.append(f"{self.each:.1f} min each" if self.each >= 0.95 else f"{max(1, round(self.each * 60))} s each")
        if self.took:
            return "; ".join(parts)
        if self.left > 0:
            fits = f": about {self.fits} more fit" if self.fits and self.tested >= FEW_TESTS else ""
            parts.append(f"{self.left} min left{fits}")
        elif self.left < 0:
            parts.append(f"{length_words(-self.left)} over")
        return ", ".join(parts)


def count_of(sitting: Sitting, at: datetime) -> Count:
    """Count the tests of a sitting that count, in one query; time is counted without its pauses."""
    rows = BenchTest.objects.filter(sitting=sitting, corrected_by=None).exclude(procedure=Procedure.UNDO)
    tests = list(rows.order_by("done_at", "pk").values_list("done_at", "verdict", "minutes"))
    tally = Counter(verdict for _done_at, verdict, _minutes in tests)
    measured = [minutes for _done_at, _verdict, minutes in tests if minutes is not None]
    each = sum(measured) / len(measured) if measured else None
    spent, last = _spent(sitting.began_at, tests)
    took, idle = "", at - last
    if sitting.ended_at is not None:
        took = f"{len(tests)} tested in {length_words(max(1, round(spent / MINUTE)))}" if tests else ""
    elif idle > PAUSE:
        took = f"Paused since {moment(last)}"
    left = 0 if took or sitting.ended_at else round(sitting.minutes - (spent + max(idle, timedelta())) / MINUTE)
    return Count(
        tested=len(tests),
        good=tally[Verdict.PASS],
        watch=tally[Verdict.WATCH],
        bad=tally[Verdict.FAIL],
        unsure=tally[Verdict.CANNOT_TELL],
        each=each,
        left=left,
        took=took,
        fits=int(left / max(each, 0.05)) if each is not None and left > 0 else None,
    )


def _spent(began_at: datetime, tests: Sequence[tuple[datetime, str, float | None]]) -> tuple[timedelta, datetime]:
    """Return the time from the beginning to the last test without the pauses, and when that was."""
    spent, last = timedelta(), began_at
    for done_at, _verdict, minutes in tests:
        gap = max(done_at - last, timedelta())
        spent += gap if gap <= PAUSE else min(gap, timedelta(minutes=minutes or 0))
        last = max(last, done_at)
    return spent, last
