"""What is worth testing in the minutes there are: asked of the indexes, so that a shop of a hundred thousand waits no longer.

What could be tested is cut down in SQL before anything is computed: what is suspect, called, due soon, named by a coming show,
of a kind a coming show takes along, and whatever else is likeliest to be bad; at most `MOST` of each. What is out at a show,
on the truck, lent, missing or at the repairer is not here to be tested, and is only counted.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.db.models import F, QuerySet

from company.templatetags.tape import metres
from inventory.calc.kinds import Kind, Standing
from inventory.models import GearType, Item
from maintenance.calc.bench import Capability, Depth, Procedure
from maintenance.calc.queue import CHANCE_HEARD, CHANCE_WET, SETUP_MINUTES, Candidate, Pick, Plan, plan
from maintenance.calc.symptoms import Found, Symptom
from maintenance.coming_supply import Supply, supply_of
from maintenance.dates import CALLED, NOUNS
from maintenance.models import BenchSettings, BenchTest, Fault, Risk, Sitting, TestCall
from maintenance.querysets import open_calls, standing_repairs
from maintenance.registries import Coming, coming_all
from maintenance.services.retest_rules import rule_of
from maintenance.standing import SAYS

AHEAD = timedelta(days=14)  # shows further off wait for another evening
SOON = timedelta(days=7)  # a test that falls due within so many days may as well be done now
MOST = 400  # cut of one sort: more than anybody tests in the most minutes there may be
FEW = 3
SESSION = "bench_list"  # where the codes a person set out to test are kept, in order
LEAST_MINUTES, MOST_MINUTES = 5, 600
WORTH = 0.01  # what nothing asks for is left alone while it is less likely to be bad than this (our proposal)


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What the queue is asked for: minutes, and if wanted one place, one kind of gear, one show alone."""

    minutes: int = 90
    place: int | None = None
    kind: str = ""
    show: int | None = None

    @property
    def is_narrowed(self) -> bool:
        return bool(self.place or self.kind or self.show)


@dataclass(frozen=True, kw_only=True)
class Row:
    """One thing on the list: the item with its home, why it is there, and what to say beside it."""

    item: Item
    pick: Pick
    shelf: str
    standing: str


@dataclass(kw_only=True)
class Group:
    """Things of one type, done in one go: what they are called, and the minutes they take together, fetching included."""

    name: str
    rows: list[Row] = field(default_factory=list)
    minutes: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Queue:
    """The list for the bench, in the order to work through it.

    `away` counts what asks for a test and is not here, `to_mend` what failed at the bench and was not mended since; `quiet` is
    the greatest chance of being bad among what was left alone; `gone` names what is out to coming shows already.
    """

    plan: Plan
    groups: list[Group]
    shows: list[tuple[int, str]]
    away: int = 0
    quiet: float = 0.0
    to_mend: int = 0
    gone: list[str] = field(default_factory=list)

    @property
    def rows(self) -> list[Row]:
        return [row for group in self.groups for row in group.rows]

    @property
    def codes(self) -> list[str]:
        """Return the codes in the order to work through them, to hand on to a sitting."""
        return [row.item.code for row in self.rows]


def queue_of(*, asked: Asked, day: date, at: datetime | None = None) -> Queue:
    """Return what to test in the minutes asked for, on a day. Queries are constant however many items there are.

    With `at`, what cannot be tested before its show loads in does not come before what can.
    """
    every = coming_all(day, day + AHEAD)
    shows = list(dict.fromkeys((one.show, one.name) for one in every))
    if asked.show:
        every = [one for one in every if one.show == asked.show]
    coming = [one for one in every if one.count > 0]
    items = _cut(asked, coming, day)
    supply = supply_of(coming, day)
    types = GearType.objects.in_bulk({item.type_id for item in items})
    rules = rule_of(types.values())
    said, called = _reported(items), _called(items)
    mended = _mended(items)
    settings = BenchSettings.current()
    sees = settings.sensitivity()[Depth.OHMS if Capability.OHMS in settings.capabilities() else Depth.LAMPS]
    wants = _Wants(coming)
    candidates, quiet, to_mend = [], 0.0, 0
    for item in items:
        wanted = wants.of(item)
        if asked.show and wanted is None:
            continue
        symptom = said.get(item.pk, "")
        if item.suspect_since and not symptom and item.pk not in mended:
            to_mend += 1
            continue
        rule, risk = rules[item.type_id], getattr(item, "risk", None)
        one = Candidate(
            item=item.pk,
            type=item.type_id,
            noun=NOUNS[Kind(types[item.type_id].kind)],
            minutes=rule.minutes_a_test,
            chance=_chance(risk, symptom, called.get(item.pk, "")),
            sees=sees,
            cost=float(rule.show_cents),
            show_on=wanted.day if wanted else None,
            show=wanted.name if wanted else "",
            role="critical" if wanted and wanted.critical else "normal",
            blocks=_blocks(item, wanted, supply, day) and _in_time(wanted, at, rule.minutes_a_test),
            overdue_days=(day - item.test_by).days if item.test_by else None,
            symptom=symptom,
            called="it was mended" if item.pk in mended and item.suspect_since else called.get(item.pk, ""),
        )
        if one.wanted or one.chance >= WORTH:
            candidates.append(one)
        else:
            quiet = max(quiet, one.chance)
    made = plan(candidates, minutes=asked.minutes, today=day)
    return Queue(
        plan=made,
        groups=_groups(made, _shown(made), day),
        shows=shows,
        away=_away(asked, day),
        quiet=quiet,
        to_mend=to_mend,
        gone=_gone(every, day),
    )


@dataclass(frozen=True, kw_only=True)
class Next:
    """What is left of a list that was taken along to a sitting: the next few, and how many in all."""

    items: list[Item]
    left: int


def next_of(codes: Iterable[str], sitting: Sitting) -> Next | None:
    """Return what is left of a list at a sitting, in its order; None without one. Two queries however long it is."""
    wanted = list(codes)[:MOST]
    if not wanted:
        return None
    done = BenchTest.objects.filter(sitting=sitting, corrected_by=None).exclude(procedure=Procedure.UNDO).values("item")
    there = {
        item.code: item for item in Item.objects.owned().filter(code__in=wanted).exclude(pk__in=done).select_related("type")
    }
    left = [there[code] for code in wanted if code in there]
    return Next(items=left[:FEW], left=len(left))


def _here(asked: Asked) -> QuerySet[Item]:
    """Return what is at hand to be tested, by plain columns, in the place and of the kind asked for."""
    rows = Item.objects.ours_to_test().filter(custody="")
    if asked.place:
        rows = rows.filter(home=asked.place)
    if asked.kind:
        rows = rows.filter(type__kind=asked.kind)
    return rows


def _cut(asked: Asked, coming: Iterable[Coming], day: date) -> list[Item]:
    """Return the items worth computing with: a few queries by index, each with a limit, then the items themselves at once."""
    here = _here(asked)
    named = {one.item_id for one in coming if one.item_id}
    types = {one.type_id for one in coming}
    keys: set[int] = set()
    calls = open_calls().order_by("-at").values_list("item", flat=True)[:MOST]
    keys.update(calls)
    keys.update(named)
    keys.update(here.filter(suspect_since__isnull=False).order_by("suspect_since", "pk").values_list("pk", flat=True)[:MOST])
    keys.update(here.filter(test_by__lte=day + SOON).order_by("test_by", "pk").values_list("pk", flat=True)[:MOST])
    if types:
        keys.update(_worst(asked).filter(item__type__in=types).values_list("pk", flat=True)[:MOST])
    if not asked.show:
        keys.update(_worst(asked).values_list("pk", flat=True)[:MOST])
    # the few columns that are computed with; what is shown is fetched for what is chosen
    wanted = here.filter(pk__in=keys).select_related("risk").order_by("pk")
    return list(wanted.only("type_id", "length_mm", "suspect_since", "test_by", "risk__chance_now"))


def _worst(asked: Asked) -> QuerySet[Risk]:
    """Return the risks, the worst first, by their own index alone: what is not here is sorted out afterwards."""
    rows = Risk.objects.order_by("-chance_now")
    if asked.place:
        rows = rows.filter(item__home=asked.place)
    if asked.kind:
        rows = rows.filter(item__type__kind=asked.kind)
    return rows


def _shown(made: Plan) -> dict[int, Item]:
    """Return what was chosen, with all that a strip and its place need."""
    rows = Item.objects.filter(pk__in=[pick.candidate.item for pick in made.picks])
    return {item.pk: item for item in rows.select_related("type", "home", "at", "in_case__type", "in_case__home")}


class _Wants:
    """Which coming show wants an item first: by its name, or by its type and length (0 is any length)."""

    def __init__(self, coming: Iterable[Coming]) -> None:
        self._named: dict[int, Coming] = {}
        self._kinds: dict[tuple[int, int], Coming] = {}
        for one in coming:  # the soonest first
            if one.item_id:
                self._named.setdefault(one.item_id, one)
            else:
                self._kinds.setdefault((one.type_id, one.length_mm), one)

    def of(self, item: Item) -> Coming | None:
        found = [
            self._named.get(item.pk),
            self._kinds.get((item.type_id, item.length_mm)),
            self._kinds.get((item.type_id, 0)),
        ]
        return min((one for one in found if one), key=lambda one: (one.day, not one.critical), default=None)


def _blocks(item: Item, wanted: Coming | None, supply: Supply, day: date) -> bool:
    """Say whether the show lacks fit ones unless this one passes: it is itself not fit, and named or in short supply."""
    if wanted is None or not (item.suspect_since or (item.test_by and item.test_by <= day)):
        return False
    return wanted.item_id == item.pk or supply.lacks(wanted)


def _reported(items: Iterable[Item]) -> dict[int, str]:
    """Return what somebody said is wrong with each, in words; what the bench found itself waits for a repair, not a test."""
    said: dict[int, list[str]] = defaultdict(list)
    faults = Fault.objects.filter(item__in=[i.pk for i in items if i.suspect_since], closed_at=None, withdrawn_at=None)
    for item, symptom, found in faults.order_by("opened_at", "pk").values_list("item", "symptom", "found"):
        if found != Found.BENCH and item:
            said[item].append(SAYS[Symptom(symptom)])
    return {item: ", ".join(dict.fromkeys(words)) for item, words in said.items()}


def _chance(risk: Risk | None, symptom: str, called: str) -> float:
    """Return the chance that it is bad now. The record takes a report as a failure; until it is tested it is a report, and
    weighs at once, whatever was reckoned before; so does a call."""
    now = risk.chance_now if risk else 0.0
    return CHANCE_HEARD if symptom else max(now, CHANCE_WET) if called else now


def _in_time(wanted: Coming | None, at: datetime | None, minutes: float) -> bool:
    """Say whether a thing can be fetched and tested before its show loads in."""
    if wanted is None or wanted.load_in is None or at is None:
        return True
    return (wanted.load_in - at).total_seconds() / 60 >= SETUP_MINUTES + minutes


def _gone(coming: Iterable[Coming], day: date) -> list[str]:
    """Name what is out to coming shows already, a sentence a show: it is tested when it is back."""
    by_show: dict[str, list[Coming]] = defaultdict(list)
    for one in coming:
        if one.out:
            by_show[one.name].append(one)
    names = GearType.objects.in_bulk({one.type_id for rows in by_show.values() for one in rows}) if by_show else {}
    said = []
    for show, rows in list(by_show.items())[:FEW]:
        counts: Counter[str] = Counter()
        for one in rows:
            counts[" ".join(p for p in (names[one.type_id].name, metres(one.length_mm)) if p)] += one.out
        listed = [f"{number} {name}" for name, number in counts.most_common(FEW)]
        more = sum(counts.values()) - sum(number for _name, number in counts.most_common(FEW))
        said.append(f"Out already to {show}: {', '.join(listed)}{f' and {more} more' if more else ''}.")
    return said


def _mended(items: Iterable[Item]) -> set[int]:
    """Return what was mended since the bench found it bad: it must pass again."""
    suspect = [item.pk for item in items if item.suspect_since]
    repairs = standing_repairs().filter(item__in=suspect, done_at__gte=F("item__suspect_since"))
    return set(repairs.order_by().values_list("item", flat=True))


def _called(items: Iterable[Item]) -> dict[int, str]:
    calls = open_calls().filter(item__in=[item.pk for item in items]).order_by("at").values_list("item", "why")
    return {item: CALLED[TestCall.Why(why)] for item, why in calls}


def _groups(made: Plan, items: Mapping[int, Item], day: date) -> list[Group]:
    groups: list[Group] = []
    before = 0.0
    at_hand: int | None = None
    for pick in made.picks:
        item = items[pick.candidate.item]
        if pick.candidate.type != at_hand:
            groups.append(Group(name=item.type.name))
            at_hand = pick.candidate.type
        groups[-1].rows.append(_row(item, pick, day))
        groups[-1].minutes += pick.done_at_minutes - before
        before = pick.done_at_minutes
    return groups


def _row(item: Item, pick: Pick, day: date) -> Row:
    due = item.test_by is not None and item.test_by <= day
    standing = Standing.UNPROVED
    if item.suspect_since:
        standing = Standing.SUSPECT
    elif due:
        standing = Standing.TEST_DUE
    elif item.excepts:
        standing = Standing.GOOD_EXCEPT
    elif item.tested_on:
        standing = Standing.KNOWN_GOOD
    return Row(item=item, pick=pick, shelf=shelf_of(item), standing=standing)


def shelf_of(item: Item) -> str:
    """Say where to fetch it from: its case with the case's place, the bench, or its own place."""
    if item.at is not None and item.at.sort == "bench":
        return item.at.name
    if item.in_case is not None:
        home = item.in_case.home
        return f"{home.name}, in {item.in_case.label}" if home else f"in {item.in_case.label}"
    return item.home.name if item.home else "no place of its own"


def _away(asked: Asked, day: date) -> int:
    """Count what asks for a test and is out, lent, missing or at the repairer; up to MOST."""
    wanting = Item.objects.owned().filter(type__has_standing=True)
    if asked.place:
        wanting = wanting.filter(home=asked.place)
    if asked.kind:
        wanting = wanting.filter(type__kind=asked.kind)
    out = wanting.filter(custody_show__isnull=False)
    due = out.filter(test_by__lte=day).order_by().values("pk")[:MOST]
    bad = out.filter(suspect_since__isnull=False).order_by().values("pk")[:MOST]
    return len({*due.values_list("pk", flat=True), *bad.values_list("pk", flat=True)})
