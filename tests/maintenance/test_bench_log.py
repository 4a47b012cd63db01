"""A tester's log as a list: matched, looked at, brought in once however often, and taken back."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from company.jobs import job_run
from company.models import Company, Job
from inventory.calc.codes import spell
from inventory.calc.kinds import Kind
from inventory.models import Item
from inventory.transfer.base import Order, Row
from maintenance.models import BenchTest
from maintenance.querysets import standing_tests
from maintenance.transfer import BENCH_LOG, BenchLogPlan
from tests.builders import NOW, make_item, make_lead

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def media(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def leads(company):
    first = make_lead()
    return [first, *(make_item(type=first.type, length_mm=10_000) for _ in range(3))]


def bring(client, text):
    answer = client.post(reverse("import"), {"what": "bench-log", "file": SimpleUploadedFile("log.csv", text.encode())})
    assert answer.status_code == 302, answer.content.decode()
    token = answer.url.strip("/").split("/")[-1]
    page = client.get(answer.url)
    fields = {f"column-{row['place']}": row["key"] for row in page.context["rows"]}
    answer = client.post(reverse("import-match", args=[token]), fields)
    assert answer.status_code == 302, answer.context["error"]
    return token


def look(client, text):
    return client.get(reverse("import-preview", args=[bring(client, text)])).context["preview"]


def apply(client, text):
    answer = client.post(reverse("import-apply", args=[bring(client, text)]))
    job = Job.objects.get(pk=int(answer.url.strip("/").split("/")[-1]))
    if job.state == Job.State.QUEUED:
        assert job_run(job.pk)
        job.refresh_from_db()
    assert job.state == Job.State.DONE, job.said
    return job


NINE = "A1-B1;A1-B2;A1-B3;A2-B1;A2-B2;A2-B3;A3-B1;A3-B2;A3-B3"


def log(leads, second_word="fail"):
    """A log of three tests: one measured, one by word alone, one that was broken off."""
    return (
        f"No;Cable;Date;Result;{NINE};Operator;Remarks\n"
        f"1;{leads[0].code};2026-09-20 18:30;;0.4;OL;OL;OL;0,9;OL;OL;OL;0.88 ohm;technician;\n"
        f"2;{spell(leads[1].code)};2026-09-20 18:32;{second_word};;;;;;;;;;Pat;pin 2 dead\n"
        f"3;{leads[2].code};2026-09-20 18:34;pass;0.4;;;;;;;;;;\n"
    )


def test_a_log_is_looked_at_before_anything_is_written(as_technician, leads):
    preview = look(as_technician, log(leads))
    assert preview.counts == {"new": 3, "changed": 0, "unchanged": 0, "bad": 0}
    told = " ".join(note for row in preview.told for note in row.notes)
    assert "“fail”" in told and "“cannot tell”" in told and not BenchTest.objects.exists()


def test_a_log_is_brought_in_and_judged(as_technician, technician, leads):
    job = apply(as_technician, log(leads))
    assert job.result["counts"] == {"new": 3, "changed": 0, "unchanged": 0, "bad": 0}
    first, second, third = BenchTest.objects.order_by("done_at")
    assert (first.verdict, first.procedure, first.depth, first.person) == ("pass", "wiring", "ohms", technician)
    assert first.done_at.isoformat() == "2026-09-20T17:30:00+00:00" and first.readings["pairs"][4]["ohms"] == 0.9
    assert (second.verdict, second.procedure, second.depth, second.person) == ("fail", "word", "lamps", None)
    assert second.note == "pin 2 dead; Tested by Pat"
    assert third.verdict == "cannot_tell" and "own word: pass" in third.note
    for lead in leads:
        lead.refresh_from_db()
    assert leads[0].tested_on and leads[0].test_by and leads[1].suspect_since and not leads[2].tested_on


def test_the_same_log_twice_is_harmless_and_a_longer_one_adds_what_is_new(as_technician, leads):
    apply(as_technician, log(leads))
    assert look(as_technician, log(leads)).counts == {"new": 0, "changed": 0, "unchanged": 3, "bad": 0}
    longer = log(leads) + f"4;{leads[3].code};2026-09-20 18:36;ok;;;;;;;;;;;\n"
    assert apply(as_technician, longer).result["counts"]["new"] == 1
    assert BenchTest.objects.count() == 4


def test_a_log_is_taken_back_and_stays_so(as_technician, leads):
    job = apply(as_technician, log(leads))
    answer = as_technician.post(reverse("import-undo", args=[job.pk]))
    assert answer.status_code == 302
    job.refresh_from_db()
    assert (job.result["undone"]["taken"], job.result["undone"]["kept"]) == (3, 0)
    assert not standing_tests().exists() and BenchTest.objects.count() == 6
    assert not Item.objects.exclude(suspect_since=None).exists() and not Item.objects.exclude(tested_on=None).exists()
    preview = look(as_technician, log(leads))
    assert preview.counts["unchanged"] == 3 and "stays taken back" in preview.told[0].notes[-1]


def test_a_test_that_was_corrected_since_is_not_taken_back(as_technician, leads):
    from maintenance.services.bench import test_undo

    job = apply(as_technician, log(leads))
    test_undo(test=standing_tests().first(), person=None, at=NOW)
    as_technician.post(reverse("import-undo", args=[job.pk]))
    job.refresh_from_db()
    assert (job.result["undone"]["taken"], job.result["undone"]["kept"]) == (2, 1)


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("ZZZZ-ZZZZ;2026-09-20 18:30;pass;", "Code", ""),
        (";2026-09-20 18:30;pass;", "Code", "Which thing"),
        ("{0};;pass;", "Done at", "When"),
        ("{0};yesterday;pass;", "Done at", "no day"),
        ("{0};2199-09-20 18:30;pass;", "Done at", "still to come"),
        ("{0};2026-09-20 18:30;perhaps;", "Verdict", "neither pass nor fail"),
        ("{0};2026-09-20 18:30;;", "", "neither a verdict nor a reading"),
        ("{0};2026-09-20 18:30;;A1-B1 -3", "Readings", "below nothing"),
        ("{0};2026-09-20 18:30;;A9-B1 3", "Readings", "A9"),
        ("{0};2026-09-20 18:30;;all fine", "Readings", "no reading"),
        ("{1};2026-09-20 18:30;pass;", "Code", "was retired"),
    ],
)
def test_a_row_that_cannot_be_is_said_so_with_its_column(as_technician, leads, row, column, words):
    gone = make_lead(retired_on=NOW.date().replace(year=2025), retired_because="Crushed.")
    preview = look(as_technician, "Code;Done at;Verdict;Readings\n" + row.format(leads[0].code, gone.code) + "\n")
    assert preview.counts["bad"] == 1, preview.counts
    ((said, sentence),) = preview.bad[0].reasons
    assert said == column and words.lower() in sentence.lower() and sentence.endswith((".", "?"))


def test_two_rows_that_say_the_same_count_once(as_technician, leads):
    row = f"{leads[0].code};2026-09-20 18:30;pass\n"
    job = apply(as_technician, "Code;Done at;Verdict\n" + row + row)
    assert job.result["counts"] == {"new": 1, "changed": 0, "unchanged": 1, "bad": 0} and BenchTest.objects.count() == 1


def test_what_goes_out_comes_in_again_unchanged(as_technician, leads, technician):
    apply(as_technician, log(leads))
    meter = make_item(kind=Kind.INSTRUMENT)
    BenchTest.objects.filter(verdict="pass").update(instrument=meter)
    rows = list(BENCH_LOG.rows_out(None, technician, Company.current(), NOW))
    assert rows[0]["readings"].startswith("A1-B1 0.4; A1-B2 OL") and rows[0]["instrument"] == spell(meter.code)
    columns = BENCH_LOG.columns_out(technician)
    text = io.StringIO()
    text.write("\t".join(c.title for c in columns) + "\n")
    for row in rows:
        text.write("\t".join(str(row.get(c.key, "")) for c in columns) + "\n")
    assert look(as_technician, text.getvalue()).counts == {"new": 0, "changed": 0, "unchanged": 3, "bad": 0}


def test_a_day_alone_is_noon_and_a_time_may_stand_in_its_own_column(as_technician, leads):
    apply(as_technician, f"Code;Date;Time;Verdict\n{leads[0].code};2026-09-20;;pass\n{leads[1].code};2026-09-20;18:30;pass\n")
    assert [t.done_at.hour for t in BenchTest.objects.order_by("done_at")] == [11, 17]


def test_a_log_row_costs_no_query_of_its_own(leads, technician):
    order = Order(matching={0: "code", 1: "done_at", 2: "verdict"}, person=technician, company=Company.current(), at=NOW)
    columns = BENCH_LOG.columns_in(technician)
    counts = []
    for many in (2, 40):
        plan = BenchLogPlan(order)
        rows: list[Row] = [
            plan.read(n, [leads[n % 4].code, f"2026-08-{n % 28 + 1:02d} 10:{n:02d}", "pass"], columns) for n in range(many)
        ]
        with CaptureQueriesContext(connection) as queries:
            plan.judge(rows)
        counts.append(len(queries))
        assert all(row.verdict == "new" for row in rows)
    assert counts[0] == counts[1], counts


def test_a_hand_brings_no_log_in(as_hand, company):
    assert as_hand.post(reverse("import"), {"what": "bench-log"}).status_code == 403
