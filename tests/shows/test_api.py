import json
import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from company.models import ApiToken
from inventory.calc import codes
from shows.models import Scan
from tests.builders import NOW, make_item, make_pull_row, make_show, make_type


def send(client, *scans, **envelope):
    body = {"device": "test", "scans": list(scans), **envelope}
    return client.post("/api/scans", json.dumps(body), content_type="application/json")


def a_scan(code, action="out", **more):
    return {"id": str(uuid.uuid4()), "code": code, "action": action, "happened_at": NOW.isoformat(), **more}


def test_a_stranger_is_told_how_to_ask(company):
    answer = Client().get("/api/items")
    assert answer.status_code == 401
    assert "Bearer" in answer.json()["detail"]


def test_a_token_opens_the_api_and_a_withdrawn_one_does_not(technician):
    token, text = ApiToken.make(person=technician, name="bench", made_at=NOW)
    headers = {"authorization": f"Bearer {text}"}
    assert Client(headers=headers).get("/api/items").status_code == 200
    token.withdrawn_at = NOW
    token.save()
    assert Client(headers=headers).get("/api/items").status_code == 401


def test_a_session_needs_the_csrf_token_to_write(technician):
    client = Client(enforce_csrf_checks=True)
    client.force_login(technician, backend="django.contrib.auth.backends.ModelBackend")
    assert send(client).status_code == 403


def test_items_are_found_by_word_and_paged_in_the_gear_list_s_order(as_hand):
    box = make_type("interface-box", name="Active direct box")
    for name in "CAB":
        make_item(type=box, name=name)
    make_item(kind="microphone", name="other")
    answer = as_hand.get("/api/items", {"search": "direct", "limit": 2}).json()
    assert answer["count"] == 3 and not answer["more"]
    assert [row["name"] for row in answer["items"]] == ["Active direct box A", "Active direct box B"]
    assert answer["items"][0]["standing"] == "unproved" and answer["items"][0]["where"] == "shop"


def test_an_item_answers_to_any_label_it_ever_had(as_hand):
    item = make_item()
    show = make_show()
    send(as_hand, a_scan(item.code, show=show.pk))
    answer = as_hand.get(f"/api/items/{codes.spell(item.code).lower()}").json()
    assert answer["code"] == item.code
    assert answer["checkout"]["show"] == show.pk
    assert answer["where"] == "show" and answer["show"] == show.pk


@pytest.mark.parametrize("code", ["nonsense", "0" * 8, "%00", "A" * 3000, "DO.OUT"])
def test_a_code_that_is_none_gets_a_sentence(as_hand, code):
    answer = as_hand.get(f"/api/items/{code}")
    assert answer.status_code == 404
    assert answer.json()["detail"].endswith(".")


def test_shows_are_told_apart_by_when(as_hand):
    from company.clock import now

    at = now()
    past = make_show(at - timedelta(days=3))
    under_way = make_show(at - timedelta(hours=1))
    coming = make_show(at + timedelta(days=3))
    asked = {when: [s["id"] for s in as_hand.get("/api/shows", {"when": when}).json()] for when in ("past", "now", "coming")}
    assert asked == {"past": [past.pk], "now": [under_way.pk], "coming": [coming.pk]}
    assert [s["id"] for s in as_hand.get("/api/shows").json()] == [under_way.pk, coming.pk]


def test_a_pull_list_and_its_readiness_follow_the_scans(as_hand):
    item = make_item()
    show = make_show()
    make_pull_row(show, type=item.type, count=1)
    before = as_hand.get(f"/api/shows/{show.pk}/readiness").json()
    assert not before["ready"] and "still in the shop" in before["not_ready_because"][0]
    send(as_hand, a_scan(item.code, show=show.pk))
    assert as_hand.get(f"/api/shows/{show.pk}/readiness").json()["ready"]
    row = as_hand.get(f"/api/shows/{show.pk}/pull-list").json()["rows"][0]
    assert (row["wanted"], row["out"], row["lacking"]) == (1, 1, 0)
    assert row["items"][0]["code"] == item.code


def test_scans_are_answered_one_by_one_in_order(as_hand):
    item, show = make_item(), make_show()
    scans = [a_scan(item.code, show=show.pk), a_scan(codes.mint(), show=show.pk), a_scan(item.code, show=999_999)]
    answer = send(as_hand, *scans)
    assert answer.status_code == 200
    results = answer.json()["results"]
    assert [r["id"] for r in results] == [s["id"] for s in scans]
    assert [r["outcome"] for r in results] == ["accepted", "unknown", "refused"]
    assert [r["signal"] for r in results] == ["fine", "stop", "stop"]
    assert all(r["reason"] for r in results[1:])


def test_the_same_batch_twice_is_stored_once_and_answered_the_same(as_hand):
    item, show = make_item(), make_show()
    scan = a_scan(item.code, show=show.pk)
    assert send(as_hand, scan).json() == send(as_hand, scan).json()
    assert Scan.objects.count() == 1


@pytest.mark.parametrize(
    "odd",
    [
        {"code": None},
        {"code": 10**30},
        {"code": "a\u0000b"},
        {"code": "x" * 5000},
        {"code": ["a", {"b": 1}]},
        {"action": "explode"},
        {"action": None},
        {"show": 10**30},
        {"show": "seven"},
        {"show": -1},
        {"happened_at": "2026-09-25T09:00:00"},
        {"happened_at": "0001-01-01T00:00:00+14:00"},
        {"happened_at": "9999-12-31T23:59:59-14:00"},
        {"happened_at": 10**30},
        {"happened_at": None},
        {"seq": 10**30},
        {"seq": "x"},
        {"counted": -4},
        {"counted": 10**30},
        {"missing": "all"},
        {"missing": [None, 4, {}]},
        {"undoes": "not a uuid"},
        {"condition": "haunted"},
        {"symptom": "x" * 4000},
        {"note": "\u0000" * 4000},
        {"replaces": 7},
        {"surprise": {"deep": [1, 2, 3]}},
    ],
)
def test_an_odd_scan_is_answered_with_a_sentence_and_kept(as_hand, odd):
    item, show = make_item(), make_show()
    answer = send(as_hand, {**a_scan(item.code, show=show.pk), **odd})
    assert answer.status_code == 200, answer.content
    result = answer.json()["results"][0]
    assert result["outcome"] in {"accepted", "contradiction", "refused", "unknown"}
    assert result["reason"] or result["signal"] == "fine"
    assert Scan.objects.count() == 1


def test_half_a_character_in_a_scan_is_kept_as_a_sentence_not_an_error(as_hand):
    body = '{"device":"d","scans":[{"id":"%s","code":"\\ud800","action":"out","happened_at":"%s"}]}'
    answer = as_hand.post("/api/scans", body % (uuid.uuid4(), NOW.isoformat()), content_type="application/json")
    assert answer.status_code == 200
    assert answer.json()["results"][0]["signal"] == "stop"


@pytest.mark.parametrize(
    ("body", "word"),
    [
        ("", "JSON"),
        ("{", "JSON"),
        ("[" * 100_000, "deep"),
        ('{"scans": 7}', "list"),
        ('{"scans": [{"code": "x"}]}', "needed"),
        ('{"scans": [{"id": "x"}]}', "UUID"),
        ('{"scans": [], "sent_at": "2026-09-25T09:00:00"}', "time zone"),
        ('{"scans": [], "sent_at": "0001-01-01T00:00:00+14:00"}', "1 to 9999"),
        ('{"scans": [], "device": "\\u0000"}', "NUL"),
        ('{"scans": [], "device": "\\ud800"}', "surrogate"),
        ('{"scans": [], "device": "%s"}' % ("x" * 65), "64"),
        (json.dumps({"scans": [{"id": str(uuid.uuid4())}] * 501}), "500"),
    ],
)
def test_a_wrong_envelope_is_422_with_the_field_and_a_sentence(as_hand, body, word):
    answer = as_hand.post("/api/scans", body, content_type="application/json")
    assert answer.status_code == 422, answer.content
    assert word.lower() in answer.json()["detail"].lower() and set(answer.json()) == {"field", "detail"}
    assert Scan.objects.count() == 0


def test_too_much_at_once_is_413(as_hand):
    answer = as_hand.post("/api/scans", json.dumps({"scans": [], "device": "x" * 5_000_000}), content_type="application/json")
    assert answer.status_code == 413


@pytest.mark.parametrize(
    "query", ["limit=-1", "limit=0", "limit=201", "limit=1e3", "offset=-1", f"offset={10**30}", "search=%00", "limit=x"]
)
def test_a_wrong_query_is_422(as_hand, query):
    answer = as_hand.get(f"/api/items?{query}")
    assert answer.status_code == 422
    assert set(answer.json()) == {"field", "detail"}


@pytest.mark.parametrize("show", ["0", "-1", str(10**30), "x", "999999"])
def test_a_wrong_show_is_a_sentence(as_hand, show):
    assert as_hand.get(f"/api/shows/{show}/pull-list").status_code in {404, 422}


def test_a_list_costs_as_many_queries_for_fifty_as_for_one(as_hand):
    def queries():
        with CaptureQueriesContext(
            connection,
        ) as caught:
            assert as_hand.get("/api/items").status_code == 200
        return len(caught)

    box = make_type()
    make_item(type=box)
    one = queries()
    for _ in range(49):
        make_item(type=box)
    assert queries() == one


def test_the_docs_are_behind_sign_in_and_ask_no_other_host(as_hand, company):
    assert Client().get("/api/docs").status_code == 302
    page = as_hand.get("/api/docs").content.decode()
    assert "http://" not in page and "https://" not in page
