"""What the demo's shows have on stage: the supplies of their venues, places, lines, and which buttons were pressed."""

import json
from datetime import timedelta
from pathlib import Path
from typing import Any, TypeVar

from django.conf import settings
from django.db.models import Model

from shows.demo.stock import Cast
from shows.models import FeedPressed, InputLine, Show, SourceType, StageLoad, StagePlace, StagePlan, Venue, VenueFeed

PLANS = Path(settings.BASE_DIR) / "fixtures" / "demo_plans.json"
Row = TypeVar("Row", bound=Model)
PLAIN = ("number", "source", "way", "side", "player", "box_input", "phantom", "feed", "whose", "critical", "notes")


def plans_make(*, cast: Cast) -> None:
    """Plan the demo's shows as the fixture tells."""
    told = json.loads(PLANS.read_text(encoding="utf-8"))
    for venue, feeds in told["feeds"].items():
        place = Venue.objects.get(name=venue)
        for feed in feeds:
            _kept(VenueFeed(venue=place, **feed))
    for entry in told["plans"]:
        _plan(cast, Show.objects.select_related("venue").get(name=entry["show"]), entry)


def _kept(row: Row) -> Row:
    row.full_clean()
    row.save(force_insert=True)
    return row


def _plan(cast: Cast, show: Show, entry: dict[str, Any]) -> None:
    feeds = {feed.name: feed for feed in VenueFeed.objects.filter(venue=show.venue)}
    _kept(StagePlan(show=show, desk=cast.types[entry["desk"]] if entry["desk"] else None))
    places = {told["name"]: _place(cast, show, told, feeds) for told in entry["places"]}
    kinds = {kind.key: kind for kind in SourceType.objects.all()}
    for told in entry["lines"]:
        _kept(
            InputLine(
                show=show,
                type=kinds[told["kind"]] if told["kind"] else None,
                place=places[told["where"]] if "where" in told else None,
                box=places[told["box"]] if "box" in told else None,
                pickup=cast.types[told["pickup"]] if "pickup" in told else None,
                desk_input=told.get("desk"),
                **{name: told[name] for name in PLAIN if name in told},
            )
        )
    for name in entry["pressed"]:
        pressed_at = show.load_in + timedelta(minutes=50)
        FeedPressed.objects.create(show=show, feed=feeds[name], pressed_at=pressed_at, person=cast.people["technician"])


def _place(cast: Cast, show: Show, told: dict[str, Any], feeds: dict[str, VenueFeed]) -> StagePlace:
    place = _kept(
        StagePlace(
            show=show,
            name=told["name"],
            sort=told.get("sort", "source"),
            x_mm=told.get("x"),
            y_mm=told.get("y"),
            feed=feeds[told["feed"]] if "feed" in told else None,
            type=cast.types[told["type"]] if "type" in told else None,
        )
    )
    for key, count in told.get("loads", []):
        _kept(StageLoad(place=place, type=cast.types[key], count=count))
    return place
