"""Bench tests on record: each stored once, judged with reasons, and followed by what the item's whole record says."""

import uuid
from dataclasses import replace
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.calc.kinds import Kind
from inventory.models import Item
from inventory.services.items import item_retire
from maintenance.bench_subject import subject_of
from maintenance.calc.bench import Depth, PairReading, Procedure, Verdict
from maintenance.calc.symptoms import Found
from maintenance.models import BenchFigure, BenchTest, Fault
from maintenance.querysets import standing_tests
from maintenance.services.bench import NONE_SEEN, Given, TestRefused, test_record, test_undo
from maintenance.services.faults import fault_close, fault_open
from maintenance.services.repairs import repair_record
from tests.builders import NOW, make_case, make_item, make_lead, make_multicore, make_person

pytestmark = pytest.mark.django_db

GOOD = [("A1", "B1", 0.4), ("A2", "B2", 0.9), ("A3", "B3", 0.9)]
OTHERS = [(f"A{a}", f"B{b}", None) for a in (1, 2, 3) for b in (1, 2, 3) if a != b]


@pytest.fixture
def lead(company):
    return make_lead()


def pairs(readings):
    return tuple(
        PairReading(a=a, b=b, ohms=ohms) if ohms is not None else PairReading(a=a, b=b, above_ohms=2e7)
        for a, b, ohms in readings
    )


def given(item, hours=0.0, **kw):
    values = {"uid": uuid.uuid4(), "procedure": Procedure.WORD, "depth": Depth.OHMS, **kw}
    if values["procedure"] == Procedure.WORD:
        values.setdefault("word", True)
    return Given(item=item, done_at=NOW + timedelta(hours=hours), **values)


def recorded_of(item, hours=0.0, *, person=None, late=0.0, **kw):
    received_at = NOW + timedelta(hours=hours + late)
    return test_record(given=given(item, hours, **kw), person=person, received_at=received_at)


def said(item, symptom="hums", hours=-1.0, **kw):
    return fault_open(uid=uuid.uuid4(), item=item, symptom=symptom, at=NOW + timedelta(hours=hours), **kw)


def columns(item):
    item.refresh_from_db()
    return item.tested_on, item.excepts, item.suspect_since


def test_a_pass_proves_it_and_names_the_next_day(lead, technician):
    recorded = recorded_of(lead, person=technician)
    assert recorded.judgement.verdict == Verdict.PASS and not recorded.again
    assert columns(lead) == (NOW.date(), "", None)
    assert recorded.test_by == lead.test_by and lead.test_by > NOW.date()
    assert any("Test by" in words for words in recorded.words)


def test_the_readings_limits_and_figures_are_kept_as_they_were(lead, technician):
    tester = make_item(kind=Kind.INSTRUMENT, calibrated_on=NOW.date(), calibration_due_on=NOW.date() + timedelta(days=9))
    recorded = recorded_of(
        lead,
        procedure=Procedure.WIRING,
        readings=pairs([*GOOD, *OTHERS]),
        instrument=tester,
        null_ohms=0.2,
        temperature_c=12.5,
        person=technician,
        note="  after\nthe rain ",
        minutes=2.5,
    )
    test = BenchTest.objects.get()
    assert recorded.judgement.verdict == Verdict.PASS, recorded.judgement
    assert test.readings["pairs"][0] == {"from": "A1", "to": "B1", "ohms": 0.4}
    assert test.readings["pairs"][3] == {"from": "A1", "to": "B2", "above_ohms": 2e7}
    assert (test.wiring, test.instrument, test.calibrated_on) == ("three-pin", tester, NOW.date())
    assert (test.null_ohms, test.temperature_c, test.note, test.minutes) == (0.2, 12.5, "after the rain", 2.5)
    assert test.limits and BenchFigure.objects.filter(test=test).count() == len(recorded.judgement.figures) > 0


def test_the_same_test_sent_twice_is_one_and_answers_the_same(lead, technician):
    said(lead)
    first = given(lead)
    once = test_record(given=first, person=technician, received_at=NOW)
    recorded_of(lead, 1, word=False)
    again = test_record(given=first, person=technician, received_at=NOW + timedelta(days=3))
    assert again.again and again.test.pk == once.test.pk and BenchTest.objects.count() == 2
    assert (again.words, again.test_by, again.judgement.verdict) == (once.words, once.test_by, once.judgement.verdict)
    assert [f.pk for f in again.closed] == [f.pk for f in once.closed] != []


def test_the_same_id_answers_even_where_a_new_test_would_be_refused(lead):
    first = given(lead)
    test_record(given=first, person=None, received_at=NOW)
    item_retire(item=lead, because="Crushed.", on=NOW.date(), at=NOW + timedelta(hours=1))
    assert test_record(given=first, person=None, received_at=NOW + timedelta(hours=2)).again


def test_a_fail_makes_it_suspect_and_opens_one_fault(lead, technician):
    recorded = recorded_of(lead, word=False, note="no sound", person=technician)
    fault = Fault.objects.get()
    assert recorded.judgement.verdict == Verdict.FAIL
    assert (fault.found, fault.found_by, fault.person, fault.opened_at) == (Found.BENCH, recorded.test, technician, NOW)
    assert columns(lead) == (None, "", NOW)
    assert not Item.objects.fit_to_go(NOW.date()).filter(pk=lead.pk).exists()
    assert any(w.startswith("Suspect from now on") for w in recorded.words)


def test_a_pass_answers_what_was_said_on_stage(lead, technician):
    fault = said(lead, "hums")
    recorded = recorded_of(lead, person=technician)
    fault.refresh_from_db()
    assert recorded.closed == [fault] and fault.closed_by_test == recorded.test
    assert fault.closed_at == NOW and fault.closed_by == technician and fault.closed_how
    assert columns(lead)[2] is None


def test_what_crackles_when_moved_wants_a_flexed_test(lead):
    fault = said(lead, "crackles")
    recorded = recorded_of(lead)
    assert recorded.open_still and recorded.open_still[0][0] == fault and "flex" in recorded.open_still[0][1].lower()
    assert columns(lead)[2] is not None
    assert recorded_of(lead, 1, depth=Depth.OHMS_FLEXED).closed == [fault]
    assert columns(lead)[2] is None


def test_a_bad_word_carries_what_a_bad_one_does(lead, technician):
    recorded = recorded_of(lead, word=False, symptom="crackles", note="at plug B", depth=Depth.LAMPS)
    fault = Fault.objects.get()
    assert (fault.symptom, fault.found, fault.note) == ("crackles", Found.BENCH, "Not good: crackles")
    assert recorded.judgement.findings[0].text.endswith("not good: crackles; at plug B.")
    # as if it had been said on a stage: neither a repair nor words answer it without bending
    repair_record(uid=uuid.uuid4(), item=lead, did="new plug", done_at=NOW, person=technician, received_at=NOW)
    still = recorded_of(lead, 1, note="cut back", depth=Depth.OHMS)
    assert "flex" in still.open_still[0][1].lower() and columns(lead)[2] is not None
    assert recorded_of(lead, 2, depth=Depth.OHMS_FLEXED).closed == [fault]


def test_a_bad_word_taken_back_and_put_back_still_says_what_it_does(lead, technician):
    test = recorded_of(lead, word=False, symptom="hums").test
    undo = test_undo(test=test, person=technician, at=NOW)
    assert columns(lead)[2] is None
    test_undo(test=undo, person=technician, at=NOW)
    assert Fault.objects.get(closed_at=None, withdrawn_at=None).symptom == "hums"


def test_a_symptom_nobody_knows_is_refused_by_name(lead):
    with pytest.raises(TestRefused) as refused:
        recorded_of(lead, word=False, symptom="sings")
    assert refused.value.field == "symptom" and not BenchTest.objects.exists()


def test_a_report_made_after_the_test_stays_open(lead):
    fault = said(lead, hours=1)
    assert recorded_of(lead).closed == [] and columns(lead)[2] == fault.opened_at


def test_a_report_that_comes_in_late_is_answered_by_the_test_done_since(lead):
    test = recorded_of(lead).test
    fault = said(lead, "hums", hours=-3)
    assert fault.closed_by_test == test and columns(lead)[2] is None
    assert said(lead, "crackles", hours=-3).closed_at is None and columns(lead)[2] is not None


def test_a_fail_then_a_pass_with_nothing_done_stays_open_with_a_sentence(lead):
    recorded_of(lead, word=False)
    recorded = recorded_of(lead, 1)
    (fault, why), *_ = recorded.open_still
    assert fault.found == Found.BENCH and "nothing done in between" in why
    assert columns(lead)[2] == NOW


@pytest.mark.parametrize("how", [{"depth": Depth.OHMS_FLEXED}, {"note": "The ring had slipped; pushed home."}])
def test_a_fail_then_a_pass_flexed_or_with_words_is_good_again(lead, how):
    recorded_of(lead, word=False)
    recorded = recorded_of(lead, 1, **how)
    assert recorded.open_still == [] and len(recorded.closed) == 1 and columns(lead)[2] is None


def test_a_shallower_pass_does_not_answer_a_deeper_fail(lead):
    recorded_of(lead, word=False, depth=Depth.OHMS)
    (_, why), *_ = recorded_of(lead, 1, depth=Depth.LAMPS_FLEXED, note="wiggled it").open_still
    assert "sees less" in why


def test_a_repair_closes_nothing_until_it_passes(lead, technician):
    recorded_of(lead, word=False)
    repair_record(
        uid=uuid.uuid4(),
        item=lead,
        did="New plug",
        end="B",
        done_at=NOW + timedelta(hours=1),
        person=technician,
        received_at=NOW + timedelta(hours=1),
    )
    assert columns(lead)[2] == NOW
    recorded = recorded_of(lead, 2, depth=Depth.OHMS)
    assert len(recorded.closed) == 1 and columns(lead) == (NOW.date(), "", None)


def test_cannot_tell_changes_nothing(lead):
    recorded_of(lead, -2)
    before = columns(lead)
    recorded = recorded_of(lead, word=None)
    assert recorded.judgement.verdict == Verdict.CANNOT_TELL and columns(lead) == before
    assert any("stands as it stood" in w for w in recorded.words)


def test_a_wiring_nobody_has_entered_cannot_be_judged_and_says_so(company):
    lead = make_item(kind=Kind.LEAD, length_mm=5000)
    recorded = recorded_of(lead, procedure=Procedure.WIRING, readings=pairs(GOOD))
    assert recorded.judgement.verdict == Verdict.CANNOT_TELL and "no wiring yet" in recorded.judgement.reasons[0]
    assert BenchTest.objects.get().readings["pairs"][0]["ohms"] == 0.4


@pytest.mark.parametrize("lacking", [{"length_mm": 0}, {"facts": {"core_mm2": None}}])
def test_a_length_of_zero_or_no_gauge_is_recorded_and_says_what_cannot_be_judged(company, lacking):
    lead = make_lead(**lacking)
    recorded = recorded_of(lead, procedure=Procedure.WIRING, readings=pairs([*GOOD, *OTHERS]))
    told = " ".join([*recorded.judgement.reasons, *recorded.judgement.not_measured])
    assert BenchTest.objects.count() == 1 and ("length" in told if "length_mm" in lacking else "gauge" in told), told


# part-good things


def patched(channels, dead=()):
    """Nine pairs a channel, pin 2 of the dead ones open."""
    return pairs(
        (f"A{c}.{a}", f"B{c}.{b}", None if a != b or (c in dead and a == 2) else (0.9 if a == 1 else 2.5))
        for c in channels
        for a in (1, 2, 3)
        for b in (1, 2, 3)
    )


def multicore_of(core, hours=0.0, channels=range(1, 9), dead=(), **kw):
    return recorded_of(core, hours, procedure=Procedure.WIRING, readings=patched(channels, dead), **kw)


def test_a_multicore_with_a_dead_channel_is_good_except_it(company):
    core = make_multicore(sends=8)
    recorded = multicore_of(core, dead={3, 7})
    assert recorded.judgement.verdict == Verdict.FAIL and recorded.judgement.dead_channels == (3, 7)
    assert columns(core) == (NOW.date(), "3, 7", None) and not Fault.objects.exists()
    assert any("Good except 3, 7" in w for w in recorded.words)


def test_half_dead_is_bad_altogether(company):
    core = make_multicore(sends=8)
    multicore_of(core, dead={1, 2, 3, 4})
    assert columns(core) == (None, "", NOW) and Fault.objects.get().found == Found.BENCH


def test_a_dead_channel_that_passes_after_repair_is_used_again(company):
    core = make_multicore(sends=8)
    multicore_of(core, dead={3, 7})
    mended(core, 0.5)
    multicore_of(core, 1)
    assert columns(core)[:2] == (NOW.date(), "")


def mended(item, hours):
    at = NOW + timedelta(hours=hours)
    repair_record(uid=uuid.uuid4(), item=item, did="re-soldered pin 2", done_at=at, person=None, received_at=at)


def test_a_dead_channel_is_not_made_good_by_a_word(company):
    core = make_multicore(sends=8)
    multicore_of(core, dead={7})
    recorded = recorded_of(core, 1)
    assert recorded.judgement.verdict == Verdict.PASS and columns(core)[1] == "7"
    assert any("Channel 7 stays out of use. Nobody measured it" in w for w in recorded.words), recorded.words
    mended(core, 2)
    recorded_of(core, 3)
    assert columns(core)[1] == ""


def test_a_dead_channel_somebody_named_before_any_test_is_not_made_good_by_a_word(company):
    core = make_multicore(sends=8, excepts="7")
    recorded_of(core)
    assert columns(core)[1] == "7"
    multicore_of(core, 1)
    assert columns(core)[1] == ""


def test_a_dead_channel_that_reads_well_with_nothing_done_stays_out_of_use_until_it_is_bent(company):
    core = make_multicore(sends=8)
    multicore_of(core, dead={7})
    recorded = multicore_of(core, 1)
    assert columns(core)[1] == "7" and any("Bend it at both ends" in w for w in recorded.words)
    bent = tuple(replace(r, flexed=True) for r in patched(range(1, 9)))
    recorded_of(core, 2, procedure=Procedure.WIRING, readings=bent, depth=Depth.OHMS_FLEXED)
    assert columns(core)[1] == ""


def test_looking_at_one_channel_mends_that_channel_and_proves_no_whole(company):
    core = make_multicore(sends=8)
    multicore_of(core, -48, dead={3, 7})
    fault = said(core, "hums", hours=-2)
    mended_at = NOW - timedelta(hours=47)
    repair_record(uid=uuid.uuid4(), item=core, did="a core joined", done_at=mended_at, person=None, received_at=mended_at)
    recorded = multicore_of(core, channels=[7])
    assert columns(core) == ((NOW - timedelta(hours=48)).date(), "3", fault.opened_at)
    assert any("7 alone: that proves no whole" in w for w in recorded.words)


def test_what_was_said_of_a_multicore_is_answered_once_its_dead_channel_is_named(company):
    core = make_multicore(sends=8)
    fault = said(core, "dead", line="7")
    recorded = multicore_of(core, dead={7})
    fault.refresh_from_db()
    assert recorded.closed == [fault] and "dead on 7" in fault.closed_how and columns(core)[2] is None


# taking back and correcting


def test_taking_a_test_back_puts_the_record_back(lead, technician):
    Item.objects.filter(pk=lead.pk).update(tested_on=NOW.date() - timedelta(days=40))
    fault = said(lead)
    before = columns(lead)
    recorded = recorded_of(lead, person=technician)
    undo = test_undo(test=recorded.test, person=technician, at=NOW + timedelta(hours=1))
    assert undo.procedure == Procedure.UNDO and undo.corrects == recorded.test
    assert columns(lead) == before
    fault.refresh_from_db()
    assert fault.closed_at is None and fault.closed_how == "" and fault.closed_by is None
    assert BenchTest.objects.count() == 2 and not standing_tests().exists()


def test_taking_back_twice_is_once(lead, technician):
    test = recorded_of(lead).test
    assert test_undo(test=test, person=technician, at=NOW).pk == test_undo(test=test, person=technician, at=NOW).pk


def test_an_undo_is_undone_by_writing_the_test_down_again(lead, technician):
    recorded = recorded_of(lead, word=False, person=technician)
    fault = Fault.objects.get()
    undo = test_undo(test=recorded.test, person=technician, at=NOW + timedelta(hours=1))
    assert columns(lead)[2] is None
    again = test_undo(test=undo, person=technician, at=NOW + timedelta(hours=2))
    assert columns(lead) == (None, "", NOW) and standing_tests().get() == again
    assert (again.verdict, again.done_at, again.readings) == (Verdict.FAIL, NOW, recorded.test.readings)
    fault.refresh_from_db()
    assert fault.withdrawn_at is None and fault.found_by == again and Fault.objects.count() == 1
    third = test_undo(test=again, person=technician, at=NOW + timedelta(hours=3))
    assert third.procedure == Procedure.UNDO and columns(lead)[2] is None


def test_a_correction_is_a_new_row_that_stands_in_for_the_old_one(lead, technician):
    wrong = recorded_of(lead, word=False).test
    right = recorded_of(lead, corrects=wrong, word=True, late=1)
    assert columns(lead) == (NOW.date(), "", None) and right.test.corrects == wrong
    wrong.refresh_from_db()
    assert wrong.verdict == Verdict.FAIL
    test_undo(test=right.test, person=technician, at=NOW + timedelta(hours=2))
    assert columns(lead) == (None, "", NOW)


def test_correcting_what_somebody_took_back_says_so(lead, technician):
    test = recorded_of(lead).test
    test_undo(test=test, person=technician, at=NOW)
    with pytest.raises(TestRefused, match="taken back already, by technician"):
        recorded_of(lead, 1, corrects=test)
    other = recorded_of(make_lead(type=lead.type)).test
    with pytest.raises(TestRefused, match="another item"):
        recorded_of(lead, 1, corrects=other)


def test_a_test_corrected_by_somebody_is_not_taken_back_unseen(lead, technician):
    test = recorded_of(lead).test
    recorded_of(lead, 1, corrects=test, person=technician)
    with pytest.raises(TestRefused, match="corrected already, by technician"):
        test_undo(test=test, person=technician, at=NOW)


def test_a_fault_a_person_closed_is_not_opened_by_what_comes_later(lead, technician):
    recorded = recorded_of(lead, word=False)
    fault_close(fault=Fault.objects.get(), at=NOW + timedelta(hours=1), person=technician, how="It was the tester.")
    recorded_of(lead, 2)
    assert columns(lead)[2] is None
    test_undo(test=recorded.test, person=technician, at=NOW + timedelta(hours=3))
    assert columns(lead)[2] is None and Fault.objects.get().closed_how == "It was the tester."


# late arrivals


def test_a_test_that_arrives_late_is_history(lead):
    recorded_of(lead, 0)
    recorded = recorded_of(lead, -48, late=72)
    assert columns(lead)[0] == NOW.date()
    assert any("kept as history" in w for w in recorded.words)


def test_a_late_fail_that_nothing_answered_since_makes_it_suspect(lead):
    recorded_of(lead, 0)
    recorded = recorded_of(lead, -48, late=72, word=False)
    assert columns(lead) == (NOW.date(), "", NOW - timedelta(hours=48))
    assert any(w.startswith("Suspect from now on") for w in recorded.words)


# what is refused, in a sentence, with nothing written


def refused(match, field, item, **kw):
    with pytest.raises(TestRefused, match=match) as caught:
        recorded_of(item, **kw)
    assert caught.value.field == field
    assert str(caught.value).endswith((".", "first."))
    assert not BenchTest.objects.exists() and not Fault.objects.exists()


def test_a_test_dated_tomorrow_is_refused(lead):
    refused("still to come", "done_at", lead, hours=24, late=-24)
    refused(r"in the year 99\d\d", "done_at", lead, hours=24 * 365 * 7972.0, late=-24 * 365 * 7972.0)
    refused("dated 1027", "done_at", lead, hours=-24 * 365 * 1000, late=24 * 365 * 1000)


def test_a_test_before_it_was_bought_is_refused(company):
    refused("was bought on", "done_at", make_lead(bought_on=NOW.date()), hours=-48)


def test_a_test_before_it_came_on_record_is_kept_and_says_so(lead):
    recorded = recorded_of(lead, -24 * 500, late=24 * 500)
    assert any("before it came on record" in w for w in recorded.words)


def test_a_retired_item_is_not_tested_but_a_late_test_of_before_is_kept(lead):
    item_retire(item=lead, because="Crushed.", on=NOW.date(), at=NOW)
    lead.refresh_from_db()
    refused("was retired on", "code", lead, hours=1)
    assert recorded_of(lead, -1, late=5).test.pk


def test_what_went_home_is_not_tested(company):
    lead = make_lead(borrowed_from="A friend", gone_home_on=NOW.date() - timedelta(days=2))
    refused("went home on", "code", lead)


def test_a_stand_or_a_case_is_not_tested(company):
    refused("never good or bad", "code", make_case())


@pytest.mark.parametrize(
    ("reading", "match"),
    [(("A9", "B1", 0.2), "A9"), (("A1", "B1", -0.2), "(?i)negative|below|less than"), (("A1", "C1", 0.2), "C1")],
)
def test_a_reading_that_cannot_be_is_refused_by_name(lead, reading, match):
    refused(match, "readings.3", lead, procedure=Procedure.WIRING, readings=pairs([*GOOD, reading]))


@pytest.mark.parametrize(
    ("field", "kw"),
    [
        ("null_ohms", {"null_ohms": -1.0}),
        ("null_ohms", {"null_ohms": float("nan")}),
        ("temperature_c", {"temperature_c": 200.0}),
        ("minutes", {"minutes": -1.0}),
        ("note", {"note": "x" * 501}),
        ("procedure", {"procedure": Procedure.UNDO}),
        ("procedure", {"procedure": Procedure.MICROPHONE}),
    ],
)
def test_what_cannot_be_is_refused_with_its_field(lead, field, kw):
    refused(r"\.$|fits is", field, lead, **kw)


def test_only_an_instrument_is_one(lead):
    refused("no bench instrument", "instrument", lead, instrument=make_item())


def test_an_instrument_past_its_own_date_is_told(lead):
    tester = make_item(kind=Kind.INSTRUMENT, calibration_due_on=NOW.date() - timedelta(days=1))
    assert any("calibrated by" in w for w in recorded_of(lead, instrument=tester).words)


def test_two_people_testing_one_item_hear_of_one_another(lead):
    jo, sam = make_person(username="jo"), make_person(username="sam")
    seen = recorded_of(lead, -5).test
    recorded_of(lead, 0, person=jo, after=seen.uid)
    with pytest.raises(TestRefused, match=r"jo tested it as well, on .*: pass") as caught:
        recorded_of(lead, 1, person=sam, after=seen.uid, word=False)
    assert caught.value.field == "after" and BenchTest.objects.count() == 2
    newest = standing_tests().order_by("done_at").last()
    assert recorded_of(lead, 1, person=sam, after=newest.uid, word=False).test.pk


def test_two_people_testing_one_that_never_was_hear_of_one_another(lead):
    assert recorded_of(lead, 0, after=NONE_SEEN).test.pk
    with pytest.raises(TestRefused, match="tested it as well"):
        recorded_of(lead, 1, after=NONE_SEEN)


# cost


def test_a_subject_costs_what_fifty_cost(company, technician):
    leads = [make_lead() for _ in range(3)]
    boxes = [make_item() for _ in range(47)]
    for item in (*leads, *boxes[:5]):
        recorded_of(item)
        said(item, hours=3)
    counts = []
    for some in ([leads[0], boxes[0]], [*leads, *boxes]):
        fresh = list(Item.objects.filter(pk__in=[i.pk for i in some]).select_related("type"))
        with CaptureQueriesContext(connection) as queries:
            subjects = subject_of(fresh)
        assert len(subjects) == len(some)
        counts.append(len(queries))
    assert counts[0] == counts[1] <= 9
    subject = subjects[leads[0].pk]
    assert subject.last and subject.symptoms == ("hums",) and subject.procedures == (Procedure.WIRING, Procedure.WORD)


def test_a_test_costs_the_same_however_long_the_record(lead):
    counts = []
    for rounds in range(12):
        with CaptureQueriesContext(connection) as queries:
            recorded_of(lead, rounds, note="again")
        counts.append(len(queries))
    assert counts[1] == counts[-1], counts
