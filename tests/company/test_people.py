"""People: adding, roles, switching off, one-time passwords; and the last owner."""

import re

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from company.models import ApiToken, Person
from company.services.people import LastOwnerError, one_time_password, person_edit
from tests.builders import make_company, make_person
from tests.conftest import signed_in

SAME = {"first_name": "", "email": ""}


def shown(page) -> str:
    return re.search(r"data-once>([^<]+)<", page.content.decode())[1]


def test_added_person_comes_in_once_with_what_the_page_showed(as_owner):
    page = as_owner.post("/people/add/", {"username": "ines", "first_name": "Ines", "email": "", "role": "hand"})
    password = shown(page)
    assert "no-store" in page["Cache-Control"]
    ines = Person.objects.get(username="ines")
    assert ines.role == "hand" and ines.must_change_password and not ines.is_staff
    client = Client()
    assert client.post("/sign-in/", {"username": "ines", "password": password}).status_code == 302
    assert client.get("/shop/")["Location"] == "/password/"


@pytest.mark.parametrize("username", ["", "OWNER", "two words", "x" * 151, "a\x00b"])
def test_a_bad_or_taken_name_is_refused_with_a_sentence(as_owner, username):
    page = as_owner.post("/people/add/", {"username": username, "role": "hand"})
    assert page.status_code == 200 and 'class="error"' in page.content.decode()
    assert Person.objects.count() == 1


def test_unknown_role_is_refused(as_owner, hand):
    page = as_owner.post(reverse("person", args=[hand.pk]), {**SAME, "role": "emperor", "is_active": "on"})
    assert page.status_code == 200
    hand.refresh_from_db()
    assert hand.role == "hand"


def test_role_and_switch_take_effect_at_once(as_owner, hand, as_hand):
    as_owner.post(reverse("person", args=[hand.pk]), {**SAME, "role": "technician", "is_active": "on"})
    hand.refresh_from_db()
    assert hand.role == "technician"
    as_owner.post(reverse("person", args=[hand.pk]), {**SAME, "role": "technician"})
    assert as_hand.get("/shop/").status_code == 302


@pytest.mark.parametrize("change", [{"role": "technician", "is_active": "on"}, {"role": "owner"}])
def test_last_owner_is_neither_demoted_nor_switched_off(as_owner, owner, change):
    make_person("owner", username="former", is_active=False)
    page = as_owner.post(reverse("person", args=[owner.pk]), {**SAME, **change})
    assert page.status_code == 200 and "last owner" in page.content.decode()
    owner.refresh_from_db()
    assert owner.is_owner


def test_one_of_two_owners_may_go(owner):
    other = make_person("owner")
    person_edit(person=owner, first_name="", email="", role="hand", is_active=True)
    with pytest.raises(LastOwnerError):
        person_edit(person=other, first_name="", email="", role="hand", is_active=True)


def test_new_one_time_password_ends_every_session(as_owner, hand, as_hand):
    password = shown(as_owner.post(reverse("person-password", args=[hand.pk])))
    assert as_hand.get("/shop/").status_code == 302
    hand.refresh_from_db()
    assert hand.check_password(password) and hand.must_change_password


def test_owner_changes_their_own_password_the_usual_way(as_owner, owner):
    assert as_owner.post(reverse("person-password", args=[owner.pk]))["Location"] == "/password/"
    owner.refresh_from_db()
    assert owner.check_password("saltmarsh")


def test_one_time_passwords_differ_and_have_no_lookalikes():
    made = {one_time_password() for _ in range(200)}
    assert len(made) == 200 and not set("".join(made)) & set("01loIO")
    assert all(re.fullmatch(r"[a-z2-9]{4}(-[a-z2-9]{4}){2}", p) for p in made)


@pytest.mark.parametrize("number", [1, 50])
def test_people_list_costs_the_same_for_one_and_for_fifty(as_owner, django_assert_num_queries, number):
    for _ in range(number - 1):
        make_person()
    as_owner.get("/people/")
    with django_assert_num_queries(6):  # company, session, person, count, page, alerts
        page = as_owner.get("/people/").content.decode()
    assert page.count("<tr") == number + 1


def test_people_sort_and_odd_queries_are_answered(as_owner, hand):
    for query in ("?sort=role", "?sort=-last_login", "?sort=password", "?page=99", "?page=x", "?sort=\x00"):
        assert as_owner.get(f"/people/{query}").status_code == 200, query


def test_first_owner_is_made_once_and_can_come_in(db, capsys):
    make_company()
    call_command("first_owner")
    said = capsys.readouterr().out
    password = re.search(r"password (\S+)", said)[1]
    person = Person.objects.get()
    assert person.is_owner and person.must_change_password and person.check_password(password)
    call_command("first_owner")
    assert Person.objects.count() == 1 and "already" in capsys.readouterr().out


def test_api_token_command_prints_a_token_that_belongs_to_them(technician, capsys):
    call_command("api_token", "technician")
    text = capsys.readouterr().out.strip()
    assert ApiToken.objects.get(digest=ApiToken.hash_of(text)).person == technician
    with pytest.raises(CommandError, match="Nobody signs in as nobody"):
        call_command("api_token", "nobody")
    make_person(username="off", is_active=False)
    with pytest.raises(CommandError, match="switched off"):
        call_command("api_token", "off")


def test_reset_password_command_is_the_way_back_in(owner, capsys):
    for _ in range(6):
        Client().post("/sign-in/", {"username": "owner", "password": "wrong"})
    call_command("reset_password", "owner")
    password = capsys.readouterr().out.strip().rpartition(" ")[2]
    assert Client().post("/sign-in/", {"username": "owner", "password": password}).status_code == 302
    with pytest.raises(CommandError):
        call_command("reset_password", "nobody")


# who may open what of ours: the least role, or "anybody" signed in, or "strangers" too
DOORS = {
    "sign-in": "strangers",
    "health": "strangers",
    "metrics": "strangers",  # of this machine
    "password": "hand",
    "me": "hand",
    "shop": "hand",
    "jobs": "hand",
    "people": "owner",
    "person-add": "owner",
    "person": "owner",
    "settings": "owner",
    "welcome": "owner",
    "change-log": "owner",
    "status": "technician",
}
POSTS = {
    "sign-out": "hand",
    "token-make": "hand",
    "token-drop": "hand",
    "theme": "hand",
    "person-password": "owner",
    "country": "owner",
    "backup-now": "technician",
    "export-all": "owner",
}
FILES = {"backup-file", "export-all-file"}  # no door, but there or not: tests/company/test_status.py
WATCHED = {"ready"}  # no door, but well or not: tests/company/test_running.py
BY_PERSON = {"job", "job-file"}  # a hand sees their own alone: tests/company/test_jobs.py
WITH_KEY = {"person", "person-password", "token-drop"}


def test_every_address_of_ours_is_in_the_table():
    from company.urls import urlpatterns

    assert {p.name for p in urlpatterns} == set(DOORS) | set(POSTS) | BY_PERSON | WATCHED | FILES


@pytest.mark.parametrize(("name", "least"), [*DOORS.items(), *POSTS.items()])
def test_each_role_opens_exactly_its_doors(company, name, least):
    from company.calc.roles import at_least

    other = make_person("hand")
    address = reverse(name, args=[other.pk] if name in WITH_KEY else [])
    method = "post" if name in POSTS else "get"
    stranger = getattr(Client(), method)(address)
    if least == "strangers":
        assert stranger.status_code == 200
        return
    assert stranger.status_code == 302 and stranger["Location"].startswith("/sign-in/")
    for role in ("hand", "technician", "owner"):
        answer = getattr(signed_in(make_person(role)), method)(address)
        allowed = at_least(role, least)
        assert (answer.status_code != 403) == allowed, f"{role} at {name}: {answer.status_code}"
        if not allowed:
            assert "Not yours to open" in answer.content.decode()
