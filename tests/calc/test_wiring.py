"""The verdict on a lead: what it says, what it refuses, what it will not guess."""

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.calc.bench import Capability, Depth, PairReading, ReadingError, Verdict
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.symptoms import Symptom
from maintenance.calc.wiring import Lead, core_limits, judge, links, pairs_to_ask
from maintenance.calc.wiring_words import ohms_words
from tests.calc.wiring_lab import SHIPPED, faults_of, lead_of, measured, readings_of, wiring_of

LIMITS = BenchLimits()
MIC = Lead(wiring=wiring_of("three-pin"), length_m=10, core_awg=24)
OVER = "over"


def pair(a, b, shown, *, flexed=False):
    if shown is OVER:
        return PairReading(a=a, b=b, above_ohms=2e7, flexed=flexed)
    if isinstance(shown, bool):
        return PairReading(a=a, b=b, beep=shown, flexed=flexed)
    return PairReading(a=a, b=b, ohms=shown, flexed=flexed)


def nine(good=0.85, bad=OVER, **other):
    """The nine pairs end to end of a three-pin lead; `r23=0.9` sets A2 to B3."""
    pairs = [(i, j, good if i == j else bad) for i in "123" for j in "123"]
    return [pair(f"A{i}", f"B{j}", other.get(f"r{i}{j}", usual)) for i, j, usual in pairs]


def judged(readings, *, lead=MIC, **kw):
    kw = {"null_ohms": 0.0, "limits": LIMITS, "depth": Depth.OHMS} | kw
    return judge(lead=lead, readings=readings, **kw)


def names(judgement):
    return [f.name for f in judgement.findings]


def test_nine_pairs_pass_and_say_what_was_not_measured():
    judgement = judged(nine())
    assert judgement.verdict is Verdict.PASS and not judgement.findings
    said = " ".join(judgement.not_measured)
    assert "same end were not measured" in said and "shells were not measured" in said and "not bent" in said
    assert [f.name for f in judgement.figures] == ["screen", "core 2", "core 3", "worst isolation >"]
    assert judgement.figures[1].high == pytest.approx(1.168, abs=0.001)


def test_a_whole_matrix_leaves_nothing_unsaid():
    readings = [pair(a, b, 0.85 if e.kind == "joined" else OVER, flexed=True) for a, b, e in MIC.wiring.matrix()]
    assert judged(readings, depth=Depth.OHMS_FLEXED).not_measured == ()


def test_swapped_legs_are_named_with_what_they_do():
    (finding,) = judged(nine(r22=OVER, r33=OVER, r23=0.9, r32=0.9)).findings
    assert finding.name == "legs-swapped" and "A2 reaches B3 instead of B2" in finding.text
    assert "cancels" in finding.effect and finding.repair


def test_three_pins_round_are_one_miswiring():
    turned = nine(r11=OVER, r22=OVER, r33=OVER, r12=0.9, r23=0.9, r31=0.9)
    assert names(judged(turned)) == ["miswired"]


def test_high_resistance_says_how_far_over_and_which_limit():
    watch, fail = judged(nine(r22=1.5)), judged(nine(r22=3.0))
    assert (watch.verdict, fail.verdict) == (Verdict.WATCH, Verdict.FAIL)
    assert "1.83" in fail.findings[0].text and "1.17" in fail.findings[0].text and names(watch) == ["high-resistance"]


def test_a_maximum_is_not_allowed_for_twice():
    nominal = core_limits(lead=MIC, limits=LIMITS).core
    most = core_limits(lead=Lead(wiring=MIC.wiring, length_m=10, core_mm2=0.22), limits=LIMITS).core
    assert nominal.pass_ohm == pytest.approx(1.15 * nominal.copper_ohm + 0.2)
    assert most.pass_ohm == pytest.approx(most.copper_ohm + 0.2)


def test_a_screen_is_held_to_its_own_limit():
    lead = Lead(wiring=MIC.wiring, length_m=50, core_awg=24, screen_mohm_per_m=30)
    assert judged(nine(good=4.2, r11=1.6), lead=lead).verdict is Verdict.PASS
    assert names(judged(nine(good=4.2, r11=4.2), lead=lead)) == ["high-resistance"]


def test_a_cold_lead_is_held_to_less_and_a_hot_one_to_more():
    limit = 1.15 * 0.84215 * (1 + 0.00393 * 20) + 0.2
    assert judged(nine(good=limit - 0.005), temperature_c=40).verdict is Verdict.PASS
    assert judged(nine(good=limit - 0.005), temperature_c=0).verdict is Verdict.WATCH


def test_the_null_is_taken_off():
    assert judged(nine(good=1.35), null_ohms=0.3).verdict is Verdict.PASS
    assert judged(nine(good=1.35), null_ohms=0.0).verdict is Verdict.WATCH


def test_without_a_null_what_the_test_leads_may_read_is_not_held_against_the_lead():
    judgement = judged(nine(good=1.35), null_ohms=None)
    assert judgement.verdict is Verdict.PASS and any("not judged" in r for r in judgement.reasons)
    assert [f.within for f in judgement.figures[:3]] == [None] * 3
    assert judged(nine(good=1.6), null_ohms=None).verdict is Verdict.WATCH


def test_uneven_legs_are_watched():
    judgement = judged(nine(r33=1.1))
    assert judgement.verdict is Verdict.WATCH and names(judgement) == ["uneven-legs"]


@pytest.mark.parametrize("lead", [Lead(wiring=MIC.wiring, core_awg=24), Lead(wiring=MIC.wiring, length_m=0, core_awg=24)])
def test_no_length_leaves_resistance_unjudged_and_says_so(lead):
    judgement = judged(nine(good=40.0), lead=lead)
    assert judgement.verdict is Verdict.PASS and any("No length" in r for r in judgement.reasons)


def test_no_gauge_leaves_resistance_unjudged_and_says_so():
    judgement = judged(nine(), lead=Lead(wiring=MIC.wiring, length_m=10))
    assert judgement.verdict is Verdict.PASS and any("no gauge" in r for r in judgement.reasons)


def test_lamps_say_that_they_cannot_tell_resistance():
    judgement = judged(nine(good=True, bad=False), depth=Depth.LAMPS)
    assert judgement.verdict is Verdict.PASS and any("cannot tell resistance" in n for n in judgement.not_measured)
    assert not judgement.figures


def test_a_lamp_cannot_pass_a_terminator():
    lead = Lead(wiring=wiring_of("dmx-terminator"))
    readings = [pair(a, b, False) for a, b, _ in lead.wiring.matrix()]
    judgement = judged(readings, lead=lead)
    assert judgement.verdict is Verdict.CANNOT_TELL and "takes ohms" in judgement.reasons[0]


@pytest.mark.parametrize(
    ("ohms", "verdict"), [(107, Verdict.FAIL), (108, Verdict.PASS), (132, Verdict.PASS), (133, Verdict.FAIL)]
)
def test_a_terminator_is_held_to_ten_percent(ohms, verdict):
    lead = Lead(wiring=wiring_of("dmx-terminator"))
    readings = [pair(a, b, float(ohms) if (a, b) == ("A2", "A3") else OVER) for a, b, _ in lead.wiring.matrix()]
    assert judged(readings, lead=lead).verdict is verdict


def test_a_screen_on_a_shell_is_watched_and_a_data_common_on_one_fails():
    mic = [*nine(), pair("A1", "Ash", 0.3)]
    assert (judged(mic).verdict, names(judged(mic))) == (Verdict.WATCH, ["shell"])
    lead = Lead(wiring=wiring_of("dmx-5"), length_m=10, core_awg=24)
    readings = [
        pair(a, b, 0.85 if e.kind == "joined" else {("A1", "Ash"): 0.3, ("Ash", "B1"): 1.15}.get((a, b), OVER))
        for a, b, e in lead.wiring.matrix()
    ]
    assert judged(readings, lead=lead).verdict is Verdict.FAIL


def test_a_lift_that_does_not_lift_is_found_and_one_with_a_resistor_passes():
    lead = Lead(wiring=wiring_of("three-pin-lift"))
    assert names(judged(nine(r11=0.4), lead=lead)) == ["short"]
    assert judged(nine(r11=4700.0), lead=lead).verdict is Verdict.PASS
    assert judged(nine(r11=OVER), lead=lead).verdict is Verdict.PASS


def test_what_comes_and_goes_is_found_from_the_worst_flexed_reading():
    judgement = judged([*nine(), pair("A2", "B2", OVER, flexed=True)], depth=Depth.OHMS_FLEXED)
    assert judgement.verdict is Verdict.FAIL and names(judgement) == ["intermittent"]
    mild = judged([*nine(), pair("A2", "B2", 1.15, flexed=True)], depth=Depth.OHMS_FLEXED)
    assert mild.verdict is Verdict.WATCH and names(mild) == ["intermittent"]


def test_damp_is_watched_and_a_low_leak_fails():
    assert judged(nine(r23=3e5, r32=3e5)).verdict is Verdict.WATCH
    low = judged(nine(r23=4e4, r32=4e4))
    assert low.verdict is Verdict.FAIL and names(low) == ["leak"]


def test_missing_pairs_are_not_guessed():
    for left_out in range(3):
        readings = [r for n, r in enumerate(nine()) if n != 4 * left_out]
        judgement = judged(readings)
        assert judgement.verdict is Verdict.CANNOT_TELL and "Not read" in judgement.reasons[0]
    only_through = [r for r in nine() if r.a[1] == r.b[1]]
    assert "rule out a short" in judged(only_through).reasons[0]
    assert judged([]).verdict is Verdict.CANNOT_TELL


def test_six_pairs_by_hand_are_enough():
    asked = [
        a for a in pairs_to_ask(wiring=MIC.wiring, capabilities=[Capability.OHMS]) if a.group in ("end to end", "wrong pairs")
    ]
    assert len(asked) == 6
    assert judged([pair(a.a, a.b, 0.85 if a.expected == "joined" else OVER) for a in asked]).verdict is Verdict.PASS


def test_a_fault_is_certain_even_when_other_pairs_are_missing():
    assert judged([pair("A2", "B2", OVER)]).verdict is Verdict.FAIL


def test_impossible_readings_are_not_guessed_at():
    readings = [pair("A1", "B1", 0.8), pair("B1", "B2", 0.2), pair("A1", "B2", OVER), *nine()[3:]]
    judgement = judged(readings)
    assert judgement.verdict is Verdict.CANNOT_TELL and "cannot be" in judgement.reasons[0] and not judgement.findings


def test_fingers_on_the_probes_are_not_taken_for_damp():
    judgement = judged(nine(r23=8e4))
    assert judgement.verdict is Verdict.CANNOT_TELL and "Fingers" in judgement.reasons[0]


@pytest.mark.parametrize(
    ("reading", "says"),
    [
        (PairReading(a="A1", b="C1", ohms=1), "no pin C1"),
        (PairReading(a="A9", b="B1", ohms=1), "no pin A9"),
        (PairReading(a="A1", b="A1", ohms=1), "against itself"),
        (PairReading(a="A1", b="B1", ohms=-0.1), "never below nothing"),
        (PairReading(a="A1", b="B1", ohms=math.nan), "no number"),
        (PairReading(a="A1", b="B1", ohms=math.inf), "no number"),
        (PairReading(a="A1", b="B1", ohms=2e12), "more than any meter"),
        (PairReading(a="A1", b="B1", above_ohms=-1), "no meter has"),
        (PairReading(a="A1", b="B1", above_ohms=math.nan), "no meter has"),
        (PairReading(a="A1", b="B1"), "needs one reading"),
        (PairReading(a="A1", b="B1", ohms=1, beep=True), "needs one reading"),
        (PairReading(a="A2", b="B2", ohms=7.0), "read twice"),
        (PairReading(a="b2", b="a2", ohms=7.0), "read twice"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_and_pointed_at(reading, says):
    with pytest.raises(ReadingError) as refused:
        judged([*nine()[3:], reading])
    assert says in str(refused.value) and refused.value.where == 6


@pytest.mark.parametrize(("null", "says"), [(-1, "null"), (math.nan, "null"), (50, "null"), (0.95, "less than the test leads")])
def test_a_null_that_cannot_be_is_refused(null, says):
    with pytest.raises(ReadingError, match=says):
        judged(nine(), null_ohms=null)


def test_a_temperature_no_bench_has_is_refused():
    with pytest.raises(ReadingError, match="°C"):
        judged(nine(), temperature_c=400)


def multicore(swap=None, **wrong):
    lead = Lead(wiring=wiring_of("multicore"), length_m=30, core_mm2=0.14)
    readings = []
    for a, b, _ in lead.wiring.matrix():
        if a[0] == b[0]:
            continue
        far = b
        if swap and b[1] in swap:
            far = f"B{swap[b[1]]}{b[2:]}"
        shown = 4.1 if lead.wiring.expected(a, far).kind == "joined" else OVER
        readings.append(pair(a, b, wrong.get(f"{a}{b}", shown)))
    return judge(lead=lead, readings=readings, limits=LIMITS, null_ohms=0.0)


def test_swapped_channels_are_named_once_and_both_are_dead():
    judgement = multicore({"1": "2", "2": "1"})
    assert names(judgement) == ["channels-swapped"] and judgement.dead_channels == (1, 2)
    assert "Channels 1 and 2" in judgement.findings[0].title


def test_a_return_is_called_a_return():
    assert "return 1" in multicore({"1": "3", "3": "1"}).findings[0].title


def test_one_dead_channel_leaves_the_others_good():
    judgement = multicore(**{"A2.3B2.3": OVER})
    assert judgement.verdict is Verdict.FAIL and judgement.dead_channels == (2,) and names(judgement) == ["open"]
    assert judgement.findings[0].channel == 2 and "ch 2 core 3" in [f.title[:11].lower() for f in judgement.findings]


def test_channels_nobody_looked_at_are_named():
    lead = Lead(wiring=wiring_of("multicore"), length_m=30, core_mm2=0.14)
    readings = [pair(f"A1.{i}", f"B1.{j}", 4.0 if i == j else OVER) for i in "123" for j in "123"]
    judgement = judge(lead=lead, readings=readings, limits=LIMITS, null_ohms=0.0)
    assert judgement.verdict is Verdict.PASS
    assert "Channels not looked at: 2 and return 1." in judgement.not_measured


def loudspeaker(plus, minus, **kw):
    lead = Lead(wiring=wiring_of("loudspeaker-2"), **{"length_m": 20, "core_mm2": 2.5, "loudspeaker": True} | kw)
    readings = [pair(a, b, OVER) for a, b in (("A1+", "B1-"), ("A1-", "B1+"), ("A1+", "A1-"), ("B1+", "B1-"))]
    return judged([pair("A1+", "B1+", plus), pair("A1-", "B1-", minus), *readings], lead=lead)


def test_a_loudspeaker_lead_is_held_to_milliohms():
    assert loudspeaker(0.165, 0.165).verdict is Verdict.PASS
    assert loudspeaker(0.165, 0.25).verdict is Verdict.WATCH
    assert loudspeaker(0.165, 0.9).verdict is Verdict.FAIL


def test_what_a_long_loudspeaker_lead_loses_is_said_and_not_held_against_it():
    judgement = loudspeaker(0.165, 0.165)
    assert any("dB into 4" in r for r in judgement.reasons) and judgement.verdict is Verdict.PASS
    assert loudspeaker(0.4, 0.4, length_m=None).findings[0].name == "loudspeaker-loss"


@pytest.mark.parametrize("key", sorted(SHIPPED))
def test_what_is_asked_is_enough_for_a_verdict(key):
    lead = Lead(wiring=wiring_of(key), length_m=10, core_awg=24)
    able = [Capability.CONTINUITY, Capability.OHMS]
    asks = pairs_to_ask(wiring=lead.wiring, capabilities=able, depth=Depth.OHMS, lead=lead, limits=LIMITS)
    order = [a.group for a in asks]
    assert order == sorted(order, key=["end to end", "wrong pairs", "same end", "shells"].index)
    assert len({frozenset(a.pair) for a in asks}) == len(asks)
    shown = {"joined": 0.85, "open": OVER, "may be joined": OVER, "resistor": 120.0}
    first = [a for a in asks if a.group in ("end to end", "wrong pairs") or len(lead.wiring.ends) == 1]
    assert judged([pair(a.a, a.b, shown[a.expected]) for a in first], lead=lead).verdict is Verdict.PASS


def test_symptoms_bring_their_suspects_first_with_why():
    def first(*symptoms):
        return pairs_to_ask(wiring=MIC.wiring, capabilities=[Capability.OHMS], symptoms=symptoms)[0]

    assert first(Symptom.HUMS).pair == ("A1", "B1") and "hums" in first(Symptom.HUMS).why
    assert first(Symptom.THIN).pair == ("A2", "B2") and "open leg" in first(Symptom.THIN).why
    assert "bend" in first(Symptom.CRACKLES).why


def test_a_shop_without_a_meter_is_asked_nothing():
    assert pairs_to_ask(wiring=MIC.wiring, capabilities=[Capability.LISTEN]) == ()


def test_links_tell_a_drawing_what_joins_what():
    def kinds(readings):
        return {(link.a, link.b): link.kind for link in links(wiring=MIC.wiring, readings=readings, limits=LIMITS, lead=MIC)}

    assert set(kinds(()).values()) == {"unread"}
    assert set(kinds(nine()).values()) == {"ok"}
    assert kinds(nine(r22=5.0))["A2", "B2"] == "high"
    swapped = kinds(nine(r22=OVER, r33=OVER, r23=0.9, r32=0.9))
    assert swapped["A2", "B3"] == swapped["A3", "B2"] == "wrong" and swapped["A2", "B2"] == "open"
    assert "short" in kinds([*nine(r23=0.9, r32=0.9), pair("A2", "A3", 0.1)]).values()


@given(
    st.lists(
        st.tuples(
            st.sampled_from(MIC.wiring.pins),
            st.sampled_from(MIC.wiring.pins),
            st.one_of(st.booleans(), st.just(OVER), st.floats(0, 1e9)),
            st.booleans(),
        ),
        max_size=40,
    )
)
def test_any_readings_at_all_come_to_a_verdict_or_a_sentence(rows):
    readings = [pair(a, b, shown, flexed=flexed) for a, b, shown, flexed in rows]
    try:
        judgement = judged(readings)
    except ReadingError as refused:
        assert "read twice" in str(refused) or "against itself" in str(refused)  # noqa: PT017
        return
    assert judgement.verdict in set(Verdict)
    assert (judgement.verdict is Verdict.FAIL) == any(f.weight is Verdict.FAIL for f in judgement.findings)
    assert judgement.verdict is not Verdict.CANNOT_TELL or judgement.reasons
    assert all(math.isfinite(f.value) for f in judgement.figures)
    links(wiring=MIC.wiring, readings=readings, limits=LIMITS, lead=MIC)


@pytest.mark.parametrize("key", ["three-pin", "trs-three-pin", "insert-y", "loudspeaker-4", "dmx-5"])
def test_sentences_name_end_a_first(key):
    """Every fault of a wiring, said as it is probed: A3 does not reach B3, whichever plug is at fault."""
    said = 0
    for fault in faults_of(key):
        still = measured(key, (fault,))
        bent = measured(key, (fault,), flexed=True) if fault.kind == "flex" else None
        readings = readings_of(key, still, np.random.default_rng(3), flexed=bent)
        for finding in judge(
            lead=lead_of(key), readings=readings, limits=LIMITS, null_ohms=0.0, depth=Depth.OHMS_FLEXED
        ).findings:
            for text in (finding.text, finding.title):
                for part in text.split("; "):
                    ends = re.findall(r"\b([A-D])(?= ?(?:\d|tip|ring|sleeve|shell))", part)[:2]
                    assert ends == sorted(ends), (fault, text)
                    said += len(ends) == 2
    assert said > 10


# how deep the readings went


def bent(rows):
    return [PairReading(a=r.a, b=r.b, ohms=r.ohms, beep=r.beep, above_ohms=r.above_ohms, flexed=True) for r in rows]


def test_a_test_counts_as_flexed_only_where_every_core_was_read_while_bent():
    rows = nine()
    lying = judged(rows, depth=Depth.OHMS_FLEXED)
    assert lying.depth is Depth.OHMS and any("nothing was read while it was bent" in r for r in lying.reasons)
    assert any("not bent" in n for n in lying.not_measured)
    part = judged([*bent(rows[:1]), *rows[1:]], depth=Depth.OHMS_FLEXED)
    assert part.depth is Depth.OHMS and any("A2–B2, A3–B3 was not read" in r for r in part.reasons)
    whole = judged(bent(rows), depth=Depth.OHMS_FLEXED)
    assert whole.depth is Depth.OHMS_FLEXED and whole.verdict is Verdict.PASS
    through = judged([*(r if r.ohms is None else bent([r])[0] for r in rows)], depth=Depth.OHMS_FLEXED)
    assert through.depth is Depth.OHMS_FLEXED and any(
        "apart were not read while it was bent" in n for n in through.not_measured
    )


def test_beeps_in_a_sitting_of_ohms_count_as_lamps_and_quote_no_ohms():
    beeps = judged(nine(good=True, bad=False), depth=Depth.OHMS_FLEXED)
    assert beeps.verdict is Verdict.PASS and beeps.depth is Depth.LAMPS_FLEXED
    said = " ".join(beeps.reasons)
    assert "Ω" not in said and "thin joint" in said and "no figure was read" in said
    one = judged(nine(r22=True), depth=Depth.OHMS)
    assert one.depth is Depth.LAMPS and any("A2–B2 beeped" in r for r in one.reasons)


def test_a_failure_is_as_deep_as_what_found_it():
    assert judged(nine(r22=9.0, r11=True), depth=Depth.OHMS).depth is Depth.OHMS
    assert judged([*nine(), pair("A2", "B2", OVER, flexed=True)], depth=Depth.OHMS_FLEXED).depth is Depth.OHMS_FLEXED


@pytest.mark.parametrize(("length", "mm2", "ohms"), [(10, 0.22, 0.0), (20, 0.22, 0.4)])
def test_less_than_the_copper_can_read_is_not_believed(length, mm2, ohms):
    judgement = judged(nine(good=ohms), lead=Lead(wiring=MIC.wiring, length_m=length, core_mm2=mm2))
    assert judgement.verdict is Verdict.CANNOT_TELL and "shorter than its label" in judgement.reasons[0]


def test_a_short_lead_may_read_nothing_on_a_meter_of_tenths():
    assert judged(nine(good=0.0), lead=Lead(wiring=MIC.wiring, length_m=2, core_mm2=0.22)).verdict is Verdict.PASS


def test_a_lead_through_which_nothing_gets_has_one_finding():
    (finding,) = judged(nine(good=OVER)).findings
    assert finding.title == "Nothing gets through" and "A1, A2 and A3" in finding.text


def test_a_short_names_the_end_that_it_is_nearer_to():
    rows = [*nine(r12=1.1, r21=1.1), pair("A1", "A2", 0.3), pair("B1", "B2", 1.1)]
    short = next(f for f in judged(rows).findings if f.name == "short")
    assert "Look in end A first: it reads 0.30" in short.repair


def test_ohms_are_written_as_a_meter_shows_them():
    said = [ohms_words(v).replace("\u2009", " ") for v in (0, 0.004, 0.0876, 0.02, 0.85, 999.9, 2e7)]
    assert said == ["0 Ω", "0.004 Ω", "0.09 Ω", "0.02 Ω", "0.85 Ω", "1.00 kΩ", "20.0 MΩ"]
