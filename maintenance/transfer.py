"""A tester's log as a list: one row a test, known again by what it says, so that bringing it twice is harmless."""

import uuid
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, time
from typing import Any

from django.http import QueryDict

from company.clock import now
from company.models import Company, Person
from inventory.calc import codes
from inventory.calc.kinds import Kind
from inventory.calc.typed import Odd, read_day, read_moment, read_text, shown
from inventory.models import Item, Label
from inventory.transfer.base import BAD, NEW, UNCHANGED, Column, Order, Plan, Row, Transfer
from maintenance.bench_subject import subject_of
from maintenance.calc.bench import DEPTH_WORDS, VERDICT_WORDS, Depth, Judgement, PairReading, Procedure, Verdict
from maintenance.calc.bench_typed import TypedError, reading_typed, written
from maintenance.models import BenchTest
from maintenance.querysets import standing_tests
from maintenance.services.bench import Given, TestRefused, items_dates, tests_insert, tests_take_back
from maintenance.services.bench_effects import items_refold
from maintenance.services.bench_judging import bench_limits, given_check, judged, row_of

LOGGED = uuid.UUID("b7f8f1a2-54c1-5d0c-9d0e-6f2d8c1a7e35")  # the space in which a row of a log has its id
_PAIRS = (
    *((f"A{n}", f"B{n}") for n in ("1", "2", "3")),
    *((f"A{a}", f"B{b}") for a in "123" for b in "123" if a != b),
    *((f"A{n}", f"B{n}") for n in ("T", "R", "S")),
    ("A1", "A2"),
    ("A2", "A3"),
    ("A1", "A3"),
    ("A1", "Ash"),
    ("B1", "Bsh"),
)
_TAKEN_AT_ONCE = 50
_GOOD = frozenset({"pass", "passed", "watch", "good", "ok", "okay", "fine", "p", "yes", "1", "true"})
_BAD = frozenset({"fail", "failed", "bad", "nok", "ng", "not good", "not ok", "f", "no", "0", "false", "reject"})
_DEPTHS = {
    **{words: depth for depth, words in DEPTH_WORDS.items()},
    **{str(depth): depth for depth in Depth},
    "beep": Depth.LAMPS,
    "beeps": Depth.LAMPS,
    "continuity": Depth.LAMPS,
    "flexed": Depth.OHMS_FLEXED,
    "flex": Depth.OHMS_FLEXED,
    "resistance": Depth.OHMS,
}

COLUMNS = (
    Column(
        key="code",
        title="Code",
        words=("label", "qr", "qr code", "barcode", "item", "item code", "lead", "cable", "cable id", "id"),
        required=True,
        example="3F6K-9QX2",
        says="The code on the label of what was tested.",
    ),
    Column(
        key="done_at",
        title="Done at",
        words=("date", "date time", "datetime", "timestamp", "tested", "tested on", "tested at", "when"),
        required=True,
        example="2026-09-20 18:30",
        says="The day and time; a day alone is taken for noon, unless a column of its own holds the time.",
    ),
    Column(key="time", title="Time", words=("time of day", "clock"), example="", says="The time, where the day stands alone."),
    Column(
        key="verdict",
        title="Verdict",
        words=("result", "pass fail", "status", "outcome", "ok"),
        example="pass",
        says="The tester's word: pass or fail. With readings beside it, the readings decide and the word is noted.",
    ),
    Column(
        key="depth",
        title="Depth",
        words=("kind of test", "test type", "method"),
        example="ohms",
        says="lamps, lamps-flexed, ohms or ohms-flexed; empty: ohms where there are ohms, otherwise lamps.",
    ),
    Column(
        key="readings",
        title="Readings",
        words=("values", "measurements", "results"),
        example="",
        says="All readings in one cell: A1-B1 0.21; A1-B2 OL.",
    ),
    *(
        Column(
            key=f"{a}-{b}",
            title=f"{a}-{b}",
            words=(f"{a} {b}", f"{a} {b} ohm", f"{a} {b} ohms", f"{a}{b}", f"{a} to {b}"),
            example={"A1": "0.41", "A2": "0.88", "A3": "0.87"}.get(a, "") if a[1:] == b[1:] else "",
            says=f"Ohms from pin {a} to pin {b}, beep, or OL.",
            import_only=True,
        )
        for a, b in _PAIRS
    ),
    Column(
        key="instrument",
        title="Instrument",
        words=("tester", "meter", "device", "tester serial"),
        example="",
        says="The code of one of our instruments, or its name.",
    ),
    Column(
        key="person",
        title="Tested by",
        words=("by", "operator", "technician", "user", "who"),
        example="",
        says="Who tested: a name we sign in by; any other name is noted.",
    ),
    Column(
        key="test_id",
        title="Test id",
        words=("uid", "uuid"),
        says="Our own id of a test, as an export gives it: a row with one we have is left alone.",
    ),
    Column(
        key="log_number",
        title="Log number",
        words=("no", "nr", "number", "row", "record", "test number", "test no", "serial", "log serial"),
        example="17",
        import_only=True,
        says="The tester's own number of the row; it tells apart two tests of one thing at one time.",
    ),
    Column(key="note", title="Note", words=("notes", "remarks", "remark", "comment", "comments"), says="Anything else."),
    Column(key="findings", title="Findings", says="What was found, in words.", shown_only=True),
    Column(key="name", title="Thing", says="What was tested.", shown_only=True),
)

EXAMPLES = (
    {
        "code": "3F6K-9QX2",
        "done_at": "2026-09-20 18:30",
        "depth": "ohms",
        "A1-B1": "0.41",
        "A2-B2": "0.88",
        "A3-B3": "0.87",
        "log_number": "17",
    },
    {"code": "7TB0-4M2N", "done_at": "2026-09-20 18:32", "verdict": "fail", "depth": "lamps", "note": "pin 2 dead"},
)


class BenchLogPlan(Plan):
    """Judge and write rows of a tester's log. A row already on record, whatever became of it since, is left alone."""

    def __init__(self, order: Order) -> None:
        super().__init__(order)
        self.zone = order.company.zone
        self.limits = bench_limits()
        self.seen: dict[uuid.UUID, int] = {}
        self._people: dict[str, Person] | None = None

    def take(self, row: Row, key: str, text: str) -> None:
        if key == "code":
            read = codes.parse(text)
            if read.read is not codes.Read.CODE:
                raise Odd(read.why or f"“{shown(text)}” is a card, not the label of a thing.")
            row.values["code"] = read.code
        elif key == "done_at":
            self._take_when(row, text)
        elif key == "time":
            row.values["time"] = read_moment(f"2000-01-01 {text}").value.time()
        elif key == "verdict":
            row.values["word"] = _word(text)
        elif key == "test_id":
            try:
                row.values["test_id"] = uuid.UUID(text)
            except ValueError:
                raise Odd(f"“{shown(text)}” is no id of a test. Leave it empty for a test that is not from here.") from None
        elif key == "depth":
            depth = _DEPTHS.get(" ".join(text.casefold().split()))
            if depth is None:
                raise Odd(f"“{shown(text)}” is no depth of test. Write lamps, lamps-flexed, ohms or ohms-flexed.")
            row.values["depth"] = depth
        elif key == "readings":
            row.values.setdefault("pairs", []).extend(_readings(text))
        elif key in _PAIR_KEYS:
            a, b = _PAIR_KEYS[key]
            row.values.setdefault("pairs", []).append(_reading(a, b, text))
        else:
            row.values[key] = read_text(" ".join(text.split()), longest=140 if key != "note" else 400)

    def _take_when(self, row: Row, text: str) -> None:
        country = self.order.company.country
        try:
            moment = read_moment(text, country=country)
        except Odd:
            day = read_day(text, country=country)
            row.values["day"] = day.value
            row.notes += [day.note] if day.note else []
            return
        row.values["done_at"] = moment.value
        row.notes += [moment.note] if moment.note else []

    def clear(self, row: Row, key: str) -> None:
        """An empty cell says nothing about a test."""

    def judge(self, rows: list[Row]) -> None:
        items = _items_of({row.values["code"] for row in rows if "code" in row.values})
        tools = _items_of({code for row in rows if (code := _code(row.values.get("instrument", "")))})
        people = self._known_people()
        for row in rows:
            if row.verdict != BAD:
                self._read(row, items, tools, people)
        read = [row for row in rows if row.verdict != BAD]
        uids = [row.values["given"].uid for row in read]
        known = dict(BenchTest.objects.filter(uid__in=uids).values_list("uid", "corrected_by__procedure"))
        subjects = subject_of({row.values["given"].item.pk: row.values["given"].item for row in read}.values())
        for row in read:
            self._judge_one(row, known, subjects)

    def _known_people(self) -> dict[str, Person]:
        if self._people is None:
            self._people = {}
            for person in Person.objects.filter(is_active=True).order_by("pk"):
                for name in (person.first_name, person.get_full_name(), person.username):
                    self._people.setdefault(" ".join(name.split()).casefold(), person)
            self._people.pop("", None)
        return self._people

    def _read(self, row: Row, items: dict[str, Item], tools: dict[str, Item], people: dict[str, Person]) -> None:
        values = row.values
        for key, title in (("code", "Code"), ("done_at", "Done at")):
            if key not in values and not (key == "done_at" and "day" in values):
                row.bad(title, "Which thing was tested?" if key == "code" else "When was it tested?")
        if row.verdict == BAD:
            return
        item = items.get(values["code"])
        if item is None:
            row.bad("Code", f"Nothing has the label {codes.spell(values['code'])}.")
            return
        pairs, word = values.get("pairs", []), values.get("word")
        if not pairs and word is None:
            row.bad("", "It says neither a verdict nor a reading.")
            return
        try:
            done_at = self._instant(values)
        except Odd as odd:
            row.bad("Done at", str(odd))
            return
        tool = tools.get(_code(values.get("instrument", "")))
        tool = tool if tool is not None and tool.type.kind == Kind.INSTRUMENT else None
        said_by = values.get("person", "")
        person = people.get(said_by.casefold()) if said_by else self.order.person
        values["by"] = person
        notes = [values.get("note", ""), f"Tested by {said_by}" if said_by and person is None else ""]
        if pairs and word is not None:
            notes.append(f"The log's own word: {'pass' if word else 'fail'}")
        values["given"] = Given(
            uid=values.get("test_id") or _uid(values, done_at, pairs),
            item=item,
            procedure=Procedure.WIRING if pairs else Procedure.WORD,
            depth=values.get("depth") or (Depth.OHMS if any(p.beep is None for p in pairs) else Depth.LAMPS),
            done_at=done_at,
            readings=tuple(pairs),
            word=None if pairs else word,
            instrument=tool,
            instrument_name="" if tool else values.get("instrument", ""),
            note="; ".join(note for note in notes if note)[:500],
        )

    def _instant(self, values: dict[str, Any]) -> datetime:
        wall = values.get("done_at") or datetime.combine(values["day"], values.get("time", time(12)))
        if not 1950 <= wall.year <= 2200:
            raise Odd(f"It lies in the year {wall.year}. Check the date.")
        if wall.tzinfo is not None:
            return wall.astimezone(UTC)
        # an hour that comes twice is taken for the first, one that never comes for what the clock showed before it jumped
        return wall.replace(tzinfo=self.zone).astimezone(UTC)

    def _judge_one(self, row: Row, known: Mapping[uuid.UUID, str | None], subjects: Mapping[int, Any]) -> None:
        given: Given = row.values["given"]
        row.code = given.item.code
        earlier = self.seen.setdefault(given.uid, row.line)
        if given.uid in known or earlier != row.line:
            row.verdict = UNCHANGED
            if earlier != row.line:
                row.notes.append(f"says the same as line {earlier}, and counts once")
            elif known[given.uid] == Procedure.UNDO:
                row.notes.append("is on record and was taken back; it stays taken back")
            return
        subject = subjects[given.item.pk]
        try:
            given_check(given, received_at=self.order.at)
            judgement = judged(given, subject, self.limits)
        except TestRefused as refused:
            row.bad(_TITLES.get(refused.field.split(".")[0], ""), str(refused))
            return
        row.verdict = NEW
        row.values["judgement"] = judgement
        row.values["test"] = row_of(given, subject, judgement, person=row.values["by"], received_at=self.order.at)
        if judgement.verdict in (Verdict.FAIL, Verdict.CANNOT_TELL):
            row.notes.append(f"{given.item} comes to “{VERDICT_WORDS[judgement.verdict]}”: {_first_words(judgement)}")

    def make_fresh(self) -> dict[str, list[int]]:
        return {}

    def write(self, rows: list[Row]) -> None:
        new = [row for row in rows if row.verdict == NEW]
        keys = sorted({row.values["given"].item.pk for row in new})
        held = (
            Item.objects.select_for_update(of=("self",), no_key=True).select_related("type").filter(pk__in=keys).order_by("pk")
        )
        items = {item.pk: item for item in held}
        for row in new:
            test = row.values["test"]
            test.item = items[test.item_id]
            test.effects["log"] = self.order.uid
        tests_insert(rows=[(row.values["test"], row.values["judgement"]) for row in new])
        items_refold(item_ids=keys, at=self.order.at)

    def after(self, rows: list[Row]) -> None:
        items_dates(item_ids={row.values["given"].item.pk for row in rows if row.verdict == NEW}, at=self.order.at)

    def take_back(self, unchanged: list[Row]) -> tuple[int, int]:
        mine = standing_tests().filter(received_at=self.order.at, effects__log=self.order.uid)
        whole = BenchTest.objects.filter(received_at=self.order.at, effects__log=self.order.uid).count()
        uids = [row.values["given"].uid for row in unchanged]
        taken, at = 0, now()
        for start in range(0, len(uids), _TAKEN_AT_ONCE):
            keys = mine.filter(uid__in=uids[start : start + _TAKEN_AT_ONCE]).values_list("pk", flat=True)
            taken += tests_take_back(test_ids=list(keys), person=self.order.person, at=at)
        return taken, whole - taken


def _word(text: str) -> bool | None:
    word = " ".join(text.casefold().replace("-", " ").split())
    if word in _GOOD:
        return True
    if word in _BAD:
        return False
    if word == VERDICT_WORDS[Verdict.CANNOT_TELL]:
        return None
    raise Odd(f"“{shown(text)}” is neither pass nor fail.")


def _reading(a: str, b: str, text: str) -> PairReading:
    try:
        typed = reading_typed(text)
    except TypedError as wrong:
        raise Odd(str(wrong)) from wrong
    return PairReading(a=a, b=b, ohms=typed.ohms, beep=typed.beep, above_ohms=typed.above_ohms)


def _readings(text: str) -> Iterator[PairReading]:
    for piece in text.replace("\n", ";").split(";"):
        if not piece.strip():
            continue
        pair, _blank, value = piece.strip().partition(" ")
        a, dash, b = pair.partition("-")
        if not (a and dash and b and value.strip()):
            raise Odd(f"“{shown(piece.strip())}” is no reading. Write A1-B1 0.21; A1-B2 OL.")
        yield _reading(a, b, value.strip(" :="))


def _code(text: str) -> str:
    read = codes.parse(text) if text.strip() else None
    return read.code if read is not None and read.read is codes.Read.CODE else ""


def _items_of(wanted: set[str]) -> dict[str, Item]:
    """Return items by the codes of any of their labels, in two queries."""
    if not wanted:
        return {}
    found = {item.code: item for item in Item.objects.filter(code__in=wanted).select_related("type")}
    bound = Label.objects.filter(code__in=wanted, item__isnull=False).select_related("item__type")
    return found | {label.code: label.item for label in bound if label.item}


def _uid(values: dict[str, Any], done_at: datetime, pairs: list[PairReading]) -> uuid.UUID:
    """Return the id of a log's row, made of what it says: the same row has the same id in whatever file it comes."""
    said = sorted(f"{p.a}-{p.b} {p.ohms} {p.beep} {p.above_ohms}" for p in pairs)
    parts = (values["code"], done_at.isoformat(), values.get("log_number", ""), str(values.get("word")), *said)
    return uuid.uuid5(LOGGED, "|".join(parts))


def _first_words(judgement: Judgement) -> str:
    said = [f.title for f in judgement.findings] or list(judgement.reasons)
    return f"{said[0].rstrip('.')}." if said else ""


_PAIR_KEYS = {f"{a}-{b}": (a, b) for a, b in _PAIRS}
_TITLES = {"code": "Code", "done_at": "Done at", "readings": "Readings", "note": "Note", "procedure": "Readings"}


def tests_rows(query: QueryDict, person: Person, company: Company, at: datetime) -> Iterator[dict[str, Any]]:
    """Yield the tests that count as rows of a list, in the order in which they were done."""
    rows = standing_tests().select_related("item__type", "person", "instrument").order_by("done_at", "pk")
    for test in rows.iterator(chunk_size=500):
        pairs = test.readings.get("pairs", [])
        yield {
            "test_id": str(test.uid),
            "code": codes.spell(test.item.code),
            "name": str(test.item),
            "done_at": test.done_at.astimezone(company.zone).replace(tzinfo=None).isoformat(" ", "minutes"),
            "verdict": VERDICT_WORDS[Verdict(test.verdict)],
            "depth": test.depth,
            "readings": "; ".join(
                f"{p['from']}-{p['to']} {written(ohms=p.get('ohms'), beep=p.get('beep'), above_ohms=p.get('above_ohms'))}"
                for p in pairs
            ),
            "instrument": codes.spell(test.instrument.code) if test.instrument else test.instrument_name,
            "person": str(test.person) if test.person else "",
            "note": test.note,
            "findings": "; ".join(f["title"] for f in test.findings),
        }


def tests_count(query: QueryDict, at: datetime) -> int:
    return standing_tests().count()


BENCH_LOG = Transfer(
    key="bench-log",
    title="Bench tests",
    one="test",
    many="tests",
    says="One row a test: a tester's own log, or tests kept on paper or in a spreadsheet until now.",
    columns=COLUMNS,
    plan=BenchLogPlan,
    rows_out=tests_rows,
    count_out=tests_count,
    examples=EXAMPLES,
)
