"""The bench: record a test, correct it, take it back. Tests are append-only; what they do to the record is worked out again
from all of them."""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, transaction

from company.clock import today
from company.models import Person
from company.templatetags.tape import day as day_words
from company.templatetags.tape import moment
from inventory.models import Item
from maintenance.bench_subject import subject_of
from maintenance.calc.bench import VERDICT_WORDS, Judgement, Procedure, Verdict
from maintenance.models import BenchFigure, BenchTest, Fault
from maintenance.querysets import standing_tests
from maintenance.services.bench_effects import Became, channels_words, items_refold, origin_of
from maintenance.services.bench_judging import (
    NONE_SEEN,
    Given,
    TestRefused,
    bench_limits,
    given_check,
    judged,
    judgement_of,
    row_of,
)

__all__ = ["NONE_SEEN", "Given", "Recorded", "TestRefused", "test_record", "test_undo"]

_DATED_AT_ONCE = 20
_KEPT = frozenset(
    {"channels", "confined", "covers", "steps", "symptom"}
)  # of a test's effects, what follows from its readings alone


@dataclass(frozen=True, kw_only=True)
class Recorded:
    """What a recorded test came to and did. `again`: that uid was on record, and this is what was answered then."""

    test: BenchTest
    judgement: Judgement
    again: bool
    closed: list[Fault]
    open_still: list[tuple[Fault, str]]
    test_by: date | None
    words: list[str]


def test_record(*, given: Given, person: Person | None, received_at: datetime) -> Recorded:
    """Record a test, judge it, and bring its item's standing, faults and dates in step; all of it or nothing.

    A uid already on record is answered as it was then, whatever else is sent. Raises TestRefused with a sentence and a field.
    """
    for attempt in (1, 2):
        try:
            with transaction.atomic():
                return _record(given, person, received_at)
        except IntegrityError:
            # the same test came in at the same moment by another way and got in first: now it is on record, look again
            if attempt == 2:
                raise
    raise AssertionError


def _record(given: Given, person: Person | None, received_at: datetime) -> Recorded:
    item = item_locked(given.item)
    known = BenchTest.objects.filter(uid=given.uid).select_related("item__type", "person").first()
    if known is not None:
        return _again(known)
    given = replace(given, item=item)
    given_check(given, received_at=received_at)
    subject = subject_of([item])[item.pk]
    _after_check(given, subject.last)
    _corrects_check(given)
    judgement = judged(given, subject, bench_limits())
    test = row_of(given, subject, judgement, person=person, received_at=received_at)
    test.corrects = given.corrects
    tests_insert(rows=[(test, judgement)])
    became = items_refold(item_ids=[item.pk], at=received_at)[item.pk]
    reckon(item, at=received_at)
    closed = became.answered.get(test.pk, [])
    open_still = became.open_still if became.newest == test.pk else []
    words = _words(test, item, given, became, received_at)
    test.effects["said"] = {
        "words": words,
        "test_by": item.test_by.isoformat() if item.test_by else None,
        "closed": [fault.pk for fault in closed],
        "open_still": [[fault.pk, why] for fault, why in open_still],
    }
    BenchTest.objects.filter(pk=test.pk).update(effects=test.effects)
    return Recorded(
        test=test,
        judgement=judgement,
        again=False,
        closed=closed,
        open_still=open_still,
        test_by=item.test_by,
        words=words,
    )


def _again(test: BenchTest) -> Recorded:
    if test.procedure == Procedure.UNDO:
        raise TestRefused("That id is the one of taking a test back. Make a new id for a new test.", "id")
    said = test.effects.get("said", {})
    keys = [*said.get("closed", ()), *(key for key, _why in said.get("open_still", ()))]
    faults = Fault.objects.in_bulk(keys) if keys else {}
    return Recorded(
        test=test,
        judgement=judgement_of(test),
        again=True,
        closed=[faults[key] for key in said.get("closed", ()) if key in faults],
        open_still=[(faults[key], why) for key, why in said.get("open_still", ()) if key in faults],
        test_by=date.fromisoformat(said["test_by"]) if said.get("test_by") else None,
        words=list(said.get("words", ())),
    )


def item_locked(item: Item) -> Item:
    """Hold an item until the transaction ends, read afresh with its type."""
    found = Item.objects.select_for_update(of=("self",), no_key=True).select_related("type").filter(pk=item.pk).first()
    if found is None:
        raise TestRefused("That item is gone: somebody has just deleted it.", "code")
    return found


def reckon(item: Item, *, at: datetime) -> None:
    """Work out when an item is to be tested again, and read it afresh."""
    from maintenance.services.retest import item_reckon

    item_reckon(item=item, at=at)
    item.refresh_from_db()


def tests_insert(*, rows: Iterable[tuple[BenchTest, Judgement]]) -> None:
    """Insert tests with their figures. The first of an item also keeps how that item stood before anybody tested it."""
    rows = list(rows)
    items = {test.item_id for test, _judgement in rows}
    seen = set(BenchTest.objects.filter(item__in=items).order_by().values_list("item", flat=True).distinct())
    for test, _judgement in rows:
        if test.item_id not in seen:
            seen.add(test.item_id)
            item = test.item
            test.effects["base"] = {
                "tested_on": item.tested_on.isoformat() if item.tested_on else None,
                "excepts": item.excepts,
                "test_by": item.test_by.isoformat() if item.test_by else None,
            }
    made = BenchTest.objects.bulk_create([test for test, _judgement in rows])
    BenchFigure.objects.bulk_create(
        [
            BenchFigure(test=test, name=f.name[:60], value=f.value, unit=f.unit, low=f.low, high=f.high, within=f.within)
            for test, (_row, judgement) in zip(made, rows, strict=True)
            for f in judgement.figures
        ],
        batch_size=500,
    )


def _after_check(given: Given, newest: BenchTest | None) -> None:
    """Refuse a test done in ignorance of another one of the same item; it may be sent again once that one was seen."""
    if given.after is None or newest is None or newest.uid == given.after:
        return
    who = str(newest.person) if newest.person else "Somebody"
    raise TestRefused(
        f"{who} tested it as well, on {moment(newest.done_at)}: {VERDICT_WORDS[Verdict(newest.verdict)]}. "
        "Nothing of yours is written yet: look at that test, then send yours again if it still holds.",
        "after",
    )


def _corrects_check(given: Given) -> None:
    if given.corrects is None:
        return
    old = BenchTest.objects.filter(pk=given.corrects.pk).select_related("corrected_by__person").first()
    if old is None or old.item_id != given.item.pk:
        raise TestRefused("The test to be corrected is one of another item.", "corrects")
    if old.procedure == Procedure.UNDO:
        raise TestRefused("That is no test: it took one back. Record the test anew.", "corrects")
    by = getattr(old, "corrected_by", None)
    if by is not None:
        raise TestRefused(_done_already(by), "corrects")


def _done_already(by: BenchTest) -> str:
    who = str(by.person) if by.person else "somebody"
    did = "taken back" if by.procedure == Procedure.UNDO else "corrected"
    return f"That test was {did} already, by {who} on {moment(by.received_at)}."


def _words(test: BenchTest, item: Item, given: Given, became: Became, at: datetime) -> list[str]:
    """Say what the test did to the record, in sentences."""
    from maintenance.models import Risk

    words = []
    newest = became.newest == test.pk
    found = became.found.get(test.pk)
    if test.verdict == Verdict.CANNOT_TELL:
        words.append("Nothing of the record changes: it stands as it stood.")
    elif found is not None and found.closed_at is None:
        words.append("Suspect from now on: it is not offered for a show until it passes.")
    elif not newest:
        words.append("A newer test is on record: this one is kept as history, and the standing follows from the newer one.")
    elif item.suspect_since:
        whys = dict.fromkeys(why for _fault, why in became.open_still if why)
        words.append(" ".join([f"Still suspect since {moment(item.suspect_since)}.", *whys]))
    elif item.excepts:
        words.append(f"Good except {item.excepts}: nothing is patched to {'it' if item.excepts.isdecimal() else 'those'}.")
        words += _barred_words(became)
    if looked := test.effects.get("covers"):
        words.append(
            f"Looked at channel{'s' if len(looked) > 1 else ''} {channels_words(looked)} alone: that proves no whole, and the "
            "rest stands as it stood."
        )
    if newest and test.verdict != Verdict.FAIL and item.test_by:
        why = Risk.objects.filter(item=item).values_list("why", flat=True).first()
        words.append(f"Test by {day_words(item.test_by)}. {why or ''}".rstrip())
    if item.bought_on is None and given.done_at < item.added_at:
        words.append(f"That is before it came on record here, on {day_words(item.added_at)}.")
    instrument = given.instrument
    if instrument and instrument.calibration_due_on and instrument.calibration_due_on <= today(test.done_at):
        words.append(
            f"{instrument} should have been calibrated by {day_words(instrument.calibration_due_on)}: its figures may be off."
        )
    return words


def _barred_words(became: Became) -> list[str]:
    """Say why channels stay out of use in which this test found no fault, alike ones together."""
    by_why: dict[str, list[int]] = {}
    for channel, why in sorted(became.channels_bad.items()):
        by_why.setdefault(why, []).append(channel)
    return [f"Channel {channels_words(channels)} stays out of use. {why}" for why, channels in by_why.items()]


def test_undo(*, test: BenchTest, person: Person | None, at: datetime) -> BenchTest:
    """Take a test back by a new row that names it, and answer that row; asked twice, it is taken back once.

    Undoing a correction, or an undo, writes the test it stood in for down again, so that it counts. Raises TestRefused
    when somebody else corrected the test or took it back.
    """
    with transaction.atomic():
        item = item_locked(test.item)
        row = BenchTest.objects.select_related("corrects", "item").get(pk=test.pk)
        known = BenchTest.objects.filter(corrects=row).select_related("person").first()
        wanted = uuid.uuid5(row.uid, "taken back")
        if known is not None:
            if known.uid == wanted:
                return known
            raise TestRefused(_done_already(known), "id")
        before = row.corrects
        if before is None or before.procedure == Procedure.UNDO:
            made = BenchTest.objects.create(
                uid=wanted,
                item=item,
                procedure=Procedure.UNDO,
                depth=row.depth,
                done_at=at,
                received_at=at,
                person=person,
                corrects=row,
            )
        else:
            made = _written_again(before, row, uid=wanted, person=person, at=at)
        items_refold(item_ids=[item.pk], at=at)
        reckon(item, at=at)
    return made


def tests_take_back(*, test_ids: Iterable[int], person: Person | None, at: datetime) -> int:
    """Take many tests back that still count, by a new row each; answers how many there were."""
    with transaction.atomic():
        keys = sorted(set(test_ids))
        items = sorted(set(BenchTest.objects.filter(pk__in=keys).values_list("item", flat=True)))
        list(Item.objects.select_for_update(no_key=True).filter(pk__in=items).order_by("pk").values_list("pk"))
        tests = list(standing_tests().filter(pk__in=keys).defer("readings"))
        BenchTest.objects.bulk_create(
            BenchTest(
                uid=uuid.uuid5(test.uid, "taken back"),
                item_id=test.item_id,
                procedure=Procedure.UNDO,
                depth=test.depth,
                done_at=at,
                received_at=at,
                person=person,
                corrects=test,
            )
            for test in tests
        )
        items_refold(item_ids=items, at=at)
    items_dates(item_ids=items, at=at)
    return len(tests)


def items_dates(*, item_ids: Iterable[int], at: datetime) -> None:
    """Work out when items are to be tested again, in short transactions of a few items each."""
    from maintenance.services.retest import items_reckon

    keys = sorted(set(item_ids))
    for start in range(0, len(keys), _DATED_AT_ONCE):
        part = keys[start : start + _DATED_AT_ONCE]
        with transaction.atomic():
            list(Item.objects.select_for_update(no_key=True).filter(pk__in=part).order_by("pk").values_list("pk"))
            items_reckon(item_ids=part, at=at)


def _written_again(test: BenchTest, undone: BenchTest, *, uid: uuid.UUID, person: Person | None, at: datetime) -> BenchTest:
    """Write a test down again in a row of its own, in place of the one that stood in for it."""
    figures = list(test.figures.all())
    values: dict[str, Any] = {
        f.attname: getattr(test, f.attname) for f in BenchTest._meta.concrete_fields if f.name not in ("id", "uid", "corrects")
    }
    values["received_at"] = at
    values["effects"] = {
        **{name: value for name, value in test.effects.items() if name in _KEPT},
        "restates": str(origin_of(test)),
        "restated_by": str(person) if person else "",
    }
    made = BenchTest.objects.create(**values, uid=uid, corrects=undone)
    for figure in figures:
        figure.pk, figure.test = None, made
    BenchFigure.objects.bulk_create(figures, batch_size=500)
    return made


# their names begin as pytest's tests do
test_record.__test__ = test_undo.__test__ = False
