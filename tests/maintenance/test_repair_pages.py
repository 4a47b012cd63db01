"""Repairs on pages: written, added up, listed, taken back; a repair proves nothing by itself."""

import csv
import io
import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from company.clock import now, today
from maintenance.calc.bench import Verdict
from maintenance.models import Repair
from maintenance.services.faults import fault_open
from tests.builders import make_lead
from tests.maintenance.bench_rows import bench_test, repair

pytestmark = pytest.mark.django_db


def written(client, item, **kw):
    given = {"did": "re-soldered pin 2", "done_on": today(now()).isoformat(), "uid": str(uuid.uuid4()), **kw}
    return client.post(f"/a/{item.code}/repair/", given)


def test_a_repair_is_kept_with_who_end_parts_minutes_and_cost(as_technician, technician):
    item = make_lead()
    answer = written(as_technician, item, end="B", parts="plug insert", minutes="15", cost_cents="2,40", as_new="on")
    assert answer.status_code == 302 and answer.url == f"/a/{item.code}"
    kept = Repair.objects.get()
    assert (kept.did, kept.end, kept.parts, kept.minutes, kept.cost_cents) == ("re-soldered pin 2", "B", "plug insert", 15, 240)
    assert kept.as_new and kept.person == technician and abs(kept.done_at - now()) < timedelta(minutes=1)


def test_the_same_form_sent_twice_is_one_repair(as_technician):
    item, uid = make_lead(), str(uuid.uuid4())
    for _ in range(2):
        assert written(as_technician, item, uid=uid).status_code == 302
    assert Repair.objects.count() == 1


def test_a_repaired_thing_stays_suspect_until_it_passes(as_technician, technician):
    item = make_lead()
    fault = fault_open(uid=uuid.uuid4(), item=item, symptom="hums", at=now() - timedelta(hours=1), person=technician)
    written(as_technician, item, fault=str(fault.pk))
    item.refresh_from_db()
    assert item.suspect_since is not None and Repair.objects.get().fault == fault
    page = as_technician.get(f"/a/{item.code}/repair/").content.decode()
    assert "it must pass again" in page and "Until then it stays suspect" in page


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"did": "  "}, "Say what was done."),
        ({"did": "x" * 501}, "At most 500 characters."),
        ({"minutes": "-5"}, "At least 0."),
        ({"minutes": "soon"}, "Write a whole number"),
        ({"minutes": "9999999"}, "At most 100000."),
        ({"cost_cents": "a lot"}, "a lot"),
        ({"end": "ABCDE"}, "At most 4 characters."),
        ({"done_on": "2999-01-01"}, "still to come"),
        ({"done_on": "0001-01-01"}, "Check the date"),
        ({"done_on": "yesterday"}, "Write a day"),
        ({"did": "a\0b"}, "cannot be kept"),
    ],
)
def test_what_is_wrong_gets_a_sentence_and_nothing_is_written(as_technician, given, said):
    item = make_lead()
    answer = written(as_technician, item, **given)
    if "\0" in str(given):
        assert answer.status_code in (302, 400, 422)
    else:
        assert answer.status_code == 422 and said in answer.content.decode()
        assert Repair.objects.count() == 0


def test_a_retired_thing_is_not_repaired(as_technician):
    item = make_lead(retired_on=today(now()), retired_because="sold")
    answer = written(as_technician, item)
    assert answer.status_code == 422 and "Bring it back into use first" in answer.content.decode()
    assert Repair.objects.count() == 0


def test_a_fault_of_another_thing_is_not_on_offer(as_technician, technician):
    other = fault_open(uid=uuid.uuid4(), item=make_lead(), symptom="hums", at=now(), person=technician)
    item = make_lead()
    fault_open(uid=uuid.uuid4(), item=item, symptom="hums", at=now(), person=technician)
    assert written(as_technician, item, fault=str(other.pk)).status_code == 422
    assert Repair.objects.count() == 0


def test_a_repair_taken_back_is_struck_and_no_longer_counted(as_technician):
    item = make_lead()
    kept = repair(item, minutes=10, cost_cents=500)
    for _ in range(2):
        assert as_technician.post(f"/bench/repairs/{kept.uid}/take-back/", {"back": "list"}).url == "/bench/repairs/"
    assert Repair.objects.filter(takes_back=kept).count() == 1
    page = as_technician.get("/bench/repairs/").content.decode()
    assert 'class="struck"' in page and "taken back" in page and "None that stands" in page
    assert "1 repair" not in as_technician.get(f"/a/{item.code}").content.decode()


def test_the_end_to_open_comes_with_the_address(as_technician):
    assert 'value="B"' in as_technician.get(f"/a/{make_lead().code}/repair/?end=B").content.decode()


def test_list_adds_up_by_type_and_finds_words(as_technician):
    one, two = make_lead(), make_lead(name="red")
    repair(one, "re-soldered pin 2", minutes=10, cost_cents=150, parts="insert")
    repair(one, "new strain relief", minutes=5)
    repair(two, "re-soldered screen", minutes=20, cost_cents=300)
    answer = as_technician.get("/bench/repairs/")
    assert answer.context["sums"] == {"count": 3, "minutes": 35, "cents": 450}
    assert [(t["count"], t["things"], t["cents"]) for t in answer.context["types"]] == [(1, 1, 300), (2, 1, 150)]
    assert [r.did for r in as_technician.get("/bench/repairs/?q=soldered+insert").context["page"]] == ["re-soldered pin 2"]
    assert [r.item for r in as_technician.get(f"/bench/repairs/?q={two.code[:4]}").context["page"]] == [two]
    assert "No repair fits that" in as_technician.get("/bench/repairs/?q=nothing").content.decode()


@pytest.mark.parametrize(
    ("did", "end", "said"),
    [
        ("Pin 1 resoldered.", "B", "Pin 1 resoldered, end B"),
        ("New plug at end A", "A", "New plug at end A"),
        ("Opened plug b, nothing found", "B", "Opened plug b, nothing found"),
        ("New screen at end A", "B", "New screen at end A, end B"),
        ("Cleaned.", "", "Cleaned"),
    ],
)
def test_a_repair_names_its_end_once(did, end, said):
    assert Repair(did=did, end=end).told == said


def test_the_list_says_minutes_and_money_in_their_units(as_technician):
    repair(make_lead(), minutes=15, cost_cents=450)
    shown = as_technician.get("/bench/repairs/").content.decode()
    assert "15&#8239;min" in shown and "4.50 GBP" in shown and "1 repair of 1 thing" in shown


def test_list_as_csv_holds_every_repair_in_the_words_asked_for(as_technician):
    item = make_lead()
    repair(item, "=cmd", minutes=10, cost_cents=150)
    repair(item, "cleaned")
    answer = as_technician.get("/bench/repairs.csv?q=cmd")
    (row,) = csv.DictReader(io.StringIO(b"".join(answer.streaming_content).decode("utf-8-sig")))
    assert row["done"] == "'=cmd" and row["cost"] == "1.50" and row["minutes"] == "10" and row["taken back"] == ""


def test_list_costs_the_same_at_one_row_and_at_fifty(as_technician):
    repair(make_lead())
    with CaptureQueriesContext(connection) as few:
        as_technician.get("/bench/repairs/")
    for days in range(49):
        repair(make_lead(), days_ago=days)
    with CaptureQueriesContext(connection) as many:
        assert as_technician.get("/bench/repairs/").status_code == 200
    assert len(many) == len(few)


def test_an_empty_shop_has_no_repairs_and_says_how_to_write_one(as_technician):
    assert "Nothing has been mended yet" in as_technician.get("/bench/repairs/").content.decode()


def test_a_hand_neither_writes_nor_reads_repairs(as_hand):
    item = make_lead()
    assert written(as_hand, item).status_code == 403 and as_hand.get("/bench/repairs/").status_code == 403
    assert as_hand.get("/bench/repairs.csv").status_code == 403 and Repair.objects.count() == 0


def test_a_repair_between_fail_and_pass_is_what_the_life_tells(as_technician):
    item = make_lead()
    bench_test(item, Verdict.FAIL, done_at=now() - timedelta(days=3))
    written(as_technician, item)
    said = as_technician.get(f"/a/{item.code}").content.decode()
    assert "repaired" in said and "re-soldered pin 2" in said
