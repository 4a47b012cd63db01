"""Writes to a show's stage: the whole plan at once, and back; feeds of a venue; buttons pressed."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from company.models import Person
from inventory.models import GearType
from shows.calc.lines import PlaceSort
from shows.models import FeedPressed, Show, StageLoad, StagePlace, StagePlan, VenueFeed
from shows.planning.stage import digest_of, kept_of

MOST_PLACES = 80


class StaleStageError(ValidationError):
    """Somebody else changed the stage meanwhile."""


@dataclass(kw_only=True)
class PlaceWanted:
    """A place as it shall be: `pk` None is a new one; `gone`: it is taken off the plan."""

    pk: int | None
    name: str
    sort: str = PlaceSort.SOURCE
    x_mm: int | None = None
    y_mm: int | None = None
    feed: int | None = None
    type: int | None = None
    loads: list[tuple[int, int]] = field(default_factory=list)
    gone: bool = False


@transaction.atomic
def stage_save(*, show: Show, plan: dict[str, Any], places: Sequence[PlaceWanted], seen: str) -> dict[str, Any]:
    """Write a whole stage and answer what it was before, as `stage_put_back` takes it. All of it, or nothing.

    Raises StaleStageError where the stage is no longer what `seen` marks (empty: not asked), ValidationError with a dictionary
    {"<place number>-<field>": sentence} where something cannot be.
    """
    Show.objects.select_for_update().get(pk=show.pk)
    before = kept_of(show)
    if seen and seen != digest_of(before):
        raise StaleStageError(
            "Somebody changed this stage after you had opened it. What you typed is kept below: "
            "saving now puts yours in its place."
        )
    wrong = _plan_write(show, plan)
    wrong |= _places_write(show, list(places))
    if wrong:
        raise ValidationError(wrong)
    return before


def _plan_write(show: Show, wanted: dict[str, Any]) -> dict[str, list[str]]:
    held = StagePlan.objects.filter(show=show).first() or StagePlan(show=show)
    for name, value in wanted.items():
        setattr(held, name, value)
    try:
        held.full_clean(validate_unique=False)
    except ValidationError as error:
        return {f"plan-{name}": words for name, words in error.message_dict.items()}
    held.save()
    return {}


def _places_write(show: Show, places: list[PlaceWanted]) -> dict[str, list[str]]:
    there = {place.pk: place for place in StagePlace.objects.filter(show=show)}
    wrong: dict[str, list[str]] = {}
    if len(places) > MOST_PLACES:
        return {"__all__": [f"A stage has at most {MOST_PLACES} places."]}
    feeds = set(VenueFeed.objects.filter(venue=show.venue_id).values_list("pk", flat=True)) if show.venue_id else set()
    StagePlace.objects.filter(show=show, pk__in=[one.pk for one in places if one.gone and one.pk]).delete()
    named: dict[str, int] = {}
    # what changes its name steps aside first: two places may change names with each other
    for one in places:
        if one.pk in there and not one.gone and there[one.pk].name != one.name:
            StagePlace.objects.filter(pk=one.pk).update(name=f"~{one.pk}")
    for number, one in enumerate(places):
        if one.gone:
            continue
        held = there.get(one.pk or 0) or StagePlace(show=show)
        held.name, held.sort, held.x_mm, held.y_mm = one.name, one.sort, one.x_mm, one.y_mm
        held.feed_id, held.type_id = one.feed if one.feed in feeds else None, one.type
        if (twin := named.setdefault(one.name.casefold(), number)) != number:
            wrong[f"{number}-name"] = [f"Place {twin + 1} has that name."]
            continue
        try:
            held.full_clean(validate_unique=False)
        except ValidationError as error:
            wrong |= {f"{number}-{name}": words for name, words in error.message_dict.items()}
            continue
        held.save()
        _loads_write(held, one.loads)
    if sum(one.sort == PlaceSort.MIX and not one.gone for one in places) > 1:
        wrong["__all__"] = ["A stage has one mix position."]
    return wrong


def _loads_write(place: StagePlace, loads: list[tuple[int, int]]) -> None:
    wanted = dict(loads)
    StageLoad.objects.filter(place=place).exclude(type__in=wanted).delete()
    for type_, count in wanted.items():
        StageLoad.objects.update_or_create(place=place, type_id=type_, defaults={"count": count})


@transaction.atomic
def stage_put_back(*, show: Show, kept: dict[str, Any]) -> dict[str, Any]:
    """Put a stage back as `kept` has it and answer what it was until now. What is gone from the record stays gone."""
    before = kept_of(show)
    width, depth, desk, route, slack = kept["plan"]
    desk = desk if GearType.objects.filter(pk=desk).exists() else None
    plan = {"width_mm": width, "depth_mm": depth, "desk_id": desk, "route_factor": route, "slack_mm": slack}
    now_there = set(StagePlace.objects.filter(show=show).values_list("pk", flat=True))
    types = set(GearType.objects.values_list("pk", flat=True))
    places = [
        PlaceWanted(
            pk=one["pk"] if one["pk"] in now_there else None,
            name=one["name"],
            sort=one["sort"],
            x_mm=one["x_mm"],
            y_mm=one["y_mm"],
            feed=one["feed"],
            type=one["type"] if one["type"] in types else None,
            loads=[(type_, count) for type_, count in one["loads"] if type_ in types],
        )
        for one in kept["places"]
    ]
    kept_now = {one.pk for one in places if one.pk}
    places += [PlaceWanted(pk=pk, name="", gone=True) for pk in now_there - kept_now]
    stage_save(show=show, plan=plan, places=places, seen="")
    return before


def places_moved(*, show: Show, spots: dict[int, tuple[int, int]]) -> int:
    """Give places their coordinates; answers how many."""
    places = list(StagePlace.objects.filter(show=show, pk__in=spots))
    for place in places:
        place.x_mm, place.y_mm = spots[place.pk]
    return StagePlace.objects.bulk_update(places, ["x_mm", "y_mm"])


@transaction.atomic
def stage_to_venue(*, show: Show) -> None:
    """Keep a show's stage size and its distance to the mix for the venue's next show."""
    venue, plan = show.venue, StagePlan.objects.filter(show=show).first()
    if venue is None:
        raise ValidationError("This show has no venue to keep them for.")
    mix = StagePlace.objects.filter(show=show, sort=PlaceSort.MIX, y_mm__lt=0).first()
    if plan is not None and plan.width_mm:
        venue.stage_width_mm = plan.width_mm
    if plan is not None and plan.depth_mm:
        venue.stage_depth_mm = plan.depth_mm
    if mix is not None and mix.y_mm is not None:
        venue.stage_to_mix_mm = -mix.y_mm
    venue.full_clean()
    venue.save(update_fields=["stage_width_mm", "stage_depth_mm", "stage_to_mix_mm"])


def feed_pressed(*, show: Show, feed: VenueFeed, person: Person, at: datetime, done: bool) -> bool:
    """Note that a feed's test button was pressed at a show and it tripped, or take that back; False: nothing changed."""
    if feed.venue_id != show.venue_id:
        raise ValidationError("That feed is at another venue.")
    if not done:
        return FeedPressed.objects.filter(show=show, feed=feed).delete()[0] > 0
    return FeedPressed.objects.get_or_create(show=show, feed=feed, defaults={"pressed_at": at, "person": person})[1]
