"""What the road asks of a person: pack it, bring it home, give it back, get it back from whom it was lent, find more of it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import cast
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.http import HttpRequest
from django.urls import reverse

from company.alert_rules import closing
from company.clock import today
from company.models import Person
from company.registries import Need
from company.templatetags.tape import code as spelled
from company.templatetags.tape import day as day_words
from company.templatetags.tape import metres
from inventory.alert_rules import GET_BACK, GIVE_BACK, to_get_back, to_give_back
from inventory.models import GearType
from shows.missing import Away, AwayGroup, missing_at
from shows.models import PullRow, Show
from shows.planning.readiness import grave_of_plan
from shows.progress import pulls_progress, totals_of
from shows.shortage import shortages_of, unmet

COMING = timedelta(days=7)
LOADING = timedelta(hours=24)
FEW = 25  # so many of one sort at most: the page behind it has them all


def zone_of(request: HttpRequest) -> ZoneInfo:
    """Return the company's zone."""
    return request.company.zone


def away_groups(request: HttpRequest, at: datetime) -> list[AwayGroup]:
    """Return what shows still have, asked once a request: the page's first sentence and its strips both want it."""
    if not hasattr(request, "away_groups"):
        request.away_groups = missing_at(at, declared=False)
    return request.away_groups


def come_home(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Name the shows whose gear should be home and is not."""
    for group in away_groups(request, at)[:FEW]:
        if group.show is not None:
            yield _come_home(group, group.show)


def _come_home(group: AwayGroup, show: Show) -> Need:
    one = group.items[0] if group.total == 1 and group.items else None
    name = one.item.label if one else f"{group.total} must come home"
    at_venue = f"at {show.venue.name}" if show.venue else f"with {show.name}"
    on_truck = sum(away.on_truck for away in group.items)
    said = [away.item.label for away in group.items[:3]] + [f"{c.count} {c.name}" for c in group.counted[:2]]
    more = group.total - len(group.items[:3]) - sum(c.count for c in group.counted[:2])
    listed = ", ".join(said) + (f" and {more} more" if more > 0 else "")
    still = "Still" if one else f"{listed}: still"
    lost = sum(away.item.missing_since is not None for away in group.items)
    if lost and lost == group.total:
        why = "" if one else f"{listed}."
    else:
        why = (
            f"{still} {at_venue}, or on the truck: {on_truck} loaded."
            if on_truck
            else f"{still} {at_venue}, as far as we know."
        )
        why += f" {lost} of them declared missing." if lost else ""
    return Need(
        key=f"come-home:{show.pk}",
        name=name,
        code=spelled(one.item.code) if one else show.name,
        url=reverse("missing") + f"#show-{show.pk}",
        fact=_home_fact(one, all_lost=bool(lost) and lost == group.total),
        why=why,
        by=show.home_by,
        mark="out",
        standing=one.standing if one else "",
        lifted=True,
        group="must come home",
    )


def _home_fact(one: Away | None, *, all_lost: bool) -> str:
    if one is None:
        return "Declared missing, never back." if all_lost else "Must come home."
    return one.fact if all_lost else f"Must come home. {one.fact}"


def give_back(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Name what was borrowed and must go back in the next days."""
    day = today(at)
    for row in to_give_back(day + GIVE_BACK, FEW):
        late = row.by < day
        things = "one thing" if row.things == 1 else f"{row.things} things"
        yield Need(
            key=f"give-back:{row.lender}:{row.by}",
            name=f"Give back {things}",
            code=row.lender,
            url=reverse("gear") + "?borrowed=1",
            fact=f"{'Was to' if late else 'To'} go back by {day_words(row.by)}.",
            why=f"Borrowed from {row.lender}." if row.lender else "",
            by=closing(row.by, zone_of(request)),
            mark="back",
            group="give back",
        )


def lent_home(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Name what we lent and should have back by now or soon."""
    day = today(at)
    for item in to_get_back(day + GET_BACK)[:FEW]:
        assert item.lent_home_by is not None  # noqa: S101 (the question asks for a day)
        yield Need(
            key=f"lent:{item.code}",
            name=item.label,
            code=spelled(item.code),
            url=item.get_absolute_url(),
            fact=f"Lent to {item.lent_to}, home by {day_words(item.lent_home_by)}.",
            why="Ask for it, or say it is lent for longer.",
            by=closing(item.lent_home_by, zone_of(request)),
            mark="home",
            lifted=True,
            group="lent",
        )


def coming_shows(at: datetime, within: timedelta = COMING, most: int = FEW) -> list[Show]:
    """Return the shows that load within a week, or another time."""
    soon = Show.objects.coming_at(at).filter(load_in__lte=at + within)
    return list(soon.select_related("venue").order_by("load_in", "pk")[:most])


@dataclass(frozen=True, kw_only=True)
class Short:
    """What a show lacks most of after what other shows hold: how many of what, why, and of how many lines more."""

    lacking: int
    name: str
    wanted: int
    why: str
    more: int


def shorts_of(shows: list[Show], at: datetime) -> dict[int, Short]:
    """Return what shows lack, by show key; constant queries."""
    progress = pulls_progress(shows, day=today(at))
    left = {pk: unmet(keys, progress[pk]) for pk, keys in shortages_of(shows).items()}
    types = GearType.objects.in_bulk({key[0] for keys in left.values() for key, worst in keys.items() if worst.short})
    found: dict[int, Short] = {}
    for show in shows:
        lacks = [worst for worst in left.get(show.pk, {}).values() if worst.short]
        if lacks:
            worst = max(lacks, key=lambda w: w.short)
            name = " ".join(p for p in (types[worst.key[0]].name, metres(worst.key[1])) if p)
            why = f"{worst.why[0].upper()}{worst.why[1:]}."
            found[show.pk] = Short(lacking=worst.short, name=name, wanted=worst.wanted, why=why, more=len(lacks) - 1)
    return found


def short(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Name what a coming show lacks after what other shows hold."""
    shows = coming_shows(at)
    lacking = shorts_of(shows, at)
    for show in shows:
        if (lacks := lacking.get(show.pk)) is None:
            continue
        rest = f" {lacks.more} more of its lines are short too." if lacks.more else ""
        yield Need(
            key=f"short:{show.pk}",
            name=f"Short {lacks.lacking} {lacks.name}",
            code=show.name,
            url=show.get_absolute_url() + "#short",
            fact=f"{show.name} wants {lacks.wanted}.",
            why=f"{lacks.why}{rest}",
            by=show.load_in,
            mark="question",
            group="short",
        )


def suspect_rows(shows: QuerySet[Show] | list[Show]) -> QuerySet[PullRow]:
    """Return the rows of pull lists that ask by name for what is suspect, the soonest show first."""
    named = PullRow.objects.filter(item__suspect_since__isnull=False, item__retired_on=None, show__in=shows)
    return named.select_related("item__type", "show").order_by("show__load_in", "rank")


def suspect_on_list(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Name the suspect things a coming show asks for by name."""
    for row in suspect_rows(Show.objects.coming_at(at).filter(load_in__lte=at + COMING))[:FEW]:
        assert row.item is not None  # noqa: S101 (the filter asks for an item)
        on = f" for line {row.line}" if row.line else ""
        yield Need(
            key=f"suspect-named:{row.pk}",
            name=row.item.label,
            code=spelled(row.item.code),
            url=row.item.get_absolute_url(),
            fact=f"Suspect since {day_words(row.item.suspect_since)}, and {row.show.name} asks for it{on}.",
            why="Prove it, or put another on the list.",
            by=row.show.load_in,
            mark="question",
            standing="suspect",
            group="suspect",
        )


def pack(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Name the show that loads next and is not packed: the next thing to do."""
    shows = [show for show in coming_shows(at) if show.load_in <= at + LOADING]
    progress = pulls_progress(shows, day=today(at))
    may_edit = cast(Person, request.user).is_technician
    for show in shows:
        totals = totals_of(progress[show.pk])
        if totals.wanted == 0:
            yield Need(
                key=f"list:{show.pk}",
                name="Write the pull list",
                code=show.name,
                url=reverse("pull", args=[show.pk]) if may_edit else show.get_absolute_url(),
                fact="Nothing is asked for yet.",
                why=f"{show.name} loads {day_words(show.load_in)}.",
                by=show.load_in,
                mark="type",
                next_step=may_edit,
                group="pack",
            )
        elif totals.lacking:
            yield Need(
                key=f"pack:{show.pk}",
                name=f"Pack {totals.lacking}",
                code=show.name,
                url=f"{reverse('dock')}?show={show.pk}&way=out",
                fact=f"{totals.packed} of {totals.wanted} are scanned out.",
                why="Scan what goes out; the list counts along.",
                by=show.load_in,
                mark="out",
                next_step=True,
                group="pack",
            )


def not_ready(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Say of the show that loads next, where somebody planned its lines, what keeps it gravely from being ready."""
    show = next((one for one in coming_shows(at, LOADING, 1)), None)
    if show is None or not show.lines.exists():
        return
    grave = grave_of_plan(show, at)  # what is short, suspect or not packed has a strip of its own
    if grave:
        yield Need(
            key=f"not-ready:{show.pk}",
            name="Not ready",
            code=show.name,
            url=reverse("readiness", args=[show.pk]),
            fact=grave[0].words,
            why=f"{len(grave) - 1} more like it." if len(grave) > 1 else "",
            by=show.load_in,
            mark="question",
            group="not ready",
        )
