"""What a hand says is not in its case: not packed there any more, missing by itself, and back in the case once undone."""

import uuid
from datetime import timedelta

import pytest
from django.urls import reverse

from inventory.calc.kinds import Evidence
from inventory.models import Item, Placement
from inventory.services.cases import placement_record
from shows.models import Checkout, Contradiction
from shows.services.scans import items_refold, scans_record
from tests.builders import NOW, make_case, make_item, make_place, make_show

pytestmark = pytest.mark.django_db


@pytest.fixture
def show(company):
    return make_show(NOW + timedelta(minutes=10), name="Harvest ceilidh")


@pytest.fixture
def packed(company, hand):
    case, inside = make_case(name="Trunk"), [make_item(name=str(n)) for n in range(3)]
    for thing in inside:
        placement_record(uid=uuid.uuid4(), item=thing, case=case, effective_at=NOW - timedelta(hours=1), person=hand)
    return case, inside


def sent(item, action, show=None, minutes=0, **more):
    at = NOW + timedelta(minutes=minutes)
    body = {"id": str(uuid.uuid4()), "code": item.code, "action": action, "show": show.pk if show else None}
    return {**body, "happened_at": at.isoformat(), **more}


def record(person, *scans, minutes=600):
    at = NOW + timedelta(minutes=minutes)
    return scans_record(actor=person, device="phone", sent_at=None, scans=list(scans), received_at=at)


def state(item):
    item = Item.objects.get(pk=item.pk)
    return item.in_case_id, item.missing_since, item.custody


def lacking(case, thing, show, action="out", minutes=0, counted=2):
    return sent(case, action, show, minutes, counted=counted, missing=[thing.code])


def test_it_is_missing_by_itself_and_not_packed_in_the_case(hand, as_hand, show, packed):
    case, (thing, other, _third) = packed
    (answer,) = record(hand, lacking(case, thing, show))
    assert answer.outcome == "accepted" and not Contradiction.objects.exists()
    assert (answer.signal, answer.reason) == ("look", f"Out to Harvest ceilidh. 2 of 3 counted; {thing.label} is not in it.")
    assert state(thing) == (None, NOW, "") and state(other) == (case.pk, None, "show")
    (out,) = Placement.objects.filter(item=thing, case=None)
    assert (out.evidence, out.effective_at, out.person) == (Evidence.SAID, NOW, hand)
    assert thing.code[:4] in as_hand.get(reverse("missing")).content.decode()


def test_the_next_scan_finds_it(hand, show, packed):
    case, (thing, *_rest) = packed
    record(hand, lacking(case, thing, show))
    record(hand, sent(thing, "inspect", minutes=5))
    assert state(thing) == (None, None, "")


def test_it_no_longer_goes_or_comes_with_the_case(hand, show, packed):
    case, (thing, *_rest) = packed
    record(hand, lacking(case, thing, show))
    record(hand, sent(case, "truck", show, 20))
    (answer,) = record(hand, sent(case, "back", show, 30, counted=2))
    assert answer.outcome == "accepted" and not Checkout.objects.filter(item=thing).exists()


def test_what_is_missing_when_the_case_comes_back_is_still_out(hand, show, packed):
    case, (thing, *_rest) = packed
    record(hand, sent(case, "out", show, counted=3))
    record(hand, lacking(case, thing, show, "back", 30))
    assert state(thing) == (None, None, "show") and Checkout.objects.get(closed_at=None).item == thing


@pytest.mark.parametrize(
    "columns", [{"lent_to": "the chapel"}, {"retired_on": NOW.date(), "retired_because": "Crushed"}, {"at": "bench"}]
)
def test_what_is_known_to_be_elsewhere_is_not_missing(hand, show, packed, columns):
    case, (thing, *_rest) = packed
    columns = {"at": make_place(sort="bench")} if "at" in columns else columns
    Item.objects.filter(pk=thing.pk).update(**columns)
    record(hand, lacking(case, thing, show))
    assert state(thing)[:2] == (None, None)


def test_what_never_lay_in_the_case_is_left_alone(hand, show, packed):
    case, _inside = packed
    stranger = make_item()
    record(hand, lacking(case, stranger, show, counted=3))
    assert state(stranger) == (None, None, "") and not Placement.objects.filter(item=stranger).exists()


def test_what_was_scanned_later_is_not_missing(hand, show, packed):
    case, (thing, *_rest) = packed
    record(hand, sent(thing, "inspect", minutes=5))
    record(hand, lacking(case, thing, show))
    assert state(thing)[:2] == (None, None)


def test_a_thing_in_a_case_in_the_case_is_taken_out_too(hand, show, packed):
    case, (thing, *_rest) = packed
    outer = make_case(name="Outer")
    placement_record(uid=uuid.uuid4(), item=case, case=outer, effective_at=NOW - timedelta(minutes=30), person=hand)
    record(hand, sent(outer, "out", show, missing=[thing.code]))
    assert state(thing) == (None, NOW, "") and state(case) == (outer.pk, None, "show")


def test_undo_puts_it_back_and_undoing_that_takes_it_out_again(hand, show, packed):
    case, (thing, *_rest) = packed
    chain = [lacking(case, thing, show)]
    record(hand, *chain)
    for minutes, (inside, missing) in enumerate([(case.pk, None), (None, NOW), (case.pk, None)], start=1):
        chain.append(sent(case, "undo", minutes=minutes, undoes=chain[-1]["id"]))
        record(hand, chain[-1])
        assert state(thing) == (inside, missing, "")


def test_a_count_put_right_counts_what_is_there_after_all(hand, show, packed):
    case, (thing, *_rest) = packed
    first = lacking(case, thing, show)
    record(hand, first)
    right = sent(case, "out", show, 2, counted=3)
    _undone, answer = record(hand, sent(case, "undo", minutes=1, undoes=first["id"]), right)
    assert answer.outcome == "accepted" and not Contradiction.objects.filter(stands=True).exists()
    assert state(thing) == (case.pk, None, "show")
    items_refold(item_ids=[case.pk])
    assert state(thing) == (case.pk, None, "show")


def test_sent_twice_or_told_late_it_is_the_same(hand, show, packed):
    case, (thing, *_rest) = packed
    scan = lacking(case, thing, show)
    record(hand, sent(case, "back", show, 30))
    record(hand, scan)
    record(hand, scan)
    assert Placement.objects.filter(item=thing).count() == 2 and state(thing) == (None, NOW, "")
    before = list(Checkout.objects.order_by("pk").values_list("item", "ended"))
    items_refold(item_ids=[case.pk])
    assert list(Checkout.objects.order_by("pk").values_list("item", "ended")) == before
