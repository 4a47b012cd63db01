"""Coming in, being locked out, going out, and passwords."""

from datetime import timedelta

import pytest
from axes.models import AccessAttempt
from django.test import Client
from django.urls import reverse

from company.models import Person
from tests.builders import make_company, make_person
from tests.conftest import signed_in

SIGN_IN = "/sign-in/"


def try_in(client, username, password="wrong", address="10.0.0.1", **extra):
    return client.post(SIGN_IN, {"username": username, "password": password, **extra}, REMOTE_ADDR=address)


def test_right_password_comes_in_and_goes_where_it_was_going(owner):
    client = Client()
    asked = client.get("/shop/?x=1")
    assert asked.status_code == 302 and asked["Location"] == "/sign-in/?next=%2Fshop%2F%3Fx%3D1"
    answer = try_in(client, "owner", "saltmarsh", next="/shop/?x=1")
    assert (answer.status_code, answer["Location"]) == (302, "/shop/?x=1")
    assert client.get("/shop/").status_code == 200


@pytest.mark.parametrize("elsewhere", ["https://example.org/", "//example.org", "javascript:alert(1)", "\\\\example.org"])
def test_sign_in_never_leads_to_another_site(owner, elsewhere):
    assert try_in(Client(), "owner", "saltmarsh", next=elsewhere)["Location"] == "/"


def test_wrong_password_says_so_and_keeps_the_name(owner):
    answer = try_in(Client(), "owner")
    assert answer.status_code == 200
    page = answer.content.decode()
    assert "do not go together" in page and 'value="owner"' in page
    assert "_auth_user_id" not in answer.client.session


@pytest.mark.parametrize("name", ["", "\x00", "a" * 5000, "ö\u202e", "' OR 1=1 --"])
def test_odd_names_are_answered_with_a_page(company, name):
    answer = try_in(Client(), name)
    assert answer.status_code == 200 and "error" in answer.content.decode()


def test_six_wrong_passwords_lock_and_the_page_says_until_when(owner):
    client = Client()
    for _ in range(5):
        assert try_in(client, "owner").status_code == 200
    answer = try_in(client, "owner")
    assert answer.status_code == 429 and 0 < int(answer["Retry-After"]) <= 900
    page = answer.content.decode()
    assert "Locked for a while" in page and "15 minutes" in page and "owner" in page
    right = try_in(client, "owner", "saltmarsh")
    assert right.status_code == 429, "even the right password waits"


def test_lock_is_by_person_and_address_together(owner, technician):
    for _ in range(7):
        last = try_in(Client(), "owner", address="10.0.0.1")
    assert last.status_code == 429
    assert try_in(Client(), "owner", "saltmarsh", address="10.0.0.2").status_code == 302, "same person, another address"
    assert try_in(Client(), "technician", "saltmarsh", address="10.0.0.1").status_code == 302, "another person, same address"
    assert try_in(Client(), "owner", "saltmarsh", address="10.0.0.1").status_code == 429


def test_lock_cannot_be_dodged_by_naming_another_browser_or_proxy(owner):
    for number in range(7):
        last = Client().post(
            SIGN_IN,
            {"username": "owner", "password": "wrong"},
            REMOTE_ADDR="10.0.0.1",
            HTTP_USER_AGENT=f"browser {number}",
            HTTP_X_FORWARDED_FOR=f"10.9.9.{number}",
        )
    assert last.status_code == 429


def test_trying_while_locked_does_not_move_the_time(owner):
    for _ in range(6):
        try_in(Client(), "owner")
    first = AccessAttempt.objects.get().attempt_time
    try_in(Client(), "owner")
    assert AccessAttempt.objects.get().attempt_time == first


def test_lock_opens_after_a_quarter_of_an_hour(owner):
    for _ in range(6):
        try_in(Client(), "owner")
    attempt = AccessAttempt.objects.get()
    AccessAttempt.objects.update(attempt_time=attempt.attempt_time - timedelta(minutes=14))
    assert try_in(Client(), "owner", "saltmarsh").status_code == 429
    AccessAttempt.objects.update(attempt_time=attempt.attempt_time - timedelta(minutes=16))
    assert try_in(Client(), "owner", "saltmarsh").status_code == 302


def test_coming_in_forgets_earlier_wrong_passwords(owner):
    for _ in range(5):
        try_in(Client(), "owner")
    assert try_in(Client(), "owner", "saltmarsh").status_code == 302
    assert try_in(Client(), "owner").status_code == 200


def test_wrong_passwords_are_never_stored(owner):
    try_in(Client(), "owner", "my-real-secret")
    attempt = AccessAttempt.objects.get()
    assert "my-real-secret" not in attempt.post_data + attempt.get_data


def test_switched_off_person_stays_out(owner):
    make_person(username="gone", is_active=False)
    answer = try_in(Client(), "gone", "saltmarsh")
    assert answer.status_code == 200 and "_auth_user_id" not in answer.client.session


def test_switching_off_ends_a_session_at_once(as_hand, hand):
    assert as_hand.get("/shop/").status_code == 200
    Person.objects.filter(pk=hand.pk).update(is_active=False)
    assert as_hand.get("/shop/").status_code == 302


def test_sign_out_is_a_post_and_ends_the_session(as_hand):
    assert as_hand.get("/sign-out/").status_code == 405
    assert as_hand.post("/sign-out/")["Location"] == "/sign-in/"
    assert as_hand.get("/shop/").status_code == 302


def test_changing_the_password_keeps_this_session_and_ends_the_others(as_hand, hand):
    other = signed_in(hand)
    answer = as_hand.post(
        "/password/", {"old_password": "saltmarsh", "new_password1": "tide-and-mud", "new_password2": "tide-and-mud"}
    )
    assert answer["Location"] == "/me/"
    assert as_hand.get("/shop/").status_code == 200
    assert other.get("/shop/").status_code == 302
    hand.refresh_from_db()
    assert hand.check_password("tide-and-mud")


@pytest.mark.parametrize(
    ("old", "new", "again", "said"),
    [
        ("wrong", "tide-and-mud", "tide-and-mud", "not your present password"),
        ("saltmarsh", "tide-and-mud", "other", "differ"),
        ("saltmarsh", "short", "short", "too short"),
        ("saltmarsh", "password1", "password1", "too common"),
        ("saltmarsh", "saltmarsh", "saltmarsh", "have already"),
    ],
)
def test_a_poor_new_password_is_refused_with_a_sentence(as_hand, hand, old, new, again, said):
    page = as_hand.post("/password/", {"old_password": old, "new_password1": new, "new_password2": again})
    assert page.status_code == 200 and said in page.content.decode()
    hand.refresh_from_db()
    assert hand.check_password("saltmarsh")


def test_one_time_password_leads_to_choosing_ones_own_and_nowhere_else(company):
    person = make_person("hand", must_change_password=True)
    client = signed_in(person)
    for address in ("/", "/shop/", "/me/"):
        assert client.get(address)["Location"] == "/password/"
    assert "one-time password" in client.get("/password/").content.decode()
    answer = client.post(
        "/password/", {"old_password": "saltmarsh", "new_password1": "tide-and-mud", "new_password2": "tide-and-mud"}
    )
    assert answer["Location"] == "/"
    assert client.get("/shop/").status_code == 200


def test_sign_in_needs_the_form_s_token(owner):
    client = Client(enforce_csrf_checks=True)
    assert try_in(client, "owner", "saltmarsh").status_code == 403


def test_demo_shows_its_sign_ins_and_a_real_company_does_not(db):
    make_company(is_demo=True)
    assert "saltmarsh" in Client().get(SIGN_IN).content.decode()
    make_company(is_demo=False)
    assert "saltmarsh" not in Client().get(SIGN_IN).content.decode()


def test_demo_answers_this_machine_alone(db):
    make_company(is_demo=True)
    assert Client().get(SIGN_IN, REMOTE_ADDR="192.168.1.7").status_code == 403
    assert Client().get(SIGN_IN, REMOTE_ADDR="127.0.0.1").status_code == 200
    assert Client().get("/health/", REMOTE_ADDR="::1").status_code == 200


def test_behind_a_proxy_the_address_is_what_the_proxy_wrote(owner, settings):
    settings.BEHIND_PROXY = True
    for number in range(7):
        last = Client().post(
            SIGN_IN, {"username": "owner", "password": "wrong"}, HTTP_X_FORWARDED_FOR=f"1.1.1.{number}, 10.0.0.1"
        )
    assert last.status_code == 429
    other = Client().post(SIGN_IN, {"username": "owner", "password": "saltmarsh"}, HTTP_X_FORWARDED_FOR="10.0.0.2")
    assert other.status_code == 302


def test_signed_in_person_is_sent_on_from_the_sign_in_page(as_hand):
    assert as_hand.get(f"{reverse('sign-in')}?next=/shop/")["Location"] == "/shop/"
