"""The stage's page: drawn, saved as one, undone, kept for the venue; and what hangs on each supply."""

import xml.etree.ElementTree as ET

import pytest
from django.urls import reverse

from inventory.calc.kinds import Kind
from inventory.models import LoudspeakerFacts, StageBoxFacts
from shows.models import FeedPressed, InputLine, SourceType, StageLoad, StagePlace, StagePlan, VenueFeed
from shows.planning.power import power_of
from shows.planning.stage import stage_of
from tests.builders import make_show, make_type, make_venue


@pytest.fixture
def show(company):
    venue = make_venue(name="Tithe barn", stage_width_mm=8_000, stage_depth_mm=6_000, stage_to_mix_mm=12_000)
    return make_show(name="Harvest ceilidh", venue=venue)


@pytest.fixture
def feeds(show):
    return [
        VenueFeed.objects.create(venue=show.venue, name=name, phase="L1", amps=16, residual=True) for name in ("Left", "Right")
    ]


def place(show, name, x=None, y=None, **kw):
    return StagePlace.objects.create(show=show, name=name, x_mm=x, y_mm=y, **kw)


def posted(show, *rows, **plan):
    """Return what the page's form sends."""
    columns = ("pk", "name", "sort", "x", "y", "feed", "type", "loads")
    data = {f"place-{name}": [str(row.get(name, "source" if name == "sort" else "")) for row in rows] for name in columns}
    gone = [str(row["pk"]) for row in rows if row.get("gone")]
    return {**data, "place-gone": gone, "width": "", "depth": "", "slack": "2", "route": "1.3", "desk": "", **plan}


def url(show):
    return reverse("stage", args=[show.pk])


def test_a_stage_is_written_whole_and_read_back(as_technician, show, feeds):
    box = make_type(Kind.STAGE_BOX, name="Digital stage box")
    make_type(Kind.LOUDSPEAKER, name="Stage monitor")
    rows = [
        {"name": "Fiddle", "x": "2.5", "y": "1", "feed": feeds[0].pk, "loads": "2 stage monitor"},
        {"name": "Box", "sort": "stage box", "x": "0,5", "y": "5", "type": "digital stage box"},
        {"name": "Mix", "sort": "mix", "x": "4", "y": "-12"},
        {},
    ]
    assert as_technician.post(url(show), posted(show, *rows, width="9", depth="5.5")).status_code == 302
    fiddle = StagePlace.objects.get(name="Fiddle")
    assert (fiddle.x_mm, fiddle.y_mm, fiddle.feed) == (2_500, 1_000, feeds[0])
    assert StageLoad.objects.get(place=fiddle).count == 2
    assert StagePlace.objects.get(name="Box").type == box and StagePlace.objects.get(name="Mix").y_mm == -12_000
    plan = StagePlan.objects.get(show=show)
    assert (plan.width_mm, plan.depth_mm) == (9_000, 5_500)
    page = as_technician.get(url(show)).content.decode()
    assert 'value="2.5"' in page and "9\u2009m wide" in page


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({"name": "A", "x": "far"}, "Write it as 3.5"),
        ({"name": "A", "x": "3"}, "both its coordinates"),
        ({"name": "A", "x": "900", "y": "1"}, "within 500 m"),
        ({"name": "", "x": "1", "y": "1"}, "name"),
        ({"name": "A" * 41}, "40 characters"),
        ({"name": "A", "type": "No such box"}, "No stage box, multicore or desk"),
        ({"name": "A", "loads": "2 nothing we own"}, "No gear type is called"),
    ],
)
def test_what_cannot_be_gets_a_sentence_at_its_row_and_nothing_is_lost_or_half_written(as_technician, show, row, said):
    kept = place(show, "Kept", 1_000, 1_000)
    rows = [{"pk": kept.pk, "name": "Kept, moved", "x": "2", "y": "2"}, row]
    page = as_technician.post(url(show), posted(show, *rows))
    text = page.content.decode()
    assert page.status_code == 422 and said in text and "Kept, moved" in text
    kept.refresh_from_db()
    assert (kept.name, kept.x_mm, StagePlace.objects.count()) == ("Kept", 1_000, 1)


@pytest.mark.parametrize(
    ("plan", "said"),
    [({"width": "-3"}, "not below nothing"), ({"width": "wide"}, "Write it as 8"), ({"route": "0.2"}, "between 1 and 5")],
)
def test_a_floor_that_cannot_be_says_so(as_technician, show, plan, said):
    page = as_technician.post(url(show), posted(show, **plan))
    assert page.status_code == 422 and said in page.content.decode() and not StagePlan.objects.exists()


def test_two_places_of_one_name_and_two_mixes_are_said(as_technician, show):
    twice = posted(show, {"name": "Bass", "x": "1", "y": "1"}, {"name": "bass", "x": "2", "y": "1"})
    assert "Place 1 has that name" in as_technician.post(url(show), twice).content.decode()
    mixes = posted(show, {"name": "A", "sort": "mix"}, {"name": "B", "sort": "mix"})
    assert "one mix position" in as_technician.post(url(show), mixes).content.decode()
    assert not StagePlace.objects.exists()


def test_places_can_change_names_with_each_other_and_be_taken_off(as_technician, show):
    one, other, gone = place(show, "A", 0, 0), place(show, "B", 1_000, 0), place(show, "C")
    rows = [
        {"pk": one.pk, "name": "B", "x": "0", "y": "0"},
        {"pk": other.pk, "name": "A", "x": "1", "y": "0"},
        {"pk": gone.pk, "name": "C", "gone": True},
    ]
    assert as_technician.post(url(show), posted(show, *rows)).status_code == 302
    assert dict(StagePlace.objects.values_list("pk", "name")) == {one.pk: "B", other.pk: "A"}


def test_a_save_can_be_undone_and_the_undo_too(as_technician, show):
    one = place(show, "A", 0, 0)
    first = as_technician.post(
        url(show), posted(show, {"pk": one.pk, "name": "A", "x": "5", "y": "1"}, {"name": "New", "x": "1", "y": "1"})
    )
    token = first.url.split("saved=")[1]
    from urllib.parse import unquote

    undone = as_technician.post(reverse("stage-undo", args=[show.pk]), {"undo": unquote(token)})
    one.refresh_from_db()
    assert (one.x_mm, StagePlace.objects.count()) == (0, 1)
    as_technician.post(reverse("stage-undo", args=[show.pk]), {"undo": unquote(undone.url.split("saved=")[1])})
    one.refresh_from_db()
    assert (one.x_mm, StagePlace.objects.count()) == (5_000, 2)


def test_two_people_do_not_write_over_each_other_unseen(as_technician, show):
    one = place(show, "A", 0, 0)
    page = as_technician.get(url(show))
    seen = page.context["seen"]
    StagePlace.objects.filter(pk=one.pk).update(x_mm=700)
    answer = as_technician.post(url(show), posted(show, {"pk": one.pk, "name": "A", "x": "5", "y": "0"}) | {"seen": seen})
    assert (
        answer.status_code == 409
        and "Somebody changed this stage" in answer.content.decode()
        and 'value="5"' in answer.content.decode()
    )
    again = posted(show, {"pk": one.pk, "name": "A", "x": "5", "y": "0"}) | {"seen": answer.context["seen"]}
    assert as_technician.post(url(show), again).status_code == 302


def test_places_of_the_input_list_are_laid_out_by_one_tap(as_technician, show):
    for name in ("Drums", "Bass"):
        place(show, name)
    place(show, "Mix", sort="mix")
    page = as_technician.get(url(show)).content.decode()
    assert "3 not on the floor yet" in page
    as_technician.post(reverse("stage-spread", args=[show.pk]))
    assert not StagePlace.objects.filter(x_mm=None).exists() and StagePlace.objects.get(name="Mix").y_mm == -12_000


def test_a_box_with_fewer_inputs_than_lines_is_said(as_technician, show):
    kind = make_type(Kind.STAGE_BOX, name="Stage box 2")
    StageBoxFacts.objects.create(type=kind, inputs=2)
    box = place(show, "Box", 0, 5_000, sort="stage box", type=kind)
    for n in (1, 2, 3):
        InputLine.objects.create(show=show, number=n, source=f"Voice {n}", box=box, box_input=n)
    page = as_technician.get(url(show)).content.decode()
    assert "3 lines come into it and it has 2 inputs" in page and "3 of 2 inputs" in page


def test_the_drawing_is_a_file_another_reader_reads(as_hand, show):
    place(show, "<b>&", 1_000, 1_000)
    answer = as_hand.get(reverse("stage-svg", args=[show.pk]))
    root = ET.fromstring(answer.content)
    space = "{http://www.w3.org/2000/svg}"
    assert root.tag == f"{space}svg" and "<b>&" in [text.text for text in root.iter(f"{space}text")]
    assert "harvest-ceilidh-stage.svg" in answer["Content-Disposition"]


def test_a_hand_reads_the_stage_and_cannot_move_it(as_hand, show):
    place(show, "Bass", 1_000, 1_000)
    page = as_hand.get(url(show)).content.decode()
    assert "Bass" in page and "place-name" not in page
    assert as_hand.post(url(show), posted(show)).status_code == 403
    assert as_hand.get(reverse("stage-print", args=[show.pk])).status_code == 200


def test_a_stage_asks_the_same_of_the_database_for_one_place_and_fifty(as_technician, show, feeds, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def add(n):
        one = place(show, f"Place {n}", n * 100, 1_000, feed=feeds[n % 2])
        InputLine.objects.create(show=show, number=n + 1, source=f"Voice {n}", place=one)

    add(0)
    as_technician.get(url(show))
    with CaptureQueriesContext(connection) as one:
        as_technician.get(url(show))
    for n in range(1, 50):
        add(n)
    with django_assert_num_queries(len(one)):
        as_technician.get(url(show))


def test_the_stages_size_is_kept_for_the_venue(as_technician, show):
    StagePlan.objects.create(show=show, width_mm=9_500, depth_mm=5_000)
    place(show, "Mix", 4_000, -14_000, sort="mix")
    as_technician.post(reverse("stage-keep", args=[show.pk]))
    show.venue.refresh_from_db()
    assert (show.venue.stage_width_mm, show.venue.stage_depth_mm, show.venue.stage_to_mix_mm) == (9_500, 5_000, 14_000)


# ---- power


def test_amps_on_a_feed_are_summed_and_what_nobody_knows_is_named(show, feeds):
    loud, unknown = make_type(Kind.LOUDSPEAKER, name="Powered top"), make_type(Kind.LOUDSPEAKER, name="Old monitor")
    LoudspeakerFacts.objects.create(type=loud, mains_a=3.0)
    left = place(show, "Left wing", 0, 0, feed=feeds[0])
    StageLoad.objects.create(place=left, type=loud, count=5)
    StageLoad.objects.create(place=left, type=unknown, count=1)
    keys = SourceType.objects.create(key="k", name="Keyboard", family="keys", lines=2, is_mains=True, mains_a=0.5)
    for n, side in ((1, "left"), (2, "right")):
        InputLine.objects.create(show=show, number=n, source=f"Keys {side}", type=keys, side=side, place=left)
    told = power_of(show)
    fed = next(one for one in told.feeds if one.name == "Left")
    assert fed.amps == 15.5 and fed.near and not fed.over and fed.unknown == ["Old monitor"]
    assert fed.says == "15.5\u2009A on record of 16\u2009A: near what it gives; not known: Old monitor."
    StageLoad.objects.filter(type=loud).update(count=6)
    assert power_of(show).over[0].name == "Left" and dict(power_of(show).phases) == {"L1": 18.5}


def test_a_button_that_was_pressed_is_a_tick_and_can_be_taken_back(as_hand, hand, show, feeds):
    where = reverse("feed-pressed", args=[show.pk, feeds[0].pk])
    assert len(power_of(show).to_press) == 2
    for _ in range(2):
        as_hand.post(where)
    assert FeedPressed.objects.get().person == hand and len(power_of(show).to_press) == 1
    page = as_hand.get(url(show)).content.decode()
    assert "pressed, it tripped" in page and "declares nothing safe" in page
    as_hand.post(where, {"do": "take-back"})
    assert not FeedPressed.objects.exists()


def test_a_feed_of_another_venue_is_not_ticked(as_hand, show):
    other = VenueFeed.objects.create(venue=make_venue(), name="Other", residual=True)
    as_hand.post(reverse("feed-pressed", args=[show.pk, other.pk]))
    assert not FeedPressed.objects.exists()


def test_feeds_are_written_down_changed_and_taken_off(as_technician, show):
    venue = show.venue
    add = reverse("venue-feeds", args=[venue.pk])
    sent = {"name": "Stage left", "where": "in the wing", "phase": "L2", "amps": "16", "residual": "true", "residual_ma": "30"}
    assert as_technician.post(add, sent).status_code == 302
    assert as_technician.post(add, sent | {"name": "stage left"}).status_code == 422
    feed = VenueFeed.objects.get()
    assert "30" in as_technician.get(venue.get_absolute_url()).content.decode()
    one = reverse("venue-feed", args=[venue.pk, feed.pk])
    as_technician.post(one, sent | {"amps": "32"})
    feed.refresh_from_db()
    assert feed.amps == 32
    spot = place(show, "A", 0, 0, feed=feed)
    as_technician.post(one, {"do": "delete"})
    spot.refresh_from_db()
    assert not VenueFeed.objects.exists() and spot.feed is None


def test_a_place_says_how_much_lead_its_run_takes(show):
    mix = place(show, "Mix", 4_000, -6_000, sort="mix")
    bass = place(show, "Bass", 4_000, 4_000)
    InputLine.objects.create(show=show, number=1, source="Bass", place=bass)
    told = next(one for one in stage_of(show).places if one.place == bass)
    assert (told.runs_to, told.straight_mm, told.need_mm) == (mix, 10_000, 15_000)


def test_an_input_that_stands_nowhere_is_named(as_technician, show):
    place = StagePlace.objects.create(show=show, name="Left", sort="source", x_mm=0, y_mm=1_000)
    InputLine.objects.create(show=show, number=1, source="Fiddle", place=place)
    InputLine.objects.create(show=show, number=2, source="Sampler")
    InputLine.objects.create(show=show, number=1, source="Mains", way="out")
    page = as_technician.get(f"/shows/{show.pk}/stage/").content.decode()
    assert "Standing nowhere yet:</b> 2 Sampler." in page
