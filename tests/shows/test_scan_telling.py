"""What a device is told beside custody: what was noted, where a thing is after an undo, how much of the list it makes."""

import uuid
from datetime import timedelta

import pytest

from inventory.calc.kinds import Kind
from inventory.models import Item
from shows.services.scans import scans_record
from tests.builders import NOW, make_case, make_counted_line, make_item, make_pull_row, make_show, make_type

pytestmark = pytest.mark.django_db


@pytest.fixture
def show(company):
    return make_show(NOW + timedelta(minutes=10), name="Harvest ceilidh")


def sent(item, action, show=None, minutes=0, **more):
    body = {"id": str(uuid.uuid4()), "code": item.code, "action": action, "show": show.pk if show else None}
    return {**body, "happened_at": (NOW + timedelta(minutes=minutes)).isoformat(), **more}


def told(person, scan):
    (answer,) = scans_record(actor=person, device="phone", sent_at=None, scans=[scan], received_at=NOW + timedelta(minutes=600))
    return answer.signal, answer.reason


@pytest.mark.parametrize(
    ("said", "reason"),
    [
        ({"condition": "suspect", "symptom": "hums"}, "Hums: noted. Put it in the bench bag."),
        ({"condition": "suspect", "symptom": "other"}, "Suspect: noted. Put it in the bench bag."),
        ({"condition": "damaged"}, "Damaged: noted. Put it in the bench bag."),
        ({"condition": "parts missing"}, "Parts missing: noted. Put it in the bench bag."),
        ({"condition": "label gone"}, "Label gone: noted. It wants a new label."),
    ],
)
def test_what_is_noted_is_said_with_what_to_do(hand, show, said, reason):
    assert told(hand, sent(make_item(), "inspect", show, **said)) == ("look", reason)


def test_a_look_at_a_good_thing_is_fine(hand, show):
    assert told(hand, sent(make_item(), "inspect", show)) == ("fine", "Seen. It is in the shop.")


def test_a_suspect_thing_comes_back_to_the_bench(hand, show):
    item = make_item()
    told(hand, sent(item, "out", show))
    told(hand, sent(item, "inspect", show, 1, condition="suspect", symptom="hums"))
    signal, reason = told(hand, sent(item, "back", show, 2))
    assert (signal, reason) == ("fine", "Back from Harvest ceilidh. It is suspect (hums): to the bench, not the shelf.")


def test_what_hums_as_it_comes_back_goes_to_the_bench(hand, show):
    item = make_item()
    told(hand, sent(item, "out", show))
    signal, reason = told(hand, sent(item, "back", show, 1, condition="suspect", symptom="hums"))
    assert (signal, reason) == ("fine", "Back from Harvest ceilidh. Hums: noted. It goes to the bench, not the shelf.")


def test_an_undo_says_where_the_thing_is_then(hand, show):
    item = make_item()
    first, second = sent(item, "out", show), sent(item, "out", show, 1)
    truck, back = sent(item, "truck", show, 2), sent(item, "back", show, 3)
    for scan in (first, second, truck, back):
        told(hand, scan)
    undo = [told(hand, sent(item, "undo", None, 4 + n, undoes=s["id"]))[1] for n, s in enumerate([back, truck, second, first])]
    assert undo == [
        "Taken back: back. It is on the truck from Harvest ceilidh.",
        "Taken back: on the truck. It is out to Harvest ceilidh.",
        "Taken back. It is still out to Harvest ceilidh by an earlier scan.",
        "Taken back: out. It is in the shop.",
    ]


def test_one_too_many_and_what_nobody_asked_for_are_said(hand, show):
    box = make_type()
    make_pull_row(show, type=box, count=2)
    for number, said in enumerate(["", "", " That makes 3; the list asks for 2."]):
        item = make_item(type=box)
        assert told(hand, sent(item, "out", show, number)) == ("fine", f"Out to Harvest ceilidh.{said}")
    assert told(hand, sent(item, "out", show, 5))[1] == "Already out to Harvest ceilidh."
    assert told(hand, sent(make_item(), "out", show, 6)) == ("fine", "Out to Harvest ceilidh. Not on its list.")
    assert told(hand, sent(make_case(), "out", show, 7))[1] == "Out to Harvest ceilidh."


def test_a_length_counts_for_its_own_line(hand, show):
    lead = make_type(Kind.LEAD)
    make_pull_row(show, type=lead, length_mm=10_000, count=1)
    make_pull_row(show, item=make_item(type=lead, length_mm=10_000), line="3")
    assert told(hand, sent(make_item(type=lead, length_mm=10_000), "out", show))[1] == "Out to Harvest ceilidh."
    assert told(hand, sent(make_item(type=lead, length_mm=6_000), "out", show, 1))[1].endswith("Not on its list.")
    assert told(hand, sent(make_item(type=lead, length_mm=10_000), "out", show, 2))[1].endswith(
        "That makes 2; the list asks for 1."
    )
    named = Item.objects.get(pull_rows__show=show)
    assert told(hand, sent(named, "out", show, 3))[1] == "Out to Harvest ceilidh."


def test_more_counted_out_than_the_list_asks_for_is_said(hand, show):
    line = make_counted_line(24)
    make_pull_row(show, type=line.type, length_mm=line.length_mm, count=2)
    body = {"id": str(uuid.uuid4()), "code": f"COUNT.{line.pk}", "action": "out", "show": show.pk, "counted": 2}
    assert told(hand, body | {"happened_at": NOW.isoformat()}) == ("fine", f"2 × {line} out to Harvest ceilidh.")
    body |= {"id": str(uuid.uuid4()), "counted": 10, "happened_at": (NOW + timedelta(minutes=1)).isoformat()}
    signal, reason = told(hand, body)
    assert (signal, reason) == ("fine", f"10 × {line} out to Harvest ceilidh. 12 out; the list asks for 2.")


def test_a_show_without_a_list_says_nothing_of_one(hand, show):
    assert told(hand, sent(make_item(), "out", show))[1] == "Out to Harvest ceilidh."


def test_a_spare_that_no_row_names_still_goes_in_its_place(hand, show):
    dead, spare = make_item(), make_item()
    told(hand, sent(dead, "inspect", show, condition="suspect", symptom="dead"))
    reason = told(hand, sent(spare, "out", show, 1, replaces=dead.code))[1]
    assert reason == f"{spare.code[:4]}-{spare.code[4:]} goes in its place; the dead one is suspect."
