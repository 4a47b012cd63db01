"""Cells over HTTP: hours left for a reading, one swap for one id, one shape of error with a sentence."""

import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from company.clock import now
from inventory.calc.codes import mint
from inventory.models import Label
from inventory.registries import ITEM_API_FIELDS
from maintenance.models import CellReading, FittedSet, Swap
from maintenance.services.cell_reckon import item_cells_reckon
from tests.builders import NOW, a_day, fit_cells, make_box, make_cell_type, make_item, make_lot, use_on_cells

pytestmark = pytest.mark.django_db


@pytest.fixture
def box(company):
    return make_box()


@pytest.fixture
def lot(company):
    return make_lot(9)


def swap(client, item, **kw):
    body = {"id": str(uuid.uuid4()), "code": item.code, "done_at": now().isoformat(), **kw}
    return client.post("/api/swaps", body, content_type="application/json")


def reading(client, item, **kw):
    body = {
        "id": str(uuid.uuid4()),
        "code": item.code,
        "bay": 1,
        "volts": 8.4,
        "load_ohm": 620,
        "read_at": now().isoformat(),
        **kw,
    }
    return client.post("/api/cell-readings", body, content_type="application/json")


def test_a_swap_takes_the_oldest_lot_and_answers_the_hours(as_hand, hand, box, lot):
    answer = swap(as_hand, box)
    assert answer.status_code == 200, answer.content
    body = answer.json()
    assert (body["type"], body["lot"], body["again"]) == ("6LR61", lot.pk, False)
    assert body["low_h"] < body["median_h"] < body["high_h"] and body["said"]
    assert Swap.objects.get().person == hand
    item = as_hand.get(f"/api/items/{box.code}").json()
    assert item["cells"][0]["type"] == "6LR61" and item["cells"][0]["median_h"] == body["median_h"]


def test_the_same_id_is_one_swap_with_one_answer(as_hand, box, lot):
    key = str(uuid.uuid4())
    first, second = (swap(as_hand, box, id=key).json() for _ in range(2))
    assert second.pop("again") and not first.pop("again") and first == second
    assert Swap.objects.count() == 1


def test_a_second_phone_is_told_who_did_it_and_may_insist(as_hand, as_technician, box, lot):
    swap(as_hand, box)
    second = swap(as_technician, box)
    assert second.status_code == 422 and "Done already by hand" in second.json()["detail"] and second.json()["may_insist"]
    assert Swap.objects.count() == 1
    assert swap(as_technician, box, anyway=True).status_code == 200


def test_a_type_by_its_letters_or_only_taken_out(as_hand, box):
    assert swap(as_hand, box, type="6lr61").json()["lot"] is None
    assert swap(as_hand, box, taken_out=True, reason="stored").json()["type"] == ""
    assert not FittedSet.objects.filter(removed_at=None).exists()


def test_a_reading_answers_charge_and_hours(as_hand, hand, box):
    fit_cells(box)
    body = reading(as_hand, box).json()
    assert 0.5 < body["charge_left"] < 1 and body["low_h"] < body["median_h"] < body["high_h"]
    assert not body["again"] and body["said"]
    assert CellReading.objects.get().person == hand


def test_the_same_reading_is_answered_the_same(as_hand, box):
    fit_cells(box)
    key = str(uuid.uuid4())
    first, second = (reading(as_hand, box, id=key).json() for _ in range(2))
    assert second.pop("again") and not first.pop("again") and first == second
    assert CellReading.objects.count() == 1


@pytest.mark.parametrize(
    ("field", "words", "kw"),
    [
        ("code", "card", {"code": "DO.OUT"}),
        ("code", ".", {"code": "nonsense"}),
        ("volts", "cannot come from", {"volts": 12}),
        ("volts", "millivolts", {"volts": 8740}),
        ("volts", "finite", {"volts": 1e999}),
        ("volts", ".", {"volts": 1e30}),
        ("bay", "no place 2", {"bay": 2}),
        ("bay", ".", {"bay": 10**30}),
        ("load_ohm", "short circuit", {"load_ohm": 0}),
        ("minutes_off", "below nothing", {"minutes_off": -5}),
        ("read_at", "still to come", {"read_at": (now() + timedelta(days=1)).isoformat()}),
        ("read_at", "time zone", {"read_at": "2026-09-25T09:00:00"}),
        ("read_at", ".", {"read_at": "0001-01-01T00:00:00+14:00"}),
        ("read_at", ".", {"read_at": "9999-12-31T23:59:59-14:00"}),
        ("id", ".", {"id": "17"}),
    ],
)
def test_a_reading_that_cannot_be_is_422_with_its_field_and_a_sentence(as_hand, box, field, words, kw):
    answer = reading(as_hand, box, **kw)
    body = answer.json()
    assert answer.status_code == 422 and body["field"] == field and words in body["detail"], body
    assert not CellReading.objects.exists()


@pytest.mark.parametrize(
    ("field", "words", "kw"),
    [
        ("lot", "no such lot", {"lot": 999}),
        ("lot", ".", {"lot": 2**63}),
        ("lot", "one of lot, type", {"lot": 1, "type": "LR6"}),
        ("type", "not one we have", {"type": "XX9"}),
        ("type", "takes 9 V", {"type": "LR6"}),
        ("set", ".", {"set": "nonsense"}),
        ("reason", ".", {"reason": "bored"}),
        ("out_to", ".", {"out_to": "river"}),
        ("out_volts", "cannot come from", {"out_volts": 12}),
        ("bay", "no place 2", {"bay": 2}),
        ("done_at", "still to come", {"done_at": (now() + timedelta(days=1)).isoformat()}),
        ("done_at", ".", {"done_at": "0001-01-01T00:00:00+14:00"}),
        ("note", "NUL", {"note": "a\0b"}),
        ("show", ".", {"show": -1}),
    ],
)
def test_a_swap_that_cannot_be_is_422_with_its_field_and_a_sentence(as_hand, box, lot, field, words, kw):
    make_cell_type("LR6")
    answer = swap(as_hand, box, **kw)
    body = answer.json()
    assert answer.status_code == 422 and body["field"] == field and words in body["detail"], body
    assert not Swap.objects.exists()


def test_no_lot_left_a_thing_without_cells_and_an_unbound_label_are_sentences(as_hand, box):
    assert "name the type" in swap(as_hand, box).json()["detail"]
    assert "no place for cells" in swap(as_hand, make_item(), type="6LR61").json()["detail"]
    Label.objects.create(code=(code := mint()), minted_at=NOW)
    assert "Bind the label" in swap(as_hand, box, code=code).json()["detail"]


def test_a_stranger_is_not_let_in(client, box):
    assert swap(client, box).status_code == 401 and reading(client, box).status_code == 401


def test_one_item_costs_what_fifty_cost(company):
    boxes = [make_box()]
    boxes += [make_box(type=boxes[0].type) for _ in range(49)]
    lot = make_lot(60)
    for box in boxes:
        fit_cells(box, lot=lot)
    counts = []
    for some in (boxes[:1], boxes):
        with CaptureQueriesContext(connection) as queries:
            answer = ITEM_API_FIELDS["cells"](some, NOW)
        counts.append(len(queries))
        assert len(answer) == len(some)
    assert counts[0] == counts[1] <= 16


def test_a_swap_says_what_came_out_and_where_it_goes(as_hand, box, lot):
    fit_cells(box, lot=lot)
    use_on_cells(box, 9, day=a_day(-9))
    item_cells_reckon(item=box, at=now())
    out = swap(as_hand, box, out_volts=7.9).json()["out"]
    assert (out["type"], out["to"], out["hours_used"]) == ("6LR61", "rehearsal", 9) and "rehearsal pool" in out["words"]
    died = swap(as_hand, box, reason="died", anyway=True).json()["out"]
    assert died["to"] == "recycle" and "tape the terminals" in died["words"]
    assert swap(as_hand, make_box(type=box.type)).json()["out"] is None


def test_a_known_id_with_other_figures_says_that_they_were_not_kept(as_hand, box, lot):
    fit_cells(box)
    key = str(uuid.uuid4())
    reading(as_hand, box, id=key, volts=8.4)
    said = " ".join(reading(as_hand, box, id=key, volts=7.1).json()["said"])
    assert "8.4 V" in said and "7.1 V was not kept" in said and CellReading.objects.get().volts == 8.4
    key = str(uuid.uuid4())
    swap(as_hand, box, id=key, out_volts=8.1)
    said = " ".join(swap(as_hand, box, id=key, out_volts=7.7).json()["said"])
    assert "7.7 V came out was not kept" in said and Swap.objects.get(uid=key).out_volts == 8.1


def test_one_person_s_two_phones_make_one_swap(as_hand, box, lot):
    swap(as_hand, box)
    second = swap(as_hand, box)
    assert second.status_code == 422 and "Done already by you" in second.json()["detail"] and second.json()["may_insist"]
    assert Swap.objects.count() == 1


def test_nothing_read_is_asked_about(as_hand, box):
    fit_cells(box)
    first = reading(as_hand, box, volts=0)
    assert first.status_code == 422 and first.json()["may_insist"] and "touches nothing" in first.json()["detail"]
    assert not CellReading.objects.exists()
    assert "not for a show" in " ".join(reading(as_hand, box, volts=0, anyway=True).json()["said"])


def test_a_stranger_is_401_with_a_sentence_and_a_page_without_its_token_403(box, hand):
    client = Client(enforce_csrf_checks=True)
    answer = swap(client, box)
    assert answer.status_code == 401 and "Sign in, or send a token" in answer.json()["detail"]
    client.force_login(hand, backend="django.contrib.auth.backends.ModelBackend")
    answer = swap(client, box)
    assert answer.status_code == 403 and "CSRF token" in answer.json()["detail"] and "Failed" not in answer.json()["detail"]


@pytest.mark.parametrize(
    ("kw", "words"),
    [
        ({"volts": "much"}, "no number"),
        ({"read_at": "yesterday"}, "A time is written as"),
        ({"bay": 0}, "1 or more"),
        ({"id": 7}, "UUID"),
        ({"code": "x" * 5000}, "4096 characters"),
    ],
)
def test_a_value_of_the_wrong_kind_is_refused_in_our_words(as_hand, box, kw, words):
    detail = reading(as_hand, box, **kw).json()["detail"]
    assert words in detail and "Input should" not in detail
