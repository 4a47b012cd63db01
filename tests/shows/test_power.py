"""Power as it is told of a stage: nothing that draws is left out, lines on two supplies are named, the venue is drawn."""

import xml.etree.ElementTree as ET

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.calc.kinds import Kind
from inventory.models import AmplifierFacts, StageBoxFacts
from shows.calc.lines import PlaceSort, Side
from shows.models import InputLine, StageLoad, StagePlace, VenueFeed
from shows.planning.power import NO_FEED, power_of
from tests.builders import make_show, make_source, make_type, make_venue


@pytest.fixture
def show(company):
    return make_show(name="Harvest ceilidh", venue=make_venue(name="Tithe barn"))


@pytest.fixture
def left(show):
    return VenueFeed.objects.create(venue=show.venue, name="Left", phase="L1", amps=16)


@pytest.fixture
def house(show):
    return VenueFeed.objects.create(venue=show.venue, name="House", phase="L2", amps=10)


@pytest.fixture
def keys(company):
    return make_source("keys", name="Keyboard", family="keys", is_mains=True, mains_a=0.5)


def place(show, name, **kw):
    return StagePlace.objects.create(show=show, name=name, x_mm=0, y_mm=0, **kw)


def line(show, number, source, kind, **kw):
    return InputLine.objects.create(show=show, number=number, source=source, type=kind, **kw)


def fed(show, name):
    return next(one for one in power_of(show).feeds if one.name == name)


def test_a_mains_source_that_nobody_has_placed_is_named_under_no_feed(show, left, keys):
    line(show, 1, "Keys", keys)
    assert (fed(show, NO_FEED).amps, fed(show, NO_FEED).plugged, fed(show, "Left").amps) == (0.5, ["Keys"], 0)


def test_a_draw_nobody_knows_is_named_beside_a_known_one_of_the_same_name(show, left, keys):
    stand = place(show, "Riser", feed=left)
    line(show, 1, "Keys", keys, place=stand)
    line(show, 2, "Keys", make_source("synth", name="Synthesiser", family="keys", is_mains=True), place=stand)
    told = fed(show, "Left")
    assert (told.amps, told.plugged, told.unknown) == (0.5, ["Keys"], ["Keys"])


def test_desk_and_digital_stage_box_are_named_as_not_known_and_a_passive_box_is_not(show, left, house):
    digital, passive = make_type(Kind.STAGE_BOX, name="Digital box"), make_type(Kind.STAGE_BOX, name="Passive box")
    StageBoxFacts.objects.create(type=digital, digital=True, inputs=16)
    StageBoxFacts.objects.create(type=passive, digital=False, inputs=16)
    place(show, "Box A", sort=PlaceSort.BOX, type=digital, feed=left)
    place(show, "Box B", sort=PlaceSort.BOX, type=passive, feed=left)
    place(show, "Mix", sort=PlaceSort.MIX, feed=house)
    place(show, "Bass")  # draws nothing and names no feed: not worth a row
    assert {one.name for one in power_of(show).feeds} == {"Left", "House"}
    assert fed(show, "Left").unknown == ["Digital box, Box A"]
    assert fed(show, "House").says == "0.0\u2009A on record of 10\u2009A; not known: the desk, Mix."


@pytest.mark.parametrize(("count", "near", "over"), [(8, False, False), (9, True, False), (10, True, False), (11, False, True)])
def test_near_begins_above_four_fifths_and_over_above_all_of_it(show, house, count, near, over):
    rack = make_type(Kind.AMPLIFIER, name="Amplifier rack")
    AmplifierFacts.objects.create(type=rack, mains_a=1.0)
    StageLoad.objects.create(place=place(show, "Wing", feed=house), type=rack, count=count)
    told = fed(show, "House")
    assert (told.amps, told.near, told.over) == (count, near, over)


def test_a_source_and_its_input_on_two_supplies_are_said_and_on_one_are_not(as_hand, show, left, house, keys):
    riser, mix = place(show, "Riser", feed=left), place(show, "Mix", sort=PlaceSort.MIX, feed=house)
    line(show, 1, "Keys L", keys, side=Side.LEFT, place=riser)
    line(show, 2, "Keys R", keys, side=Side.RIGHT, place=riser)
    line(show, 3, "Voice", make_source("voice", name="Voice"), place=riser)
    assert [one.says for one in power_of(show).apart] == ["Keys L hangs on Left (L1), Mix on House (L2)."]
    assert "Keys L hangs on Left (L1), Mix on House (L2)." in as_hand.get(reverse("stage", args=[show.pk])).content.decode()
    mix.feed = left
    mix.save()
    assert power_of(show).apart == ()


def test_a_digital_box_on_the_sources_own_supply_is_its_input_and_a_passive_one_is_not(show, left, house, keys):
    kind = make_type(Kind.STAGE_BOX, name="Stage box")
    facts = StageBoxFacts.objects.create(type=kind, digital=True, inputs=16)
    place(show, "Mix", sort=PlaceSort.MIX, feed=house)
    box = place(show, "Box", sort=PlaceSort.BOX, type=kind, feed=left)
    line(show, 1, "Keys", keys, place=place(show, "Riser", feed=left), box=box, box_input=1)
    assert power_of(show).apart == ()
    facts.digital = False
    facts.save()
    assert [one.into for one in power_of(show).apart] == ["Mix"]


def test_power_asks_five_queries_for_one_of_each_and_for_fifty(show, left, house, keys):
    rack, monitor = make_type(Kind.AMPLIFIER, name="Rack"), make_type(Kind.LOUDSPEAKER, name="Monitor")
    digital = make_type(Kind.STAGE_BOX, name="Digital box")
    StageBoxFacts.objects.create(type=digital, digital=True, inputs=16)
    AmplifierFacts.objects.create(type=rack, mains_a=1.0)
    place(show, "Mix", sort=PlaceSort.MIX, feed=house)

    def add(n):
        box = place(show, f"Box {n}", sort=PlaceSort.BOX, type=digital, feed=house)
        stand = place(show, f"Place {n}", feed=left)
        StageLoad.objects.create(place=stand, type=rack)
        StageLoad.objects.create(place=stand, type=monitor)
        line(show, n, f"Keys {n}", keys, place=stand, box=box, box_input=1)

    add(1)
    for n in range(2, 51):
        with CaptureQueriesContext(connection) as asked:
            if n in (2, 50):
                told = power_of(show)
                assert [one.says for one in told.apart]
        assert n not in (2, 50) or len(asked) == 5
        add(n)
    assert len(told.apart) == 49


def test_a_venue_shows_its_empty_stage_once_its_size_is_known(as_hand, show):
    venue = show.venue
    venue.stage_width_mm, venue.stage_depth_mm = None, None
    venue.save()
    assert "<svg viewBox" not in as_hand.get(venue.get_absolute_url()).content.decode().split("<main")[1].split('id="feeds"')[0]
    venue.stage_width_mm, venue.stage_depth_mm, venue.stage_to_mix_mm = 8_000, 6_000, 12_000
    venue.save()
    page = as_hand.get(venue.get_absolute_url()).content.decode()
    drawing = page[page.index('<figure class="floor-plan venue-stage">') :]
    root = ET.fromstring(drawing[: drawing.index("</figure>") + 9])
    front = next(part for part in root.iter("line") if part.get("class") == "front")
    assert (front.get("x1"), front.get("x2")) == ("0", "8000")
    assert any((text.text or "").startswith("mix") for text in root.iter("text"))
