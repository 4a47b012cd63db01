"""Gear as a list: one row an item, known by its code; rows without one by their old number, or by what they are."""

import re
from collections import defaultdict, deque
from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import F, Q
from django.http import QueryDict

from company.models import Company, Person
from inventory.calc import codes
from inventory.calc.kinds import KIND_NAMES, STANDING_WORDS, WHERE_WORDS, Kind, Standing, Where
from inventory.calc.typed import Odd, read_day, read_length, read_money, read_text, shown, tidy, write_length
from inventory.filters_gear import ItemFilter
from inventory.models import GearType, Item, Label, Place
from inventory.registries import AFTER_BIND
from inventory.transfer.base import BAD, CHANGED, NEW, UNCHANGED, Column, Order, Plan, Row, Transfer
from inventory.transfer.logging import changes_log
from inventory.transfer.naming import Names, place_built, read_kind, type_built

COLUMNS = (
    Column(
        key="code",
        title="Code",
        words=("label", "qr", "qr code", "barcode", "item code"),
        example="",
        says="The code on its label. A row with a code we know changes that item; empty: a new code is made.",
    ),
    Column(
        key="old_number",
        title="Old number",
        import_only=True,
        example="DI-07",
        words=("number", "no", "inventory number", "inventory no", "asset", "asset number", "asset tag", "tag", "id", "old id"),
        says="Your own number from before. It is kept in the notes and finds the item again next time.",
    ),
    Column(
        key="type",
        title="Gear type",
        words=("type", "what", "item", "description", "product", "article", "gear", "equipment"),
        required=True,
        example="Active direct box",
        says="What kind of thing it is. A type we do not have yet is offered to be made.",
    ),
    Column(
        key="kind",
        title="Kind",
        words=("category", "group", "class"),
        example="interface box",
        says="Only for types we do not have yet: interface box, lead or adapter, microphone …",
    ),
    Column(
        key="name",
        title="Name",
        words=("mark", "which", "label name"),
        example="A",
        says="What tells it from its kind: A, 3, red.",
    ),
    Column(
        key="length",
        title="Length",
        words=("length m", "metres", "meters", "feet", "len", "size"),
        example="",
        says="10 m, 33 ft, 0.5 m; a bare number is in the unit of your settings.",
    ),
    Column(
        key="serial",
        title="Serial",
        words=("serial number", "serial no", "s n", "sn"),
        example="K1177",
        says="Its maker's number.",
    ),
    Column(key="maker", title="Maker", words=("make", "brand", "manufacturer"), says="Who made it."),
    Column(
        key="bought_on",
        title="Bought on",
        words=("bought", "purchased", "purchase date", "date of purchase", "date"),
        example="2024-03-01",
        says="The day, as 2024-03-01.",
    ),
    Column(
        key="price",
        title="Price",
        words=("cost", "purchase price", "value", "amount"),
        example="149.00",
        role="owner",
        says="What one cost, as 149.00 or £149. Owners only.",
    ),
    Column(
        key="home",
        title="Kept at",
        words=("place", "shelf", "location", "home", "storage", "store"),
        example="Shelf 1",
        says="The shelf it belongs on. A place we do not have yet is made.",
    ),
    Column(key="notes", title="Notes", words=("note", "remarks", "remark", "comment", "comments"), says="Anything else."),
    Column(key="borrowed_from", title="Borrowed from", words=("owner", "lender"), says="Whose it is, if it is not ours."),
    Column(
        key="give_back_by",
        title="Give back by",
        words=("return by", "return date"),
        says="The day it must be with its owner again.",
    ),
    Column(key="calibrated_on", title="Calibrated on", words=("calibrated",), says="For bench instruments."),
    Column(key="calibration_due_on", title="Calibrate by", words=("calibration due",), says="For bench instruments."),
    Column(key="standing", title="Is it good", says="Known good, unproved, suspect: tests write it.", shown_only=True),
    Column(key="where", title="Where is it", says="In the shop, at a show: scans write it.", shown_only=True),
    Column(key="in_case", title="In case", says="The code of the case it is packed in.", shown_only=True),
    Column(key="lent_to", title="Lent to", says="Who has it.", shown_only=True),
    Column(key="tested_on", title="Tested on", says="The day of its last test.", shown_only=True),
    Column(key="test_by", title="Test by", says="The day it must be tested again.", shown_only=True),
    Column(key="retired_on", title="Retired on", says="The day it was retired.", shown_only=True),
)

EXAMPLES = (
    {
        "type": "Active direct box",
        "name": "A",
        "serial": "K1177",
        "bought_on": "2024-03-01",
        "price": "149.00",
        "home": "Shelf 1",
    },
    {
        "type": "Active direct box",
        "name": "B",
        "serial": "K1178",
        "bought_on": "2024-03-01",
        "price": "149.00",
        "home": "Shelf 1",
    },
    {"type": "Microphone lead", "length": "10 m", "old_number": "L-031", "home": "Shelf 2", "notes": "new plug at end B"},
)

# Column of the list -> column of the item, with its longest text.
_TEXTS = {"name": 40, "serial": 60, "maker": 60, "borrowed_from": 80}
_DAYS = ("bought_on", "give_back_by", "calibrated_on", "calibration_due_on")
_OLD = re.compile(r"^Old number: (.+)$", re.M)
_FIELDS = ("type_id", "length_mm", "home_id", "price_cents", "notes", *_TEXTS, *_DAYS)
# What something else must have written: an item with any of these has been used since it was brought in.
_TOUCHED = (
    ~Q(retired_on=None)
    | ~Q(suspect_since=None)
    | ~Q(tested_on=None)
    | ~Q(taken_as_good_on=None)
    | ~Q(excepts="")
    | ~Q(in_case=None)
    | ~Q(custody="")
    | ~Q(missing_since=None)
    | ~Q(lent_to="")
    | ~Q(at=None)
    | ~Q(gone_home_on=None)
    | ~Q(label_gone_since=None)
    | (~Q(photo="") & ~Q(photo=None))
)


class GearPlan(Plan):
    """Judge and write rows of items."""

    def __init__(self, order: Order) -> None:
        super().__init__(order)
        self.types = Names(self, GearType, "gear type", 80)
        self.places = Names(self, Place, "place", 60)
        self.claimed: dict[int, int] = {}  # item -> the line that took it
        self.codes_seen: dict[str, int] = {}
        self._alike: dict[tuple, deque[tuple[int, str]]] | None = None
        self._old: dict[str, int] = {}

    def take(self, row: Row, key: str, text: str) -> None:
        company, values = self.order.company, row.values
        if key == "code":
            if text.casefold().startswith("'"):
                text = text[1:]
            read = codes.parse(text)
            if read.read is not codes.Read.CODE or not codes.is_code(read.code):
                raise Odd(f"“{shown(text)}” is no code of ours. {read.why} To keep it as your old number, match the column so.")
            row.code = read.code
        elif key == "old_number":
            values["old_number"] = " ".join(read_text(text, longest=60).split())
        elif key == "type":
            values["type"] = self.types.take(text)
        elif key == "kind":
            values["kind"] = read_kind(text)
        elif key == "home":
            values["home"] = self.places.take(text)
        elif key == "length":
            values["length_mm"] = read_length(text, units=company.units).value
        elif key == "price":
            read_price = read_money(text)
            values["price_cents"] = read_price.value
            row.notes += [read_price.note] if read_price.note else []
        elif key in _DAYS:
            day = read_day(text, country=company.country)
            values[key] = day.value
            row.notes += [day.note] if day.note else []
        elif key == "notes":
            values["notes"] = read_text(text, longest=4000)
        else:
            values[key] = read_text(text, longest=_TEXTS[key])

    def clear(self, row: Row, key: str) -> None:
        empty = {"home": ("home", None), "length": ("length_mm", 0), "price": ("price_cents", None), "notes": ("notes", "")}
        if key in _DAYS:
            row.values[key] = None
        elif key in _TEXTS:
            row.values[key] = ""
        elif key in empty:
            name, value = empty[key]
            row.values[name] = value

    def judge(self, rows: list[Row]) -> None:
        self._find_by_code(rows)
        for row in rows:
            if row.verdict != BAD and row.target is None and not row.code:
                self._find_alike(row)
        found = {
            item.pop("pk"): item
            for item in Item.objects.filter(pk__in=[r.target for r in rows if r.target]).values("pk", "code", *_FIELDS)
        }
        for row in rows:
            if row.verdict == BAD:
                continue
            if row.target is not None and row.target in found:
                self._judge_known(row, found[row.target])
            else:
                row.target = None
                self._judge_new(row)

    def _find_by_code(self, rows: list[Row]) -> None:
        for row in rows:
            if not row.code and row.line in self.order.made:
                row.code = self.order.made[row.line]
        asked = [row.code for row in rows if row.code]
        if not asked:
            return
        owners = dict(Item.objects.filter(code__in=asked).values_list("code", "pk"))
        owners.update(Label.objects.filter(code__in=asked, item__isnull=False).values_list("code", "item_id"))
        for row in rows:
            if not row.code or row.verdict == BAD:
                continue
            row.target = owners.get(row.code)
            earlier = self.codes_seen.setdefault(row.code, row.line)
            if row.target is not None:
                earlier = min(earlier, self.claimed.setdefault(row.target, row.line))
            if earlier != row.line:
                row.bad("Code", f"Line {earlier} already gives {codes.spell(row.code)}; an item stands in one line.")

    def _find_alike(self, row: Row) -> None:
        """Give a row without a code the item it must mean: the one with its old number, or the next one like it."""
        if self._alike is None:
            self._index()
        old = row.values.get("old_number", "").casefold()
        if old and old in self._old:
            pk = self._old[old]
            if pk in self.claimed:
                row.bad("Old number", f"Line {self.claimed[pk]} already gives “{shown(old)}”; an item stands in one line.")
            else:
                row.target = pk
                self.claimed[pk] = row.line
            return
        type_id = row.values.get("type")
        if self.order.alike_are_new or not isinstance(type_id, int):
            return
        like = self._alike.get(self._key(type_id, row.values)) if self._alike else None
        count = len(like) if like else 0
        while like:
            pk, code = like.popleft()
            if pk not in self.claimed:
                self.claimed[pk] = row.line
                row.target = pk
                many = "the one like it" if count == 1 else "one of several alike"
                row.notes.append(f"has no code and was taken for {codes.spell(code)}, {many}")
                return

    def _key(self, type_id: int, values: dict[str, Any]) -> tuple:
        return (
            type_id,
            values.get("name", "").casefold(),
            values.get("length_mm", 0),
            values.get("serial", "").casefold(),
        )

    def _index(self) -> None:
        self._alike = defaultdict(deque)
        keep_old = "old_number" in self.order.keys
        made = set(self.order.made.values())
        items = Item.objects.owned().order_by("pk")
        for pk, code, type_id, name, length, serial in items.values_list(
            "pk", "code", "type_id", "name", "length_mm", "serial"
        ).iterator(chunk_size=5000):
            if code not in made:
                values = {"name": tidy(name), "length_mm": length, "serial": tidy(serial)}
                self._alike[self._key(type_id, values)].append((pk, code))
        if keep_old:
            for pk, notes in items.filter(notes__contains="Old number: ").values_list("pk", "notes"):
                for old in _OLD.findall(tidy(notes)):
                    self._old.setdefault(old.strip().casefold(), pk)
            # an item that has another old number is another item
            owned_numbers = set(self._old.values())
            for key, like in self._alike.items():
                self._alike[key] = deque((pk, code) for pk, code in like if pk not in owned_numbers)

    def _judge_known(self, row: Row, before: dict[str, Any]) -> None:
        row.code = row.code or before["code"]
        changes = {}
        for name, value in self._columns(row, before["notes"]).items():
            was = before[name]
            if (tidy(was) if isinstance(was, str) else was) != value:
                changes[name] = value
        if row.verdict == BAD:
            return
        row.before = {name: before[name] for name in changes}
        row.verdict = CHANGED if changes else UNCHANGED
        self._note_fresh(row)

    def _judge_new(self, row: Row) -> None:
        if "type" not in row.values:
            row.bad("Gear type", "A new item needs a type.")
            return
        self._columns(row, "")
        if row.verdict == BAD:
            return
        row.verdict = NEW
        self._note_fresh(row)

    def _note_fresh(self, row: Row) -> None:
        for names, key, title in ((self.types, "type", "Gear type"), (self.places, "home", "Kept at")):
            if key in row.values:
                try:
                    names.note(row.values[key], kind=row.values.get("kind", ""))
                except Odd as odd:
                    row.bad(title, str(odd))

    def _columns(self, row: Row, notes_before: str) -> dict[str, Any]:
        """Return the item's columns this row gives: {name: value}; types and places still to be made stay names."""
        given = {k: v for k, v in row.values.items() if k not in ("type", "home", "kind", "old_number")}
        if "type" in row.values:
            given["type_id"] = self.types.key(row.values["type"]) or row.values["type"]
        if "home" in row.values:
            given["home_id"] = self.places.key(row.values["home"]) or row.values["home"]
        if old := row.values.get("old_number"):
            notes = given.get("notes", tidy(notes_before))
            if old.casefold() not in (o.strip().casefold() for o in _OLD.findall(notes)):
                notes = f"{notes}\nOld number: {old}".strip()
            if len(notes) > 4000:
                row.bad("Notes", f"Notes and old number have {len(notes)} characters together; 4000 fit.")
            given["notes"] = notes
        return given

    def make_fresh(self) -> dict[str, list[int]]:
        return {
            "type": self.types.make(lambda fresh: type_built(self, fresh, counted=False)),
            "place": self.places.make(place_built),
        }

    def mint(self, rows: list[Row]) -> dict[int, str]:
        lines = [row.line for row in rows if row.verdict == NEW and not row.code]
        fresh: set[str] = set()
        used = self.codes_seen
        while len(fresh) < len(lines):
            asked = {codes.mint() for _ in range(len(lines) - len(fresh))} - fresh - used.keys()
            asked -= set(Label.objects.filter(code__in=asked).values_list("code", flat=True))
            asked -= set(Item.objects.filter(code__in=asked).values_list("code", flat=True))
            fresh |= asked
        minted = dict(zip(lines, sorted(fresh), strict=True))
        used.update({code: line for line, code in minted.items()})
        return minted

    def write(self, rows: list[Row]) -> None:
        self._write_new([row for row in rows if row.verdict == NEW])
        logged: list[tuple[Row, str, dict[str, Any]]] = []
        for row in rows:
            if row.verdict == CHANGED:
                given = self._columns(row, row.before.get("notes", ""))
                Item.objects.filter(pk=row.target).update(**{name: given[name] for name in row.before})
                logged.append((row, codes.spell(row.code), given))
        changes_log(Item, logged, self.order)

    def _write_new(self, rows: list[Row]) -> None:
        if not rows:
            return
        at = self.order.at
        items = [Item(code=row.code, added_at=at, **self._columns(row, "")) for row in rows]
        Item.objects.bulk_create(items)
        for row, item in zip(rows, items, strict=True):
            row.target = item.pk
        waiting = {label.code: label for label in Label.objects.filter(code__in=[row.code for row in rows], item=None)}
        for item in items:
            if label := waiting.get(item.code):
                label.item, label.bound_at = item, at
        Label.objects.bulk_update(waiting.values(), ["item", "bound_at"])
        Label.objects.bulk_create(
            [Label(code=item.code, item=item, minted_at=at, bound_at=at) for item in items if item.code not in waiting]
        )

    def after(self, rows: list[Row]) -> None:
        # a code made just now was never scanned; one that stood in the list may have been
        made = set(self.order.made.values())
        bound = [row.target for row in rows if row.verdict == NEW and row.target and row.code not in made]
        if bound:
            for work_out_again in AFTER_BIND:
                work_out_again(bound)

    def _as_brought(self, row: Row, item: dict[str, Any]) -> bool:
        """Say whether an item still is as its row would make it: what the row left empty is empty."""
        brought = _EMPTY | self._columns(row, "")
        return all(item[name] == brought[name] for name in _FIELDS)

    def take_back(self, unchanged: list[Row]) -> tuple[int, int]:
        added = Item.objects.filter(added_at=self.order.at)
        whole = added.count()
        rows = {row.target: row for row in unchanged if row.target}
        same = list(rows)
        taken = 0
        for start in range(0, len(same), 50):
            part = same[start : start + 50]
            with transaction.atomic():
                found = added.filter(pk__in=part).exclude(_TOUCHED).values("pk", *_FIELDS)
                free = {item["pk"] for item in found if self._as_brought(rows[item["pk"]], item)}
                for relation in Item._meta.related_objects:
                    if relation.related_model is not Label and relation.field.concrete:
                        used = relation.related_model._base_manager.filter(**{f"{relation.field.name}__in": free})
                        free -= set(used.values_list(relation.field.attname, flat=True))
                aliased = Label.objects.filter(item__in=free).exclude(code=F("item__code")).values_list("item_id", flat=True)
                free -= set(aliased)
                labels = Label.objects.filter(item__in=free)
                # a printed label may be stuck on the thing: it stays, bound to nothing
                labels.filter(Q(printed_at__isnull=False) | ~Q(minted_at=self.order.at)).update(item=None, bound_at=None)
                labels.delete()
                Item.objects.filter(pk__in=free).delete()
                taken += len(free)
        return taken, whole - taken


_EMPTY: dict[str, Any] = dict.fromkeys(_FIELDS) | dict.fromkeys(("notes", *_TEXTS), "") | {"length_mm": 0}


def gear_chosen(query: QueryDict, at: datetime) -> Any:
    """Return the items a gear list with this query string shows."""
    day = at.astimezone(Company.current().zone).date()
    asked = ItemFilter(query, queryset=Item.objects.all(), day=day)
    items = asked.qs if asked.form.is_valid() else Item.objects.none()
    return items.described(day)


def gear_rows(query: QueryDict, person: Person, company: Company, at: datetime) -> Iterator[dict[str, Any]]:
    """Yield items as rows of a list."""
    for item in gear_chosen(query, at).order_by("type__name", "length_mm", "name", "code").iterator(chunk_size=1000):
        yield {
            "code": codes.spell(item.code),
            "type": item.type.name,
            "kind": KIND_NAMES[Kind(item.type.kind)],
            "name": item.name,
            "length": write_length(item.length_mm, units=company.units),
            "serial": item.serial,
            "maker": item.maker,
            "bought_on": item.bought_on,
            "price": item.price_cents,
            "home": item.home.name if item.home else "",
            "notes": item.notes,
            "borrowed_from": item.borrowed_from,
            "give_back_by": item.give_back_by,
            "calibrated_on": item.calibrated_on,
            "calibration_due_on": item.calibration_due_on,
            "standing": STANDING_WORDS[Standing(item.standing)],
            "where": WHERE_WORDS[Where(item.where)],
            "in_case": codes.spell(item.in_case.code) if item.in_case else "",
            "lent_to": item.lent_to,
            "tested_on": item.tested_on,
            "test_by": item.test_by,
            "retired_on": item.retired_on,
        }


def gear_count(query: QueryDict, at: datetime) -> int:
    return gear_chosen(query, at).order_by().count()


GEAR = Transfer(
    key="gear",
    title="Gear",
    one="item",
    many="items",
    says="One row a thing that carries its own label: boxes, microphones, multicores, labelled leads.",
    columns=COLUMNS,
    plan=GearPlan,
    rows_out=gear_rows,
    count_out=gear_count,
    examples=EXAMPLES,
    known_by=("code", "old_number"),
)
