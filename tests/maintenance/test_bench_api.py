"""Bench tests over HTTP: verdict with reasons, the same answer for the same id, one shape of error with a sentence."""

import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from company.clock import now
from inventory.calc.codes import mint
from inventory.calc.kinds import Kind
from inventory.models import Label
from inventory.registries import ITEM_API_FIELDS
from maintenance.models import BenchTest
from tests.builders import NOW, make_case, make_item, make_lead

pytestmark = pytest.mark.django_db

URL = "/api/bench-tests"
READ = [
    {"from": f"A{a}", "to": f"B{b}", **({"ohms": 0.4 if a == 1 else 0.9} if a == b else {"above_ohms": 2e7})}
    for a in (1, 2, 3)
    for b in (1, 2, 3)
]


@pytest.fixture
def lead(company):
    return make_lead()


def sent(client, item, **kw):
    body = {"id": str(uuid.uuid4()), "code": item.code, "done_at": now().isoformat(), "null_ohms": 0.1, "readings": READ, **kw}
    return client.post(URL, {k: v for k, v in body.items() if v is not None}, content_type="application/json")


def test_a_test_is_judged_and_its_item_known_good(as_technician, technician, lead):
    answer = sent(as_technician, lead)
    assert answer.status_code == 200, answer.content
    body = answer.json()
    assert body["verdict"] == "pass" and body["findings"] == [] and body["test_by"] and not body["again"]
    assert body["not_measured"] and body["code"] == lead.code
    test = BenchTest.objects.get()
    assert (test.person, test.procedure, test.depth) == (technician, "wiring", "ohms")
    item = as_technician.get(f"/api/items/{lead.code}").json()
    assert (
        item["standing"] == "known good" and item["last_test"]["verdict"] == "pass" and item["last_test"]["by"] == "technician"
    )
    assert item["test_by"] == body["test_by"] and item["forecast"]["test_by"] == body["test_by"]
    assert any("Last tested" in reason and "passed" in reason for reason in item["reasons"])


def test_a_swap_is_named_with_its_pins_and_bars_the_item(as_technician, lead):
    crossed = {("A1", "B1"), ("A2", "B3"), ("A3", "B2")}
    swapped = [
        {"from": r["from"], "to": r["to"], **({"ohms": 0.4} if (r["from"], r["to"]) in crossed else {"above_ohms": 2e7})}
        for r in READ
    ]
    body = sent(as_technician, lead, readings=swapped).json()
    assert body["verdict"] == "fail" and set(body["findings"][0]["pins"]) >= {"A2", "B3"}
    assert body["findings"][0]["text"] and body["findings"][0]["effect"] and body["findings"][0]["repair"]
    assert as_technician.get(f"/api/items/{lead.code}").json()["standing"] == "suspect"


def test_the_same_id_twice_is_one_test_with_one_answer(as_technician, lead):
    key = str(uuid.uuid4())
    first, second = (sent(as_technician, lead, id=key).json() for _ in range(2))
    assert second.pop("again") and not first.pop("again") and first == second
    assert BenchTest.objects.count() == 1


def test_the_testers_word_is_enough(as_technician, lead):
    body = sent(as_technician, lead, readings=None, word=False, note="no sound").json()
    assert body["verdict"] == "fail" and "no sound" in body["findings"][0]["text"]
    assert body["said"][0].startswith("Suspect from now on")


def test_a_box_is_tested_by_its_steps(as_technician, company):
    box = make_item(kind=Kind.INTERFACE_BOX)
    answer = sent(as_technician, box, readings=None, steps=[], figures={})
    assert answer.status_code == 200 and answer.json()["verdict"] == "cannot_tell"


def test_an_instrument_of_ours_is_known_by_its_code_any_other_by_name(as_technician, lead):
    meter = make_item(kind=Kind.INSTRUMENT, calibrated_on=NOW.date())
    sent(as_technician, lead, instrument=meter.code)
    sent(as_technician, lead, instrument="the old meter")
    first, second = BenchTest.objects.order_by("pk")
    assert (first.instrument, first.calibrated_on) == (meter, NOW.date())
    assert (second.instrument, second.instrument_name) == (None, "the old meter")


def test_a_correction_names_the_old_one(as_technician, lead):
    key = str(uuid.uuid4())
    sent(as_technician, lead, id=key, readings=None, word=False)
    assert sent(as_technician, lead, corrects=key).json()["verdict"] == "pass"
    assert as_technician.get(f"/api/items/{lead.code}").json()["standing"] == "known good"
    again = sent(as_technician, lead, corrects=key)
    assert again.status_code == 422 and again.json()["field"] == "corrects"


@pytest.mark.parametrize(
    ("field", "words", "kw"),
    [
        ("code", "wrong|label|code", {"code": "nonsense"}),
        ("code", "card", {"code": "DO.OUT"}),
        ("done_at", "still to come", {"done_at": (now() + timedelta(days=1)).isoformat()}),
        ("done_at", "time zone", {"done_at": "2026-09-25T09:00:00"}),
        ("done_at", ".", {"done_at": "0001-01-01T00:00:00+14:00"}),
        ("done_at", ".", {"done_at": "9999-12-31T23:59:59-14:00"}),
        ("readings.0", "A9", {"readings": [{"from": "A9", "to": "B1", "ohms": 1}]}),
        ("readings.0", ".", {"readings": [{"from": "A1", "to": "B1", "ohms": -1}]}),
        ("readings.0", "exactly one", {"readings": [{"from": "A1", "to": "B1"}]}),
        ("readings.0", "exactly one", {"readings": [{"from": "A1", "to": "B1", "ohms": 1, "beep": True}]}),
        ("readings.0.ohms", "finite", {"readings": [{"from": "A1", "to": "B1", "ohms": 1e999}]}),
        ("null_ohms", "null", {"null_ohms": -1}),
        ("temperature_c", "temperature", {"temperature_c": 1e30}),
        ("procedure", "not tested by", {"procedure": "microphone"}),
        ("procedure", "taking a test back", {"procedure": "undo"}),
        ("procedure", ".", {"procedure": "sing"}),
        ("note", "NUL", {"note": "a\0b"}),
        ("note", ".", {"note": "x" * 501}),
        ("id", ".", {"id": "17"}),
        ("corrects", "no test", {"corrects": str(uuid.uuid4())}),
    ],
)
def test_what_cannot_be_is_422_with_its_field_and_a_sentence(as_technician, lead, field, words, kw):
    answer = sent(as_technician, lead, **kw)
    body = answer.json()
    assert answer.status_code == 422 and body["field"] == field, body
    assert words.split("|")[0].lower() in body["detail"].lower() or any(w in body["detail"].lower() for w in words.split("|"))
    assert not BenchTest.objects.exists()


def test_a_label_that_is_on_nothing_says_so(as_technician, company):
    Label.objects.create(code=(code := mint()), minted_at=NOW)
    case = make_case()
    case.code = code
    assert "Bind the label" in sent(as_technician, case).json()["detail"]


def test_a_hand_or_a_stranger_may_not_send_tests(as_hand, client, lead):
    assert sent(as_hand, lead).status_code == 403 and "technician" in sent(as_hand, lead).json()["detail"]
    assert sent(client, lead).status_code == 401
    assert not BenchTest.objects.exists()


def test_a_case_with_something_suspect_in_it_says_so(as_technician, company):
    case = make_case()
    bad, good = make_lead(in_case=case), make_item(in_case=case)
    assert as_technician.get(f"/api/items/{case.code}").json()["suspect_inside"] == []
    sent(as_technician, bad, readings=None, word=False)
    sent(as_technician, good, readings=None, word=True)
    assert as_technician.get(f"/api/items/{case.code}").json()["suspect_inside"] == [bad.code]
    assert "suspect" in as_technician.get(reverse("case", args=[case.code])).content.decode()


def test_one_item_costs_what_fifty_cost(as_technician, company):
    leads = [make_lead()]
    leads += [make_item(type=leads[0].type, length_mm=10_000) for _ in range(49)]
    for lead in leads[:4]:
        sent(as_technician, lead, readings=None, word=True)
    counts = []
    for some in (leads[:1], leads):
        with CaptureQueriesContext(connection) as queries:
            answer = ITEM_API_FIELDS["bench"](some, NOW)
        counts.append(len(queries))
        assert len(answer) == len(some)
    assert counts[0] == counts[1] <= 4


def test_a_hand_is_refused_before_the_body_is_looked_at(as_hand, lead):
    for body in ("{}", "no JSON", '{"id": 4}'):
        answer = as_hand.post(URL, body, content_type="application/json")
        assert answer.status_code == 403 and answer.json()["detail"] == "Bench tests are a technician's."
    assert not BenchTest.objects.exists()


def test_a_test_costs_the_same_after_one_test_and_after_thirty(as_technician, lead):
    def asked():
        with CaptureQueriesContext(connection) as caught:
            assert sent(as_technician, lead).status_code == 200
        return len(caught)

    sent(as_technician, lead)
    first = asked()
    for _ in range(28):
        sent(as_technician, lead)
    assert asked() == first <= 66
