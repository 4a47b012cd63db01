"""Counted lines as a list: one row a type and length, with how many are owned and how many of those are bad."""

import uuid
from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.http import QueryDict

from company.models import Company, Person
from inventory.calc.kinds import KIND_NAMES, CountCondition, Kind
from inventory.calc.typed import Odd, read_count, read_length, read_text, tidy, write_length
from inventory.models import CountedLine, CountMove, GearType, Place
from inventory.transfer.base import BAD, CHANGED, NEW, UNCHANGED, Column, Order, Plan, Row, Transfer
from inventory.transfer.naming import Names, place_built, read_kind, type_built

COLUMNS = (
    Column(
        key="type",
        title="Gear type",
        words=("type", "what", "item", "description", "product", "article", "gear", "equipment"),
        required=True,
        example="Microphone lead",
        says="What is counted. A type we do not have yet is offered to be made.",
    ),
    Column(
        key="kind",
        title="Kind",
        words=("category", "group", "class"),
        says="Only for types we do not have yet: lead or adapter …",
    ),
    Column(
        key="length",
        title="Length",
        words=("length m", "metres", "meters", "feet", "len", "size"),
        example="10 m",
        says="10 m, 33 ft, 0.5 m; empty where length means nothing.",
    ),
    Column(
        key="owned",
        title="Owned",
        words=("count", "quantity", "qty", "number", "how many", "amount", "pieces", "pcs", "stock", "total"),
        example="24",
        says="How many there are altogether, good and bad, here and out. The difference is entered as a recount.",
    ),
    Column(key="bad", title="Bad", words=("broken", "defective", "faulty"), example="1", says="How many of them are bad."),
    Column(
        key="home",
        title="Kept at",
        words=("place", "shelf", "location", "home", "storage", "store"),
        example="Shelf 2",
        says="The shelf they belong on. A place we do not have yet is made.",
    ),
    Column(key="notes", title="Notes", words=("note", "remarks", "remark", "comment", "comments"), says="Anything else."),
    Column(key="on_shelf", title="On the shelf", says="Good ones here now: scans and counts write it.", shown_only=True),
    Column(key="out", title="Out", says="With shows now: scans and counts write it.", shown_only=True),
)

EXAMPLES = (
    {"type": "Microphone lead", "length": "10 m", "owned": "24", "bad": "1", "home": "Shelf 2"},
    {"type": "Gaffer tape, black", "owned": "6", "home": "Shelf 1"},
)


class CountedPlan(Plan):
    """Judge and write rows of counted lines."""

    def __init__(self, order: Order) -> None:
        super().__init__(order)
        self.types = Names(self, GearType, "gear type", 80)
        self.places = Names(self, Place, "place", 60)
        self.seen: dict[tuple[int | str, int], int] = {}

    def take(self, row: Row, key: str, text: str) -> None:
        if key == "type":
            row.values["type"] = self.types.take(text)
        elif key == "kind":
            row.values["kind"] = read_kind(text)
        elif key == "length":
            row.values["length_mm"] = read_length(text, units=self.order.company.units).value
        elif key == "home":
            row.values["home"] = self.places.take(text)
        elif key == "notes":
            row.values["notes"] = read_text(text, longest=200)
        else:
            row.values[key] = read_count(text).value

    def clear(self, row: Row, key: str) -> None:
        if key in ("home", "notes"):
            row.values[key] = None if key == "home" else ""

    def judge(self, rows: list[Row]) -> None:
        asked = [r.values["type"] for r in rows if isinstance(r.values.get("type"), int)]
        found = {(line.type_id, line.length_mm): line for line in CountedLine.objects.described().filter(type__in=set(asked))}
        for row in rows:
            if row.verdict != BAD:
                self._judge_one(row, found)

    def _judge_one(self, row: Row, found: dict[tuple[int, int], Any]) -> None:
        if "type" not in row.values:
            row.bad("Gear type", "A counted line needs a type.")
            return
        type_id = self.types.key(row.values["type"]) or row.values["type"].casefold()
        key = (type_id, row.values.get("length_mm", 0))
        earlier = self.seen.setdefault(key, row.line)
        if earlier != row.line:
            row.bad("", f"Line {earlier} already counts that type and length; put both counts in one line.")
            return
        line = found.get(key)
        owned_was, bad_was = (line.owned, line.bad) if line else (0, 0)
        owned, bad = row.values.get("owned", owned_was), row.values.get("bad", bad_was)
        if bad > owned:
            row.bad("Bad", f"{bad} bad of {owned} owned cannot be.")
            return
        if line and (owned, bad) != (owned_was, bad_was) and line.on_shelf + (owned - owned_was) - (bad - bad_was) < 0:
            row.bad("Owned", f"{line.out} are out with shows and {bad} would be bad: {owned} owned is too few.")
            return
        row.target = line.pk if line else None
        row.before = {"owned": owned_was, "bad": bad_was}
        home_id = self.places.key(row.values.get("home")) or row.values.get("home")
        moved = (owned, bad) != (owned_was, bad_was)
        noted = line is not None and (
            ("notes" in row.values and row.values["notes"] != tidy(line.notes))
            or ("home" in row.values and home_id != line.home_id)
        )
        row.verdict = NEW if line is None else CHANGED if moved or noted else UNCHANGED
        for names, column, title in ((self.types, "type", "Gear type"), (self.places, "home", "Kept at")):
            if column in row.values:
                try:
                    names.note(row.values[column], kind=row.values.get("kind", ""))
                except Odd as odd:
                    row.bad(title, str(odd))

    def make_fresh(self) -> dict[str, list[int]]:
        return {
            "type": self.types.make(lambda fresh: type_built(self, fresh, counted=True)),
            "place": self.places.make(place_built),
        }

    def write(self, rows: list[Row]) -> None:
        at, moves = self.order.at, []
        for row in rows:
            if row.verdict not in (NEW, CHANGED):
                continue
            given = {"notes": row.values["notes"]} if "notes" in row.values else {}
            if "home" in row.values:
                given["home_id"] = self.places.key(row.values["home"])
            if row.verdict == NEW:
                type_id = self.types.key(row.values["type"])
                length = row.values.get("length_mm", 0)
                row.target = CountedLine.objects.create(type_id=type_id, length_mm=length, added_at=at, **given).pk
            elif given:
                CountedLine.objects.filter(pk=row.target).update(**given)
            moves += self._moves(row)
        CountMove.objects.bulk_create(moves)

    def _moves(self, row: Row) -> list[CountMove]:
        """Return the ledger's rows: so many more or fewer owned, so many of them found bad or mended."""
        owned, bad = row.before["owned"], row.before["bad"]
        more, worse = row.values.get("owned", owned) - owned, row.values.get("bad", bad) - bad
        why = CountMove.Why.BOUGHT if row.verdict == NEW else CountMove.Why.RECOUNTED
        turned = CountMove.Why.FOUND_BAD if worse > 0 else CountMove.Why.MENDED
        uid = uuid.uuid5(uuid.UUID(self.order.uid), f"line {row.line}")
        good = CountCondition.GOOD
        changes = [(more, good, why), (-worse, good, turned), (worse, CountCondition.BAD, turned)]
        return [
            CountMove(
                uid=uid,
                part=part,
                line_id=row.target,
                delta=delta,
                condition=condition,
                why=why_of,
                note="from a list",
                happened_at=self.order.at,
                person=self.order.person,
            )
            for part, (delta, condition, why_of) in enumerate(changes)
            if delta
        ]


def counted_rows(query: QueryDict, person: Person, company: Company, at: datetime) -> Iterator[dict[str, Any]]:
    """Yield counted lines as rows of a list."""
    lines = CountedLine.objects.described().order_by("type__name", "length_mm", "pk")
    for line in lines.iterator(chunk_size=1000):
        yield {
            "type": line.type.name,
            "kind": KIND_NAMES[Kind(line.type.kind)],
            "length": write_length(line.length_mm, units=company.units),
            "owned": line.owned,
            "bad": line.bad,
            "home": line.home.name if line.home else "",
            "notes": line.notes,
            "on_shelf": line.on_shelf,
            "out": line.out,
        }


def counted_count(query: QueryDict, at: datetime) -> int:
    return CountedLine.objects.count()


COUNTED = Transfer(
    key="counted",
    title="Counted lines",
    one="counted line",
    many="counted lines",
    says="One row a type and length that is counted, not labelled: most leads, adapters, tape.",
    columns=COLUMNS,
    plan=CountedPlan,
    rows_out=counted_rows,
    count_out=counted_count,
    examples=EXAMPLES,
    can_take_back=False,
    cannot_take_back="Counts are a ledger that is never rewritten: put a wrong count right by a recount.",
)
