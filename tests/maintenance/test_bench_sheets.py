"""Bench sheets as PDF: of a thing, a show, a sitting, a day; what they say, page by page, and a long one made by a job."""

import re
from datetime import timedelta

import pypdfium2 as pdfium
import pytest

from company.clock import now, today
from company.jobs import job_run
from company.models import Company, Job
from inventory.calc.kinds import Kind
from maintenance.calc.bench import Verdict
from maintenance.models import Sitting, UseLedger
from maintenance.pdf.sheet import limits_words, pair_words, step_words
from maintenance.views import sheets as views
from tests.builders import a_day, make_item, make_lead, make_multicore, make_show
from tests.maintenance.bench_rows import bench_test, core, taken_back

pytestmark = pytest.mark.django_db

READ = {
    "pairs": [
        {"from": "A1", "to": "B1", "ohms": 0.18},
        {"from": "A2", "to": "B3", "ohms": 0.21},
        {"from": "A3", "to": "B2", "ohms": 0.22},
        {"from": "A1", "to": "A2", "above_ohms": 2e7},
        {"from": "A1", "to": "A3", "beep": False},
    ]
}


@pytest.fixture(autouse=True)
def own_media(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


def pages(data: bytes) -> list[str]:
    """Return a PDF's words page by page, each run of blanks as one."""
    with pdfium.PdfDocument(data) as document:
        return [" ".join(page.get_textpage().get_text_range().split()) for page in document]


def fetched(client, url):
    answer = client.get(url)
    assert answer.status_code == 200 and answer["Content-Type"] == "application/pdf", answer.status_code
    return pages(answer.content)


def test_a_sheet_says_who_when_with_what_readings_limits_verdict_and_why(as_hand, technician):
    item = make_lead()
    bench_test(
        item, Verdict.FAIL, person=technician, instrument_name="Meter 2", calibrated_on=a_day(-90), null_ohms=0.2,
        readings=READ, figures=[core(0.21), core(0.61, "A3 to B3")], reasons=["Held against 0.52 ohm."],
        not_measured=["shells"],
        wiring="three-pin", limits={"core_pass_ohm": 0.52, "open_ohm": 1000.0}, note="end B rattles",
    )  # fmt: skip
    (said,) = fetched(as_hand, f"/a/{item.code}/sheet.pdf")
    for words in (
        "BENCH SHEET", item.code[:4] + "-" + item.code[4:], "FAIL", str(technician), "Meter 2, calibrated Sat 27 Jun 2026",
        "Thu 24 Sep 2026", "0.20 Ω taken off each reading", "Pins 2 and 3 swapped.", "Thin and quiet",
        "Mend: Swap the two cores",
        "Not measured: shells.", "Held against 0.52 ohm.", "A2 to B3 0.21 Ω", "A1 to A2 above 20.0 MΩ", "A1 to A3 no beep",
        "0.61 Ω", "outside", "Limits used:", "a core passes up to 0.52 Ω", "open above 1.00 kΩ", "end B rattles",
        "Wiring: three-pin", "A2 reaches B3", "signed", "page 1 of 1",
    ):  # fmt: skip
        assert words in said, words


def test_mains_gear_carries_the_safety_words_and_is_never_called_safe(as_hand):
    item = make_item(kind=Kind.POWER)
    bench_test(item, procedure="mains", figures=[("insulation", 2e8, "Ω", 1e6, None, True)])
    said = " ".join(fetched(as_hand, f"/a/{item.code}/sheet.pdf"))
    assert "it declares nothing safe" in said and "Never lift or cut protective earth" in said
    assert "Insulation testers: passive cables only" in said
    assert not re.search(r"\b(is|are|as) safe\b", said)
    lead = make_lead()
    bench_test(lead)
    assert "declares nothing safe" not in " ".join(fetched(as_hand, f"/a/{lead.code}/sheet.pdf"))


def test_the_sheet_is_of_the_newest_that_counts_or_of_the_one_asked_for(as_hand):
    item = make_lead()
    old = bench_test(item, days_ago=9, note="the old one")
    bad = bench_test(item, Verdict.FAIL, days_ago=2, note="the wrong one")
    back = taken_back(bad)
    assert "the old one" in fetched(as_hand, f"/a/{item.code}/sheet.pdf")[0]
    assert "the old one" in fetched(as_hand, f"/a/{item.code}/sheet.pdf?test={old.uid}")[0]
    said = fetched(as_hand, f"/a/{item.code}/sheet.pdf?test={bad.uid}")[0]
    assert "the wrong one" in said and "It no longer counts" in said
    for asked in (back.uid, "nonsense", bench_test(make_lead()).uid):
        assert as_hand.get(f"/a/{item.code}/sheet.pdf?test={asked}").status_code == 404


def test_a_thing_never_tested_has_a_sheet_that_says_so(as_hand):
    assert "No test of it counts yet." in fetched(as_hand, f"/a/{make_lead().code}/sheet.pdf")[0]


def test_a_show_s_sheet_has_everything_on_it_with_its_last_test(as_hand):
    show = make_show(name="Harvest ceilidh")
    tested, never, bad = make_lead(name="T"), make_lead(name="N"), make_lead(name="B")
    for item in (tested, never, bad):
        UseLedger.objects.create(item=item, occasion=f"show:{show.pk}", day=a_day())
    bench_test(tested, note="fine")
    bench_test(bad, Verdict.FAIL, readings=READ)
    bench_test(make_lead(), note="of another show")
    said = " ".join(fetched(as_hand, f"/bench/sheets/show/{show.pk}.pdf"))
    assert "What goes to Harvest ceilidh" in said and "3 things: 1 pass, 1 fail; 1 never tested." in said
    assert "Never tested" in said and "of another show" not in said and "Pins 2 and 3 swapped" in said
    assert as_hand.get("/bench/sheets/show/999999.pdf").status_code == 404


def test_a_part_good_thing_is_named_as_such(as_hand):
    item = make_multicore(excepts="7")
    bench_test(item, Verdict.FAIL, dead_channels=[7])
    assert "good except 7" in fetched(as_hand, f"/a/{item.code}/sheet.pdf")[0]


def test_an_evening_s_sheet_has_each_test_of_it_once_and_no_taken_back_one(as_hand, technician):
    sitting = Sitting.objects.create(person=technician, began_at=now())
    item = make_lead(name="twice")
    for verdict, days in ((Verdict.FAIL, 2), (Verdict.PASS, 1.9)):
        bench_test(item, verdict, sitting=sitting, days_ago=days)
    taken_back(bench_test(make_lead(), sitting=sitting, note="not this"))
    said = " ".join(fetched(as_hand, f"/bench/sheets/sitting/{sitting.pk}.pdf"))
    assert f"One sitting by {technician}" in said and "2 things: 1 pass, 1 fail" in said and "not this" not in said


def test_a_day_s_sheet_holds_that_day_in_the_company_s_zone(as_hand):
    Company.objects.update(time_zone="Pacific/Auckland")
    late = now().replace(year=2026, month=3, day=10, hour=12, minute=30)  # the 11th in Auckland
    bench_test(make_lead(), done_at=late, note="late one")
    assert "late one" in " ".join(fetched(as_hand, "/bench/sheets/day/2026-03-11.pdf"))
    assert "nothing was tested" in " ".join(fetched(as_hand, "/bench/sheets/day/2026-03-10.pdf"))
    for odd in ("2026-13-01", "yesterday", "0001-01-01", "9999-12-31"):
        assert as_hand.get(f"/bench/sheets/day/{odd}.pdf").status_code == 404


def test_a_long_sheet_is_made_by_a_job_with_progress_and_pages_numbered_through(as_hand, hand):
    on = now() - timedelta(hours=1)
    for _ in range(views.MOST_IN_A_REQUEST + 1):
        bench_test(make_lead(), done_at=on, figures=[core(0.2), core(0.21, "A3 to B3")], readings=READ)
    url = f"/bench/sheets/day/{today(on).isoformat()}.pdf"
    first, again = as_hand.get(url), as_hand.get(url)
    job = Job.objects.get(kind="bench-sheet")
    assert first.url == again.url == job.get_absolute_url() and job.total == views.MOST_IN_A_REQUEST + 1
    assert job_run(job.pk)
    job.refresh_from_db()
    assert job.state == Job.State.DONE and job.done == job.total
    file = as_hand.get(f"/jobs/{job.pk}/file/")
    said = pages(b"".join(file.streaming_content))
    assert len(said) > 5 and all(f"page {n} of {len(said)}" in page for n, page in enumerate(said, 1))


def test_letters_the_faces_lack_are_set_in_another_and_break_nothing(as_hand):
    item = make_lead(name="Łęż 🎛 <b>&")
    bench_test(item, note="größer als Ω… 🎸 <i>")
    said = fetched(as_hand, f"/a/{item.code}/sheet.pdf")[0]
    assert "größer als Ω" in said and "<i>" in said and "<b>&" in said and "Łęż" in said


def test_letter_paper_is_letter(as_hand):
    Company.objects.update(paper="letter")
    item = make_lead()
    bench_test(item)
    with pdfium.PdfDocument(as_hand.get(f"/a/{item.code}/sheet.pdf").content) as document:
        assert [round(x) for x in document[0].get_size()] == [612, 792]


@pytest.mark.parametrize(
    ("reading", "said"),
    [
        ({"from": "A1", "to": "B1", "ohms": 0.21, "flexed": True}, "A1 to B1 0.21\u2009Ω flexed"),
        ({"from": "A1", "to": "B1", "beep": True}, "A1 to B1 beep"),
        ({"from": "A1", "to": "sh", "above_ohms": 2e7}, "A1 to sh above 20.0\u2009MΩ"),
    ],
)
def test_a_reading_is_said_as_it_was_read(reading, said):
    assert pair_words(reading) == said


def test_steps_and_limits_are_said_in_words():
    assert step_words({"step": "gain-1-khz", "value": 23.1}) == "gain 1 khz: 23.1"
    assert step_words({"step": "lift_switch", "yes": False}) == "lift switch: no"
    assert limits_words({"golden_share": 0.1, "core_pass_ohm": 0.52, "odd_one": "x"}) == (
        "a winding may differ from its first by 0.1 of it; a core passes up to 0.52\u2009Ω; odd one x"
    )


def test_an_evening_s_sheet_is_a_line_a_test_with_details_of_what_did_not_pass(as_hand, technician):
    sitting = Sitting.objects.create(person=technician, began_at=now())
    for n in range(59):
        bench_test(make_lead(name=str(n)), sitting=sitting, figures=[core(0.21)], readings=READ, not_measured=["shells"])
    bench_test(make_lead(name="bad"), Verdict.FAIL, sitting=sitting, figures=[core(0.61)], readings=READ)
    said = fetched(as_hand, f"/bench/sheets/sitting/{sitting.pk}.pdf")
    assert len(said) <= 6
    whole = " ".join(said)
    assert "0.21 Ω, at most 0.52 Ω" in whole and "shells" in whole
    assert whole.count("As read:") == 1
    asked = as_hand.get(f"/bench/sheets/sitting/{sitting.pk}.pdf?full=1")
    assert asked.status_code == 302 and Job.objects.get().given["full"] is True


def test_a_test_of_seconds_took_under_a_minute(as_hand):
    item = make_lead()
    bench_test(item, minutes=0.04)
    assert "under a minute" in fetched(as_hand, f"/a/{item.code}/sheet.pdf")[0]
