"""A show's stage as rows become a drawing: sizes, places with what comes from them, runs to their box or the mix."""

import hashlib
import json
from collections import Counter, defaultdict
from dataclasses import dataclass
from typing import Any

from inventory.calc.kinds import Kind
from shows.calc.lead_runs import RunError, need_mm
from shows.calc.lines import LineWay, PlaceSort
from shows.calc.stage_plan import FRONT_MM, Drawing, Floor, Spot, distance_mm, drawn, wrong_with
from shows.models import InputLine, Show, StageLoad, StagePlace, StagePlan, Venue
from shows.planning.advice import plan_of

NAMED = 3  # sources lettered under a cross


@dataclass(frozen=True, kw_only=True)
class PlaceTold:
    """A place with what the page says of it: what comes from it, its run, and what to look at."""

    place: StagePlace
    sources: tuple[str, ...]
    runs_to: StagePlace | None
    straight_mm: int | None
    need_mm: int | None
    inputs: int | None
    patched: int
    loads: tuple[StageLoad, ...]
    look: str


@dataclass(frozen=True, kw_only=True)
class StageTold:
    """The whole stage: the plan, its floor, every place, and the drawing."""

    show: Show
    plan: StagePlan
    floor: Floor
    places: tuple[PlaceTold, ...]
    drawing: Drawing

    @property
    def to_hold(self) -> tuple[PlaceTold, ...]:
        """Return the places that can be moved on the drawing: what is drawn nearer than it stands is moved by its figures."""
        return tuple(one for one in self.places if one.place.y_mm is not None and one.place.y_mm >= -FRONT_MM)

    @property
    def unplaced(self) -> tuple[PlaceTold, ...]:
        return tuple(one for one in self.places if one.place.x_mm is None)


def floor_of(show: Show, plan: StagePlan) -> Floor:
    """Return a show's stage: as the plan has it, or as its venue does."""
    venue = show.venue
    return Floor(
        width_mm=plan.width_mm or (venue.stage_width_mm if venue else None),
        depth_mm=plan.depth_mm or (venue.stage_depth_mm if venue else None),
    )


def venue_drawing(venue: Venue, *, imperial: bool = False) -> Drawing | None:
    """Draw a venue's stage with nothing on it but where the mix stands; None while its size is not known."""
    floor = Floor(width_mm=venue.stage_width_mm, depth_mm=venue.stage_depth_mm)
    if floor.width_mm is None or not floor.known:
        return None
    out = venue.stage_to_mix_mm
    mix = [Spot(key="mix", name="mix", sort=PlaceSort.MIX, x_mm=floor.width_mm // 2, y_mm=-out)] if out else []
    return drawn(floor, mix, imperial=imperial)


def stage_of(show: Show, *, imperial: bool = False) -> StageTold:
    """Read a show's stage; a constant number of queries."""
    plan = plan_of(show)
    floor = floor_of(show, plan)
    places = list(
        StagePlace.objects.filter(show=show).select_related(
            "feed", "type__stage_box_facts", "type__multicore_facts", "type__desk_facts"
        )
    )
    by_key = {place.pk: place for place in places}
    lines = list(InputLine.objects.filter(show=show).order_by("way", "number"))
    loads: dict[int, list[StageLoad]] = defaultdict(list)
    for load in StageLoad.objects.filter(place__show=show).select_related("type"):
        loads[load.place_id].append(load)
    mix = next((place for place in places if place.sort == PlaceSort.MIX), None)
    spots = {place.pk: _spot(place, lines, by_key, mix) for place in places}
    looks = wrong_with(floor, list(spots.values()))
    told = tuple(_told(place, plan, spots, by_key, lines, loads[place.pk], looks) for place in places)
    return StageTold(
        show=show, plan=plan, floor=floor, places=told, drawing=drawn(floor, list(spots.values()), imperial=imperial)
    )


def _spot(place: StagePlace, lines: list[InputLine], by_key: dict[int, StagePlace], mix: StagePlace | None) -> Spot:
    there = _runs_to(place, lines, by_key, mix)
    names = [line.source for line in lines if line.place_id == place.pk and line.source.lower() != place.name.lower()]
    more = f" +{len(names) - NAMED}" if len(names) > NAMED else ""
    return Spot(
        key=str(place.pk),
        name=place.name,
        sort=place.sort,
        x_mm=place.x_mm,
        y_mm=place.y_mm,
        under=", ".join(names[:NAMED]) + more,
        runs_to=str(there.pk) if there else "",
        played=any(line.place_id == place.pk and line.way == LineWay.IN for line in lines) or place.sort != PlaceSort.SOURCE,
    )


def _runs_to(
    place: StagePlace, lines: list[InputLine], by_key: dict[int, StagePlace], mix: StagePlace | None
) -> StagePlace | None:
    """Return where most of a place's lines go: a stage box, or the mix; a stage box itself goes to the mix."""
    if place.sort == PlaceSort.MIX:
        return None
    if place.sort == PlaceSort.BOX:
        return mix
    boxes = Counter(line.box_id for line in lines if line.place_id == place.pk and line.box_id)
    if boxes:
        return by_key.get(boxes.most_common(1)[0][0])
    return mix if any(line.place_id == place.pk for line in lines) else None


def _told(
    place: StagePlace,
    plan: StagePlan,
    spots: dict[int, Spot],
    by_key: dict[int, StagePlace],
    lines: list[InputLine],
    loads: list[StageLoad],
    looks: dict[str, str],
) -> PlaceTold:
    there = by_key.get(int(spots[place.pk].runs_to)) if spots[place.pk].runs_to else None
    straight = distance_mm(spots[place.pk], spots[there.pk]) if there else None
    try:
        need = need_mm(straight, route_factor=plan.route_factor, slack_mm=plan.slack_mm) if straight is not None else None
    except RunError:
        need = None
    inputs = inputs_at(place)
    patched = sum(line.box_id == place.pk and line.way == LineWay.IN for line in lines)
    look = looks.get(str(place.pk), "")
    if inputs is not None and patched > inputs:
        look = f"{patched} lines come into it and it has {inputs} inputs."
    return PlaceTold(
        place=place,
        sources=tuple(str(line) for line in lines if line.place_id == place.pk),
        runs_to=there,
        straight_mm=None if straight is None else round(straight / 100) * 100,
        need_mm=None if need is None else -(-need // 100) * 100,
        inputs=inputs,
        patched=patched,
        loads=tuple(loads),
        look=look,
    )


def inputs_at(place: StagePlace) -> int | None:
    """Return how many inputs the box at a place has, where that is on record."""
    facts = place.type.facts if place.type is not None else None
    if facts is None or place.type is None:
        return None
    return getattr(facts, "sends" if place.type.kind == Kind.MULTICORE else "inputs", None)


def kept_of(show: Show) -> dict[str, Any]:
    """Return a show's stage as it can be put back: what undo keeps, and by what two people's changes are told apart."""
    plan = plan_of(show)
    loads: dict[int, list[list[int]]] = defaultdict(list)
    for place, type_, count in (
        StageLoad.objects.filter(place__show=show).order_by("type").values_list("place", "type", "count")
    ):
        loads[place].append([type_, count])
    fields = ("pk", "name", "sort", "x_mm", "y_mm", "feed", "type")
    rows = StagePlace.objects.filter(show=show).order_by("pk").values(*fields)
    return {
        "plan": [plan.width_mm, plan.depth_mm, plan.desk_id, plan.route_factor, plan.slack_mm],
        "places": [{**row, "loads": loads[row["pk"]]} for row in rows],
    }


def digest_of(kept: dict[str, Any]) -> str:
    """Return a short mark of a stage as it stands."""
    return hashlib.sha256(json.dumps(kept, sort_keys=True).encode()).hexdigest()[:16]
