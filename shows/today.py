"""Today as a running order: what the road does and what needs a person, by the time it is due."""

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Count, Q
from django.http import HttpRequest
from django.urls import reverse

from company.registries import NEEDS, Need
from inventory.models import Item, Label
from shows.calc.lede import Facts, lede
from shows.calc.words import ShowState
from shows.models import Show
from shows.needs import away_groups
from shows.progress import PullLine, Totals, pulls_progress, totals_of

AHEAD = timedelta(days=14)
HURRY = timedelta(hours=18)  # a show that loads this soon after another is home may be fed straight from its truck
BITS = 6
LANE_AT_MOST = 6
SOON_AT_MOST = 3  # of what has no hour: it stands before the first hour, which must stay in sight
ON_THE_ROAD_SIDE = frozenset({"must come home", "give back"})


@dataclass(kw_only=True)
class Road:
    """One strip at the right of the times: it loads, comes home, goes straight on, must come home, goes back."""

    name: str
    url: str
    code: str = ""
    mark: str = "out"
    standing: str = ""
    lifted: bool = False
    big: bool = False
    done: int = 0
    total: int = 0
    words: str = ""
    fact: str = ""
    why: str = ""
    bits: list[PullLine] = field(default_factory=list)
    more: int = 0


@dataclass(kw_only=True)
class Cue:
    """What is due by one time; `label` stands in for a time where there is none."""

    at: datetime | None
    label: str = ""
    by: bool = False
    past: bool = False
    other_day: bool = False
    shop: list[Need] = field(default_factory=list)
    road: list[Road] = field(default_factory=list)


MakeCue = Callable[..., Cue]
Cues = dict[tuple[bool, datetime | str], Cue]


@dataclass(kw_only=True)
class Today:
    """All the start page shows."""

    at: datetime
    said: str
    past: list[Cue]
    ahead: list[Cue]
    coming: list[tuple[Show, Totals]]
    needs: int
    hidden: int
    next_key: str
    first_steps: list[tuple[str, str, bool]]

    @property
    def empty(self) -> bool:
        return not (self.past or self.ahead or self.coming)


def gather_needs(request: HttpRequest, at: datetime) -> list[Need]:
    """Ask every floor what needs a person; the earliest first, those without a time last."""
    far = at + timedelta(days=36_500)
    return sorted((need for source in NEEDS for need in source(request, at)), key=lambda n: (n.by or far, n.key))


def next_of(needs: Iterable[Need]) -> str:
    """Return the key of the page's one pink strip: the earliest next step."""
    return next((need.key for need in needs if need.next_step), "")


def today_of(request: HttpRequest, at: datetime) -> Today:
    """Gather today; the number of queries does not grow with shows, rows, items or needs."""
    zone: ZoneInfo = request.company.zone  # type: ignore[attr-defined]
    local = at.astimezone(zone)
    midnight = datetime.combine(local.date(), time.min, tzinfo=zone)
    until = datetime.combine(local.date() + timedelta(days=2), time.min, tzinfo=zone)
    shows = list(
        Show.objects.live()
        .filter(load_in__lt=at + AHEAD, home_by__gte=midnight)
        .select_related("venue")
        .order_by("load_in")[:40]
    )
    progress = pulls_progress(shows, day=local.date())
    totals = {show.pk: totals_of(progress[show.pk]) for show in shows}
    needs = gather_needs(request, at)
    next_key = next_of(needs)
    cues: Cues = {}

    def cue(when: datetime, *, past: bool = False, by: bool = False) -> Cue:
        key = (past, when)
        found = cues.setdefault(key, Cue(at=when, past=past, other_day=when.astimezone(zone).date() != local.date()))
        found.by = found.by or by
        return found

    for show in shows:
        if show.load_in < until or show.home_by < until:
            _place_show(show, progress[show.pk], totals[show.pk], at, midnight, until, cue)
    _place_straight_on(shows, progress, at, until, cue)
    hidden = _place_needs(needs, next_key, at, until, cues, cue)
    facts = Facts(
        now=local,
        outs=tuple(
            (s.load_in.astimezone(zone), s.home_by.astimezone(zone))
            for s in shows
            if s.load_in > at and s.load_in.astimezone(zone).date() == local.date()
        ),
        on_road=tuple(
            (s.name, s.home_by.astimezone(zone))
            for s in shows
            if s.load_in <= at <= s.home_by and s.state == ShowState.PLANNED and totals[s.pk].still_out
        ),
        next_load=next((s.load_in.astimezone(zone) for s in shows if s.load_in > at), None) or _next_load(at, zone),
        any_show=bool(shows) or Show.objects.exists(),
        late_things=sum(group.total for group in away_groups(request, at) if group.show is not None),
        # the number the link to all of them says; where there is nothing but what must come home, that is said already
        wanting=len(needs) if any(need.group not in ON_THE_ROAD_SIDE for need in needs) else 0,
    )
    _beside_now(cues)
    ordered = sorted(cues.values(), key=lambda c: (c.at or at, c.at is not None))
    return Today(
        at=at,
        said=lede(facts),
        past=[c for c in ordered if c.past],
        ahead=[c for c in ordered if not c.past],
        coming=[(s, totals[s.pk]) for s in shows if s.load_in >= until],
        needs=len(needs),
        hidden=hidden,
        next_key=next_key,
        first_steps=first_steps(request),
    )


def _next_load(at: datetime, zone: ZoneInfo) -> datetime | None:
    found = Show.objects.coming_at(at).order_by("load_in").values_list("load_in", flat=True).first()
    return found.astimezone(zone) if found else None


def _place_show(
    show: Show, lines: list[PullLine], totals: Totals, at: datetime, midnight: datetime, until: datetime, cue: MakeCue
) -> None:
    venue = f", {show.venue.name}" if show.venue else ""
    url = show.get_absolute_url()
    if at < show.load_in < until:
        cue(show.load_in, by=True).road.append(loading(show, lines, totals))
    elif midnight <= show.load_in <= at:
        went = f"{totals.went} went{venue}" if totals.went else f"nothing scanned out{venue}"
        cue(show.load_in, past=True).road.append(Road(name=f"{show.name} went out", url=url, code=went, mark="out"))
    if show.load_in > at or not (midnight <= show.home_by < until):
        return
    ended = max((i.closed_at for line in lines for i in line.items if i.closed_at), default=None)
    if totals.went and not totals.still_out and ended is not None:
        if midnight <= ended <= at:
            code = f"{totals.back} of {totals.went} back"
            cue(ended, past=True).road.append(Road(name=f"{show.name} came home", url=url, code=code, mark="home"))
    elif show.home_by > at:
        out = f"{totals.still_out} out{venue}" if totals.still_out else show.venue.name if show.venue else ""
        cue(show.home_by, by=True).road.append(Road(name=f"{show.name} comes home", url=url, code=out, mark="home"))
    elif totals.went:
        code = f"{totals.back} of {totals.went} back"
        cue(show.home_by, past=True).road.append(Road(name=f"{show.name} came home", url=url, code=code, mark="home"))


def loading(show: Show, lines: list[PullLine], totals: Totals) -> Road:
    """Draw a show that is still to load: how far it is packed, and what it is not ready because of."""
    venue = f"loads, {show.venue.name}" if show.venue else "loads"
    road = Road(name=show.name, url=show.get_absolute_url(), code=venue, mark="out", big=True)
    if not totals.wanted:
        return replace(road, fact="Nothing is asked for yet.")
    lacking = [line for line in lines if line.lacking]
    road.done, road.total = totals.packed, totals.wanted
    road.words = f"{totals.packed} of {totals.wanted} scanned out"
    road.bits, road.more = lacking[:BITS], max(0, len(lacking) - BITS)
    road.fact = "Not ready" if lacking else "Ready."
    return road


def _place_straight_on(
    shows: list[Show], progress: dict[int, list[PullLine]], at: datetime, until: datetime, cue: MakeCue
) -> None:
    """Say how much of a truck the next show can only have from it: what that show lacks and the shelves cannot give."""
    pairs = [
        (one, two)
        for one in shows
        for two in shows
        if one.load_in < two.load_in
        and at < two.load_in <= one.home_by + HURRY
        and one.strike > at
        and one.strike < until
        and ShowState.PLANNED == one.state == two.state
    ]
    # asked even without a pair (no type has the key 0), so that the page costs the same every day
    types = {0} | {line.type_id for _one, two in pairs for line in progress[two.pk] if line.lacking and not line.item_id}
    shelf: dict[tuple[int, int], int] = defaultdict(int)
    fit = Item.objects.fit_to_go(at.date()).filter(type__in=types).order_by()
    for row in fit.values("type", "length_mm").annotate(free=Count("pk")):
        shelf[row["type"], row["length_mm"]] = row["free"]
    for one, two in pairs:
        out = {(line.type_id, line.length_mm): line for line in progress[one.pk] if line.items}
        onward = 0
        for line in progress[two.pk]:
            source = out.get((line.type_id, line.length_mm))
            if source is None:
                continue
            there = [i for i in source.items if i.state != "back"]
            if line.item_id:
                onward += sum(i.item_id == line.item_id for i in there) if line.lacking else 0
            else:
                onward += min(len(there), max(0, line.lacking - shelf[line.type_id, line.length_mm]))
        if onward:
            rest = totals_of(progress[one.pk]).still_out - onward
            cue(one.strike).road.append(
                Road(
                    name=f"{onward} {'goes' if onward == 1 else 'go'} straight on",
                    url=reverse("straight-on", args=[one.pk]),
                    code=two.name,
                    mark="onward",
                    why=f"The other {rest} come home." if rest > 0 else "",
                )
            )


def _place_needs(needs: list[Need], next_key: str, at: datetime, until: datetime, cues: Cues, cue: MakeCue) -> int:
    """Put needs beside the times they are due by; what is late stands just under the line of now. Answers how many did not
    fit on the page."""
    hidden = 0
    for need in needs:
        if need.by is None:
            where = cues.setdefault((False, "soon"), Cue(at=None, label="soon"))
        elif need.by < at:
            where = cues.setdefault((False, "late"), Cue(at=None, label="late"))
        elif need.by < until or need.key == next_key:
            where = cue(need.by, by=True)
        else:
            hidden += 1
            continue
        on_road = need.group in ON_THE_ROAD_SIDE and need.key != next_key
        most = LANE_AT_MOST if need.by else SOON_AT_MOST
        if len(where.road if on_road else where.shop) >= most and need.key != next_key:
            hidden += 1
        elif on_road:
            where.road.append(_road_of(need))
        else:
            where.shop.append(need)
    for each in cues.values():
        each.shop.sort(key=lambda n: n.key != next_key)
    return hidden


def _beside_now(cues: Cues) -> None:
    """Let what is late and what has no hour share one row under the line of now, each at its own side."""
    late, soon = cues.get((False, "late")), cues.pop((False, "soon"), None)
    if soon is None:
        return
    if late is None:
        cues[False, "soon"] = soon
        return
    late.label, late.shop = "due", [*late.shop, *soon.shop]


def _road_of(need: Need) -> Road:
    return Road(
        name=need.name,
        url=need.url,
        code=need.code,
        mark=need.mark,
        standing=need.standing,
        lifted=need.lifted,
        fact=need.fact,
        why=need.why,
    )


def first_steps(request: HttpRequest) -> list[tuple[str, str, bool]]:
    """Return the three first steps with whether each is done; nothing once all are."""
    steps = [
        ("Add gear", "gear-add", Item.objects.exists()),
        ("Print labels", "labels", Label.objects.filter(Q(printed_at__isnull=False)).exists()),
        ("Make a show", "show-add", Show.objects.exists()),
    ]
    return [] if all(done for _name, _url, done in steps) else steps
