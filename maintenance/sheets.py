"""What goes on a bench sheet: tests with their items, instruments, limits and wirings, for one item, a show, a sitting, a day.

Constant queries however many items: items, tests, figures, wirings, settings.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db.models import Q

from company.models import Company
from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.bench_subject import channels_of, lead_of, newest_tests, subject_of
from maintenance.calc.bench import PairReading, Procedure
from maintenance.item_record import Told, told_of
from maintenance.models import BenchFigure, BenchSettings, BenchTest, Sitting, Wiring
from maintenance.querysets import standing_tests

MAINS_KINDS = frozenset({Kind.POWER, Kind.AMPLIFIER, Kind.LOUDSPEAKER, Kind.DESK})
MOST_ITEMS = 2_000


@dataclass(frozen=True, kw_only=True)
class WiringSeen:
    """A wiring with its links as one test read them."""

    name: str
    ends: Sequence[Any]
    links: Sequence[Any]
    roles: Mapping[str, str]
    resistors: Mapping[tuple[str, str], str]
    sends: int | None = None


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One item of a sheet with its test, or without one."""

    item: Item
    told: Told | None = None
    wiring: WiringSeen | None = None
    instrument: Item | None = None

    @property
    def is_mains(self) -> bool:
        """Say whether the safety wording of mains gear stands beside it."""
        mains = self.told is not None and self.told.test.procedure == Procedure.MAINS
        return mains or self.item.type.kind in MAINS_KINDS


@dataclass(frozen=True, kw_only=True)
class SheetOf:
    """One bench sheet: what it is of, in words, and its entries."""

    title: str
    under: str
    entries: tuple[Entry, ...]
    file_name: str
    at: datetime
    one: bool = False
    full: bool = True  # every test with all its details; else those alone that did not pass
    more: dict[str, str] = field(default_factory=dict)


def sheet_of_item(item: Item, *, at: datetime, test: BenchTest | None = None) -> SheetOf:
    """Return the sheet of one item: of the test given, else of its newest that counts."""
    keys = [test.pk] if test else [t.pk for t in newest_tests([item.pk]).values()]
    entries = entries_of([item], tests=BenchTest.objects.filter(pk__in=keys), wirings=True)
    return SheetOf(title="Bench sheet", under="", entries=tuple(entries), file_name=f"bench-{item.code}.pdf", at=at, one=True)


def sheet_of_show(show: int, name: str, *, at: datetime, items: Iterable[Item]) -> SheetOf:
    """Return the sheet of a show: everything given, each with its newest test that counts."""
    things = [item for item in items if item.type.has_standing]
    keys = [test.pk for test in newest_tests([item.pk for item in things]).values()]
    entries = entries_of(things, tests=BenchTest.objects.filter(pk__in=keys), wirings=False)
    return SheetOf(
        title="Bench sheet", under=f"What goes to {name}", entries=tuple(entries), file_name=f"bench-show-{show}.pdf", at=at
    )


def show_items(show: int) -> list[Item]:
    """Return the items of a show: what was used there or is planned by name, and what is out to it now."""
    used = Q(use__occasion=f"show:{show}") | Q(custody_show=show)
    found = Item.objects.filter(used).distinct().select_related("type").order_by("type__name", "length_mm", "name", "code")
    return list(found[:MOST_ITEMS])


def sheet_of_sitting(sitting: Sitting, *, at: datetime) -> SheetOf:
    """Return the sheet of one sitting: every test of it that counts, in the order they were done."""
    tests = standing_tests().filter(sitting=sitting)
    who = f" by {sitting.person}" if sitting.person else ""
    return _of_tests(tests, under=f"One sitting{who}", file_name=f"bench-sitting-{sitting.pk}.pdf", at=at)


def sheet_of_day(day: date, *, at: datetime) -> SheetOf:
    """Return the sheet of a day at the bench: every test done on it that counts."""
    zone = Company.current().zone
    begin = datetime.combine(day, time(), tzinfo=zone)
    tests = standing_tests().filter(
        done_at__gte=begin, done_at__lt=datetime.combine(day + timedelta(days=1), time(), tzinfo=zone)
    )
    return _of_tests(
        tests, under="One day at the bench", file_name=f"bench-{day.isoformat()}.pdf", at=at, more={"day": day.isoformat()}
    )


def _of_tests(tests: Any, *, under: str, file_name: str, at: datetime, more: dict[str, str] | None = None) -> SheetOf:
    rows = list(tests.select_related("item__type").order_by("done_at", "pk")[:MOST_ITEMS])
    entries = entries_of(
        [row.item for row in rows], tests=BenchTest.objects.filter(pk__in=[row.pk for row in rows]), wirings=False, each=rows
    )
    return SheetOf(title="Bench sheet", under=under, entries=tuple(entries), file_name=file_name, at=at, more=more or {})


def entries_of(items: list[Item], *, tests: Any, wirings: bool, each: list[BenchTest] | None = None) -> list[Entry]:
    """Pair items with tests and their figures; `wirings` draws every wiring, else those of what did not pass. `each` gives
    an entry a test, in that order."""
    found = {test.pk: test for test in tests.select_related("person", "instrument__type", "corrected_by__person")}
    figures: dict[int, list[BenchFigure]] = {}
    for figure in BenchFigure.objects.filter(test__in=list(found)).order_by("test", "pk"):
        figures.setdefault(figure.test_id, []).append(figure)
    told: dict[int, Told] = {}
    for test in found.values():
        by = getattr(test, "corrected_by", None)
        for one in told_of([test, by] if by else [test]):
            if one.test.pk == test.pk:
                one.figures = figures.get(test.pk, [])
                told[test.pk] = one
    by_item = {test.item_id: test for test in found.values()}
    pairs = [(row.item, told.get(row.pk)) for row in each] if each is not None else [
        (item, told.get(by_item[item.pk].pk) if item.pk in by_item else None) for item in items
    ]  # fmt: skip
    drawn = [pair for pair in pairs if pair[1] is not None and (wirings or pair[1].test.verdict != "pass")]
    seen = _wirings(drawn)
    return [
        Entry(
            item=item, told=one, wiring=seen.get(one.test.pk) if one else None, instrument=one.test.instrument if one else None
        )
        for item, one in pairs
    ]


def _wirings(pairs: list[tuple[Item, Told | None]]) -> dict[int, WiringSeen]:
    """Return the wiring of each wiring test as it was read, by the test's key."""
    asked = [(item, told) for item, told in pairs if told is not None and told.test.procedure == Procedure.WIRING]
    if not asked:
        return {}
    subjects = subject_of({item.pk: item for item, _told in asked}.values())
    limits = BenchSettings.current().limits()
    seen = {}
    for item, told in asked:
        subject = subjects[item.pk]
        if subject.lead is None or subject.wiring is None or (told.test.wiring and told.test.wiring != subject.wiring.key):
            continue
        seen[told.test.pk] = wiring_seen(subject.lead, subject.wiring, told.test, limits)
    return seen


def wiring_seen(lead: Any, named: Wiring, test: BenchTest, limits: Any) -> WiringSeen:
    """Return a lead's wiring with its links as a test read them."""
    from maintenance.calc.wiring import links

    wiring = lead.wiring
    return WiringSeen(
        name=named.name,
        ends=wiring.ends,
        links=links(
            wiring=wiring,
            readings=pair_readings(test),
            limits=limits,
            lead=lead,
            null_ohms=test.null_ohms,
            temperature_c=test.temperature_c,
        ),
        roles={pin: str(net.role) for net in wiring.nets if len(net.pins) > 1 and net.role != "core" for pin in net.pins},
        resistors={(r.a, r.b): f"{r.ohm:g} ohm" for r in wiring.resistors},
        sends=wiring.sends,
    )


def wiring_of_item(item: Item, test: BenchTest) -> WiringSeen | None:
    """Return the wiring of one item as a test of it read it; None without one, or when its type has another one now.
    Needs the facts of `item.type`; two queries."""
    facts = item.type.facts
    key = getattr(facts, "wiring", "")
    if test.procedure != Procedure.WIRING or not key or (test.wiring and test.wiring != key):
        return None
    named = Wiring.objects.filter(key=key).first()
    kind = Kind(item.type.kind)
    known = {field.attname: getattr(facts, field.attname) for field in facts._meta.concrete_fields} if facts else {}
    lead, _why_not = lead_of(item, known, named, channels_of(kind, known))
    if lead is None or named is None:
        return None
    return wiring_seen(lead, named, test, BenchSettings.current().limits())


def pair_readings(test: BenchTest) -> tuple[PairReading, ...]:
    """Return a test's pairs as they were read."""
    return tuple(
        PairReading(
            a=pair["from"],
            b=pair["to"],
            ohms=pair.get("ohms"),
            beep=pair.get("beep"),
            above_ohms=pair.get("above_ohms"),
            flexed=bool(pair.get("flexed")),
        )
        for pair in test.readings.get("pairs", ())
    )
