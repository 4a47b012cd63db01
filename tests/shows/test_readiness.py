"""Is it ready: a sentence for each thing that keeps it from being so, the grave first, never a percentage."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from company.clock import now
from inventory.models import GearType
from shows.models import FeedPressed, InputLine, SourceType, StageLoad, StagePlace, VenueFeed
from shows.planning.readiness import readiness_of
from tests.builders import NOW, make_checkout, make_item, make_person, make_pull_row, make_show, make_venue


@pytest.fixture
def house(catalogue, company):
    for _ in range(3):
        make_item(type=kind_of("mic-dynamic-vocal"))
    return make_show(venue=make_venue())


def kind_of(key):
    return GearType.objects.get(key=key)


def add(show, number, source, kind="voice", **kw):
    return InputLine.objects.create(
        show=show, number=number, source=source, type=SourceType.objects.get(key=kind) if kind else None, **kw
    )


def said(show):
    return {one.key: one for one in readiness_of(show, NOW).because}


def test_a_line_without_a_kind_is_named_with_the_page_where_it_is_said(house):
    add(house, 1, "Voice")
    add(house, 7, "Two more", kind=None)
    one = said(house)["kind"]
    assert one.words == "Line 7 Two more has no kind of source: nothing can be told of it."
    assert one.url == f"/shows/{house.pk}/lines/" and not one.grave


def test_two_lines_on_one_input_are_grave_and_come_first(house):
    add(house, 1, "Voice", desk_input=3)
    add(house, 2, "Other", desk_input=3)
    found = readiness_of(house, NOW)
    assert found.because[0].words == "Lines 1 Voice and 2 Other are both on desk input 3." and found.because[0].grave
    graves = [one.grave for one in found.because]
    assert graves == sorted(graves, reverse=True)


def test_a_line_past_the_last_input_is_told(house):
    house.venue.house_desk_type = kind_of("desk-analogue-12")
    house.venue.save(update_fields=["house_desk_type"])
    add(house, 13, "Voice")
    assert said(house)["inputs:Small analogue desk 12"].words.startswith("Small analogue desk 12 has 12 inputs: Line 13 Voice")


def test_a_button_not_pressed_keeps_it_and_pressing_it_does_not_call_anything_safe(house):
    feed = VenueFeed.objects.create(venue=house.venue, name="Stage left", amps=16, residual=True)
    place = StagePlace.objects.create(show=house, name="Bass", x_mm=1, y_mm=1, feed=feed)
    add(house, 1, "Voice", place=place)
    assert "was not pressed" in said(house)[f"pressed:{feed.pk}"].words
    FeedPressed.objects.create(show=house, feed=feed, pressed_at=NOW)
    found = readiness_of(house, NOW)
    assert f"pressed:{feed.pk}" not in {one.key for one in found.because}
    assert not [one for one in found.because if "safe" in one.words.lower()]


def test_a_supply_that_is_asked_for_more_than_it_gives_is_grave(house):
    feed = VenueFeed.objects.create(venue=house.venue, name="Stage left", amps=5, residual=False)
    place = StagePlace.objects.create(show=house, name="Stack", x_mm=1, y_mm=1, feed=feed)
    StageLoad.objects.create(place=place, type=kind_of("loudspeaker-sub"), count=2)
    add(house, 1, "Voice", place=place)
    found = said(house)
    assert found[f"amps:{feed.pk}"].grave and "more than it gives" in found[f"amps:{feed.pk}"].words
    assert "no residual-current device" in found[f"residual:{feed.pk}"].words


def test_places_and_boxes_nobody_placed_are_named(house):
    StagePlace.objects.create(show=house, name="Mix", sort="mix")
    add(house, 1, "Voice")
    found = said(house)
    assert found["places"].words == "Mix has no place on the stage yet: leads to it cannot be told."
    assert found["nowhere"].words.startswith("Line 1 Voice is nowhere on the stage")
    assert "Mix hangs on" in found["unfed"].words


def test_what_is_suspect_short_or_in_the_shop_keeps_it(house):
    item = make_item(type=kind_of("mic-dynamic-vocal"), name="Q", suspect_since=NOW)
    make_pull_row(house, type=item.type, item=item, count=1)
    make_pull_row(house, type=kind_of("headphones"), count=2)
    found = said(house)
    assert found[f"standing:{item.pk}"].grave and "is suspect." in found[f"standing:{item.pk}"].words
    assert any(one.key.startswith("short:") and "Short 2 Headphones" in one.words for one in found.values())
    assert any(one.words == "2 of Headphones are still in the shop." for one in found.values())


def test_when_nothing_is_wrong_one_calm_sentence_says_what_was_looked_at(house, client):
    item = make_item(type=kind_of("headphones"), tested_on=NOW.date())
    make_pull_row(house, type=item.type, count=1)
    make_checkout(house, item)
    found = readiness_of(house, NOW)
    assert found.ready and "1 thing on the pull list" in found.looked
    client.force_login(make_person("hand"))
    page = client.get(f"/shows/{house.pk}/ready/").content.decode()
    assert "Nothing was found that keeps it" in page and "%" not in page.split("<main")[1].split("</main")[0]


def test_the_page_the_show_and_the_api_say_the_same_sentences(house, client):
    house = make_show(load_in=now() + timedelta(hours=8), venue=house.venue)
    add(house, 7, "Two more", kind=None)
    client.force_login(make_person("technician"))
    words = "Line 7 Two more has no kind of source: nothing can be told of it."
    assert words in client.get(f"/shows/{house.pk}/ready/").content.decode()
    answer = client.get(f"/api/shows/{house.pk}/readiness").json()
    assert words in answer["not_ready_because"] and answer["ready"] is False
    assert "not ready because" in client.get(f"/shows/{house.pk}/").content.decode()
    # and of the show that loads next, Today says what is grave
    add(house, 8, "One", desk_input=3)
    add(house, 9, "Other", desk_input=3)
    assert "Lines 8 One and 9 Other are both on desk input 3." in client.get("/needs/").content.decode()


def test_looking_a_show_over_asks_the_same_number_of_queries_for_two_lines_and_for_fifty(house):
    counts = []
    for numbers in (range(1, 3), range(3, 51)):
        for number in numbers:
            add(house, number, f"Voice {number}")
        with CaptureQueriesContext(connection) as caught:
            readiness_of(house, NOW)
        counts.append(len(caught))
    assert counts[0] == counts[1]
