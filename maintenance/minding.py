"""What to look at before a thing goes, though nobody said it is bad: it got wet, its proof ran out, some channels are dead.

Asked of items read with `with_call`; each answer is a whole sentence, the weightiest first.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable
from datetime import date, datetime

from django.db.models import OuterRef, Q, QuerySet, Subquery

from company.clock import today
from company.templatetags.tape import day as day_words
from inventory.calc.excepts import dead_words
from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.models import TestCall
from maintenance.querysets import open_calls

WET_NOTED = "It got wet: noted. Test it before it goes out again."
CASE_WET_NOTED = "It got wet: noted of what is in it. Test that before it goes out again."
_CALLED = {
    TestCall.Why.WET: "It got wet on {day} and was not tested since: test it before it goes",
    TestCall.Why.DROPPED: "It was dropped on {day} and was not tested since: test it before it goes",
    TestCall.Why.ASKED: "Somebody asked on {day} for a test of it: test it before it goes",
}
NAMED = 3  # so many kinds of things by name in one sentence
_INSIDE = {
    "suspect": ("is suspect: take it out", "are suspect: take them out"),
    TestCall.Why.WET: ("got wet and was not tested since: test it first", "got wet and were not tested since: test them first"),
    TestCall.Why.DROPPED: (
        "was dropped and not tested since: test it first",
        "were dropped and not tested since: test them first",
    ),
    TestCall.Why.ASKED: ("is asked to be tested: test it first", "are asked to be tested: test them first"),
    "due": ("is past its test-by: test it first", "are past their test-by: test them first"),
    "dead": ("", ""),
}


def with_call(items: QuerySet[Item]) -> QuerySet[Item]:
    """Add to each item the first call for a test that none has answered, as `called_why` and `called_at`."""
    # a type whose rule says that rain does it no harm is not looked at for rain
    harmless = Q(why=TestCall.Why.WET, item__type__retest_rule__after_wet=False)
    first = open_calls().filter(~harmless, item=OuterRef("pk")).order_by("at", "pk")
    return items.annotate(called_why=Subquery(first.values("why")[:1]), called_at=Subquery(first.values("at")[:1]))


def mind_words(item: Item, *, at: datetime, day: date, called: tuple[str, datetime] | None = None) -> list[str]:
    """Say what to look at before a thing goes at an instant, a day in the company's zone; nothing for most things.

    `called` is a call that is not on record yet. Needs `with_call`, `test_by`, `tested_on`, `excepts` and `type`.
    """
    if not item.type.has_standing or item.retired_on:
        return []
    said = []
    calls: list[tuple[str, datetime]] = [call for call in (_call_of(item), called) if call]
    call = min((one for one in calls if one[1] <= at), key=lambda one: one[1], default=None)
    if call:
        said.append(f"{_CALLED[TestCall.Why(call[0])].format(day=day_words(call[1]))}.")
    # a call brings the test-by date to its own day: that is no proof run out, nor known before the call was made
    if item.test_by and item.test_by <= day and all(item.test_by < today(when) for _, when in calls):
        said.append(f"{ran_out_words(item)}: test it before it goes.")
    if dead := dead_words(item.excepts):
        said.append(f"Good except {item.excepts}: {dead}.")
    return said


def call_short(item: Item) -> str:
    """Say in a few words why a thing is to be tested before it goes: got wet Sat 26 Sep: test it before it goes."""
    call = _call_of(item)
    if call is None or not item.type.has_standing or item.retired_on:
        return ""
    return f"{TestCall.Why(call[0]).label} {day_words(call[1])}: test it before it goes"


def ran_out_words(item: Item) -> str:
    """Say that a thing is past its test-by date: only what was tested once had a proof to run out."""
    if item.tested_on:
        return f"Its proof ran out {day_words(item.test_by)}"
    return f"It was never tested and was to be by {day_words(item.test_by)}"


def _call_of(item: Item) -> tuple[str, datetime] | None:
    why, since = getattr(item, "called_why", None), getattr(item, "called_at", None)
    return (why, since) if why and since else None


def contents_of(cases: Iterable[int]) -> dict[int, list[Item]]:
    """Return what should not simply go along in each of these cases, at any depth: a query a depth.

    A bench bag holds what is suspect because that is what it is for, and is left out.
    """
    top = {case: case for case in cases}
    found: dict[int, list[Item]] = defaultdict(list)
    edge = dict(top)
    while edge:
        rows = (
            Item.objects.owned().filter(in_case__in=edge, missing_since=None).exclude(in_case__type__case_facts__bench_bag=True)
        )
        inside = list(with_call(rows).select_related("type").order_by("type__name", "name", "code"))
        for item in inside:
            found[edge[item.in_case_id or 0]].append(item)
        edge = {i.pk: edge[i.in_case_id or 0] for i in inside if i.type.kind == Kind.CASE and i.pk not in top}
        top.update({pk: pk for pk in edge})
    return found


def inside_words(inside: Iterable[Item], *, at: datetime, day: date) -> list[str]:
    """Say what in a case is to be taken out or tested before it goes: In it: Active direct box A is suspect: take it out."""
    groups: dict[str, list[str]] = defaultdict(list)
    for item in inside:
        if not item.type.has_standing or item.retired_on:
            continue
        call = _call_of(item)
        if item.suspect_since and item.suspect_since <= at:
            groups["suspect"].append(item.label)
        elif call and call[1] <= at:
            groups[call[0]].append(item.label)
        elif item.test_by and item.test_by <= day:
            groups["due"].append(item.label)
        elif dead := dead_words(item.excepts):
            groups["dead"].append(f"{item.label}, {dead}")
    said = []
    for group, (one, many) in _INSIDE.items():
        if names := groups.get(group):
            said.append(f"{_names(names)} {one if len(names) == 1 else many}" if one else "; ".join(names[:NAMED]))
    return [f"In it: {'; '.join(said)}."] if said else []


def _names(names: list[str]) -> str:
    """Join names as a person says them, what is called alike counted: 2 Microphone lead 10 m and Active direct box A."""
    alike = [f"{count} {name}" if count > 1 else name for name, count in Counter(names).items()]
    if len(alike) > NAMED + 1:
        alike = [*alike[:NAMED], f"{len(alike) - NAMED} kinds more"]
    return alike[0] if len(alike) == 1 else f"{', '.join(alike[:-1])} and {alike[-1]}"
