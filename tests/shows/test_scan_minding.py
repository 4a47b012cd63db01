"""What a scan out says to look at: wet, dropped, past its test-by, dead channels, and what of that lies in a case."""

import uuid
from datetime import timedelta

import pytest

from company.clock import now, today
from company.templatetags.tape import day as day_words
from inventory.calc.kinds import Kind
from inventory.services.cases import placement_record
from maintenance.services.calls import calls_record, calls_withdraw
from maintenance.services.faults import fault_open
from shows.dock import known_items
from tests.builders import make_case, make_item, make_lead, make_show

pytestmark = pytest.mark.django_db


@pytest.fixture
def show(company):
    return make_show(load_in=now() + timedelta(hours=2))


def out(hand, show, item, **more):
    from shows.services.scans import scans_record

    at = now()
    scan = {"id": str(uuid.uuid4()), "code": item.code, "action": "out", "show": show.pk, "happened_at": at.isoformat()} | more
    return scans_record(actor=hand, device="d", sent_at=None, scans=[scan], received_at=at)[0]


def put(item, case, *, at):
    placement_record(uid=uuid.uuid4(), item=item, case=case, effective_at=at)


def wet(item, hand, days=3):
    return calls_record(items=[item], why="wet", show=None, person=hand, at=now() - timedelta(days=days)).calls[0]


def test_what_got_wet_goes_out_with_a_look_and_its_reason(hand, show):
    item = make_lead()
    call = wet(item, hand)
    answer = out(hand, show, item)
    assert (answer.outcome, answer.signal) == ("accepted", "look")
    assert f"It got wet on {day_words(call.at)} and was not tested since: test it before it goes." in answer.reason
    known = known_items([item.code], today(now()))[item.code]
    assert known.says == f"got wet {day_words(call.at)}: test it before it goes" and known.as_json()["minded"]


def test_a_call_taken_back_or_made_later_says_nothing(hand, show):
    item, later = make_lead(), make_lead()
    calls_withdraw(calls=[wet(item, hand)], at=now())
    calls_record(items=[later], why="asked", show=None, person=hand, at=now())
    assert out(hand, show, item).signal == "fine"
    assert out(hand, show, later, happened_at=(now() - timedelta(hours=1)).isoformat()).signal == "fine"


def test_what_is_past_its_test_by_goes_out_with_a_look_that_says_what_ran_out(hand, show):
    day = today(now()) - timedelta(days=4)
    proved, never = make_lead(tested_on=day - timedelta(days=90), test_by=day), make_lead(test_by=day)
    said = out(hand, show, proved)
    assert said.signal == "look" and f"Its proof ran out {day_words(day)}: test it before it goes." in said.reason
    said = out(hand, show, never)
    assert said.signal == "look" and f"never tested and was to be by {day_words(day)}" in said.reason
    assert "proof" not in said.reason
    assert out(hand, show, make_lead(tested_on=day, test_by=day + timedelta(days=30))).signal == "fine"


def test_good_except_goes_out_with_a_look_that_says_which(hand, show):
    said = out(hand, show, make_item(kind=Kind.MULTICORE, tested_on=today(now()), excepts="14"))
    assert (said.outcome, said.signal) == ("accepted", "look") and "nothing on 14" in said.reason


def test_suspect_stays_a_stop_whatever_else_there_is_to_say(hand, show):
    item = make_lead()
    wet(item, hand)
    fault_open(uid=uuid.uuid4(), item=item, symptom="hums", at=now() - timedelta(days=1))
    assert out(hand, show, item).signal == "stop"


def test_only_going_out_asks(hand, show):
    item = make_lead()
    wet(item, hand)
    out(hand, show, item)
    assert out(hand, show, item, action="truck").signal == "fine"
    assert out(hand, show, item, action="back").signal == "fine"


def test_case_says_what_in_it_should_not_simply_go_along(hand, show):
    case, inner = make_case(), make_case()
    box = make_item(name="A", suspect_since=now() - timedelta(days=1))
    damp = make_lead()
    for item, into in ((box, case), (inner, case), (damp, inner), (make_lead(), case)):
        put(item, into, at=now() - timedelta(days=2))
    wet(damp, hand)
    said = out(hand, show, case, counted=3)
    assert said.signal == "look" and f"In it: {box.label} is suspect: take it out; " in said.reason
    assert f"{damp.label} got wet and was not tested since: test it first." in said.reason
    left = out(hand, show, case, counted=2, missing=[box.code])
    assert "suspect" not in left.reason


def test_case_of_good_things_is_fine(hand, show):
    case = make_case()
    put(make_lead(), case, at=now() - timedelta(days=2))
    assert out(hand, show, case, counted=1).signal == "fine"
    assert not known_items([case.code], today(now()))[case.code].minded
