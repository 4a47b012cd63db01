"""Today as a running order."""

import uuid
from datetime import timedelta

import pytest
from django.urls import reverse

from inventory.models import Item, Label
from maintenance.services.faults import fault_open
from tests.builders import NOW, make_checkout, make_item, make_pull_row, make_show, make_type, make_venue


@pytest.fixture(autouse=True)
def still(monkeypatch):
    """Stop the clock at NOW: Friday 25 September 2026, 10:00 in London."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


def today(client):
    answer = client.get(reverse("start"))
    return answer.context["today"], answer.content.decode()


def test_day_one_names_the_three_first_steps_and_the_first_is_pink(as_owner):
    found, page = today(as_owner)
    assert [step[0] for step in found.first_steps] == ["Add gear", "Print labels", "Make a show"]
    assert page.count("strip next") == 1
    assert "No show is planned yet." in page
    make_item()
    assert [done for _n, _u, done in today(as_owner)[0].first_steps] == [True, False, False]
    Label.objects.update(printed_at=NOW)
    make_show()
    assert today(as_owner)[0].first_steps == []


def test_a_quiet_day_says_so_and_has_no_pink_strip(as_owner):
    make_item()
    Label.objects.update(printed_at=NOW)
    make_show(load_in=NOW - timedelta(days=40))
    found, page = today(as_owner)
    assert found.empty
    assert "Nothing needs a person" in page
    assert "strip next" not in page


def test_the_next_show_to_load_is_the_one_pink_thing(as_hand):
    first = make_show(load_in=NOW + timedelta(hours=2), name="Ceilidh", venue=make_venue(name="Tithe barn"))
    second = make_show(load_in=NOW + timedelta(hours=9), name="Fair")
    box = make_type()
    for show, count in ((first, 3), (second, 2)):
        make_pull_row(show, type=box, count=count)
    make_checkout(first, make_item(type=box), at=NOW)
    found, page = today(as_hand)
    assert found.next_key == f"pack:{first.pk}"
    assert page.count("strip next") == 1
    assert "1 of 3 scanned out" in page
    assert "loads, Tithe barn" in page
    (cue, _other) = [c for c in found.ahead if c.road and c.road[0].big]
    assert cue.shop[0].key == found.next_key
    assert cue.road[0].bits[0].lacking == 2


def test_late_gear_stands_under_now_at_the_road_side(as_hand):
    late = make_show(load_in=NOW - timedelta(days=2), name="Chapel supper")
    make_checkout(late, make_item())
    found, page = today(as_hand)
    (cue,) = [c for c in found.ahead if c.label == "late"]
    assert cue.road[0].lifted
    assert "One thing is still out past its day." in page


def test_what_has_no_hour_stands_beside_now_and_leaves_the_first_hour_in_sight(as_hand):
    make_show(load_in=NOW + timedelta(hours=3), name="Ceilidh")
    late = make_show(load_in=NOW - timedelta(days=2), name="Chapel supper")
    make_checkout(late, make_item())
    for _ in range(5):
        fault_open(uid=uuid.uuid4(), item=make_item(), at=NOW)
    found, page = today(as_hand)
    due = found.ahead[0]
    assert due.label == "due" and len(due.shop) == 3 and len(due.road) == 1
    assert found.needs == 7 and "seven want a person" in page and "all 7 that need a person" in page


def test_what_went_and_came_home_today_is_past(as_hand):
    show = make_show(load_in=NOW - timedelta(hours=20), hours=16, name="Supper")
    item = make_item()
    make_checkout(show, item, closed_at=NOW - timedelta(hours=1), closed_uid=uuid.uuid4(), ended="back")
    found, page = today(as_hand)
    assert "Supper came home" in page
    assert "1 of 1 back" in page
    assert [c.past for c in found.past] == [True]


def test_a_show_on_the_road_comes_home_and_part_of_it_goes_straight_on(as_hand):
    one = make_show(load_in=NOW - timedelta(hours=3), name="Ceilidh")
    box = make_type()
    for _ in range(4):
        make_checkout(one, make_item(type=box))
    make_item(type=box)
    two = make_show(load_in=one.home_by + timedelta(hours=2), name="Fair")
    make_pull_row(two, type=box, count=3)
    found, page = today(as_hand)
    assert "2 go straight on" in page
    assert "The other 2 come home." in page
    assert "Ceilidh comes home" in page
    assert "Ceilidh is on the road" in found.said


def test_an_empty_pull_list_is_a_technicians_next_step_and_not_a_hands(as_technician, as_hand):
    make_show(load_in=NOW + timedelta(hours=2))
    assert today(as_technician)[0].next_key
    assert not today(as_hand)[0].next_key


def test_many_late_things_do_not_drown_the_page(as_hand):
    for n in range(30):
        make_checkout(make_show(load_in=NOW - timedelta(days=3 + n)), make_item())
    found, page = today(as_hand)
    (cue,) = [c for c in found.ahead if c.label == "late"]
    assert len(cue.road) <= 6
    assert found.hidden
    assert reverse("needs") in page


def test_item_page_tells_who_asks_for_it(as_hand):
    item = make_item()
    show = make_show(load_in=NOW + timedelta(days=2), name="Harvest ceilidh")
    make_pull_row(show, item=item, line="5", reason="fiddle")
    page = as_hand.get(reverse("item", args=[item.code])).content.decode()
    assert "Asked for" in page
    assert "Harvest ceilidh, planned, line 5" in page


def test_the_search_box_finds_shows_and_venues(as_hand):
    make_show(name="Harvest ceilidh", venue=make_venue(name="Tithe barn"))
    for word in ("harvest", "tithe"):
        page = as_hand.get(reverse("find"), {"q": word}).content.decode()
        assert "Harvest ceilidh" in page
    assert Item.objects.count() == 0
