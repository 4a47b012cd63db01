"""The bench bag at the dock, without a script: its label opens and closes it, what is scanned goes in and is suspect."""

import re
import uuid
from datetime import timedelta

import pytest
from django.urls import reverse

from company.clock import now
from inventory.calc.kinds import Kind
from inventory.models import CaseFacts, Item
from maintenance.models import Fault
from shows.models import Checkout, Scan
from tests.builders import make_item, make_show, make_type

DOCK = "/dock/"


@pytest.fixture
def show(company):
    return make_show(load_in=now() + timedelta(hours=2), name="Harvest ceilidh")


@pytest.fixture
def bag(company):
    kind = make_type(Kind.CASE, name="Bench bag")
    CaseFacts.objects.create(type=kind, bench_bag=True)
    return make_item(type=kind, name="2")


def scan(client, code, **more):
    return client.post(DOCK, {"code": code, "uid": str(uuid.uuid4()), **more}, follow=True)


def bag_in(page) -> str:
    return re.search(r'name="mode" value="(\w*)"><input type="hidden" name="bag" value="(\w*)"', page.content.decode())[2]


def in_bag(item, bag) -> bool:
    return Item.objects.get(pk=item.pk).in_case_id == bag.pk


def test_the_bags_own_label_opens_it_and_the_same_label_closes_it(as_hand, show, bag):
    page = scan(as_hand, bag.code)
    assert f"Into {bag}: scan what goes in" in page.content.decode() and bag_in(page) == bag.code
    assert not Scan.objects.exists()
    closed = scan(as_hand, bag.code, mode="bag", bag=bag.code)
    assert f"{bag} is closed" in closed.content.decode() and bag_in(closed) == ""


def test_what_is_scanned_goes_in_is_suspect_once_and_undo_takes_it_out(as_hand, show, bag):
    item = make_item()
    page = scan(as_hand, item.code, mode="bag", bag=bag.code)
    assert bag_in(page) == bag.code and "suspect until it is tested" in page.content.decode()
    assert in_bag(item, bag) and Fault.objects.get().withdrawn_at is None
    assert not Checkout.objects.exists()
    undone = as_hand.post(reverse("dock-undo"), {"uid": uuid.uuid4(), "mode": "bag", "bag": bag.code}, follow=True)
    assert bag_in(undone) == bag.code
    assert not in_bag(item, bag) and Fault.objects.get().withdrawn_at is not None


def test_the_bag_card_takes_the_last_bag_or_asks_for_its_label(as_hand, show, bag):
    asks = scan(as_hand, "DO.BAG")
    assert "Bench bag: scan its label" in asks.content.decode() and bag_in(asks) == ""
    assert bag_in(scan(as_hand, bag.code, mode="bag")) == bag.code
    assert bag_in(scan(as_hand, "DO.CLOSE", mode="bag", bag=bag.code)) == ""
    assert bag_in(scan(as_hand, "DO.BAG")) == bag.code


@pytest.mark.parametrize("card", ["DO.CLOSE", "DO.OUT", "DO.BACK", "show card"])
def test_cards_close_the_bag(as_hand, show, bag, card):
    text = f"GO.{show.pk}.OUT" if card == "show card" else card
    assert bag_in(scan(as_hand, text, mode="bag", bag=bag.code)) == ""


def test_another_bag_opens_instead(as_hand, show, bag):
    other = make_item(type=bag.type, name="3")
    assert bag_in(scan(as_hand, other.code, mode="bag", bag=bag.code)) == other.code


def test_a_stop_offers_the_last_bag_and_puts_it_in(as_hand, show, bag):
    item = make_item(suspect_since=now() - timedelta(days=1))
    scan(as_hand, bag.code)
    page = scan(as_hand, item.code)
    assert f"Into {bag}" in page.content.decode()
    as_hand.post(reverse("dock-bag"), {"scan": Scan.objects.get().uid, "uid": uuid.uuid4()})
    assert in_bag(item, bag) and not Checkout.objects.filter(closed_at=None).exists()


def test_the_bag_itself_goes_on_the_truck_from_the_truck_check_and_its_own_page(as_hand, show, bag):
    as_hand.post(reverse("item-scan", args=[bag.code]), {"way": "out", "show": show.pk, "uid": uuid.uuid4()})
    assert Checkout.objects.get().item == bag
    scan(as_hand, bag.code, next=f"truck:{show.pk}")
    bag.refresh_from_db()
    assert bag.custody == "truck"


@pytest.mark.parametrize("code", ["garbage", "DO.OUT", "\0", "x" * 4000, ""])
def test_a_bag_that_is_none_keeps_the_scan(as_hand, show, bag, code):
    item = make_item()
    assert scan(as_hand, item.code, mode="bag", bag=code).status_code == 200
    assert Scan.objects.get().condition == "suspect" and Fault.objects.count() == 1
    assert as_hand.get(DOCK, {"mode": "bag", "bag": code}).status_code == 200


def test_an_alias_of_the_open_bag_closes_it_too(as_hand, show, bag):
    from inventory.calc.codes import mint
    from inventory.models import Label

    alias = Label.objects.create(code=mint(), item=bag, minted_at=now(), bound_at=now())
    assert bag_in(scan(as_hand, alias.code, mode="bag", bag=bag.code)) == ""


def test_a_device_knows_bags_by_heart(as_hand, show, bag):
    items = as_hand.get(reverse("dock-snapshot")).json()["items"]
    assert [i["code"] for i in items if i.get("bag")] == [bag.code]
