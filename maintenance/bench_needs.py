"""What must be tested before a show, for the list of what needs a person: at most a few, in words, and only where it binds."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import islice

from django.db.models import Count, Q
from django.http import HttpRequest
from django.urls import reverse

from company.clock import today
from company.registries import Need
from company.templatetags.tape import day as day_words
from company.templatetags.tape import metres
from inventory.models import Item
from maintenance.coming_supply import supply_of
from maintenance.registries import Coming, coming_between

AHEAD = timedelta(days=7)
FEW = 3
MOST = 2_000


@dataclass(frozen=True, kw_only=True)
class Due:
    """One thing whose proof runs out before a coming show could take it."""

    item: int
    key: tuple[int, int]
    name: str
    kind: str
    by: date


def before_shows(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Name the coming shows that go short unless something is tested again first. What is suspect is named elsewhere."""
    if not request.user.is_technician:  # type: ignore[union-attr]
        return
    day = today(at)
    for show, name, on, words, count in islice(binding_between(day, day + AHEAD), FEW):
        yield Need(
            key=f"test-before:{show}",
            name=f"Test {count} before it loads",
            code=name,
            url=f"{reverse('bench')}?show={show}",
            fact=f"{name} loads {day_words(on)}.",
            why=f"It goes short unless tested first: {words}.",
            mark="hourglass",
            standing="test-due",
            group="test before a show",
        )


def binding_between(first: date, last: date, days: int = FEW) -> Iterator[tuple[int, str, date, str, int]]:
    """Yield the shows that begin to hold gear from a day to a day and go short unless something is tested again first, the
    soonest first: its key, name, day, what in words, and how many. Of each of the first `days` days, two queries."""
    coming = coming_between(first, last)
    due = _due_among(coming) if coming else []
    yield from _binding(coming, due, days) if due else ()


@dataclass(frozen=True, kw_only=True)
class ToTest:
    """Of what is on our shelves and a show could take: how many are past their test-by on its day, how many never tested."""

    due: int = 0
    never: int = 0

    @property
    def words(self) -> str:
        """Say it: 5 are past their test-by, 13 were never tested. Empty where there is nothing to say."""
        due = f"{self.due} {'is' if self.due == 1 else 'are'} past {'its' if self.due == 1 else 'their'} test-by"
        never = f"{self.never} {'was' if self.never == 1 else 'were'} never tested"
        return ", ".join(said for said, number in ((due, self.due), (never, self.never)) if number)


def to_test_for(*, keys: Iterable[tuple[int, int]], named: Iterable[int], day: date) -> ToTest:
    """Count what a show could still take, by type and length (0 is any) and by name, and is not proved; one query."""
    keys, named = set(keys), set(named)
    if not keys and not named:
        return ToTest()
    wanted = Q(pk__in=named)
    wanted |= Q(type__in={type_id for type_id, mm in keys if not mm})
    for mm in {mm for _type, mm in keys if mm}:
        wanted |= Q(type__in={type_id for type_id, length in keys if length == mm}, length_mm=mm)
    things = Item.objects.in_the_shop().filter(wanted, type__has_standing=True, suspect_since=None).order_by()
    late = Q(test_by__lte=day)
    counts = things.aggregate(
        due=Count("pk", filter=late), never=Count("pk", filter=~late & Q(tested_on=None, taken_as_good_on=None))
    )
    return ToTest(due=counts["due"], never=counts["never"])


def _due_among(coming: list[Coming]) -> list[Due]:
    """Return what coming shows take along and whose proof runs out by the last of them, in one query."""
    last = max(one.day for one in coming)
    types = {one.type_id for one in coming}
    rows = Item.objects.owned().filter(type__in=types, test_by__lte=last, suspect_since=None, missing_since=None, lent_to="")
    rows = rows.select_related("type").only("type__name", "name", "length_mm", "test_by").order_by("test_by", "pk")
    return [
        Due(item=i.pk, key=(i.type_id, i.length_mm), name=i.label, kind=i.type.name, by=i.test_by)
        for i in rows[:MOST]
        if i.test_by is not None
    ]


def _binding(coming: list[Coming], due: list[Due], days: int) -> Iterator[tuple[int, str, date, str, int]]:
    """Yield the shows that need something tested, the soonest first: its key, name, day, what in words, and how many."""
    names = {one.key[0]: one.kind for one in due}
    by_show: dict[int, list[Coming]] = defaultdict(list)
    for one in coming:
        by_show[one.show].append(one)
    supplies = {day: supply_of(coming, day) for day in sorted({one.day for one in coming})[:days]}
    for show, rows in by_show.items():
        on = rows[0].day
        supply = supplies.get(on)
        late = [one for one in due if one.by <= on]
        named = {one.item_id for one in rows if one.item_id}
        said = [f"{one.name} by {day_words(one.by)}" for one in late if one.item in named]
        count = len(said)
        for key in dict.fromkeys((one.type_id, one.length_mm) for one in rows if not one.item_id):
            short = supply.short(show, key) if supply else 0
            able = sum(1 for one in late if one.key[0] == key[0] and key[1] in {0, one.key[1]})
            if min(short, able):
                count += min(short, able)
                said.append(" ".join(p for p in (str(min(short, able)), names[key[0]], metres(key[1])) if p))
        if said:
            yield show, rows[0].name, on, ", ".join(said[:3]) + (" and more" if len(said) > 3 else ""), count
