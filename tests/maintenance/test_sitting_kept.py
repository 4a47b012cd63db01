"""What is half read stays: a bad word, the next scan, a reload lose no reading; undo steps back one reading first."""

import pytest
from django.urls import reverse

from maintenance.calc.bench import Verdict
from maintenance.calc.bench_cards import BENCH_CARDS, BenchWord
from maintenance.calc.bench_typed import RANGE_TOP_OHM, reading_typed
from maintenance.models import BenchTest
from tests.builders import make_item
from tests.maintenance.test_sitting import GOOD, lead, lead_type, on, record, scan, sitting, wirings, words

__all__ = ["lead", "lead_type", "sitting", "wirings"]
HALF = {"p:A1:B1": "0.41", "p:A2:B2": "0.62"}


def values(answer):
    return {name: f'name="{name}" value="{text}"' in answer.content.decode() for name, text in HALF.items()}


def test_the_next_scan_keeps_what_was_half_read_and_the_way_back_shows_it(as_technician, sitting, lead, lead_type):
    other = make_item(type=lead_type, length_mm=10_000)
    answer = scan(as_technician, sitting, other.code, on=lead.code, **HALF)
    assert f"{lead}: 2 of 6 read, kept." in answer.content.decode()
    assert "Half read, kept" in words(answer) and f"?scan={lead.code}" in answer.content.decode()
    back = on(as_technician, sitting, lead)
    assert all(values(back).values()) and "2 of 6 were read before" in words(back)
    assert not BenchTest.objects.exists()


def test_a_reload_keeps_the_readings_and_a_verdict_ends_the_keeping(as_technician, sitting, lead):
    kept = as_technician.post(reverse("sitting-record", args=[sitting.pk]), {"code": lead.code, "keep": "yes", **HALF})
    assert kept.status_code == 204
    assert all(values(on(as_technician, sitting, lead)).values())
    record(as_technician, sitting, lead, GOOD)
    assert not any(values(on(as_technician, sitting, lead)).values())


@pytest.mark.parametrize("text", ["A9:B9 0.5", "0.5x", "hello", "-0.2", "4 7"])
def test_what_is_neither_label_nor_reading_leaves_the_thing_in_hand(as_technician, sitting, lead, text):
    answer = scan(as_technician, sitting, text, on=lead.code, **HALF)
    assert all(values(answer).values())
    assert "is no label, and no answer" in words(answer)


def test_the_dock_s_card_leaves_the_thing_in_hand_too(as_technician, sitting, lead):
    answer = scan(as_technician, sitting, "DO.OUT", on=lead.code, **HALF)
    assert all(values(answer).values()) and "is still in hand" in words(answer)


def test_a_refused_reading_is_kept_with_the_others(as_technician, sitting, lead):
    assert record(as_technician, sitting, lead, {**HALF, "p:A3:B3": "-0.2"}).status_code == 422
    again = on(as_technician, sitting, lead)
    assert all(values(again).values()) and 'value="-0.2"' in again.content.decode()


@pytest.mark.parametrize("typed", ["TEST.UNDO", "undo", "back", "b"])
def test_undo_takes_back_one_reading_first_and_a_test_only_with_empty_hands(as_technician, sitting, lead, lead_type, typed):
    record(as_technician, sitting, lead, GOOD)
    other = make_item(type=lead_type, length_mm=10_000)
    answer = scan(as_technician, sitting, typed, on=other.code, **HALF)
    assert values(answer) == {"p:A1:B1": True, "p:A2:B2": False}
    scan(as_technician, sitting, typed, on=other.code)
    answer = scan(as_technician, sitting, typed, on=other.code)
    assert "Nothing is read of" in words(answer)
    assert BenchTest.objects.get().verdict == Verdict.PASS
    assert "Taken back" in words(scan(as_technician, sitting, typed))


def test_laid_aside_by_its_button_is_kept_and_again_begins_afresh(as_technician, sitting, lead):
    laid = {"code": lead.code, "keep": "lay", **HALF}
    answer = as_technician.post(reverse("sitting-record", args=[sitting.pk]), laid, follow=True)
    assert "2 of 6 read, kept" in words(answer)
    scan(as_technician, sitting, "TEST.AGAIN", on=lead.code)
    assert not any(values(on(as_technician, sitting, lead)).values())


def test_bending_it_half_way_keeps_what_was_read(as_technician, sitting, lead):
    answer = scan(as_technician, sitting, "not flexed", on=lead.code, **HALF)
    assert all(values(answer).values()) and "Not flexed" in words(answer)


def test_another_sitting_and_another_person_see_nothing_of_it(as_technician, sitting, lead, technician, client):
    scan(as_technician, sitting, "x", on=lead.code, **HALF)
    other = type(sitting).objects.create(person=technician, began_at=sitting.began_at)
    assert not any(values(on(as_technician, other, lead)).values())


@pytest.mark.parametrize("text", ["open", "O.L", "OL", "o", "∞", "inf", "over", "0.L", "over range"])
def test_over_range_is_understood_however_a_meter_writes_it(text):
    assert reading_typed(text).above_ohms == RANGE_TOP_OHM


@pytest.mark.parametrize(("text", "ohms"), [("1k2", 1200), ("1.2k", 1200), ("4M7", 4.7e6), ("0R5", 0.5), ("1r5 ohm", 1.5)])
def test_a_letter_may_stand_for_the_point(text, ohms):
    assert reading_typed(text).ohms == pytest.approx(ohms)


def test_pass_and_fail_are_printed_at_the_two_ends():
    assert [BENCH_CARDS[0].word, BENCH_CARDS[-1].word] == [BenchWord.PASS, BenchWord.FAIL]


def test_the_strips_so_far_carry_the_code(as_technician, sitting, lead):
    answer = record(as_technician, sitting, lead, GOOD)
    so_far = answer.content.decode().partition('class="so-far"')[2]
    assert f"{lead.code[:4]}-{lead.code[4:]}" in so_far.partition("</ol>")[0]


def test_a_pass_repeats_its_figures_and_leaves_the_reasons_to_the_whole_verdict(as_technician, sitting, lead):
    answer = record(as_technician, sitting, lead, GOOD)
    assert "0.41, 0.62, 0.61 Ω, at most 0.73" in words(answer)
    test = BenchTest.objects.get()
    reason = " ".join(test.reasons[0].split())
    assert reason and reason not in words(answer)
    assert reason in words(as_technician.get(test.get_absolute_url()))
