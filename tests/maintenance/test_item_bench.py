"""What an item's page and its history tell of the bench: last test, chart, repairs, when again, and what was taken back."""

import csv
import io
import json
import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.calc.kinds import Kind
from inventory.models import Item
from inventory.registries import ITEM_LIFE
from maintenance.calc.bench import Verdict
from maintenance.item_parts import change_words
from maintenance.item_record import ItemRecord
from maintenance.models import BenchSettings, Fault
from tests.builders import NOW, a_day, make_item, make_lead
from tests.maintenance.bench_rows import bench_test, core, repair, risk, taken_back, wet_call

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def no_later(monkeypatch):
    """Stand at NOW, so that days fall as the rows say."""
    for module in ("inventory.views.item", "maintenance.views.record", "maintenance.item_parts", "maintenance.parts"):
        for name, answer in (("now", lambda: NOW), ("today", lambda at=NOW: at.date())):
            monkeypatch.setattr(f"{module}.{name}", answer, raising=False)


def page(client, item):
    answer = client.get(item.get_absolute_url())
    assert answer.status_code == 200
    return answer.content.decode()


def life(item):
    return [entry for tell in ITEM_LIFE for entry in tell(Item.objects.get(pk=item.pk), NOW)]


def did(item):
    return sorted((e.did, e.bad, e.patched) for e in life(item) if e.did != "labelled")


def test_page_says_what_the_last_test_found_why_and_what_is_not_measured(as_hand, technician):
    item = make_lead()
    bench_test(
        item, Verdict.FAIL, person=technician, instrument_name="Meter 2", calibrated_on=a_day(-90), not_measured=["shells"],
        note="end B rattles",
    )  # fmt: skip
    said = page(as_hand, item)
    for words in (
        "Failed",
        "Pins 2 and 3 swapped.",
        "Thin and quiet",
        "Swap the two cores",
        "Not measured: shells.",
        "end B rattles",
    ):
        assert words in said
    assert "with Meter 2 (calibrated" in said and str(technician) in said


def test_a_sentence_on_what_was_not_measured_stands_by_itself(as_hand):
    item = make_lead()
    bench_test(item, not_measured=["The shells were not measured.", "channel 3"])
    said = page(as_hand, item)
    assert "<li>The shells were not measured.</li>" in said and "Not measured: channel 3." in said


def test_a_failed_test_tears_the_strip_and_the_proof_after_it_is_the_patch():
    item = make_lead()
    bench_test(item, days_ago=30)
    bench_test(item, Verdict.FAIL, days_ago=20)
    repair(item, days_ago=15)
    assert did(item) == [("failed", True, False), ("proved", False, False), ("repaired", False, True)]
    bench_test(item, days_ago=10)
    bench_test(item, days_ago=5)
    assert did(item) == [
        *(("failed", True, False), ("proved", False, False), ("proved", False, False), ("proved", False, True)),
        ("repaired", False, False),
    ]


def test_what_the_bench_found_is_told_once_and_not_as_a_fault_beside_it():
    item = make_lead()
    test = bench_test(item, Verdict.FAIL)
    Fault.objects.create(
        uid=test.uid, item=item, opened_at=test.done_at, found="bench", found_by=test, note="Pins 2 and 3 swapped"
    )
    assert [entry[0] for entry in did(item)] == ["failed"]


def test_test_by_lies_ahead_while_it_is_to_come():
    item = make_lead(test_by=a_day(30), tested_on=a_day(-1))
    assert [(e.did, e.at) for e in life(item) if e.ahead] == [("test by", a_day(30))]
    Item.objects.filter(pk=item.pk).update(test_by=a_day(-1))
    assert [e.did for e in life(item) if e.ahead] == []


def test_a_test_taken_back_leaves_the_page_and_stays_struck_in_the_history(as_hand, technician):
    item = make_lead()
    good = bench_test(item, days_ago=9, figures=[core(0.2)])
    bad = bench_test(item, Verdict.FAIL, days_ago=3, figures=[core(0.9)])
    taken_back(bad, person=technician, note="that was another lead")
    assert [t.test for t in ItemRecord(item).counting] == [good]
    assert "swapped" not in page(as_hand, item)
    history = as_hand.get(f"/a/{item.code}/tests/").content.decode()
    assert "struck" in history and "that was another lead" in history and "It no longer counts" in history
    assert "One test counts" in history


def test_a_corrected_test_names_what_stands_in_for_it_and_gives_the_chart_no_point(as_hand):
    item = make_lead()
    old = bench_test(item, Verdict.FAIL, days_ago=3, figures=[core(0.9)])
    bench_test(item, days_ago=3, figures=[core(0.21)], corrects=old)
    history = as_hand.get(f"/a/{item.code}/tests/").content.decode()
    assert "Stood in for by a newer test" in history
    assert [r.value for r in ItemRecord(item).readings] == [0.21]


def test_chart_draws_the_limit_and_says_itself_in_words(as_hand):
    item = make_lead()
    bench_test(item, days_ago=400, figures=[core(0.2)])
    bench_test(item, Verdict.FAIL, days_ago=30, figures=[core(0.6)])
    repair(item, days_ago=20)
    bench_test(item, days_ago=2, figures=[core(0.22)])
    said = page(as_hand, item)
    assert (
        'role="img"' in said
        and "A2 to B2: 0.20\u2009\u03a9 at first, 0.22\u2009\u03a9 now, at most 0.52\u2009\u03a9. 3 tests." in said
    )
    assert 'class="limit"' in said and "the limit" in said and "repaired" in said
    assert " style=" not in said


def test_chart_data_is_what_the_drawing_shows(as_hand):
    item = make_lead()
    bench_test(item, days_ago=400, figures=[core(0.2), core(0.1, "A1 to B1", 0.3)])
    bench_test(item, Verdict.FAIL, days_ago=30, figures=[core(0.6)])
    repair(item, "re-soldered", days_ago=10)
    answer = as_hand.get(f"/a/{item.code}/tests/chart.json")
    (chart,) = json.loads(answer.content)["charts"]
    assert chart["series"][0]["values"] == [0.2, 0.6] and chart["series"][0]["shapes"] == ["pass", "fail"]
    assert chart["high"] == [0.52, 0.52] and chart["low"] == [None, None]
    assert chart["times"] == sorted(chart["times"]) and len(chart["days"]) == 2
    assert [words for _at, words in chart["marks"]] == ["re-soldered"]
    assert chart["begin"] < chart["times"][0] and chart["end"] > chart["times"][-1]


def test_a_watched_core_shows_where_it_fails():
    item = make_lead()
    for days in (9, 2):
        bench_test(item, days_ago=days, figures=[core(0.4)], limits={"core_pass_ohm": 0.52, "core_fail_ohm": 1.48})
    assert {r.watch for r in ItemRecord(item).readings} == {1.48}


def test_a_box_shows_its_first_figures_beside_its_last(as_hand):
    item = make_item(kind=Kind.INTERFACE_BOX)
    bench_test(item, days_ago=300, procedure="passive-box", figures=[("input winding", 480.0, "\u03a9", 430.0, 530.0, True)])
    bench_test(item, days_ago=3, procedure="passive-box", figures=[("input winding", 504.0, "\u03a9", 430.0, 530.0, True)])
    said = page(as_hand, item)
    for words in ("input winding", "480\u2009\u03a9", "504\u2009\u03a9", "+5%", "430 to 530\u2009\u03a9"):
        assert words in said


def test_page_says_shows_left_the_date_and_how_much_is_a_guess(as_hand):
    item = make_lead(test_by=a_day(40), tested_on=a_day(-1))
    risk(item, test_by=a_day(40))
    said = page(as_hand, item)
    assert "12 shows left, test by" in said and "first guess for its kind (82%)" in said and "2\u202f%" in said
    assert "fail about once in 150 shows" in said


def test_retire_is_a_question_with_its_reason(as_hand):
    item = make_lead(suspect_since=NOW)
    risk(item, retire=True, retire_why="It failed four times in 30 shows.")
    said = page(as_hand, item)
    assert "Retire it?" in said and "four times in 30 shows" in said and "shows left" not in said


def test_the_test_is_the_next_step_when_it_is_suspect_or_due_and_for_no_hand(as_technician, as_hand):
    for given in ({"suspect_since": NOW}, {"test_by": a_day(-1), "tested_on": a_day(-90)}):
        item = make_lead(**given)
        assert '<a class="strip next" href="/bench/sittings/?scan=' in page(as_technician, item)
        assert "/bench/sittings/" not in page(as_hand, item)
    assert 'class="strip next"' not in page(as_technician, make_lead())


def test_a_wet_call_makes_the_test_the_next_step(as_technician):
    item = make_lead()
    wet_call(item, NOW - timedelta(hours=3))
    said = page(as_technician, item)
    assert "got wet" in said and '<a class="strip next" href="/bench/sittings/?scan=' in said


def test_dead_channels_say_what_not_to_patch(as_hand):
    assert "Patch nothing on 7 and 14." in page(as_hand, make_item(kind=Kind.MULTICORE, excepts="7, 14", tested_on=a_day()))


def test_cost_of_repairs_is_no_hand_s_business(as_hand, as_technician):
    item = make_lead()
    repair(item, minutes=25, cost_cents=1240)
    repair(item, minutes=20, cost_cents=0)
    assert "2 repairs, 45 minutes, 12.40 GBP." in page(as_technician, item)
    assert "2 repairs, 45 minutes." in page(as_hand, item) and "12.40" not in page(as_hand, item)


def test_what_has_no_standing_has_no_bench(as_owner):
    said = page(as_owner, make_item(kind=Kind.STAND))
    assert "On the bench" not in said and "It got wet" not in said and "Test it" not in said


def test_retired_things_are_not_sent_to_the_bench(as_owner):
    item = make_lead(retired_on=a_day(), retired_because="sold")
    bench_test(item)
    said = page(as_owner, item)
    assert "On the bench" in said and "It got wet" not in said and "Test it" not in said


def test_page_costs_the_same_however_many_tests(as_technician):
    BenchSettings.current()
    item = make_lead(tested_on=a_day(-1))
    bench_test(item, figures=[core(0.2)], readings={"pairs": [{"from": "A2", "to": "B2", "ohms": 0.2}]})
    repair(item)
    wet_call(item)
    risk(item)
    with CaptureQueriesContext(connection) as few:
        page(as_technician, item)
    for days in range(50):
        test = bench_test(item, days_ago=days + 2, figures=[core(0.2), core(0.21, "A3 to B3")])
        if days % 9 == 0:
            taken_back(test)
            repair(item, days_ago=days + 2)
            wet_call(item)
    with CaptureQueriesContext(connection) as many:
        page(as_technician, item)
    assert len(many) == len(few)
    assert len(few) == 30, "the item page asks more, or less, than it did"


def test_history_costs_the_same_at_one_test_and_at_fifty(as_hand):
    item = make_lead()
    bench_test(item, figures=[core(0.2)])
    with CaptureQueriesContext(connection) as few:
        as_hand.get(f"/a/{item.code}/tests/")
    for days in range(49):
        bench_test(item, days_ago=days + 2, figures=[core(0.2)])
    with CaptureQueriesContext(connection) as many:
        as_hand.get(f"/a/{item.code}/tests/")
    assert len(many) == len(few)


def test_history_is_searched_by_words_and_by_what_it_came_to(as_hand):
    item = make_lead()
    bench_test(item, Verdict.FAIL, days_ago=5)
    bench_test(item, days_ago=2, note="after a fall")

    def shown(query):
        answer = as_hand.get(f"/a/{item.code}/tests/?{query}")
        return [row["told"].verdict for row in answer.context["rows"]]

    assert shown("q=swapped") == [Verdict.FAIL]
    assert shown("q=fall+after") == [Verdict.PASS]
    assert shown("only=fail") == [Verdict.FAIL]
    assert shown("only=nonsense&q=") == [Verdict.PASS, Verdict.FAIL]
    assert shown("q=nothing+of+it") == []


def test_history_as_csv_has_a_row_a_figure_and_guards_formulas(as_hand, technician):
    item = make_lead()
    bench_test(item, person=technician, figures=[core(0.2), core(0.31, "A3 to B3")], note="=1+1")
    taken_back(bench_test(item, Verdict.FAIL, days_ago=4))
    answer = as_hand.get(f"/a/{item.code}/tests.csv")
    assert answer["Content-Type"].startswith("text/csv")
    text = b"".join(answer.streaming_content).decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [(r["figure"], r["value"], r["verdict"]) for r in rows] == [
        ("A2 to B2", "0.2", "pass"), ("A3 to B3", "0.31", "pass"), ("", "", "fail"),
    ]  # fmt: skip
    assert rows[0]["note"] == "'=1+1" and rows[0]["counts"] == "yes" and rows[2]["counts"].startswith("taken back")


def test_what_a_test_says_as_the_one_above_it_is_said_once_and_old_passes_are_folded(as_hand):
    item = make_lead()
    said = ["6 m of 0.22 mm² is at most 0.53 Ω a core."]
    for days in (40, 30, 20, 10):
        bench_test(item, days_ago=days, figures=[core(0.2)], reasons=said)
    shown = as_hand.get(f"/a/{item.code}/tests/").content.decode()
    assert shown.count("6 m of 0.22 mm²") == 1 and shown.count("Held against the same as the test above.") == 3
    assert shown.count('<details class="fold">') == 2
    found = as_hand.get(f"/a/{item.code}/tests/?only=pass").content.decode()
    assert '<details class="fold">' not in found, "what was asked for is not folded away"


def test_a_csv_holds_no_digits_that_only_arithmetic_made(as_hand):
    item = make_lead()
    bench_test(item, figures=[core(0.2), ("level", -7.694000000000001, "dB", -8.0, -7.0, True)])
    text = b"".join(as_hand.get(f"/a/{item.code}/tests.csv").streaming_content).decode()
    assert ",level,-7.694,dB,-8.0,-7.0,yes," in text


@pytest.mark.parametrize(
    ("first", "last", "unit", "said"),
    [
        (-15.1, -15.2, "dB", "\u22120.1\u2009dB"),
        (-20.0, -17.5, "dBu", "+2.5\u2009dB"),
        (-15.1, -15.1, "dB", "the same"),
        (0.2, 0.25, "ohm", "+25%"),
        (200.0, 200.1, "ohm", "the same"),
        (0.0, 3.0, "V", ""),
    ],
)
def test_a_change_is_said_in_what_its_figure_is_in(first, last, unit, said):
    assert change_words(first, last, unit) == said


def test_an_item_never_tested_says_so(as_hand):
    item = make_lead()
    assert "never been tested" in as_hand.get(f"/a/{item.code}/tests/").content.decode()
    assert json.loads(as_hand.get(f"/a/{item.code}/tests/chart.json").content) == {"charts": []}


def test_what_failed_at_the_bench_is_found_by_those_words(as_hand):
    item, other = make_lead(suspect_since=NOW), make_lead(suspect_since=NOW)
    test = bench_test(item, Verdict.FAIL)
    given = {"found": "bench", "found_by": test, "note": "Pins 2 and 3 swapped"}
    Fault.objects.create(uid=test.uid, item=item, opened_at=test.done_at, **given)
    Fault.objects.create(uid=uuid.uuid4(), item=other, opened_at=NOW, symptom="hums")
    for words in ("failed at the bench", "bench swapped"):
        said = as_hand.get("/find/", {"q": words}, follow=True).content.decode()
        assert item.code[:4] in said and other.code[:4] not in said, words
