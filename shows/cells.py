"""What shows ask of powered things: how long each must run, what feeds it at its line, and what hangs on it."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.urls import reverse

from company.models import Company
from inventory.calc.kinds import Kind
from inventory.models import GearType
from maintenance.calc.cell_words import Stakes
from maintenance.registries import DeviceNeed, ShowNeeds
from maintenance.services.cell_types import shipped
from shows.calc.times import NIGHT_FROM, running_time
from shows.calc.words import Critical, Feed, ShowState
from shows.models import Checkout, PhantomSeen, PullRow, Show

MOST = 100  # shows looked at
HOUR = timedelta(hours=1)
# what has places for cells, is known to be fed by a pack of its own, or is a set of cells itself
POWERED = Q(bays__gt=0) | Q(cell_plan__isnull=False) | Q(kind=Kind.CELL_SET)
TYPE = ("type__box_facts", "type__cell_plan")
ITEM = ("item__type__box_facts", "item__type__cell_plan", "item__home", "item__in_case__type", "item__in_case__home")


def coming_keys(at: datetime, until: datetime) -> list[int]:
    """Return the planned shows that are not over by `at` and load in by `until`, the soonest first."""
    soon = Show.objects.filter(end__gt=at, load_in__lte=until, state=ShowState.PLANNED)
    return list(soon.order_by("load_in", "pk").values_list("pk", flat=True)[:MOST])


def needs_of_shows(keys: list[int], at: datetime) -> list[ShowNeeds]:
    """Return what each show asks of powered things, by line and then by name; constant queries."""
    shows = list(Show.objects.filter(pk__in=keys[:MOST]).exclude(state=ShowState.CANCELLED))
    if not shows:
        return []
    packs = [plan["type"] for plan in shipped()["plans"]]
    types = GearType.objects.filter(POWERED | Q(key__in=packs)).values("pk")
    asked: dict[int, list[PullRow]] = defaultdict(list)
    for row in PullRow.objects.filter(show__in=shows, type__in=types).select_related(*TYPE, *ITEM).order_by("rank", "pk"):
        asked[row.show_id].append(row)
    out: dict[int, list[Checkout]] = defaultdict(list)
    stays = Checkout.objects.filter(show__in=shows, item__type__in=types).select_related(*ITEM)
    checks = {show.pk: show.line_check for show in shows}
    for stay in stays.order_by("opened_at", "pk"):
        if stay.closed_at is None or stay.closed_at > checks[stay.show_id]:
            out[stay.show_id].append(stay)
    seen = set(PhantomSeen.objects.filter(show__in=shows).values_list("show", "item"))
    company = Company.current()
    return [_needs(show, asked[show.pk], out[show.pk], seen, company, at) for show in shows]


def _needs(
    show: Show, rows: list[PullRow], stays: Iterable[Checkout], seen: set[tuple[int, int]], company: Company, at: datetime
) -> ShowNeeds:
    free = {stay.item_id: stay.item for stay in stays}
    with_show = frozenset(free)
    named = {row.item_id for row in rows if row.item_id}
    by_type: dict[int, list[int]] = defaultdict(list)
    for pk, item in free.items():
        if pk not in named:
            by_type[item.type_id].append(pk)
    found: list[DeviceNeed] = []
    under_way = show.line_check < at < show.end
    since = reached(show.line_check, at, company.zone) if under_way else show.line_check
    whole = (show.end - show.line_check) / HOUR

    def add(row: PullRow | None, type_: GearType, item=None, count: int = 1) -> None:  # type: ignore[no-untyped-def]
        out = item is not None and item.pk in with_show
        found.append(_need(show, row, type_, item, count, seen, company, since=since, out=out))

    for row in rows:
        if row.item is not None:
            add(row, row.item.type, row.item)
            continue
        here, by_type[row.type_id] = by_type[row.type_id][: row.count], by_type[row.type_id][row.count :]
        for pk in here:
            add(row, free[pk].type, free[pk])
        if row.count > len(here):
            add(row, row.type, None, row.count - len(here))
    for left in by_type.values():
        for pk in left:
            add(None, free[pk].type, free[pk])
    return ShowNeeds(
        key=show.pk,
        name=show.name,
        url=reverse("show", args=[show.pk]),
        load_in=show.load_in,
        line_check=show.line_check,
        start=show.start,
        end=show.end,
        strike=show.strike,
        rehearsal=show.rehearsal,
        over=show.end <= at,
        needs=tuple(found),
        under_way=under_way,
        nights_out=running_time(show.line_check, show.end, company.zone) / HOUR < whole - 0.01,
    )


def _need(  # type: ignore[no-untyped-def]
    show: Show, row: PullRow | None, type_: GearType, item, count: int, seen, company: Company, *, since: datetime, out: bool
) -> DeviceNeed:
    box = getattr(type_, "box_facts", None)
    # a box switched by its input jack stays on while a lead is in it: until strike
    to_strike = bool(box and box.switched_by_input_jack)
    spare = row is None or row.critical == Critical.SPARE
    return DeviceNeed(
        type_id=type_.pk,
        item=item,
        count=count,
        line=row.line if row else "",
        need_h=(_on(show, show.strike if to_strike else show.end, company) - _on(show, since, company)) / HOUR,
        to_strike=to_strike,
        feed=_feed(row, box, company.phantom_first),
        assumed=not (row and row.feed),
        phantom_seen=item is not None and (show.pk, item.pk) in seen,
        phantom_url=reverse("phantom-seen", args=[show.pk, item.code]) if item is not None else "",
        stakes=_stakes(show, row, type_, spare),
        spare=spare,
        on_line=not spare,
        out=out,
    )


def hours_on(show: Show, box, company: Company) -> float:  # type: ignore[no-untyped-def]
    """Return the hours a device of some box facts (None: no box) runs at a show: to its end, to strike where its jack is its
    switch."""
    until = show.strike if box is not None and box.switched_by_input_jack else show.end
    return _on(show, until, company) / HOUR


def _on(show: Show, until: datetime, company: Company) -> timedelta:
    return running_time(show.line_check, until, company.zone) if until > show.line_check else timedelta(0)


def reached(checked: datetime, at: datetime, zone: ZoneInfo) -> datetime:
    """Return how far a show has got whose line check was at `checked`: in a night between its days, to where that began."""
    first, here = checked.astimezone(zone), at.astimezone(zone)
    if here.date() > first.date() and NIGHT_FROM < here.time() < first.time():
        return datetime.combine(here.date(), NIGHT_FROM, tzinfo=zone)
    return at


def _feed(row: PullRow | None, box, first: bool) -> str:  # type: ignore[no-untyped-def]
    if row is not None and row.feed:
        return row.feed
    if box is not None and box.runs_on_phantom and (first or not box.runs_on_cells):
        return Feed.PHANTOM
    return Feed.CELLS


def _stakes(show: Show, row: PullRow | None, type_: GearType, spare: bool) -> Stakes:
    """Say what hangs on it: nothing on a rehearsal, on a spare that stands in, or on a meter."""
    if show.rehearsal or spare or type_.kind == Kind.INSTRUMENT:
        return Stakes.REHEARSAL
    return Stakes.CRITICAL if row is not None and row.critical == Critical.CRITICAL else Stakes.NORMAL
