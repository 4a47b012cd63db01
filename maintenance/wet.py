"""What got wet and waits for a test: told for a show, for a case, tap by tap, so that one tap can take each back."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import Q
from django.http import HttpRequest
from django.urls import reverse

from company.clock import today
from company.models import Person
from company.registries import Need
from company.templatetags.tape import code as spelled
from company.templatetags.tape import day as day_words
from inventory.calc.kinds import Kind
from inventory.models import Item
from inventory.registries import CASE_PANELS, Panel, show_names
from maintenance.models import TestCall
from maintenance.querysets import open_calls

NAMED = 6
MOST, FEW = 2_000, 5
DEEPEST = 40  # cases in cases


@dataclass(kw_only=True)
class Tap:
    """One tap of "it rained on us": when, by whom, what of it still waits for a test."""

    at: datetime
    person: Person | None
    waiting: list[Item] = field(default_factory=list)
    may_take_back: bool = False

    @property
    def then(self) -> str:
        """Say what follows: a test before they go out again, of those whose type's rule asks for one."""
        due = sum(1 for item in self.waiting if item.test_by is not None and item.test_by <= today(self.at))
        if not due:
            return "by the rules of their types that makes no test due"
        if due == len(self.waiting):
            return "test it before it goes out again" if due == 1 else "test them before they go out again"
        return f"test {due} of them before they go out again"

    @property
    def named(self) -> str:
        """Name the first few kinds of things, and how many more there are."""
        alike = Counter(item.label for item in self.waiting)
        names = [f"{count} {label}" if count > 1 else label for label, count in alike.most_common(NAMED)]
        more = len(self.waiting) - sum(count for _label, count in alike.most_common(NAMED))
        return f"{', '.join(names)} and {more} more" if more else ", ".join(names)


def taps_of_show(show: int, person: Person) -> list[Tap]:
    """Return the taps made for a show of which something still waits, the newest first: one query."""
    return _taps(open_calls().filter(show=show, why=TestCall.Why.WET).select_related("item__type", "person"), person)


def taps_on(items: Iterable[int], person: Person) -> list[Tap]:
    """Return the taps of which some of these items still wait, the newest first: one query."""
    return _taps(open_calls().filter(item__in=list(items), why=TestCall.Why.WET).select_related("item__type", "person"), person)


def got_wet(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Name what got wet and waits for a test, a tap at a time, the oldest first; what the rules let pass is left out."""
    harmless = Q(item__type__retest_rule__after_wet=False) | Q(item__retired_on__isnull=False)
    calls = open_calls().filter(~harmless, why=TestCall.Why.WET, item__suspect_since=None).order_by("at", "pk")
    calls = calls.select_related("item__type")[:MOST]
    taps: dict[tuple[datetime, int | None, int | None], list[TestCall]] = {}
    for call in calls:
        taps.setdefault((call.at, call.person_id, call.show), []).append(call)
    names = show_names(show for _at, _person, show in taps)
    technician = request.user.is_technician  # type: ignore[union-attr]
    for (on, _person, show), held in list(taps.items())[:FEW]:
        one = held[0].item if len(held) == 1 else None
        name, url = names.get(show, ("", "")) if show else ("", "")
        where = f" at {name}" if name else ""
        listed = Tap(at=on, person=None, waiting=[call.item for call in held]).named
        yield Need(
            key=f"wet:{held[0].uid}",
            name=one.label if one else f"{len(held)} things got wet",
            code=spelled(one.code) if one else name,
            url=one.get_absolute_url() if one else f"{url}#wet" if url else reverse("bench" if technician else "gear"),
            fact="Got wet: test it." if one else "Got wet: test them.",
            why=f"On {day_words(on)}{where}{'' if one else f': {listed}'}.",
            mark="eye",
            standing="test-due" if one else "",
            group="got wet",
        )


def _taps(calls: Iterable[TestCall], person: Person) -> list[Tap]:
    taps: dict[tuple[datetime, int | None], Tap] = {}
    for call in calls:
        key = (call.at, call.person_id)
        tap = taps.get(key)
        if tap is None:
            mine = person.is_technician or call.person_id == person.pk
            tap = taps[key] = Tap(at=call.at, person=call.person, may_take_back=mine)
        tap.waiting.append(call.item)
    return sorted(taps.values(), key=lambda tap: tap.at, reverse=True)


def held_in(case: Item) -> list[Item]:
    """Return all that lies in a case, in its cases, and so on: a query a depth."""
    found: dict[int, Item] = {}
    holders = [case.pk]
    for _depth in range(DEEPEST):
        inside = list(Item.objects.owned().filter(in_case__in=holders).select_related("type"))
        holders = [item.pk for item in inside if item.type.kind == Kind.CASE and item.pk not in found]
        found.update({item.pk: item for item in inside})
        if not holders:
            break
    return list(found.values())


def wet_things(item: Item) -> list[Item]:
    """Return what a thing that got wet calls to be tested: itself, or what lies in it; nothing where neither has a standing."""
    things = held_in(item) if item.type.kind == Kind.CASE else [item]
    return [thing for thing in things if thing.type.has_standing]


def wet_case(request: HttpRequest, case: Item, held: list[Item], at: datetime) -> Panel | None:
    """Offer to say that a case got wet, and tell what in it waits for a test because of that."""
    judged = [item.pk for item in held if item.type.has_standing]
    if not held:
        return None
    person = request.user
    assert isinstance(person, Person)  # noqa: S101 (signing in is asked for before)
    return Panel(
        title="Wet",
        template="maintenance/record/_wet_case.html",
        context={
            "taps": taps_on(judged, person) if judged else [],
            "wet_url": reverse("item-wet", args=[case.code]),
            "back_url": reverse("wet-take-back"),
        },
    )


def register() -> None:
    """Fill the registry; called once, when the program starts."""
    CASE_PANELS.add("wet", wet_case, rank=50)
