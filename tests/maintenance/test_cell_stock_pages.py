"""Stock of cells on pages: lots added, counted, taken out; hands see no prices; the low ones are on the shopping list."""

import csv
import io
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from maintenance.models import CellLot, CellMove, CellType
from maintenance.services.cells import lot_left
from tests.builders import NOW, a_day, make_cell_type, make_lot, make_place

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def still(monkeypatch, company):
    """Stop the clock at NOW."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


def add(client, **given):
    type_ = make_cell_type()
    return client.post(reverse("cell-lot-add"), {"uid": str(uuid.uuid4()), "type": type_.pk, "count": "24", **given})


def shown(client, name: str = "cell-stock", *args) -> str:
    answer = client.get(reverse(name, args=args))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_a_lot_is_put_on_the_shelf(as_technician):
    place = make_place()
    assert add(as_technician, price_cents="3,10", expires_on=a_day(900), bought_on=a_day(-3), place=place.pk).status_code == 302
    lot = CellLot.objects.get()
    assert (lot.price_cents, lot.expires_on, lot.place) == (310, a_day(900), place)
    assert CellMove.objects.get().delta == 24
    assert "24" in shown(as_technician)


def test_the_same_lot_sent_twice_is_one(as_technician):
    uid = str(uuid.uuid4())
    for _ in range(2):
        add(as_technician, uid=uid)
    assert CellLot.objects.count() == 1


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"count": "0"}, "At least 1."),
        ({"count": "many"}, "Write a whole number"),
        ({"count": "1000000"}, "At most 100000."),
        ({"bought_on": "2999-01-01"}, "still to come"),
        ({"bought_on": a_day(-3), "expires_on": a_day(-9)}, "expired before they were bought"),
        ({"expires_on": "1999-01-01"}, "cannot be"),
        ({"price_cents": "a lot"}, "a lot"),
        ({"type": "99999"}, "Pick one from the list."),
        ({"make": "x" * 60}, "At most 40 characters."),
    ],
)
def test_a_lot_that_cannot_be_gets_a_sentence_and_nothing_is_written(as_technician, given, said):
    answer = add(as_technician, **given)
    assert answer.status_code == 422 and said in answer.content.decode()
    assert not CellLot.objects.exists() and not CellMove.objects.exists()


def test_a_hand_counts_but_buys_nothing_and_sees_no_price(as_hand, as_technician):
    lot = make_lot(24, price_cents=317)
    assert add(as_hand).status_code == 403
    for page in (shown(as_hand), shown(as_hand, "cell-lot", lot.pk)):
        assert "3.17" not in page and "One cost" not in page
    assert "3.17" in shown(as_technician) and "3.17" in shown(as_technician, "cell-lot", lot.pk)
    text = b"".join(as_hand.get(reverse("cell-stock-csv")).streaming_content).decode()
    assert "3.17" not in text
    as_hand.post(reverse("cell-lot-count", args=[lot.pk]), {"count": "20", "uid": uuid.uuid4()})
    assert "20 × " in shown(as_hand, "cell-lot", lot.pk)


def test_cells_are_taken_to_the_tub_but_no_more_than_there_are(as_hand):
    lot = make_lot(4)
    answer = as_hand.post(reverse("cell-lot-out", args=[lot.pk]), {"count": "9", "to": "recycle", "uid": uuid.uuid4()})
    assert answer.status_code == 422 and "There are 4 in it." in answer.content.decode()
    answer = as_hand.post(
        reverse("cell-lot-out", args=[lot.pk]), {"count": "3", "to": "recycle", "uid": uuid.uuid4()}, follow=True
    )
    assert "tape the terminals" in answer.content.decode()
    assert sum(lot.moves.values_list("delta", flat=True)) == 1


@pytest.mark.parametrize("count", ["", "-1", "some", "9" * 12])
def test_a_count_that_cannot_be_is_refused(as_hand, count):
    lot = make_lot(4)
    answer = as_hand.post(reverse("cell-lot-count", args=[lot.pk]), {"count": count, "uid": uuid.uuid4()})
    assert answer.status_code == 422
    assert CellMove.objects.count() == 1


def test_what_runs_low_is_said_and_stands_on_the_shopping_list(as_technician):
    make_lot(3)
    assert "fewer than the 12 kept" in shown(as_technician)
    listed = as_technician.get(reverse("shopping")).content.decode()
    assert make_cell_type().name in listed


def test_the_oldest_lot_stands_first_and_an_empty_one_only_on_request(as_hand):
    young, old = make_lot(2, expires_on=a_day(900)), make_lot(2, expires_on=a_day(90))
    empty = make_lot(0)
    page = shown(as_hand)
    assert page.index(f"/cells/stock/{old.pk}/") < page.index(f"/cells/stock/{young.pk}/")
    assert f"/cells/stock/{empty.pk}/" not in page
    assert f"/cells/stock/{empty.pk}/" in as_hand.get("/cells/stock/?empty=yes").content.decode()


def test_every_lot_is_in_the_csv(as_technician):
    make_lot(5, price_cents=310, note="=1+1")
    text = b"".join(as_technician.get(reverse("cell-stock-csv")).streaming_content).decode("utf-8-sig")
    (row,) = csv.DictReader(io.StringIO(text))
    assert row["left"] == "5" and row["price of one"] == "3.10" and not row["note"].startswith("=")


def queries(client) -> int:
    with CaptureQueriesContext(
        connection,
    ) as seen:
        assert client.get(reverse("cell-stock")).status_code == 200
    return len(seen)


def test_fifty_lots_take_as_many_queries_as_one(as_hand):
    make_lot(2)
    queries(as_hand)
    one = queries(as_hand)
    for number in range(50):
        make_lot(2, expires_on=a_day(100 + number))
    assert queries(as_hand) == one


def test_stock_without_any_type_says_what_to_do(as_technician):
    CellType.objects.all().delete()
    assert "No cells on record yet." in shown(as_technician)
    assert "No types of cells yet." in shown(as_technician, "cell-lot-add")


def test_a_count_and_a_taking_out_are_taken_back_once(as_hand, as_technician, technician):
    lot = make_lot(12)
    as_hand.post(reverse("cell-lot-count", args=[lot.pk]), {"uid": str(uuid.uuid4()), "count": "7"})
    as_hand.post(reverse("cell-lot-out", args=[lot.pk]), {"uid": str(uuid.uuid4()), "count": "3", "to": "recycle"})
    tub = CellLot.objects.get(pool="recycle")
    assert (lot_left(lot), lot_left(tub)) == (4, 3)
    url = reverse("cell-lot-undo", args=[lot.pk])
    for move in CellMove.objects.filter(lot=lot, why__in=["counted", "recycled"]):
        for _twice in range(2):
            said = as_hand.post(url, {"uid": str(move.uid)}, follow=True).content.decode()
            assert "Taken back" in said and "taken back" in said
    assert (lot_left(lot), lot_left(tub)) == (12, 0)
    bought = CellMove.objects.get(lot=lot, why="bought")
    assert "device&#x27;s page" in as_technician.post(url, {"uid": str(bought.uid)}, follow=True).content.decode()


def test_what_another_noted_is_a_technician_s_to_take_back_and_an_emptied_tub_stays_empty(as_hand, as_technician):
    lot = make_lot(12)
    as_technician.post(reverse("cell-lot-out", args=[lot.pk]), {"uid": str(uuid.uuid4()), "count": "3", "to": "recycle"})
    move = CellMove.objects.get(lot=lot, why="recycled")
    url = reverse("cell-lot-undo", args=[lot.pk])
    assert "ask a technician" in as_hand.post(url, {"uid": str(move.uid)}, follow=True).content.decode()
    tub = CellLot.objects.get(pool="recycle")
    as_technician.post(reverse("cell-lot-out", args=[tub.pk]), {"uid": str(uuid.uuid4()), "count": "3", "to": "recycle"})
    assert "count this lot instead" in as_technician.post(url, {"uid": str(move.uid)}, follow=True).content.decode()
    assert lot_left(lot) == 9 and lot_left(tub) == 0
