"""A sitting at the bench without a script: begin, scan, read, verdict, the next; what is wrong is said and nothing is lost."""

import re
import uuid
from datetime import timedelta
from urllib.parse import urlencode

import pytest
from django.urls import reverse
from django.utils.html import strip_tags

from company.clock import now
from company.templatetags.tape import moment
from inventory.calc import codes
from inventory.calc.kinds import Kind
from inventory.models import Item, Label, LeadFacts, MulticoreFacts, PowerFacts
from maintenance.calc.bench import Depth, Procedure, Verdict
from maintenance.models import BenchSettings, BenchTest, Fault, Repair, Sitting
from maintenance.services.bench import Given, test_record
from maintenance.services.faults import fault_open
from maintenance.services.wirings import wirings_load, wirings_shipped
from maintenance.sitting_page import count_of
from tests.builders import make_case, make_counted_line, make_item, make_person, make_type

GOOD = {"p:A1:B1": "0.41", "p:A2:B2": "0.62", "p:A3:B3": "0.61", "rest:wrong pairs": "over"}
SWAPPED = {
    "p:A1:B1": "0.41",
    "p:A2:B2": "ol",
    "p:A3:B3": "OL",
    "p:A2:B3": "0.62",
    "p:A3:B2": "0.61",
    "rest:wrong pairs": "over",
}


@pytest.fixture
def wirings(db):
    wirings_load(entries=wirings_shipped())


@pytest.fixture
def lead_type(wirings):
    kind = make_type(Kind.LEAD, name="Microphone lead")
    LeadFacts.objects.create(type=kind, wiring="three-pin", core_mm2=0.22)
    return kind


@pytest.fixture
def lead(lead_type):
    return make_item(type=lead_type, length_mm=6000)


@pytest.fixture
def sitting(technician):
    return Sitting.objects.create(person=technician, began_at=now(), null_ohms=0, temperature_c=20)


def on(client, sitting, item, **asked):
    answer = client.get(f"{sitting.get_absolute_url()}?{urlencode({'scan': item.code, **asked})}")
    assert answer.status_code == 200
    return answer


def hidden(answer, name):
    return re.search(rf'name="{name}" value="([^"]*)"', answer.content.decode())[1]


def record(client, sitting, item, readings, **more):
    shown = on(client, sitting, item)
    fields = {name: hidden(shown, name) for name in ("uid", "after", "began", "as")}
    return client.post(
        reverse("sitting-record", args=[sitting.pk]), {"code": item.code, **fields, **readings, **more}, follow=True
    )


def words(answer):
    return " ".join(strip_tags(answer.content.decode()).split())


def scan(client, sitting, text, **more):
    return client.post(reverse("sitting-scan", args=[sitting.pk]), {"scan": text, **more}, follow=True)


# ---- begin ----------------------------------------------------------------------------------------------------------


def test_a_sitting_begins_with_what_the_last_one_had(as_technician, technician):
    meter = make_item(kind=Kind.INSTRUMENT, name="2")
    given = {"instrument": meter.pk, "depth": "ohms-flexed", "null_ohms": "0.15", "temperature_c": "17", "minutes": "40"}
    begun = as_technician.post(reverse("sittings"), given)
    made = Sitting.objects.get()
    assert begun["Location"] == made.get_absolute_url()
    assert (made.person, made.instrument, made.depth, made.null_ohms, made.minutes) == (
        technician,
        meter,
        "ohms-flexed",
        0.15,
        40,
    )
    page = as_technician.get(reverse("sittings")).content.decode()
    assert f'<option value="{meter.pk}" selected>' in page
    assert 'value="0.15"' in page and 'value="40"' in page
    assert "Continue your sitting" in page


def test_only_instruments_in_use_are_offered(as_technician):
    meter, gone = (
        make_item(kind=Kind.INSTRUMENT, name="2"),
        make_item(kind=Kind.INSTRUMENT, retired_on=now().date(), retired_because="broken"),
    )
    page = as_technician.get(reverse("sittings")).content.decode()
    assert f'value="{meter.pk}"' in page
    assert f'value="{gone.pk}"' not in page


@pytest.mark.parametrize(
    "wrong", [{"null_ohms": "-1"}, {"temperature_c": "200"}, {"minutes": "0"}, {"depth": "x"}, {"null_ohms": "nan"}]
)
def test_a_sitting_with_odd_figures_is_refused_in_words(as_technician, wrong):
    answer = as_technician.post(reverse("sittings"), {"depth": "ohms", **wrong})
    assert answer.status_code == 422
    assert 'class="error"' in answer.content.decode()
    assert not Sitting.objects.exists()


def test_a_hand_has_no_business_at_the_bench(as_hand, sitting, lead):
    for address in ("sitting-scan", "sitting-record", "sitting-undo", "sitting-end"):
        assert as_hand.post(reverse(address, args=[sitting.pk]), {"scan": lead.code, "code": lead.code}).status_code == 403
    assert as_hand.get(sitting.get_absolute_url()).status_code == 403
    assert as_hand.get(reverse("sittings")).status_code == 403
    assert not BenchTest.objects.exists()


# ---- scan -----------------------------------------------------------------------------------------------------------


def test_a_scanned_lead_shows_its_picture_and_the_few_pairs_to_read(as_technician, sitting, lead):
    shown = on(as_technician, sitting, lead)
    said = words(shown)
    assert " ".join(lead.label.split()) in said and "Unproved" in said
    for pair in ("A1 to B1", "A2 to B2", "A3 to B3"):
        assert pair in said
    assert "expected under 0.73" in said  # 6 m of 0.22 mm2 at 88.6 mohm/m, contacts and guard
    assert 'role="img" aria-label="A1 belongs to B1. A2 belongs to B2. A3 belongs to B3."' in shown.content.decode()
    assert "Pins of one end: all over range" in said


def test_what_people_said_of_it_comes_first_with_why(as_technician, sitting, lead, hand):
    fault_open(uid=uuid.uuid4(), item=lead, symptom="hums", note="only at the top", at=now(), person=hand)
    said = words(on(as_technician, sitting, lead))
    assert "It hums, said hand" in said and "only at the top" in said
    assert "Test this first:" in said
    assert said.index("Test this first:") < said.index("A1 to B1")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("COUNT.3", "counted line"),
        ("DO.OUT", "card of the dock"),
        ("GO.17.OUT", "card of the dock"),
        ("CH.7", "card of a channel"),
        ("hello", "eight characters"),
        ("TEST.PASS", "Nothing is on the bench"),
        ("TEST.FLEXED", "Bend each at both ends"),
        ("TEST.YES", "No step is asked"),
        ("TEST.UNDO", "Nothing is tested in this sitting yet"),
    ],
)
def test_what_is_no_lead_gets_a_sentence(as_technician, sitting, text, says):
    answer = scan(as_technician, sitting, text)
    assert answer.status_code == 200
    assert says in words(answer)
    assert not BenchTest.objects.exists()


def test_labels_of_nothing_and_of_others_are_told_apart_and_lead_to_binding(as_technician, sitting):
    blank, foreign = codes.mint(), codes.mint()
    Label.objects.create(code=blank, minted_at=now())
    answer = scan(as_technician, sitting, blank)
    assert "stuck on nothing yet" in words(answer)
    assert f"{reverse('label-bind')}?code={blank}&amp;next={sitting.get_absolute_url()}" in answer.content.decode()
    assert "Nothing we own has the code" in words(scan(as_technician, sitting, foreign))


def test_a_counted_lead_becomes_an_item_and_the_bench_goes_on_with_it(as_technician, sitting, lead_type):
    line, blank = make_counted_line(24, type=lead_type, length_mm=6000), codes.mint()
    Label.objects.create(code=blank, minted_at=now())
    given = {"code": blank, "way": "counted", "line": line.pk, "uid": str(uuid.uuid4()), "next": sitting.get_absolute_url()}
    answer = as_technician.post(reverse("label-bind"), given, follow=True)
    assert answer.redirect_chain[-1][0] == f"{sitting.get_absolute_url()}?scan={blank}"
    assert Item.objects.get(code=blank).type == lead_type
    assert "A2 to B2" in words(answer)


def test_binding_goes_back_to_our_own_pages_alone(as_technician, lead_type):
    line, blank = make_counted_line(24, type=lead_type), codes.mint()
    for place in (
        "https://elsewhere.example.org/",
        "//elsewhere.example.org/",
        "javascript:alert(1)",
        "/\\elsewhere.example.org",
    ):
        blank = codes.mint()
        given = {"code": blank, "way": "counted", "line": line.pk, "uid": str(uuid.uuid4()), "next": place}
        assert as_technician.post(reverse("label-bind"), given)["Location"].startswith(reverse("label-bind"))


def test_cases_stands_and_what_is_gone_are_not_tested(as_technician, sitting, lead_type):
    case, stand = make_case(name="4"), make_item(kind=Kind.STAND)
    retired = make_item(type=lead_type, retired_on=now().date(), retired_because="broken")
    home = make_item(type=lead_type, borrowed_from="Joss", gone_home_on=now().date())
    says = {case: "tested one by one", stand: "never good or bad", retired: "is retired", home: "gone home"}
    for item, sentence in says.items():
        assert sentence in words(scan(as_technician, sitting, item.code))
        record_ = as_technician.post(
            reverse("sitting-record", args=[sitting.pk]), {"code": item.code, "word": "good"}, follow=True
        )
        assert sentence in words(record_)
    assert not BenchTest.objects.exists()


# ---- read -----------------------------------------------------------------------------------------------------------


def test_good_readings_pass_and_the_next_is_scanned(as_technician, sitting, lead):
    answer = record(as_technician, sitting, lead, GOOD)
    test = BenchTest.objects.get()
    assert (test.verdict, test.procedure, test.depth, test.sitting) == (Verdict.PASS, Procedure.WIRING, Depth.OHMS, sitting)
    assert test.minutes is not None
    said = words(answer)
    assert "Pass" in said and "1 good" in said
    assert 'name="scan" autocomplete="off" autocapitalize="characters" spellcheck="false" autofocus' in answer.content.decode()
    assert "same end were not measured" in " ".join(test.not_measured)
    lead.refresh_from_db()
    assert lead.tested_on and lead.test_by


def test_a_swap_is_named_and_the_lead_is_suspect_at_once(as_technician, sitting, lead):
    said = words(record(as_technician, sitting, lead, SWAPPED))
    assert "Fail" in said and "swapped" in said.lower()
    lead.refresh_from_db()
    assert lead.suspect_since is not None


def test_an_answer_that_cannot_be_read_loses_no_other(as_technician, sitting, lead):
    answer = record(as_technician, sitting, lead, {**GOOD, "p:A2:B2": "abc"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "“abc” is no reading" in words(answer)
    assert 'value="0.41"' in page and 'value="abc"' in page
    assert re.search(r'name="rest:wrong pairs" value="over"[^>]*checked', page)
    assert not BenchTest.objects.exists()


@pytest.mark.parametrize("odd", ["-1", "1e9", "9" * 40, "\0", "0x1", ">0", "nan", "0,6,1"])
def test_odd_readings_get_a_sentence_and_write_nothing(as_technician, sitting, lead, odd):
    answer = record(as_technician, sitting, lead, {"p:A1:B1": odd})
    assert answer.status_code in {200, 422}
    assert not BenchTest.objects.exclude(verdict=Verdict.CANNOT_TELL).exists()


def test_lamps_are_ticked_beep_or_no_beep(as_technician, sitting, lead):
    Sitting.objects.filter(pk=sitting.pk).update(depth=Depth.LAMPS_FLEXED)
    sitting.refresh_from_db()
    beeps = {"p:A1:B1": "beep", "p:A2:B2": "beep", "p:A3:B3": "drops out", "rest:wrong pairs": "over"}
    said = words(record(as_technician, sitting, lead, beeps))
    test = BenchTest.objects.get()
    assert test.verdict == Verdict.FAIL and test.depth == Depth.LAMPS_FLEXED
    assert "Fail" in said
    assert any("intermittent" in f["name"] or "comes and goes" in f["title"].lower() for f in test.findings)


@pytest.fixture
def multicore(wirings):
    kind = make_type(Kind.MULTICORE, name="Multicore 24 + 8")
    MulticoreFacts.objects.create(type=kind, wiring="multicore", sends=24, returns=8, core_mm2=0.22)
    return make_item(type=kind, length_mm=30_000)


THROUGH = {"through": "beep", "rest:wrong pairs": "over"}


@pytest.mark.parametrize("depth", [Depth.LAMPS, Depth.OHMS])
def test_a_multicore_is_beeped_through_and_the_numbers_that_fail_are_typed(as_technician, sitting, multicore, depth):
    Sitting.objects.filter(pk=sitting.pk).update(depth=depth)
    record(as_technician, sitting, multicore, {**THROUGH, "failed": "14, r2, 7.2"})
    test = BenchTest.objects.get()
    assert (test.depth, test.dead_channels) == (Depth.LAMPS, [7, 14, 26]), "a beep is no ohm, whatever the meter could do"
    beeps = {(p["from"], p["to"]): p.get("beep", False) for p in test.readings["pairs"]}
    joined = {pair: beep for pair, beep in beeps.items() if pair[0][1:] == pair[1][1:]}
    silent = {pair[0] for pair, beep in joined.items() if not beep}
    assert len(joined) == 96 and silent == {"A14.1", "A14.2", "A14.3", "A26.1", "A26.2", "A26.3", "A7.2"}
    multicore.refresh_from_db()
    assert multicore.excepts == "7, 14, 26" and multicore.suspect_since is None


def test_a_multicore_that_beeps_through_is_good(as_technician, sitting, multicore):
    Sitting.objects.filter(pk=sitting.pk).update(depth=Depth.LAMPS)
    record(as_technician, sitting, multicore, THROUGH)
    assert BenchTest.objects.get().verdict == Verdict.PASS


def test_channels_that_failed_say_nothing_of_the_others_without_the_tick(as_technician, sitting, multicore):
    record(as_technician, sitting, multicore, {"failed": "3-5"})
    test = BenchTest.objects.get()
    assert {pair["from"].split(".")[0] for pair in test.readings["pairs"]} == {"A3", "A4", "A5"}
    multicore.refresh_from_db()
    assert multicore.tested_on is None


@pytest.mark.parametrize(
    ("typed", "says"),
    [("33", "no channel 33"), ("r9", "no return 9"), ("fourteen", "is no channel"), ("14.7", "has no pin 7"), ("5-3", "lower")],
)
def test_a_list_of_channels_that_cannot_be_writes_nothing_and_loses_nothing(as_technician, sitting, multicore, typed, says):
    answer = record(as_technician, sitting, multicore, {**THROUGH, "failed": typed})
    assert answer.status_code == 422 and says in words(answer) and f'value="{typed}"' in answer.content.decode()
    assert not BenchTest.objects.exists()


def test_nothing_read_is_no_verdict_and_changes_nothing(as_technician, sitting, lead):
    said = words(record(as_technician, sitting, lead, {}))
    assert "Cannot tell" in said
    lead.refresh_from_db()
    assert lead.tested_on is None


def test_the_testers_word_is_taken_no_deeper_than_lamps(as_technician, sitting, lead):
    record(as_technician, sitting, lead, {"word": "bad", "symptom": "hums", "note": "at plug B"})
    test = BenchTest.objects.get()
    assert (test.verdict, test.procedure, test.depth) == (Verdict.FAIL, Procedure.WORD, Depth.LAMPS)
    assert (test.note, test.readings) == ("at plug B", {"word": False, "symptom": "hums"})
    assert [finding["title"] for finding in test.findings] == ["Not good: hums"]
    fault = Fault.objects.get()
    assert (fault.symptom, fault.note) == ("hums", "Not good: hums")
    # the next tester of it is sent to the likely cause
    assert "Test this first" in words(on(as_technician, sitting, lead))


def test_the_same_form_sent_twice_is_one_test(as_technician, sitting, lead):
    shown = on(as_technician, sitting, lead)
    fields = {name: hidden(shown, name) for name in ("uid", "after", "began", "as")}
    for _ in range(2):
        as_technician.post(reverse("sitting-record", args=[sitting.pk]), {"code": lead.code, **fields, **GOOD})
    assert BenchTest.objects.count() == 1


def test_two_testers_of_one_lead_are_told_of_each_other_and_keep_what_they_typed(as_technician, sitting, lead):
    other = make_person("technician", username="jo")
    shown = on(as_technician, sitting, lead)
    fields = {name: hidden(shown, name) for name in ("uid", "after", "began", "as")}
    theirs = Given(uid=uuid.uuid4(), item=lead, procedure=Procedure.WORD, depth=Depth.LAMPS, done_at=now(), word=False)
    test_record(given=theirs, person=other, received_at=now())
    address = reverse("sitting-record", args=[sitting.pk])
    answer = as_technician.post(address, {"code": lead.code, **fields, **GOOD})
    assert answer.status_code == 422
    assert "jo tested it as well" in words(answer)
    assert 'value="0.62"' in answer.content.decode()
    assert BenchTest.objects.count() == 1
    # having seen it, the same readings may be sent again
    fields["after"] = hidden(answer, "after")
    assert as_technician.post(address, {"code": lead.code, **fields, **GOOD}).status_code == 302
    assert BenchTest.objects.count() == 2


def test_an_ended_sitting_takes_no_more_until_it_goes_on(as_technician, sitting, lead):
    scan(as_technician, sitting, "TEST.END")
    sitting.refresh_from_db()
    assert sitting.ended_at is not None
    record_address = reverse("sitting-record", args=[sitting.pk])
    assert "has ended" in words(as_technician.post(record_address, {"code": lead.code, "word": "good"}, follow=True))
    assert not BenchTest.objects.exists()
    as_technician.post(reverse("sitting-end", args=[sitting.pk]), {"go": "on"})
    assert "A1 to B1" in words(on(as_technician, sitting, lead))


def test_a_box_gets_its_steps_and_its_answers_are_judged(as_technician, sitting):
    from inventory.models import InterfaceBoxFacts

    kind = make_type(Kind.INTERFACE_BOX, name="Passive direct box")
    InterfaceBoxFacts.objects.create(type=kind, active=False, turns_ratio=12, transformer_isolated=True, ground_lift=True)
    box = make_item(type=kind)
    shown = on(as_technician, sitting, box)
    assert "Through joined to input" in words(shown)
    steps = re.findall(r'name="(s:[^"]+)"', shown.content.decode())
    answer = record(as_technician, sitting, box, {steps[0]: "minus twenty"})
    assert answer.status_code == 422 and "is no number" in words(answer)
    through = next(step for step in steps if "through" in step)
    record(as_technician, sitting, box, {through: "no"})
    test = BenchTest.objects.get()
    assert test.verdict == Verdict.FAIL
    page = words(as_technician.get(test.get_absolute_url()))
    assert "Through joined to input" in page and "not as it should be" in page


# ---- labels that are scanned ----------------------------------------------------------------------------------------


def test_pass_and_fail_labels_judge_what_is_on_the_bench(as_technician, sitting, lead, lead_type):
    scan(as_technician, sitting, "TEST.PASS", on=lead.code)
    other = make_item(type=lead_type)
    scan(as_technician, sitting, "test:fail", on=other.code)
    assert list(BenchTest.objects.order_by("pk").values_list("item", "verdict")) == [(lead.pk, "pass"), (other.pk, "fail")]


def test_again_shows_the_last_once_more_and_next_lays_it_aside(as_technician, sitting, lead):
    record(as_technician, sitting, lead, GOOD)
    assert "A1 to B1" in words(scan(as_technician, sitting, "TEST.AGAIN"))
    assert "laid aside, untested" in words(scan(as_technician, sitting, "TEST.NEXT", on=lead.code))
    assert BenchTest.objects.count() == 1


def test_a_swapped_cell_is_noted_on_what_is_in_hand(as_technician, sitting):
    box = make_item(kind=Kind.INTERFACE_BOX)
    answer = scan(as_technician, sitting, "TEST.CELL", on=box.code)
    assert "cell swapped, noted" in words(answer)
    assert Repair.objects.get().item == box and Repair.objects.get().did == "Cell swapped"


def test_flexed_and_not_flexed_change_how_deep_the_next_tests_are(as_technician, sitting, lead):
    answer = scan(as_technician, sitting, "TEST.FLEXED", on=lead.code)
    sitting.refresh_from_db()
    assert sitting.depth == Depth.OHMS_FLEXED
    assert "worst while bent" in answer.content.decode()
    scan(as_technician, sitting, "TEST.STILL")
    sitting.refresh_from_db()
    assert sitting.depth == Depth.OHMS


# ---- undo -----------------------------------------------------------------------------------------------------------


def test_undo_takes_back_one_after_the_other_and_can_be_undone(as_technician, sitting, lead_type):
    leads = [make_item(type=lead_type, name=str(n)) for n in range(2)]
    for one in leads:
        scan(as_technician, sitting, "TEST.FAIL", on=one.code)
    assert "Taken back" in words(scan(as_technician, sitting, "TEST.UNDO"))
    leads[1].refresh_from_db()
    assert leads[1].suspect_since is None
    answer = scan(as_technician, sitting, "TEST.UNDO")
    leads[0].refresh_from_db()
    assert leads[0].suspect_since is None
    put_back = re.search(r'name="uid" value="([^"]+)" aria-label="Put back', answer.content.decode())[1]
    as_technician.post(reverse("sitting-undo", args=[sitting.pk]), {"uid": put_back})
    assert Item.objects.filter(type=lead_type, suspect_since__isnull=False).count() == 1


# ---- count ----------------------------------------------------------------------------------------------------------


def test_the_count_says_what_was_tested_and_what_still_fits(as_technician, sitting, lead_type):
    Sitting.objects.filter(pk=sitting.pk).update(began_at=now() - timedelta(minutes=50))
    for n in range(4):
        item = make_item(type=lead_type, name=str(n))
        told = {"procedure": Procedure.WORD, "depth": Depth.LAMPS, "word": n > 0, "minutes": 2}
        given = Given(uid=uuid.uuid4(), item=item, done_at=now(), sitting=sitting, **told)
        test_record(given=given, person=None, received_at=now())
    said = words(as_technician.get(sitting.get_absolute_url()))
    assert "3 good, 1 bad" in said
    assert "2.0 min each, 40 min left: about 20 more fit" in said


def told_at(sitting, item, minutes_in):
    at = sitting.began_at + timedelta(minutes=minutes_in)
    told = {"procedure": Procedure.WORD, "depth": Depth.LAMPS, "word": True, "minutes": 3}
    test_record(given=Given(uid=uuid.uuid4(), item=item, done_at=at, sitting=sitting, **told), person=None, received_at=at)


def sat(sitting, lead_type, began, *minutes_in):
    Sitting.objects.filter(pk=sitting.pk).update(began_at=began)
    sitting.refresh_from_db()
    for n, minutes in enumerate(minutes_in):
        told_at(sitting, make_item(type=lead_type, name=str(n)), minutes)
    return sitting


def test_an_ended_sitting_says_how_many_in_what_time(as_technician, sitting, lead_type):
    """Ended nine days after the last test: the days are no time at the bench."""
    sat(sitting, lead_type, now() - timedelta(days=9), 20, 40, 65)
    assert "Paused since" in words(as_technician.get(sitting.get_absolute_url()))
    Sitting.objects.filter(pk=sitting.pk).update(ended_at=now())
    said = words(as_technician.get(sitting.get_absolute_url()))
    assert "3 tested in 1 h 5 min; 3.0 min each." in said
    assert "min over" not in said and "days" not in said


def test_minutes_left_run_on_over_midnight_and_stand_still_in_a_pause(as_technician, sitting, lead_type):
    midnight = now().replace(hour=0, minute=0, second=0, microsecond=0)
    sat(sitting, lead_type, midnight - timedelta(minutes=40), 10, 30, 50)
    after_midnight = midnight + timedelta(minutes=20)
    assert count_of(sitting, after_midnight).pace == "3.0 min each, 30 min left: about 10 more fit"
    assert count_of(sitting, midnight + timedelta(minutes=100)).pace == (
        f"Paused since {moment(midnight + timedelta(minutes=10))}; 3.0 min each"
    )
    told_at(sitting, make_item(type=lead_type, name="after supper"), 300)
    back = count_of(sitting, sitting.began_at + timedelta(minutes=310))
    assert back.left == 90 - (50 + 3 + 10), "the pause of four hours counts as the three minutes of its test"


def test_a_sitting_over_its_minutes_says_by_how_much(sitting, lead_type):
    sat(sitting, lead_type, now() - timedelta(minutes=200), 50, 100, 150)
    assert count_of(sitting, sitting.began_at + timedelta(minutes=200)).pace == "3.0 min each, 1 h 50 min over"


def test_what_the_shop_cannot_measure_is_named_quietly(as_technician, sitting):
    kind = make_type(Kind.INTERFACE_BOX, name="Passive direct box")
    box = make_item(type=kind)
    BenchSettings.objects.update_or_create(pk=1, defaults={"measures": [], "asked_at": now()})
    said = words(on(as_technician, sitting, box))
    assert "What your shop cannot measure here" in said and "(needs: " in said


def test_no_insulation_tester_on_what_is_more_than_copper(as_technician, sitting, lead, wirings):
    assert "insulation tester" not in words(on(as_technician, sitting, lead))
    kind = make_type(Kind.LEAD, name="Terminator")
    LeadFacts.objects.create(type=kind, wiring="dmx-terminator")
    assert "never an insulation tester" in words(on(as_technician, sitting, make_item(type=kind, length_mm=100)))


@pytest.mark.parametrize("count", [1, 20])
def test_the_page_of_a_sitting_asks_the_database_alike_for_one_test_and_for_many(
    as_technician, sitting, lead_type, django_assert_num_queries, count
):
    for n in range(count):
        item = make_item(type=lead_type, name=str(n))
        given = Given(
            uid=uuid.uuid4(), item=item, procedure=Procedure.WORD, depth=Depth.LAMPS, done_at=now(), word=True, sitting=sitting
        )
        test_record(given=given, person=None, received_at=now())
    as_technician.get(sitting.get_absolute_url())
    with django_assert_num_queries(SITTING_QUERIES):
        as_technician.get(sitting.get_absolute_url())


SITTING_QUERIES = 7


def test_one_answer_of_a_flexed_sitting_is_the_worst_while_bent(as_technician, sitting, lead):
    type(sitting).objects.update(depth=Depth.OHMS_FLEXED)
    page = on(as_technician, sitting, lead)
    assert "worst while bent" in words(page) and b'name="f:A1:B1"' not in page.content
    record(as_technician, sitting, lead, GOOD)
    test = BenchTest.objects.get()
    assert test.verdict == Verdict.PASS and test.depth == Depth.OHMS_FLEXED
    assert all(pair.get("flexed") for pair in test.readings["pairs"])


@pytest.mark.parametrize("word", ["good", "bad"])
def test_a_reading_typed_beside_a_word_is_not_dropped(as_technician, sitting, lead, word):
    answer = record(as_technician, sitting, lead, {"p:A2:B2": "ol", "word": word})
    assert answer.status_code == 422 and "a word would throw them away" in words(answer)
    assert b'value="ol"' in answer.content and not BenchTest.objects.exists()


def test_a_loudspeaker_lead_says_what_a_meter_of_tenths_cannot_see(as_technician, sitting, wirings):
    kind = make_type(Kind.LEAD, name="Loudspeaker lead")
    LeadFacts.objects.create(type=kind, wiring="loudspeaker-2", core_mm2=2.5)
    BenchSettings.objects.update_or_create(pk=1, defaults={"measures": ["continuity", "ohms"], "asked_at": now()})
    said = words(on(as_technician, sitting, make_item(type=kind, length_mm=10_000)))
    assert "It takes a four-wire meter" in said


def test_a_word_is_not_offered_where_it_is_refused(as_technician, sitting):
    kind = make_type(Kind.POWER, name="Residual-current adapter")
    PowerFacts.objects.create(type=kind, rating_a=16, residual_current_ma=30)
    page = on(as_technician, sitting, make_item(type=kind))
    assert b'value="good"' not in page.content and "Its own button trips it" in words(page)
