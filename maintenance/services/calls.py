"""Calls to test things soon: it rained on us, the case was dropped, somebody wants it looked at."""

import uuid as uuids
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from company.clock import today
from company.models import Person
from inventory.models import Item
from maintenance.minding import WET_NOTED
from maintenance.models import TestCall
from maintenance.services.bench_effects import items_refold

Why = TestCall.Why
_MOST = 2000
MANY = {Why.WET: "got wet", Why.DROPPED: "were dropped", Why.ASKED: "are to be looked at"}


class CallRefused(ValueError):  # noqa: N818 (a word of the house)
    """A call to test things cannot be taken; the words say why."""


@dataclass(frozen=True, kw_only=True)
class Called:
    """What a call did: the calls made, how many of the things fall due by it, and that in a sentence."""

    calls: list[TestCall]
    due: int
    words: str


def calls_record(
    *,
    items: Iterable[Item],
    why: str,
    show: int | None,
    person: Person | None,
    at: datetime,
    uid: uuids.UUID | None = None,
) -> Called:
    """Call many things to be tested soon, a row a thing, in a constant number of queries; once a uid.

    What has no standing, is retired or went home is passed over. A thing's test falls due that day where the rule of its
    type says so; the next test of it answers the call.
    """
    if why not in Why.values:
        raise CallRefused("Say why: it got wet, was dropped, or somebody asked.")
    uid, day = uid or uuids.uuid4(), today(at)
    with transaction.atomic():
        wanted = sorted({item.pk for item in items})
        if len(wanted) > _MOST:
            raise CallRefused(f"That are {len(wanted)} things at once. Call them case by case.")
        held = Item.objects.select_for_update(of=("self",), no_key=True).owned().filter(pk__in=wanted, type__has_standing=True)
        things = list(held.select_related("type").order_by("pk"))
        TestCall.objects.bulk_create(
            [TestCall(uid=call_uid(uid, item.pk), item=item, why=why, show=show, at=at, person=person) for item in things],
            ignore_conflicts=True,
        )
        calls = list(TestCall.objects.filter(uid__in=[call_uid(uid, item.pk) for item in things]).order_by("item"))
        _reckon([item.pk for item in things], at)
        due = Item.objects.filter(pk__in=[item.pk for item in things], test_by__lte=day).count()
    return Called(calls=calls, due=due, words=_words(why, len(things), due))


@dataclass(frozen=True, kw_only=True)
class Wet:
    """A report, on a scan or from a page, that things got wet: `uid` is the report's own, so that it is taken back by it."""

    uid: uuids.UUID
    items: tuple[int, ...]
    at: datetime
    show: int | None = None
    person: int | None = None


def wet_record(*, reports: Iterable[Wet], at: datetime) -> int:
    """Call what got wet to be tested, once a report; one that was taken back stands again. Answers how many things.

    Things without a standing are passed over. A constant number of queries however many reports.
    """
    reports = sorted(reports, key=lambda report: report.uid)
    keys = sorted({item for report in reports for item in report.items})
    if not keys:
        return 0
    with transaction.atomic():
        held = Item.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=keys, type__has_standing=True)
        judged = set(held.order_by("pk").values_list("pk", flat=True))
        rows = [
            TestCall(uid=call_uid(r.uid, item), item_id=item, why=Why.WET, show=r.show, at=r.at, person_id=r.person)
            for r in reports
            for item in r.items
            if item in judged
        ]
        TestCall.objects.bulk_create(rows, ignore_conflicts=True)
        TestCall.objects.filter(uid__in=[row.uid for row in rows], withdrawn_at__isnull=False).update(withdrawn_at=None)
        _reckon(sorted(judged), at)
    return len(judged)


def wet_withdraw(*, reports: Iterable[tuple[uuids.UUID, Iterable[int]]], at: datetime) -> int:
    """Take back what reports, each with its things, said got wet."""
    uids = [call_uid(uid, item) for uid, items in reports for item in items]
    return calls_withdraw(calls=TestCall.objects.filter(uid__in=uids), at=at) if uids else 0


def call_uid(report: uuids.UUID, item: int) -> uuids.UUID:
    """Return the uid of the call that one report makes for one thing."""
    return uuids.uuid5(report, str(item))


def _reckon(keys: list[int], at: datetime) -> None:
    from maintenance.services.retest import items_reckon

    items_refold(item_ids=keys, at=at)  # a call that comes in late may be answered already
    items_reckon(item_ids=keys, at=at)


def _words(why: str, called: int, due: int) -> str:
    if not called:
        return "Nothing there needs a test."
    what = {Why.WET: "got wet", Why.DROPPED: "was dropped", Why.ASKED: "is to be looked at"}[Why(why)]
    things = f"{called} things"
    if (called, due, why) == (1, 1, Why.WET):
        return WET_NOTED
    if called == 1:
        then = "It is to be tested before it goes out again." if due else "By the rule of its type that makes no test due."
        return f"Noted: it {what}. {then}"
    noted = f"Noted of {things}: {'it' if called == 1 else 'they'} {what if called == 1 else MANY[Why(why)]}."
    if not due:
        return f"{noted} By the rules of their types that makes no test due."
    if due == called:
        return f"{noted} {'It is' if called == 1 else 'All are'} to be tested before going out again."
    left = called - due
    rest = f"the rule{'' if left == 1 else 's'} for the other {'one asks' if left == 1 else f'{left} ask'} for no test"
    return f"{noted} {due} {'is' if due == 1 else 'are'} to be tested before going out again; {rest}."


def calls_withdraw(*, calls: Iterable[TestCall], at: datetime, person: Person | None = None) -> int:
    """Take calls back, as if nobody had called; answers how many there were. Each thing's test-by date is what it was."""
    from maintenance.services.retest import items_reckon

    keys = [call.pk for call in calls]
    with transaction.atomic():
        found = TestCall.objects.filter(pk__in=keys, withdrawn_at=None)
        items = sorted(set(found.values_list("item", flat=True)))
        list(Item.objects.select_for_update(no_key=True).filter(pk__in=items).order_by("pk").values_list("pk"))
        number = found.update(withdrawn_at=at)
        items_reckon(item_ids=items, at=at)
    return number
