"""Crew passes: a link that scans for one show, and nothing more."""

import json
import re
import uuid
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import get_resolver, reverse

from company.models import CREW, Person
from inventory.models import Item
from maintenance.models import Fault
from shows.crew import COOKIE, OPEN
from shows.models import CrewPass, PassHolder, Scan
from shows.services.passes import MOST_PHONES, pass_make, pass_start, pass_withdraw
from tests.builders import NOW, make_item, make_person, make_show

DURING = NOW + timedelta(hours=9)


@pytest.fixture
def clock(monkeypatch):
    """Stop the clock; `clock(at)` moves it."""

    def stop(at):
        monkeypatch.setattr("django.utils.timezone.now", lambda: at)

    stop(DURING)
    return stop


@pytest.fixture
def show(company):
    return make_show(name="Harvest ceilidh")


@pytest.fixture
def other(company):
    return make_show(name="Quarry street fair")


@pytest.fixture
def made(show, technician):
    return pass_make(show=show, person=technician, at=NOW)


@pytest.fixture
def phone(made, clock):
    """A phone that has opened the pass."""
    client = Client()
    assert client.post(reverse("pass-open", args=[made[1]]), {"name": "Sam"}).status_code == 302
    return client


def send(client, *, code, action="out", show=None, at=DURING, **more):
    scan = {"id": str(uuid.uuid4()), "code": code, "action": action, "show": show, "happened_at": at.isoformat(), **more}
    body = json.dumps({"device": "phone", "scans": [scan]})
    return client.post("/api/scans", body, content_type="application/json")


def told(answer):
    assert answer.status_code == 200, answer.content
    return answer.json()["results"][0]


def test_a_pass_is_shown_once_and_only_a_hash_is_kept(as_technician, show, clock):
    page = as_technician.post(reverse("pass-add", args=[show.pk])).content.decode()
    token = re.search(r"/pass/([\w-]{30,})/", page)[1]
    kept = CrewPass.objects.get()
    assert token not in kept.digest and kept.digest == CrewPass.hash_of(token)
    assert token not in as_technician.get(reverse("passes", args=[show.pk])).content.decode()


def test_opening_changes_nothing_until_the_hand_taps(made, clock):
    client = Client()
    page = client.get(reverse("pass-open", args=[made[1]]))
    assert page.status_code == 200 and b"Start scanning" in page.content
    assert PassHolder.objects.count() == 0 and COOKIE not in page.cookies


def test_the_link_becomes_a_cookie_that_a_script_cannot_read_and_nobody_stores(phone, made):
    cookie = phone.cookies[COOKIE]
    assert cookie["httponly"] and cookie["samesite"] == "Lax"
    holder = PassHolder.objects.get()
    assert holder.digest == CrewPass.hash_of(cookie.value) and cookie.value != made[1]
    assert str(holder) == "Sam" and holder.person.role == CREW and not holder.person.is_active


def test_the_phone_scans_out_reports_and_scans_back(phone, show):
    item = make_item()
    assert told(send(phone, code=item.code, show=show.pk))["outcome"] == "accepted"
    assert Item.objects.get(pk=item.pk).custody_show == show.pk
    assert told(send(phone, code=item.code, action="inspect", show=show.pk, symptom="hums"))["outcome"] == "accepted"
    assert Fault.objects.get().item_id == item.pk
    assert told(send(phone, code=item.code, action="back"))["outcome"] == "accepted"
    assert Scan.objects.filter(actor=PassHolder.objects.get().person).count() == 3


def test_another_show_is_refused_and_the_scan_kept(phone, other):
    item = make_item()
    answer = told(send(phone, code=item.code, show=other.pk))
    assert answer["outcome"] == "refused" and "Harvest ceilidh alone" in answer["reason"]
    assert Scan.objects.get().outcome == "refused" and Item.objects.get(pk=item.pk).custody == ""


def test_a_pass_takes_back_its_own_scans_alone(phone, show, as_hand):
    item = make_item()
    send(as_hand, code=item.code, show=show.pk)
    answer = told(send(phone, code=item.code, action="undo", undoes=str(Scan.objects.get().uid)))
    assert answer["outcome"] == "refused" and Item.objects.get(pk=item.pk).custody == "show"


def test_after_home_by_late_scans_count_and_new_ones_do_not(phone, show, clock):
    first, second, third = make_item(), make_item(), make_item()
    clock(show.home_by + timedelta(days=3))
    assert told(send(phone, code=first.code, show=show.pk, at=DURING))["outcome"] == "accepted"
    assert told(send(phone, code=second.code, show=show.pk, at=show.home_by + timedelta(days=2)))["outcome"] == "refused"
    clock(show.home_by + timedelta(days=30))
    assert told(send(phone, code=third.code, show=show.pk, at=DURING))["outcome"] == "refused"
    assert told(send(phone, code=first.code, action="back", at=show.home_by + timedelta(days=30)))["outcome"] == "accepted"


def test_nobody_new_starts_after_home_by(made, show, clock):
    clock(show.home_by + timedelta(minutes=1))
    client = Client()
    assert client.get(reverse("pass-open", args=[made[1]])).status_code == 410
    assert client.post(reverse("pass-open", args=[made[1]])).status_code == 422
    assert PassHolder.objects.count() == 0


def test_a_withdrawn_pass_takes_what_was_scanned_before_and_shows_a_page_that_says_so(phone, made, show, technician, clock):
    before, after = make_item(), make_item()
    clock(DURING + timedelta(minutes=30))
    assert pass_withdraw(crew_pass=made[0], person=technician, at=DURING + timedelta(minutes=20))
    assert told(send(phone, code=before.code, show=show.pk, at=DURING))["outcome"] == "accepted"
    assert told(send(phone, code=after.code, show=show.pk, at=DURING + timedelta(minutes=25)))["outcome"] == "refused"
    assert phone.get(reverse("dock")).url == reverse("crew-pass")
    assert b"withdrawn" in phone.get(reverse("crew-pass")).content


def test_one_phone_can_be_withdrawn_while_the_others_go_on(phone, made, show, as_technician, clock):
    other = Client()
    other.post(reverse("pass-open", args=[made[1]]))
    gone = PassHolder.objects.get(name="Sam")
    clock(DURING + timedelta(minutes=1))
    as_technician.post(reverse("holder-end", args=[gone.pk]))
    later = DURING + timedelta(minutes=2)
    clock(later)
    assert told(send(phone, code=make_item().code, show=show.pk, at=later))["outcome"] == "refused"
    assert told(send(other, code=make_item().code, show=show.pk, at=later))["outcome"] == "accepted"


def test_a_pass_opens_the_dock_and_nothing_else(phone, show):
    names = {p.name for p in get_resolver().url_patterns[0].url_patterns if getattr(p, "name", None)}
    assert phone.get(reverse("dock")).status_code == 200
    for name in ("gear", "people", "shows", "alerts", "export", "me", "shop", "find", "needs", "missing"):
        assert phone.get(reverse(name)).status_code == 403, name
    assert phone.get(reverse("show", args=[show.pk])).status_code == 403
    assert phone.get(reverse("start")).url == reverse("dock")
    assert names


def test_every_address_a_pass_does_not_name_is_shut():
    known = {key for key in get_resolver().reverse_dict if isinstance(key, str)}
    assert known >= OPEN  # none of what it opens is a name that is gone
    assert not OPEN & {"item", "item-edit", "people", "gear", "export", "backups", "show", "pull"}


def test_the_rest_of_the_api_is_shut_to_a_pass(phone):
    item = make_item()
    for path in ("/api/items", f"/api/items/{item.code}", "/api/shows"):
        assert phone.get(path).status_code == 401, path
    assert phone.post("/api/bench-tests", "{}", content_type="application/json").status_code == 401


def test_the_truck_check_of_another_show_is_shut(phone, show, other):
    assert phone.get(reverse("truck-check", args=[show.pk])).status_code == 200
    assert phone.get(reverse("truck-check", args=[other.pk])).status_code == 403


def test_the_dock_of_a_pass_knows_no_other_show_and_no_person(phone, other, owner):
    page = phone.get(reverse("dock")).content.decode() + phone.get(reverse("dock-snapshot")).content.decode()
    assert "Harvest ceilidh" in page and other.name not in page and owner.username not in page
    page = phone.get(f"{reverse('dock')}?show={other.pk}").content.decode()
    assert other.name not in page


def test_a_label_read_by_the_phones_own_camera_opens_the_three_ways(phone, show, other):
    item = make_item()
    answer = phone.get(f"/a/{item.code}")
    assert answer.url == reverse("item-scan", args=[item.code])
    page = phone.get(answer.url).content.decode()
    assert "On the truck" in page and "Back" in page and other.name not in page
    phone.post(answer.url, {"way": "out", "show": other.pk, "uid": str(uuid.uuid4())})
    assert Item.objects.get(pk=item.pk).custody_show == show.pk


def test_a_made_up_link_or_cookie_is_nobody(company, clock):
    client = Client()
    assert client.get("/pass/guessed-guessed-guessed/").status_code == 404
    client.cookies[COOKIE] = "guessed"
    assert client.get(reverse("dock")).status_code == 302 and "/sign-in/" in client.get(reverse("dock")).url
    assert send(client, code="X").status_code == 401


def test_what_stands_for_a_phone_cannot_sign_in_and_is_in_no_list(phone, as_owner, as_technician):
    stand_in = Person.objects.get(role=CREW)
    assert not stand_in.has_usable_password() and not stand_in.is_at_least("hand")
    assert stand_in.username not in as_owner.get(reverse("people")).content.decode()
    assert as_owner.get(reverse("person", args=[stand_in.pk])).status_code == 404


def test_hands_make_no_passes_and_a_struck_show_has_none(as_hand, show, technician, clock):
    assert as_hand.get(reverse("passes", args=[show.pk])).status_code == 403
    assert as_hand.post(reverse("pass-add", args=[show.pk])).status_code == 403
    with pytest.raises(ValidationError, match="home already"):
        pass_make(show=show, person=technician, at=show.home_by)


def test_a_link_that_went_round_stops_at_so_many_phones(made, monkeypatch, clock):
    monkeypatch.setattr("shows.services.passes.MOST_PHONES", 2)
    for _ in range(2):
        pass_start(crew_pass=made[0], name="", at=NOW)
    assert MOST_PHONES >= 20
    with pytest.raises(ValidationError, match="phones are on this pass"):
        pass_start(crew_pass=made[0], name="", at=NOW)


def test_the_phone_can_give_its_pass_up(phone, show):
    answer = phone.post(reverse("crew-stop"))
    assert answer.status_code == 200 and not phone.cookies[COOKIE].value
    assert PassHolder.objects.get().withdrawn_at is not None


def test_a_person_with_an_account_needs_no_pass(as_hand, made, clock):
    assert as_hand.get(reverse("pass-open", args=[made[1]])).url == reverse("dock")
    assert make_person("hand").is_at_least("hand")


def test_the_list_of_passes_asks_the_same_for_one_phone_and_fifty(made, as_technician, show, django_assert_num_queries, clock):
    pass_start(crew_pass=made[0], name="", at=NOW)
    as_technician.get(reverse("passes", args=[show.pk]))
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as one:
        as_technician.get(reverse("passes", args=[show.pk]))
    for _ in range(30):
        pass_start(crew_pass=made[0], name="", at=NOW)
    with django_assert_num_queries(len(one)):
        as_technician.get(reverse("passes", args=[show.pk]))
