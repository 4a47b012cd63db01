"""A scan that says what a thing was put in: suspect once, in the bag, and out of it again when the scan is taken back."""

import uuid
from datetime import timedelta

import pytest

from company.clock import now
from inventory.calc.kinds import Kind
from inventory.models import CaseFacts, Item, Placement
from maintenance.models import Fault
from shows.models import Checkout, Scan
from shows.services.dock import scan_shaped
from shows.services.scans import scans_record
from tests.builders import make_case, make_item, make_pull_row, make_show, make_type


@pytest.fixture
def show(company):
    return make_show(load_in=now() - timedelta(hours=2), name="Harvest ceilidh")


@pytest.fixture
def bag(company):
    kind = make_type(Kind.CASE, name="Bench bag")
    CaseFacts.objects.create(type=kind, bench_bag=True)
    return make_item(type=kind, name="2")


def record(person, *scans):
    at = now()
    return scans_record(actor=person, device="phone", sent_at=None, scans=list(scans), received_at=at)


def bagged(item, into, show=None, **more):
    more = {"condition": "suspect", "symptom": "other", "into": into if isinstance(into, str) else into.code} | more
    return scan_shaped(code=item.code, action="inspect", show=show and show.pk, at=now(), **more)


def undo_of(scan):
    return scan_shaped(code=scan["code"], action="undo", at=now(), undoes=scan["id"])


def open_faults(item):
    return Fault.objects.filter(item=item, closed_at=None, withdrawn_at=None)


def fresh(item):
    return Item.objects.get(pk=item.pk)


def test_into_the_bag_is_one_fault_one_placement_and_says_so(hand, show, bag):
    item = make_item(name="A")
    make_pull_row(show, item=item, line="7")
    answer = record(hand, bagged(item, bag, show))[0]
    assert (answer.outcome, answer.signal) == ("accepted", "fine")
    assert f"In {bag}: suspect" in answer.reason
    fault = open_faults(item).get()
    assert (fault.show, fault.line, fault.note) == (show.pk, "7", f"Put in {bag}")
    assert fresh(item).in_case == bag and fresh(item).suspect_since is not None
    placement = Placement.objects.get(item=item)
    assert str(placement.uid) == str(Scan.objects.get().uid) and Scan.objects.get().into == bag.code


def test_what_is_suspect_already_gets_no_second_fault(hand, show, bag):
    item = make_item()
    first = scan_shaped(
        code=item.code, action="inspect", show=show.pk, at=now() - timedelta(minutes=1), condition="suspect", symptom="hums"
    )
    record(hand, first)
    record(hand, bagged(item, bag, show))
    assert open_faults(item).get().symptom == "hums"
    assert fresh(item).in_case == bag


def test_hums_and_into_the_bag_in_one_batch_is_one_fault(hand, show, bag):
    item = make_item()
    first = scan_shaped(code=item.code, action="inspect", show=show.pk, at=now(), condition="suspect", symptom="hums")
    second = bagged(item, bag, show)
    second["seq"] = first["seq"] + 1
    record(hand, first, second)
    assert open_faults(item).get().symptom == "hums"


def test_undoing_takes_it_out_of_the_bag_and_clears_it(hand, show, bag):
    item, case = make_item(), make_case(name="4")
    from inventory.services.cases import placement_record

    placement_record(uid=uuid.uuid4(), item=item, case=case, effective_at=now() - timedelta(days=1))
    scan = bagged(item, bag, show)
    record(hand, scan)
    undo = undo_of(scan)
    record(hand, undo)
    assert fresh(item).in_case == case and fresh(item).suspect_since is None
    assert not open_faults(item).exists()
    again = undo_of(undo)
    record(hand, again)
    assert fresh(item).in_case == bag and open_faults(item).count() == 1
    record(hand, undo_of(again))
    assert fresh(item).in_case == case and not open_faults(item).exists()


def test_an_undo_that_arrives_first_puts_nothing_in_the_bag(hand, show, bag):
    item = make_item()
    scan = bagged(item, bag, show)
    record(hand, undo_of(scan))
    record(hand, scan)
    assert not Placement.objects.exists() and not open_faults(item).exists()


def test_sent_twice_is_put_in_once(hand, show, bag):
    item = make_item()
    scan = bagged(item, bag, show)
    assert record(hand, scan)[0] == record(hand, scan)[0]
    assert Placement.objects.count() == 1 and Scan.objects.count() == 1


def test_without_a_condition_the_bag_alone_makes_it_suspect(hand, show, bag):
    item = make_item()
    scan = bagged(item, bag, show, condition="", symptom="")
    record(hand, scan)
    assert open_faults(item).count() == 1
    record(hand, undo_of(scan))
    assert not open_faults(item).exists() and fresh(item).in_case is None


def test_a_stand_in_the_bag_is_there_and_not_suspect(hand, show, bag):
    stand = make_item(kind=Kind.STAND)
    record(hand, bagged(stand, bag, show))
    assert fresh(stand).in_case == bag and not Fault.objects.exists()


def test_into_an_ordinary_case_makes_nothing_suspect(hand, show):
    item, case = make_item(), make_case(name="4")
    record(hand, bagged(item, case, show, condition="", symptom=""))
    assert fresh(item).in_case == case and not Fault.objects.exists()


@pytest.mark.parametrize("into", ["garbage", "\0", 7, [], {"a": 1}, "x" * 5000, "unbound", "a box", "itself"])
def test_a_bag_that_is_none_is_said_and_the_scan_is_kept(hand, show, bag, into):
    from inventory.calc.codes import mint

    item, box = make_item(), make_item()
    into = {"unbound": mint(), "a box": box.code, "itself": item.code}.get(into, into) if isinstance(into, str) else into
    scan = bagged(item, bag, show) | {"into": into}
    answer = record(hand, scan)[0]
    assert answer.outcome == "accepted"
    assert open_faults(item).count() == 1 and not Placement.objects.exists()
    if into:
        assert answer.signal == "look"
        assert "put in nothing" in answer.reason or "in no bag" in answer.reason


def test_a_case_is_not_put_in_a_bag(hand, show, bag):
    case = make_case(name="4")
    for scanned in (case, bag):
        assert record(hand, bagged(scanned, bag, show, condition="", symptom=""))[0].signal == "look"
    assert not Placement.objects.exists()


def test_a_bag_that_comes_home_brings_what_is_in_it(hand, show, bag):
    item = make_item()
    for n, one in enumerate((item, bag)):
        record(hand, scan_shaped(code=one.code, action="out", show=show.pk, at=now() - timedelta(minutes=9 - n)))
    record(hand, bagged(item, bag, show))
    record(hand, scan_shaped(code=bag.code, action="back", show=show.pk, at=now()))
    assert not Checkout.objects.filter(closed_at=None).exists()


def test_forty_into_the_bag_in_one_batch(hand, show, bag):
    items = [make_item() for _ in range(40)]
    record(hand, *(bagged(i, bag, show) for i in items))
    assert Item.objects.filter(in_case=bag).count() == 40 == Fault.objects.count()
