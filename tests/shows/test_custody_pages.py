"""Where is it, on the item's page; contradictions, listed and decided."""

import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory.registries import ITEM_API_FIELDS, ITEM_LIFE
from shows import custody_parts
from shows.models import Contradiction
from shows.services.scans import scans_record
from tests.builders import NOW, make_counted_line, make_item, make_show

pytestmark = pytest.mark.django_db


@pytest.fixture
def box(company):
    return make_item(name="A")


@pytest.fixture
def show(company):
    return make_show(name="Harvest ceilidh")


def scanned(person, item, action, show=None, minutes=0):
    at = NOW + timedelta(minutes=minutes)
    body = {"id": str(uuid.uuid4()), "code": item.code, "action": action, "show": show.pk if show else None}
    body["happened_at"] = at.isoformat()
    return scans_record(actor=person, device="phone", sent_at=None, scans=[body], received_at=NOW + timedelta(days=1))[0]


def test_where_says_who_scanned_it_for_which_show_and_how_well_that_is_known(as_hand, hand, box, show):
    page = as_hand.get(box.get_absolute_url()).content.decode()
    assert "Never scanned yet." in page and "In the shop." in page
    scanned(hand, box, "out", show)
    page = as_hand.get(box.get_absolute_url()).content.decode()
    assert "Out to <a" in page and "Harvest ceilidh" in page and "its own label was scanned" in page and "by hand" in page
    scanned(hand, box, "truck", show, 5)
    assert "On the truck from" in as_hand.get(box.get_absolute_url()).content.decode()
    scanned(hand, box, "back", show, 9)
    page = as_hand.get(box.get_absolute_url()).content.decode()
    assert "scanned by hand" in page and "In the shop." in page


def test_life_has_one_entry_a_stay(hand, box, show):
    scanned(hand, box, "out", show)
    scanned(hand, box, "back", show, 60)
    with timezone.override("Europe/London"):
        (entry,) = ITEM_LIFE["checkouts"](box, NOW)
    assert entry.did == "Harvest ceilidh" and entry.small == "out 10:00, back 11:00"


def test_api_tells_the_open_checkout_in_one_query(hand, box, show, django_assert_num_queries):
    scanned(hand, box, "out", show)
    others = [make_item() for _ in range(4)]
    with django_assert_num_queries(1):
        told = ITEM_API_FIELDS["checkout"]([box, *others], NOW)
    assert told[box.pk]["checkout"]["name"] == "Harvest ceilidh" and told[others[0].pk] == {"checkout": None}


def test_a_technician_decides_and_it_needs_nobody_any_more(as_technician, technician, hand, box, show, rf):
    scanned(hand, box, "truck", show)
    found = Contradiction.objects.get()
    request = rf.get("/")
    request.user = technician
    assert [n.name for n in custody_parts.disagreements(request, NOW)] == [box.label]
    url = reverse("contradiction", args=[found.pk])
    page = as_technician.get(url)
    assert page.status_code == 200 and b"Never scanned out" in page.content
    assert as_technician.post(url, {"decided": " "}).status_code == 422
    assert as_technician.post(url, {"decided": "Jo forgot to scan it out."}).status_code == 302
    found.refresh_from_db()
    assert (found.decided_by, found.decided) == (technician, "Jo forgot to scan it out.")
    assert not list(custody_parts.disagreements(request, NOW))
    assert b"Jo forgot" in as_technician.get(reverse("contradictions") + "?decided=1").content
    as_technician.post(url, {"again": "1"})
    found.refresh_from_db()
    assert found.decided_at is None


def test_a_hand_decides_nothing_and_needs_none_of_it(as_hand, hand, box, show, rf):
    scanned(hand, box, "truck", show)
    found = Contradiction.objects.get()
    for url in (reverse("contradictions"), reverse("contradiction", args=[found.pk])):
        assert as_hand.get(url).status_code == 403
    request = rf.get("/")
    request.user = hand
    assert not list(custody_parts.disagreements(request, NOW))
    assert "A technician will look at that." in as_hand.get(box.get_absolute_url()).content.decode()


def test_the_list_costs_the_same_at_1_and_at_50(as_technician, hand, show):
    url = reverse("contradictions")
    assert "every scan agrees" in as_technician.get(url).content.decode()
    scanned(hand, make_item(), "truck", show)
    as_technician.get(url)
    with CaptureQueriesContext(connection) as one:
        as_technician.get(url)
    for _ in range(49):
        scanned(hand, make_item(), "truck", show)
    with CaptureQueriesContext(connection) as fifty:
        page = as_technician.get(url)
    assert page.content.count(b"Never scanned out") == 50
    assert len(fifty) == len(one)


def test_the_list_of_disagreements_is_one_tap_from_what_needs_a_person(as_technician, as_hand):
    link = reverse("contradictions")
    assert link in as_technician.get(reverse("needs")).content.decode()
    assert link not in as_hand.get(reverse("needs")).content.decode()


def counted(person, line, action, show, count):
    body = {"id": str(uuid.uuid4()), "code": f"COUNT.{line.pk}", "action": action, "show": show.pk, "counted": count}
    body["happened_at"] = NOW.isoformat()
    return scans_record(actor=person, device="phone", sent_at=None, scans=[body], received_at=NOW)[0]


def test_more_back_than_went_out_reaches_a_technician_until_it_adds_up(hand, technician, show, rf):
    request = rf.get("/")
    line, fine = make_counted_line(24), make_counted_line(24)
    for one in (line, fine):
        counted(hand, one, "out", show, 4)
        counted(hand, one, "back", show, 4)
    request.user = technician
    assert not list(custody_parts.counted_back(request, NOW))
    counted(hand, line, "back", show, 3)
    (need,) = custody_parts.counted_back(request, NOW)
    assert need.name == line.label and need.fact == "3 more came back from Harvest ceilidh than went out to it."
    assert need.url == reverse("counted-line", args=[line.pk]) and need.group == "scans that disagree"
    request.user = hand
    assert not list(custody_parts.counted_back(request, NOW))
    request.user = technician
    counted(hand, line, "out", show, 3)
    assert not list(custody_parts.counted_back(request, NOW))


def test_counts_that_do_not_add_up_cost_three_queries_however_many(hand, technician, show, rf, django_assert_num_queries):
    request = rf.get("/")
    request.user = technician
    for _ in range(12):
        counted(hand, make_counted_line(24), "back", show, 3)
    with django_assert_num_queries(3):
        assert len(list(custody_parts.counted_back(request, NOW))) == 12
