"""Standing with its reasons: the same sentences on the item's page and in the API, in constant queries."""

import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.calc.kinds import Kind
from inventory.registries import ITEM_API_FIELDS
from maintenance.calc.bench import Depth, Procedure
from maintenance.services.bench import Given, test_record
from maintenance.services.faults import fault_close, fault_open
from maintenance.standing import standing_told
from tests.builders import NOW, a_day, make_case, make_item, make_lead, make_show

pytestmark = pytest.mark.django_db


def said(item, **kw):
    return fault_open(uid=uuid.uuid4(), item=item, at=NOW, **{"symptom": "hums", **kw})


def told(item):
    item.refresh_from_db()
    return standing_told([item], a_day())[item.pk]


@pytest.mark.parametrize(
    ("columns", "fact", "reason"),
    [
        ({}, "Unproved.", "Never tested"),
        ({"taken_as_good_on": a_day(-1)}, "Unproved.", "without a test"),
        ({"tested_on": a_day(-9), "test_by": a_day(9)}, "Known good until", "Last tested"),
        ({"tested_on": a_day(-9)}, "Known good.", "Last tested"),
        ({"tested_on": a_day(-9), "test_by": a_day()}, "Test due", "Last tested"),
        ({"tested_on": a_day(-9), "excepts": "7"}, "Good except 7.", "Last tested"),
        ({"tested_on": a_day(-9), "excepts": "7", "test_by": a_day()}, "Test due", "Dead channels: 7."),
        ({"retired_on": a_day(), "retired_because": "Crushed.", "suspect_since": NOW}, "Retired", "Crushed."),
        ({"suspect_since": NOW, "test_by": a_day()}, "Suspect since", "until it passes, or a technician closes what is open"),
    ],
)
def test_the_fact_follows_the_precedence_and_has_its_reason(company, columns, fact, reason):
    answer = told(make_item(**columns))
    assert answer.fact.startswith(fact) and any(reason in r for r in answer.reasons)


def test_what_has_no_standing_is_told_nothing(company):
    assert told(make_case()).sentences == [] and told(make_item(kind=Kind.STAND)).sentences == []


def test_an_open_fault_is_a_reason_and_a_closed_one_is_remembered(company, technician):
    box = make_item(name="A")
    fault = said(box, line="7", show=make_show(name="Harvest ceilidh").pk, person=technician)
    (words,) = [s for s in told(box).sentences if s.startswith("It hums")]
    assert "said technician" in words and words.endswith("on line 7 at Harvest ceilidh.")
    fault_close(fault=fault, at=NOW + timedelta(hours=1), person=technician, how="New jack.")
    assert told(box).sentences[-1].endswith(": New jack.") and not told(box).faults


def test_the_api_tells_standing_with_reasons(as_hand, company, technician):
    box = make_item(name="A")
    said(box, person=technician)
    body = as_hand.get(f"/api/items/{box.code}").json()
    assert body["standing"] == "suspect" and body["faults"][0]["symptom"] == "hums"
    assert body["reasons"][0].startswith("Suspect since") and any(r.startswith("It hums") for r in body["reasons"])
    assert as_hand.get(f"/api/items/{make_item().code}").json()["reasons"][0] == "Unproved."
    assert as_hand.get(f"/api/items/{make_case().code}").json()["reasons"] == []


def test_one_item_costs_what_fifty_cost(company, technician):
    show = make_show()
    items = [make_item() for _ in range(50)]
    for item in items:
        fault_close(fault=said(item), at=NOW, person=technician, how="Seen to.")
        said(item, show=show.pk, person=technician)
    counts = []
    for some in (items[:1], items):
        with CaptureQueriesContext(connection) as queries:
            answer = ITEM_API_FIELDS["faults"](some, NOW)
        counts.append(len(queries))
        assert len(answer) == len(some)
    assert counts[0] == counts[1] <= 7  # company, open faults, calls, names of shows, newest tests, risks, closed faults


def test_what_passed_and_is_still_suspect_says_why(company):
    item = make_lead()
    for hours, word in ((0, False), (1, True)):
        at = NOW + timedelta(hours=hours)
        given = Given(uid=uuid.uuid4(), item=item, procedure=Procedure.WORD, depth=Depth.LAMPS, done_at=at, word=word)
        recorded = test_record(given=given, person=None, received_at=at)
    assert any("It failed 1 hour before" in w and "Bend it" in w for w in recorded.words), recorded.words
    assert any("nothing done in between" in reason for reason in told(item).reasons)
