"""A paper list entered afterwards: all as listed, except; entered once; said, not seen."""

import uuid
from datetime import timedelta

import pytest
from django.urls import reverse

from inventory.calc.kinds import Kind
from inventory.models import CountMove
from shows.models import Checkout, Scan
from tests.builders import NOW, make_counted_line, make_item, make_place, make_pull_row, make_show, make_type


@pytest.fixture(autouse=True)
def still(monkeypatch):
    """Stop the clock at NOW."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


@pytest.fixture
def show(company):
    return make_show(load_in=NOW + timedelta(hours=4))


@pytest.fixture
def boxes(show):
    box = make_type()
    items = [make_item(type=box, name=name, home=make_place()) for name in "ABC"]
    make_pull_row(show, type=box, count=3)
    return items


def sheet(client, show, way="out", **kw):
    return client.post(reverse("ticksheet", args=[show.pk, way]), kw)


def test_all_as_listed_except_one_is_scans_for_the_rest(as_technician, show, boxes):
    page = as_technician.get(reverse("ticksheet", args=[show.pk, "out"]))
    listed = [i["code"] for i in page.context["items"]]
    assert set(listed) == {b.code for b in boxes}
    answer = sheet(as_technician, show, uid=str(uuid.uuid4()), listed=listed, code=listed[1:])
    assert answer.status_code == 302
    assert set(Checkout.objects.values_list("item__code", flat=True)) == set(listed[1:])
    assert set(Scan.objects.values_list("ticked", "action", "device")) == {(True, "out", "paper")}
    assert set(Checkout.objects.values_list("evidence", flat=True)) == {"said"}


def test_the_same_sheet_twice_is_entered_once(as_technician, show, boxes):
    line = make_counted_line(24)
    make_pull_row(show, type=line.type, count=10)
    sent = {"uid": str(uuid.uuid4()), "code": [b.code for b in boxes], f"count-{line.pk}": "10"}
    for _ in range(2):
        assert sheet(as_technician, show, **sent).status_code == 302
    assert Scan.objects.count() == Checkout.objects.count() == 3
    assert list(CountMove.objects.filter(show=show.pk).values_list("delta", flat=True)) == [-10]


def test_back_takes_good_and_bad_and_tape_that_was_used_up(as_technician, show, boxes, monkeypatch):
    lead, tape = make_counted_line(24), make_counted_line(6, type=make_type(Kind.CONSUMABLE))
    codes = [b.code for b in boxes]
    sheet(as_technician, show, uid=str(uuid.uuid4()), code=codes, **{f"count-{lead.pk}": "10", f"count-{tape.pk}": "6"})
    back = as_technician.get(reverse("ticksheet", args=[show.pk, "back"]))
    assert {i["code"] for i in back.context["items"]} == set(codes)
    assert {c["line"]: c["count"] for c in back.context["counted"]} == {lead.pk: 10, tape.pk: 6}
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW + timedelta(hours=20))
    sent = {"code": codes[:2], f"count-{lead.pk}": "9", f"bad-{lead.pk}": "1", f"count-{tape.pk}": "4"}
    sheet(as_technician, show, "back", uid=str(uuid.uuid4()), **sent)
    assert set(Checkout.objects.filter(closed_at=None).values_list("item__code", flat=True)) == {codes[2]}
    left = as_technician.get(reverse("ticksheet", args=[show.pk, "back"])).context["counted"]
    assert {c["line"]: c["count"] for c in left} == {lead.pk: 1}


def test_the_truck_list_ticks_what_was_loaded(as_technician, show, boxes, monkeypatch):
    codes = [b.code for b in boxes]
    sheet(as_technician, show, uid=str(uuid.uuid4()), code=codes)
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW + timedelta(hours=10))
    sheet(as_technician, show, "truck", uid=str(uuid.uuid4()), code=codes[:1])
    assert list(Checkout.objects.filter(truck_at__isnull=False).values_list("item__code", flat=True)) == codes[:1]


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({}, "Nothing is ticked"),
        ({"also": "NOTACODE"}, "One character is wrong"),
        ({"also": "U" * 8}, "is never part of a code"),
        ({"code": ["DO.OUT"]}, "That is a card, not a label"),
        ({"count-1": "-4"}, "whole number"),
        ({"count-1": "9" * 30}, "whole number"),
        ({"when": "yesterday", "code": ["x"]}, "Write it as a day and a time"),
        ({"code": ["x" * 5000]}, "far longer than any label"),
    ],
)
def test_a_sheet_that_makes_no_sense_enters_nothing_and_keeps_what_was_ticked(as_technician, show, boxes, sent, said):
    listed = [b.code for b in boxes]
    answer = sheet(as_technician, show, **{"uid": "not a uid", "listed": listed, **sent})
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not Scan.objects.exists()
    assert answer.context["unticked"] == set(listed)


def test_an_unknown_line_or_label_is_told_and_the_rest_entered(as_technician, show, boxes):
    from inventory.calc import codes

    sent = {"code": [boxes[0].code], "also": codes.mint(), "count-999": "3"}
    page = as_technician.post(
        reverse("ticksheet", args=[show.pk, "out"]), {"uid": str(uuid.uuid4()), **sent}, follow=True
    ).content.decode()
    assert "1 entered as out" in page
    assert Checkout.objects.get().item == boxes[0]


def test_a_sheet_says_when_it_was_ticked_but_never_the_future(as_technician, show, boxes):
    sheet(as_technician, show, uid=str(uuid.uuid4()), code=[boxes[0].code], when="2026-09-25T08:15")
    sheet(as_technician, show, uid=str(uuid.uuid4()), code=[boxes[1].code], when="2026-12-25T08:15")
    assert list(Scan.objects.order_by("pk").values_list("effective_at", flat=True)) == [
        NOW.replace(hour=7, minute=15),
        NOW,
    ]
