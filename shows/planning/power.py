"""What hangs on each supply of a show: amps by what is on record, and what is not. Records only: nothing here is called safe.

A competent person plans the supply. What is near its rating is our own proposal of where to look.
"""

from collections import defaultdict
from dataclasses import dataclass, field

from inventory.calc.kinds import Kind
from inventory.models import GearType
from shows.calc.lines import PlaceSort, Side
from shows.models import FeedPressed, InputLine, Show, StageLoad, StagePlace, VenueFeed

NEAR = 0.8  # of what a feed gives. Our proposal.
NO_FEED = "no feed named"


@dataclass(kw_only=True)
class Fed:
    """A feed (None: places that name none): what is plugged in by name, amps on record, and what nobody knows the draw of."""

    feed: VenueFeed | None
    amps: float = 0.0
    plugged: list[str] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)
    places: list[str] = field(default_factory=list)
    pressed: FeedPressed | None = None

    @property
    def name(self) -> str:
        return self.feed.name if self.feed else NO_FEED

    @property
    def share(self) -> float | None:
        return self.amps / self.feed.amps if self.feed and self.feed.amps else None

    @property
    def over(self) -> bool:
        return self.share is not None and self.share > 1

    @property
    def near(self) -> bool:
        return self.share is not None and NEAR < self.share <= 1

    @property
    def says(self) -> str:
        """Say it in a sentence with its numbers."""
        told = f"{self.amps:.1f}\u2009A on record"
        if self.feed and self.feed.amps:
            told += f" of {self.feed.amps:g}\u2009A"
        if self.over:
            told += ": more than it gives"
        elif self.near:
            told += ": near what it gives"
        if self.unknown:
            told += f"; not known: {', '.join(self.unknown)}"
        return f"{told}."


@dataclass(frozen=True, kw_only=True)
class Apart:
    """A line whose source hangs on one supply and its input, the desk or a digital stage box, on another."""

    line: InputLine
    here: VenueFeed
    there: VenueFeed
    into: str

    @property
    def says(self) -> str:
        """Say it in a sentence."""
        return f"{self.line.source} hangs on {_with_phase(self.here)}, {self.into} on {_with_phase(self.there)}."


@dataclass(frozen=True, kw_only=True)
class Power:
    """Every feed with what hangs on it, amps by phase, and the lines whose source and input hang on different supplies."""

    feeds: tuple[Fed, ...]
    phases: tuple[tuple[str, float], ...]
    apart: tuple[Apart, ...]

    @property
    def over(self) -> tuple[Fed, ...]:
        return tuple(one for one in self.feeds if one.over)

    @property
    def to_press(self) -> tuple[Fed, ...]:
        """Return the feeds in use, or on record, whose residual-current device nobody has pressed here yet."""
        return tuple(one for one in self.feeds if one.feed is not None and one.feed.residual and one.pressed is None)


def power_of(show: Show) -> Power:
    """Sum what is plugged in at each feed of a show's venue; five queries."""
    feeds = {feed.pk: feed for feed in VenueFeed.objects.filter(venue=show.venue_id)} if show.venue_id else {}
    held: dict[int | None, Fed] = {pk: Fed(feed=feed) for pk, feed in feeds.items()}
    stands = StagePlace.objects.filter(show=show).select_related("feed", "type__stage_box_facts", "type__desk_facts")
    places = {place.pk: place for place in stands}
    for place in places.values():
        fed = held.setdefault(place.feed_id, Fed(feed=feeds.get(place.feed_id or 0)))
        fed.places.append(place.name)
        if place.sort == PlaceSort.MIX or is_digital_box(place):  # they draw, and no record says how much
            fed.unknown.append(f"{place.type.name}, {place.name}" if place.type else f"the desk, {place.name}")
    loads = StageLoad.objects.filter(place__in=places).select_related("type__loudspeaker_facts", "type__amplifier_facts")
    for load in loads:
        _plug(held[places[load.place_id].feed_id], load.type, load.count, places[load.place_id].name)
    lines = list(InputLine.objects.filter(show=show, type__is_mains=True).select_related("type").order_by("way", "number"))
    for line in lines:
        if line.side == Side.RIGHT or line.type is None:  # both halves of a keyboard are one plug
            continue
        stand = places.get(line.place_id or 0)
        key = stand.feed_id if stand is not None else None
        fed = held.setdefault(key, Fed(feed=None))
        fed.amps += line.type.mains_a or 0
        (fed.unknown if line.type.mains_a is None else fed.plugged).append(line.source)
    for pressed in FeedPressed.objects.filter(show=show).select_related("person"):
        if pressed.feed_id in held:
            held[pressed.feed_id].pressed = pressed
    phases: dict[str, float] = defaultdict(float)
    for one in held.values():
        if one.feed is not None and one.feed.phase:
            phases[one.feed.phase] += one.amps
    told = [one for one in held.values() if one.feed is not None or one.plugged or one.unknown]
    order = sorted(told, key=lambda one: (one.feed is None, one.name))
    return Power(feeds=tuple(order), phases=tuple(sorted(phases.items())), apart=_apart(lines, places))


def is_digital_box(place: StagePlace) -> bool:
    """Say whether a place is a stage box with inputs of its own, which hangs on a supply."""
    return place.type is not None and place.type.kind == Kind.STAGE_BOX and bool(getattr(place.type.facts, "digital", False))


def _apart(lines: list[InputLine], places: dict[int, StagePlace]) -> tuple[Apart, ...]:
    mix = next((place for place in places.values() if place.sort == PlaceSort.MIX), None)
    found = []
    for line in lines:
        stand, box = places.get(line.place_id or 0), places.get(line.box_id or 0)
        there = box if box is not None and is_digital_box(box) else mix
        here, far = stand and stand.feed, there and there.feed
        if there is not None and here and far and here != far and line.side != Side.RIGHT:
            found.append(Apart(line=line, here=here, there=far, into=there.name))
    return tuple(found)


def _with_phase(feed: VenueFeed) -> str:
    return f"{feed.name} ({feed.phase})" if feed.phase else feed.name


def _plug(fed: Fed, type_: GearType, count: int, where: str) -> None:
    kind = Kind(type_.kind)
    facts = type_.facts if kind in {Kind.LOUDSPEAKER, Kind.AMPLIFIER} else None
    amps = getattr(facts, "mains_a", None)
    name = f"{count} {type_.name}" if count > 1 else type_.name
    if amps is None:
        fed.unknown.append(name)
    else:
        fed.amps += count * amps
        fed.plugged.append(f"{name}, {where}")
