"""One's own page: name, look, tokens; and the shop with its doors."""

import re

import pytest
from django.test import Client
from django.urls import reverse

from company.models import ApiToken
from company.views.shop import ROOMS, Door
from tests.builders import NOW, make_person


def test_name_and_look_are_saved(as_hand, hand):
    answer = as_hand.post("/me/", {"first_name": "Ines", "email": "ines@saltmarsh.example", "theme": "paper"})
    assert answer["Location"] == "/me/" and answer.cookies["theme"].value == "paper"
    hand.refresh_from_db()
    assert (hand.first_name, hand.email, hand.theme) == ("Ines", "ines@saltmarsh.example", "paper")


def test_nobody_can_make_themselves_an_owner(as_hand, hand):
    as_hand.post("/me/", {"first_name": "x", "email": "", "theme": "dark", "role": "owner", "is_superuser": "1"})
    hand.refresh_from_db()
    assert hand.role == "hand" and not hand.is_superuser


def test_bad_mail_address_is_said_and_nothing_is_saved(as_hand, hand):
    page = as_hand.post("/me/", {"first_name": "Ines", "email": "no", "theme": "dark"})
    assert page.status_code == 200 and "error" in page.content.decode()
    hand.refresh_from_db()
    assert hand.first_name == ""


def test_theme_follows_the_person_and_the_browser(as_hand, hand):
    answer = as_hand.post("/theme/", {"theme": "paper", "next": "/shop/"})
    assert answer["Location"] == "/shop/"
    assert 'data-theme="paper"' in as_hand.get("/shop/").content.decode()
    hand.refresh_from_db()
    assert hand.theme == "paper"


@pytest.mark.parametrize(("wanted", "to"), [("neon", "/"), ("paper", "https://example.org/")])
def test_theme_takes_only_ours_and_stays_on_the_site(as_hand, hand, wanted, to):
    assert as_hand.post("/theme/", {"theme": wanted, "next": to})["Location"] == "/"


def test_token_is_shown_once_and_kept_as_a_hash(as_hand, hand):
    page = as_hand.post("/me/tokens/", {"name": "door scanner"})
    assert page["Cache-Control"] == "no-store"
    text = re.search(r"data-once>([^<]+)<", page.content.decode())[1]
    token = ApiToken.objects.get()
    assert token.person == hand and token.digest == ApiToken.hash_of(text) and text not in token.digest
    later = as_hand.get("/me/").content.decode()
    assert "door scanner" in later and text not in later


def test_nameless_token_is_not_made(as_hand):
    assert as_hand.post("/me/tokens/", {"name": " "}).status_code == 200
    assert not ApiToken.objects.exists()


def test_withdrawing_takes_ones_own_token_and_nobody_elses(as_hand, hand, technician):
    mine, _ = ApiToken.make(person=hand, name="mine", made_at=NOW)
    theirs, _ = ApiToken.make(person=technician, name="theirs", made_at=NOW)
    for token in (mine, theirs):
        as_hand.post(reverse("token-drop", args=[token.pk]))
    mine.refresh_from_db()
    theirs.refresh_from_db()
    assert mine.withdrawn_at is not None and theirs.withdrawn_at is None
    assert "already" in as_hand.post(reverse("token-drop", args=[mine.pk]), follow=True).content.decode()


def test_shop_shows_each_role_its_doors_and_every_door_opens(as_owner, as_technician, as_hand):
    for client, sees, not_sees in [
        (as_owner, "Change log", ""),
        (as_technician, "Jobs", "Change log"),
        (as_hand, "Jobs", "People"),
    ]:
        page = client.get("/shop/").content.decode()
        main = page.split("<main")[1].split("</main>")[0]
        assert sees in main and (not not_sees or not_sees not in main)
        doors = re.findall(r'class="strip[^"]*" href="([^"]+)"', main)
        assert doors
        for address in doors:
            assert client.get(address).status_code == 200, address


def test_shop_leaves_out_a_door_that_leads_nowhere(as_hand, monkeypatch):
    trap = Door(url_name="no-such-page", name="Trap", why="")
    monkeypatch.setattr("company.views.shop.ROOMS", [("Nowhere", [trap]), *ROOMS])
    page = as_hand.get("/shop/").content.decode()
    assert "Trap" not in page and "Nowhere" not in page


def test_health_answers_strangers_and_tells_them_nothing(company):
    answer = Client().get("/health/")
    assert answer.status_code == 200 and answer.json() == {"web": "alive"}


def test_pages_carry_a_strict_policy_and_no_inline_anything(as_owner):
    for address in ("/shop/", "/me/", "/settings/", "/people/", "/change-log/", "/jobs/"):
        answer = as_owner.get(address)
        page = answer.content.decode()
        policy = answer["Content-Security-Policy"]
        assert "'unsafe" not in policy and "script-src 'self'" in policy
        assert " style=" not in page and "<style" not in page and not re.search(r"<script(?![^>]*src=)", page), address
        assert not re.search(r"\son[a-z]+=", page), address
        assert not re.search(r'(?:src|href|action)="https?://', page), address


def test_person_is_named_in_the_foot(as_hand):
    make_person()
    assert "hand, hand" in as_hand.get("/shop/").content.decode()
