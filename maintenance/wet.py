"""What got wet and waits for a test: told for a show, for a case, tap by tap, so that one tap can take each back."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from django.http import HttpRequest
from django.urls import reverse

from company.clock import today
from company.models import Person
from inventory.models import Item
from inventory.registries import CASE_PANELS, Panel
from maintenance.models import TestCall
from maintenance.querysets import open_calls

NAMED = 6


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
