"""One outcome of saying that a thing got wet, by whatever way: a call for a test, taken back as it was made, never suspect."""

import uuid
from datetime import timedelta

import pytest

from company.clock import now, today
from inventory.calc.kinds import Kind
from inventory.services.cases import placement_record
from maintenance.minding import WET_NOTED
from maintenance.models import Fault, RetestRule, TestCall
from maintenance.services.faults import fault_open
from shows.services.scans import scans_record
from tests.builders import make_case, make_item, make_lead, make_show

pytestmark = pytest.mark.django_db


@pytest.fixture
def show(company):
    return make_show(load_in=now() + timedelta(hours=2))


def sent(hand, code, **more):
    at = now()
    scan = {"id": str(uuid.uuid4()), "code": code, "action": "inspect", "happened_at": at.isoformat()} | more
    scans_record(actor=hand, device="d", sent_at=None, scans=[scan], received_at=at)
    return scan


def said_wet(hand, item, **more):
    return sent(hand, item.code, condition="suspect", symptom="got wet", **more)


def stands(item):
    item.refresh_from_db()
    return item.suspect_since, item.test_by


def open_calls():
    return TestCall.objects.filter(withdrawn_at=None, answered_by=None)


def test_the_item_page_and_the_dock_have_one_outcome_and_the_same_words(as_hand, hand, show):
    here, there = make_lead(), make_lead()
    page = as_hand.post(f"/a/{here.code}/bad/", {"symptom": "got wet", "uid": uuid.uuid4()}, follow=True).content.decode()
    as_hand.post(f"/dock/say/{there.code}/", {"said": "got wet", "uid": uuid.uuid4()})
    assert stands(here) == stands(there) == (None, today(now()))
    assert set(open_calls().values_list("item", "why")) == {(here.pk, "wet"), (there.pk, "wet")}
    assert not Fault.objects.exists()
    dock = as_hand.get("/dock/").content.decode()
    assert WET_NOTED in page and there.label in dock


def test_the_scan_is_told_the_same_and_its_undo_takes_the_call_back_and_again(hand, company):
    item = make_lead()
    scan = said_wet(hand, item)
    from shows.models import Scan

    kept = Scan.objects.get(uid=scan["id"])
    assert (kept.symptom, kept.condition, kept.reason) == ("got wet", "suspect", WET_NOTED)
    undo = sent(hand, item.code, action="undo", undoes=scan["id"])
    assert stands(item) == (None, None) and not open_calls().exists()
    sent(hand, item.code, action="undo", undoes=undo["id"])
    assert stands(item) == (None, today(now())) and open_calls().count() == 1


def test_the_same_report_sent_twice_is_one_call(as_hand, hand, show):
    item, uid = make_lead(), uuid.uuid4()
    for _ in range(2):
        as_hand.post(f"/a/{item.code}/bad/", {"symptom": "got wet", "uid": uid})
    assert open_calls().count() == 1


def test_back_and_wet_calls_for_a_test_and_so_does_a_channel_whose_thing_is_known(hand, show):
    from shows.models import PullRow

    item, on_line = make_lead(), make_item()
    said_wet(hand, item, action="back")
    PullRow.objects.create(show=show, type=on_line.type, item=on_line, count=1, line="7")
    said_wet(hand, type("Card", (), {"code": "CH.7"}), show=show.pk)
    assert set(open_calls().values_list("item", flat=True)) == {item.pk, on_line.pk}
    said_wet(hand, type("Card", (), {"code": "CH.9"}), show=show.pk)
    assert list(Fault.objects.values_list("item", "line")) == [(None, "9")]


def test_a_wet_case_calls_what_is_in_it_and_what_has_no_standing_is_still_reported(hand, company):
    case, lead, stand = make_case(), make_lead(), make_item(kind=Kind.STAND)
    placement_record(uid=uuid.uuid4(), item=lead, case=case, effective_at=now() - timedelta(days=1))
    said_wet(hand, case)
    assert list(open_calls().values_list("item", flat=True)) == [lead.pk]
    said_wet(hand, stand)
    assert list(Fault.objects.values_list("item", flat=True)) == [stand.pk]


def test_old_wet_faults_stay_as_they_are(hand, company):
    item = make_lead()
    fault_open(uid=uuid.uuid4(), item=item, symptom="got wet", at=now())
    assert stands(item)[0] is not None


def test_needs_a_person_names_it_quietly(as_hand, hand, show):
    said_wet(hand, make_lead(name="Long one"))
    tough = make_lead(name="Tough one")
    RetestRule.objects.create(type=tough.type, after_wet=False)
    said_wet(hand, tough)
    page = as_hand.get("/needs/").content.decode()
    assert "Long one" in page and "Got wet: test it." in page and "Tough one" not in page
    assert 'data-standing="suspect"' not in page


def test_search_finds_what_got_wet_reports_on_channels_and_dead_channels(as_technician, hand, show):
    wet = make_lead(name="Soaked")
    said_wet(hand, wet)
    fault_open(uid=uuid.uuid4(), item=None, show=show.pk, line="7", symptom="hums", at=now())
    loom = make_item(kind=Kind.MULTICORE, name="Loom", tested_on=today(now()), excepts="9 to 14")
    make_item(kind=Kind.MULTICORE, name="Whole", excepts="15")

    def found(q):
        return as_technician.get("/find/", {"q": q}, follow=True).content.decode()

    assert "Soaked" in found("wet") and "Soaked" in found("got wet")
    assert "Channel 7 hums" in found("hums") and "Channel 7 hums" in found("channel 7")
    assert "Channel 7 hums" not in found("channel 8")
    assert loom.label in found("except 14") and "nothing on 9, 10" in found("except 14") and "Whole" not in found("except 14")
    assert "Whole" in found("good except")


def test_a_hand_takes_back_their_own_report_and_nobody_else_s(as_hand, hand, technician, company):
    mine, other = make_lead(), make_lead()
    as_hand.post(f"/a/{mine.code}/bad/", {"symptom": "hums", "uid": uuid.uuid4()})
    theirs = fault_open(uid=uuid.uuid4(), item=other, symptom="hums", at=now(), person=technician)
    fault = Fault.objects.get(item=mine)
    assert stands(mine)[0] is not None and f"/faults/{fault.pk}/take-back/" in as_hand.get(f"/a/{mine.code}/").content.decode()
    assert f"/faults/{theirs.pk}/take-back/" not in as_hand.get(f"/a/{other.code}/").content.decode()
    as_hand.post(f"/faults/{fault.pk}/take-back/")
    as_hand.post(f"/faults/{theirs.pk}/take-back/")
    assert stands(mine)[0] is None and stands(other)[0] is not None
    assert "nothing to take back" in as_hand.post(f"/faults/{fault.pk}/take-back/", follow=True).content.decode()


def test_a_suspect_thing_s_page_does_not_lead_out(as_hand, hand, show):
    item, good = make_lead(), make_lead()
    fault_open(uid=uuid.uuid4(), item=item, symptom="hums", at=now())
    page = as_hand.get(f"/a/{item.code}/").content.decode()
    assert f"Scan it out to {show.name}" not in page
    assert page.index("It is not offered for a show") < page.index("It goes anyway") and "the dock says stop" in page
    assert f"Scan it out to {show.name}" in as_hand.get(f"/a/{good.code}/").content.decode()


def test_a_show_says_what_of_it_wants_a_test_and_is_calm_of_what_never_had_one(as_technician, show):
    from tests.builders import make_pull_row

    late = make_lead(tested_on=today(now()) - timedelta(days=200), test_by=today(now()))
    make_lead(type=late.type)
    make_pull_row(show, type=late.type, count=2)
    page = as_technician.get(f"/shows/{show.pk}/").content.decode()
    assert f'<b>1 is past its test-by, 1 was never tested</b>: <a href="/bench/?show={show.pk}">test them</a>' in page
    type(late).objects.filter(pk=late.pk).update(test_by=None)
    page = as_technician.get(f"/shows/{show.pk}/").content.decode()
    assert '<p class="quiet">Of what it could take, 1 was never tested' in page


def test_a_part_good_thing_is_named_on_the_lists_it_could_go_on(as_technician, show):
    from tests.builders import make_pull_row

    loom = make_item(kind=Kind.MULTICORE, tested_on=today(now()), excepts="14")
    make_pull_row(show, type=loom.type, count=1)
    for url in (f"/shows/{show.pk}/", f"/shows/{show.pk}/pull/"):
        page = as_technician.get(url).content.decode()
        assert f"{loom.label} is good except 14:" in page and "nothing on 14" in page


def test_rain_on_a_show_names_what_was_counted_and_mains_gear_in_it(as_hand, company):
    from inventory.models import CountMove
    from tests.builders import make_checkout, make_counted_line

    rained = make_show(load_in=now() - timedelta(hours=3))
    for item in (make_lead(), make_item(kind=Kind.AMPLIFIER)):
        make_checkout(rained, item, at=rained.load_in + timedelta(minutes=5))
    line = make_counted_line()
    CountMove.objects.create(uid=uuid.uuid4(), line=line, show=rained.pk, delta=-40, why="out", happened_at=rained.load_in)
    assert "competent person" not in as_hand.get(f"/shows/{rained.pk}/").content.decode()
    page = as_hand.post(f"/bench/wet/show/{rained.pk}/", follow=True).content.decode()
    assert f"Counted things were out in it too: 40 {line.type.name}" in page and "check them by hand" in page
    assert "until a competent person has tested it. This record declares nothing safe." in page
    assert "Noted of 2 things: they got wet. All are to be tested before going out again." in page


def test_rain_says_in_plain_words_whose_rules_ask_for_no_test(as_hand, hand, company):
    from maintenance.services.calls import calls_record

    tough = make_lead()
    RetestRule.objects.create(type=tough.type, after_wet=False)
    words = calls_record(items=[tough, make_lead(), make_lead()], why="wet", show=None, person=hand, at=now()).words
    assert words == (
        "Noted of 3 things: they got wet. 2 are to be tested before going out again; "
        "the rule for the other one asks for no test."
    )


def test_a_hand_s_file_of_tests_tells_no_costs(as_hand, technician, company):
    from maintenance.models import Repair
    from tests.maintenance.bench_rows import bench_test

    item = make_lead()
    bench_test(item)
    Repair.objects.create(uid=uuid.uuid4(), item=item, did="soldered", cost_cents=98765, done_at=now())
    text = b"".join(as_hand.get(f"/a/{item.code}/tests.csv").streaming_content).decode()
    assert item.code[:4] in text and "987.65" not in text and "98765" not in text and "cost" not in text
