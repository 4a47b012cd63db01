"""Leads chosen for the runs, spares for the chance, the shelf by its water, and what is short."""

from datetime import timedelta

import pytest
from django.urls import reverse

from inventory.calc.kinds import Kind
from inventory.models import LeadFacts, MulticoreFacts
from maintenance.models import Fault
from shows.models import InputLine, SourceType, StagePlace, StagePlan
from shows.planning.borrowing import borrow_of
from shows.planning.leads import MICROPHONE, NETWORK, lead_rows, leads_of
from shows.planning.spares import chance_words, spare_rows, spares_of
from shows.planning.tides import tides_of
from shows.shortage import shortages_of
from tests.builders import NOW, make_counted_line, make_item, make_pull_row, make_show, make_type


@pytest.fixture
def mic_lead(company):
    made = make_type(Kind.LEAD, name="Microphone lead", key=MICROPHONE)
    LeadFacts.objects.create(type=made, balanced=True, stock_lengths_mm=[3_000, 6_000, 10_000, 20_000])
    return made


@pytest.fixture
def voice(company):
    return SourceType.objects.create(key="voice", name="Voice", family="voice", way="acoustic", usual=["mic"])


@pytest.fixture
def microphone(company):
    return make_type(Kind.MICROPHONE, name="Dynamic vocal microphone", key="mic")


@pytest.fixture
def show(company):
    return make_show(name="Harvest ceilidh")


def stand(show, name, x, y, **kw):
    return StagePlace.objects.create(show=show, name=name, x_mm=x, y_mm=y, **kw)


def sing(show, voice, number, place, **kw):
    return InputLine.objects.create(show=show, number=number, source=f"Voice {number}", type=voice, place=place, **kw)


def group_of(show, key=MICROPHONE):
    return next(group for group in leads_of(show).groups if group.type.key == key)


def test_a_run_takes_the_shortest_lead_that_reaches(show, mic_lead, voice, microphone):
    for mm in (3_000, 10_000, 20_000):
        make_counted_line(2, type=mic_lead, length_mm=mm)
    make_item(type=microphone)
    stand(show, "Mix", 0, -3_000, sort="mix")
    sing(show, voice, 1, stand(show, "Front", 0, 2_000))
    (run,) = group_of(show).runs
    assert (run.need_mm, run.lengths_mm, run.met, run.joins) == (8_500, (10_000,), True, 0)
    assert lead_rows(show) == [(mic_lead, 10_000, 1, "runs of the plan, 1 of 2 free", ["1"])]


def test_what_another_show_holds_that_day_is_not_free(show, mic_lead, voice, microphone):
    make_counted_line(1, type=mic_lead, length_mm=10_000)
    make_counted_line(1, type=mic_lead, length_mm=20_000)
    make_item(type=microphone)
    make_pull_row(make_show(name="Fair"), type=mic_lead, length_mm=10_000)
    stand(show, "Mix", 0, -3_000, sort="mix")
    sing(show, voice, 1, stand(show, "Front", 0, 2_000))
    assert group_of(show).runs[0].lengths_mm == (20_000,)


def test_a_run_nothing_makes_says_what_to_buy_or_borrow(show, mic_lead, voice, microphone):
    make_counted_line(1, type=mic_lead, length_mm=3_000)
    make_item(type=microphone)
    stand(show, "Mix", 0, -12_000, sort="mix")
    sing(show, voice, 1, stand(show, "Front", 0, 0))
    group = group_of(show)
    assert not group.runs[0].met and group.lacking == ((20_000, 1),)
    assert [(row[1], row[2]) for row in lead_rows(show)] == [(20_000, 1)]


def test_where_nobody_has_placed_a_source_a_usual_length_is_said_to_be_one(show, mic_lead, voice, microphone, as_hand):
    make_counted_line(1, type=mic_lead, length_mm=10_000)
    make_item(type=microphone)
    sing(show, voice, 1, None)
    assert group_of(show).runs[0].assumed
    assert "it or the mix is not on the floor yet" in as_hand.get(reverse("leads", args=[show.pk])).content.decode()


def test_a_multicore_with_fewer_channels_than_lines_says_how_many_have_no_way(show, mic_lead, voice, microphone):
    core = make_type(Kind.MULTICORE, name="Multicore 2")
    MulticoreFacts.objects.create(type=core, sends=2)
    box = stand(show, "Box", 0, 4_000, sort="stage box", type=core)
    stand(show, "Mix", 0, -10_000, sort="mix")
    for n in (1, 2, 3):
        sing(show, voice, n, stand(show, f"P{n}", n * 500, 3_000), box=box)
    (trunk,) = leads_of(show).trunks
    assert trunk.look == "3 lines come into it and it has 2: 1 has no way." and trunk.need_mm == 20_200
    assert not any(group.type.key == NETWORK for group in leads_of(show).groups)


def test_spares_follow_the_kinds_own_failures(show, mic_lead, voice, microphone):
    make_counted_line(40, type=mic_lead, length_mm=10_000)
    items = [make_item(type=microphone, name=f"{n}") for n in range(9)]
    stand(show, "Mix", 0, -3_000, sort="mix")
    front = stand(show, "Front", 0, 2_000)
    for n in range(1, 6):
        sing(show, voice, n, front)
    StagePlan.objects.create(show=show, finish_chance=0.95)
    calm = spares_of(show)
    for n, item in enumerate(items):
        Fault.objects.create(uid=f"00000000-0000-4000-8000-{n:012d}", item=item, show=show.pk, symptom="dead", opened_at=NOW)
    worried = spares_of(show)
    of = {kind.type.name: kind for kind in worried.kinds}
    before = {kind.type.name: kind for kind in calm.kinds}
    assert of["Dynamic vocal microphone"].spares > before["Dynamic vocal microphone"].spares
    assert worried.plan.chance >= 0.95 and worried.without < calm.without
    assert "failed 9 times in " in of["Dynamic vocal microphone"].record
    assert ("Dynamic vocal microphone", of["Dynamic vocal microphone"].spares) in [(r[0].name, r[2]) for r in spare_rows(show)]


def test_where_all_there_is_does_not_reach_the_goal_it_says_so_and_does_not_take_everything(show, mic_lead, voice, microphone):
    make_counted_line(2, type=mic_lead, length_mm=10_000)
    items = [make_item(type=microphone, name=f"{n}") for n in range(40)]
    stand(show, "Mix", 0, -3_000, sort="mix")
    sing(show, voice, 1, stand(show, "Front", 0, 2_000))
    sing(show, voice, 2, StagePlace.objects.get(name="Front"))
    StagePlan.objects.create(show=show, finish_chance=0.9999)
    told = spares_of(show)
    assert told.short_of_goal and len(told.steps) < 6 and items
    assert told.plan.chance < 0.9999


@pytest.mark.parametrize(
    ("chance", "words"), [(0.5, "50\u2009%"), (0.994, "99.4\u2009%"), (0.99999, "over 99.9\u2009%"), (1.0, "over 99.9\u2009%")]
)
def test_no_rounding_makes_a_chance_a_certainty(chance, words):
    assert chance_words(chance) == words


def test_the_chance_that_is_wanted_is_set_and_odd_ones_refused(as_technician, show):
    url = reverse("spares", args=[show.pk])
    as_technician.post(url, {"goal": "0.95"})
    assert StagePlan.objects.get(show=show).finish_chance == 0.95
    for odd in ("2", "x", "", "nan", "-1"):
        as_technician.post(url, {"goal": odd})
    assert StagePlan.objects.get(show=show).finish_chance == 0.95


# ---- the shelf


def test_the_shelf_is_drawn_by_what_is_left_each_day(company):
    kind = make_type(Kind.INTERFACE_BOX, name="Active direct box")
    for n in range(3):
        make_item(type=kind, name=f"{n}")
    one = make_show(load_in=NOW + timedelta(days=2), name="Fair")
    make_pull_row(one, type=kind, count=2)
    two = make_show(load_in=NOW + timedelta(days=2), name="Supper")
    make_pull_row(two, type=kind, count=2)
    (tide,) = tides_of(first=NOW.date(), days=7)
    assert tide.left[0] == 3 and tide.low == -1 and tide.low_day == (NOW + timedelta(days=2)).date()
    assert tide.shorts[0].size == 1 and {s.name for s in tide.shorts[0].shows} == {"Fair", "Supper"}
    assert "short 1" in tide.words and tide.top.startswith("M0 0.0H")
    assert [round(height, 1) for _x, _w, height in tide.below] == [32.0]


def test_the_shelf_asks_the_same_for_one_type_and_fifty(as_hand, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def add(n):
        kind = make_type(Kind.INTERFACE_BOX, name=f"Box {n}")
        make_item(type=kind)
        make_pull_row(make_show(name=f"Show {n}"), type=kind)

    add(0)
    url = f"{reverse('shelf-days')}?from={NOW:%Y-%m-%d}&days=365"
    as_hand.get(url)
    with CaptureQueriesContext(connection) as one:
        as_hand.get(url)
    for n in range(1, 50):
        add(n)
    with django_assert_num_queries(len(one)):
        as_hand.get(url)


@pytest.mark.parametrize("query", ["from=odd&days=x", "days=999999", "from=9999-12-31", "kind=odd&q=%00", "days=-1"])
def test_odd_days_are_taken_as_the_usual_ones(as_hand, query):
    assert as_hand.get(f"{reverse('shelf-days')}?{query}").status_code == 200


# ---- what is short


def test_what_is_short_is_said_with_what_would_help_and_a_line_takes_its_second_choice(as_technician, show, voice, microphone):
    other = make_type(Kind.MICROPHONE, name="Condenser microphone", key="other")
    make_item(type=microphone)
    make_item(type=other)
    voice.usual = ["mic", "other"]
    voice.save()
    line = sing(show, voice, 1, None)
    make_pull_row(show, type=microphone, count=2)
    (lacking,) = borrow_of(show)
    assert (lacking.type, lacking.count) == (microphone, 1) and lacking.swaps[0].second == other
    page = as_technician.get(reverse("borrow", args=[show.pk])).content.decode()
    assert "take Condenser microphone" in page and "we own 1" in page.lower()
    as_technician.post(reverse("borrow-swap", args=[show.pk]), {"line": line.pk, "type": other.pk})
    line.refresh_from_db()
    assert line.pickup == other
    table = as_technician.get(f"{reverse('borrow', args=[show.pk])}?as=csv").content.decode()
    assert table.splitlines()[1].startswith("Dynamic vocal microphone,,1,")


def test_a_show_that_is_short_of_nothing_says_so(as_hand, show):
    assert b"Nothing is short" in as_hand.get(reverse("borrow", args=[show.pk])).content


@pytest.mark.parametrize("sent", [{}, {"line": "x", "type": "1"}, {"line": "999999", "type": "999999"}])
def test_a_swap_of_nothing_is_a_sentence(as_technician, show, sent):
    assert as_technician.post(reverse("borrow-swap", args=[show.pk]), sent).status_code == 302


def test_each_length_has_water_of_its_own_and_any_length_is_all_of_them(company):
    lead = make_type(Kind.LEAD, name="TS lead")
    for mm, count in ((3_000, 1), (6_000, 4)):
        for n in range(count):
            make_item(type=lead, name=f"{mm}-{n}", length_mm=mm)
    show = make_show(load_in=NOW + timedelta(days=2), name="Fair")
    make_pull_row(show, type=lead, length_mm=3_000, count=2)
    (tide,) = tides_of(first=NOW.date(), days=7)
    assert (tide.name, tide.owned, tide.low) == ("TS lead 3\u2009m", 1, -1)
    make_pull_row(show, type=lead, length_mm=0, count=1)
    found = {one.name: (one.owned, one.low) for one in tides_of(first=NOW.date(), days=7)}
    assert found == {"TS lead 3\u2009m": (1, -1), "TS lead": (5, 2)}
    assert {one.name for one in tides_of(first=NOW.date(), days=7, moving=False)} == {*found, "TS lead 6\u2009m"}


def test_what_is_bad_and_out_with_a_show_is_not_taken_off_the_shelf_twice(company):
    kind = make_type(Kind.INTERFACE_BOX, name="Active direct box")
    make_item(type=kind, name="A")
    show = make_show(load_in=NOW + timedelta(hours=2), name="Fair")
    make_pull_row(show, type=kind, count=2)
    make_item(type=kind, name="B", suspect_since=NOW, custody="show", custody_show=show.pk)
    (tide,) = tides_of(first=NOW.date(), days=7)
    assert (tide.owned, tide.low, tide.shorts) == (1, 0, ())


def test_what_passes_its_test_by_date_leaves_the_shelf_that_day(company):
    kind = make_type(Kind.INTERFACE_BOX, name="Active direct box")
    show = make_show(load_in=NOW + timedelta(days=3), name="Fair")
    make_pull_row(show, type=kind, count=2)
    make_item(type=kind, name="A")
    make_item(type=kind, name="B", tested_on=NOW.date(), test_by=NOW.date() + timedelta(days=2))
    (tide,) = tides_of(first=NOW.date(), days=7)
    assert tide.left[:2] == (2, 2) and tide.left[2] == 1
    assert tide.shorts[0].size == 1 and [one.name for one in tide.shorts[0].shows] == ["Fair"]
    assert shortages_of([show])[show.pk][kind.pk, 0].short == 1
