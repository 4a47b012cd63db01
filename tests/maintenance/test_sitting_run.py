"""Run mode: one scan is a good one, until the fail label; and the parts a script fetches."""

import uuid
from datetime import timedelta

import pytest
from django.urls import reverse

from company.clock import now
from inventory.calc.kinds import Kind
from maintenance.calc.bench import Depth, Procedure, Verdict
from maintenance.models import BenchTest, Fault, Sitting
from tests.builders import make_item, make_type
from tests.maintenance.test_sitting import scan, words


@pytest.fixture
def sitting(technician):
    return Sitting.objects.create(person=technician, began_at=now(), depth=Depth.LAMPS_FLEXED)


@pytest.fixture
def leads(company):
    kind = make_type(Kind.LEAD, name="Microphone lead")
    return [make_item(type=kind, name=str(n)) for n in range(5)]


def run(client, sitting, text):
    return scan(client, sitting, text, run="yes", uid=str(uuid.uuid4()))


def test_the_run_label_turns_the_run_on_and_off(as_technician, sitting):
    assert "Each scan is a good one" in words(scan(as_technician, sitting, "TEST.RUN"))
    assert "Run has stopped" in words(run(as_technician, sitting, "TEST.RUN"))


def test_each_scan_of_a_run_is_a_good_one(as_technician, sitting, leads):
    for lead in leads:
        answer = run(as_technician, sitting, lead.code)
    assert BenchTest.objects.count() == 5
    assert set(BenchTest.objects.values_list("verdict", "procedure", "depth")) == {
        (Verdict.PASS, Procedure.WORD, Depth.LAMPS_FLEXED)
    }
    said = words(answer)
    assert "5 good" in said and "Stop the run" in said
    leads[0].refresh_from_db()
    assert leads[0].tested_on and leads[0].test_by


def test_a_trigger_held_too_long_counts_once_and_a_later_scan_counts_again(as_technician, sitting, leads):
    for _ in range(3):
        answer = run(as_technician, sitting, leads[0].code)
    assert BenchTest.objects.count() == 1
    assert "is counted already" in words(answer)
    BenchTest.objects.update(received_at=now() - timedelta(seconds=30))
    run(as_technician, sitting, leads[0].code)
    assert BenchTest.objects.count() == 2


def test_the_fail_label_marks_the_last_one_bad_and_asks_nothing(as_technician, sitting, leads):
    for lead in leads[:3]:
        run(as_technician, sitting, lead.code)
    answer = run(as_technician, sitting, "TEST.FAIL")
    bad = BenchTest.objects.get(verdict=Verdict.FAIL)
    assert bad.item == leads[2] and bad.corrects.verdict == Verdict.PASS
    leads[2].refresh_from_db()
    assert leads[2].suspect_since and Fault.objects.filter(item=leads[2], closed_at=None).exists()
    said = words(answer)
    assert "2 good, 1 bad" in said and "Stop the run" in said
    assert "is marked bad already" in words(run(as_technician, sitting, "TEST.FAIL"))
    # the run goes on
    run(as_technician, sitting, leads[3].code)
    assert BenchTest.objects.filter(corrected_by=None, verdict=Verdict.PASS).count() == 3


def test_what_it_does_may_be_said_later(as_technician, sitting, leads):
    run(as_technician, sitting, leads[0].code)
    run(as_technician, sitting, "TEST.FAIL")
    bad = BenchTest.objects.get(verdict=Verdict.FAIL)
    corrected = as_technician.post(reverse("bench-test-correct", args=[bad.uid]), {"word": "bad", "note": "hums"}, follow=True)
    assert "“hums”" in words(corrected)
    now_ = BenchTest.objects.get(corrects=bad)
    assert (now_.verdict, now_.note) == (Verdict.FAIL, "hums")


def test_undo_in_a_run_puts_back_the_good_word_then_takes_that_back(as_technician, sitting, leads):
    run(as_technician, sitting, leads[0].code)
    run(as_technician, sitting, "TEST.FAIL")
    run(as_technician, sitting, "TEST.UNDO")
    leads[0].refresh_from_db()
    assert leads[0].suspect_since is None and leads[0].tested_on
    run(as_technician, sitting, "TEST.UNDO")
    leads[0].refresh_from_db()
    assert leads[0].tested_on is None


def test_a_run_says_what_it_cannot_count_and_goes_on(as_technician, sitting, leads):
    assert "eight characters" in words(run(as_technician, sitting, "hello"))
    said = words(run(as_technician, sitting, make_item(kind=Kind.STAND).code))
    assert "never good or bad" in said and "Stop the run" in said
    assert not BenchTest.objects.exists()


# ---- parts for a script ---------------------------------------------------------------------------------------------


def parts(client, sitting, text, **more):
    body = {"scan": text, "uid": str(uuid.uuid4()), **more}
    answer = client.post(reverse("sitting-scan", args=[sitting.pk]), body, headers={"X-Fragments": "sitting"})
    return answer.json()


def test_a_script_gets_parts_a_sentence_a_sound_and_an_address(as_technician, sitting, leads):
    shown = parts(as_technician, sitting, leads[0].code)
    assert shown["on"] == leads[0].code and shown["sound"] == "scan"
    assert set(shown["parts"]) == {"now", "last", "count", "mode"}
    assert leads[0].code in shown["url"]
    done = parts(as_technician, sitting, "TEST.PASS", on=leads[0].code)
    assert done["sound"] == "pass" and done["say"].startswith("pass.") and done["on"] == ""
    assert as_technician.get(done["url"]).status_code == 200


def test_sounds_tell_pass_fail_and_unknown_apart(as_technician, sitting, leads):
    assert parts(as_technician, sitting, "TEST.FAIL", on=leads[1].code)["sound"] == "fail"
    assert parts(as_technician, sitting, "hello")["sound"] == "unknown"
    assert parts(as_technician, sitting, "TEST.UNDO")["sound"] == "undo"


def test_the_end_label_sends_a_script_to_the_ended_page(as_technician, sitting):
    assert parts(as_technician, sitting, "TEST.END") == {"leave": sitting.get_absolute_url()}
