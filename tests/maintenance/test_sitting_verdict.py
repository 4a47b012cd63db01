"""A test's own page: the verdict with its reasons, the picture, the readings; corrected, taken back, read by anybody."""

import re
import uuid
from datetime import timedelta

from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils.html import strip_tags

from company.clock import now
from company.templatetags.tape import day
from inventory.calc.kinds import Kind
from inventory.models import MulticoreFacts
from maintenance.calc.bench import Depth, PairReading, Procedure, StepReading, Verdict
from maintenance.models import BenchSettings, BenchTest, Fault
from maintenance.services.bench import Given, test_record
from maintenance.services.faults import fault_close
from maintenance.services.repairs import repair_record
from maintenance.verdict_page import scale_of
from tests.builders import make_item, make_type
from tests.maintenance.test_sitting import lead, lead_type, wirings, words  # noqa: F401 (fixtures)

OVER = 2e7


def pair(a, b, ohms=None, **kw):
    return PairReading(a=a, b=b, ohms=ohms, above_ohms=None if ohms is not None or "beep" in kw else OVER, **kw)


def nine(**ohms):
    """Return the nine end-to-end readings of a three-pin lead; what is not named is over range."""
    return tuple(pair(f"A{a}", f"B{b}", ohms.get(f"A{a}B{b}")) for a in (1, 2, 3) for b in (1, 2, 3))


GOOD = {"A1B1": 0.4, "A2B2": 0.6, "A3B3": 0.6}


def a_test(item, readings=(), person=None, procedure=Procedure.WIRING, **kw):
    kw = {"done_at": now(), **kw}
    given = Given(uid=uuid.uuid4(), item=item, procedure=procedure, depth=Depth.OHMS, readings=tuple(readings), **kw)
    return test_record(given=given, person=person, received_at=now()).test


def page(client, test):
    answer = client.get(test.get_absolute_url())
    assert answer.status_code == 200
    return answer


def test_a_fail_says_why_what_it_does_and_how_to_mend_it(as_technician, lead, technician):  # noqa: F811
    test = a_test(lead, nine(A2B3=0.81, A3B2=0.80), technician)
    answer = page(as_technician, test)
    said = words(answer)
    assert "Fail" in said and "for two reasons" in said
    assert "swapped" in said.lower() and "open" in said
    assert "To mend it:" in said
    assert (
        'class="strip next"' in answer.content.decode() and reverse("repair-add", args=[lead.code]) in answer.content.decode()
    )
    grid = re.findall(r'<td class="([^"]*)">', answer.content.decode())
    assert grid.count("want bad") == 3 and grid.count(" bad") == 2
    aria = re.search(r'role="img" aria-label="([^"]+)"', answer.content.decode())[1]
    assert "A1 does not reach B1." in aria and "A2 reaches B3, which is the wrong pin." in aria


def test_the_newest_repair_that_names_an_end_says_where_to_look(as_technician, lead, technician):  # noqa: F811
    for days, end, did in ((90, "A", "new plug"), (3, "B", "re-soldered")):
        at = now() - timedelta(days=days)
        repair_record(uid=uuid.uuid4(), item=lead, did=did, end=end, done_at=at, person=technician, received_at=now())
    said = words(page(as_technician, a_test(lead, nine(A1B1=0.4, A3B3=0.6))))
    assert "Look in end B first." in said and "re-soldered" in said
    assert "Open plug B and repair" in said


def test_a_pass_offers_the_next_scan_and_says_what_was_not_measured(as_technician, lead):  # noqa: F811
    said = words(page(as_technician, a_test(lead, nine(**GOOD))))
    assert "Pass" in said and "Scan the next" in said
    assert "Not measured." in said and "same end were not measured" in said


def test_a_verdict_nobody_can_tell_asks_to_measure_again(as_technician, lead):  # noqa: F811
    said = words(page(as_technician, a_test(lead, [pair("A1", "B1", 0.4)])))
    assert "Cannot tell" in said and "Measure it again" in said


def test_a_hand_reads_a_verdict_and_changes_nothing(as_hand, lead):  # noqa: F811
    test = a_test(lead, nine(**GOOD))
    answer = page(as_hand, test)
    assert "Take it back" not in words(answer) and "Correct a reading" not in words(answer)
    assert as_hand.post(reverse("bench-test-undo", args=[test.uid])).status_code == 403
    assert as_hand.post(reverse("bench-test-correct", args=[test.uid]), {"p:A1:B1": "0.4"}).status_code == 403
    assert BenchTest.objects.count() == 1


def test_a_correction_is_a_new_row_that_stands_in_for_the_old(as_technician, lead):  # noqa: F811
    test = a_test(lead, nine(A1B1=0.4, A2B2=0.6, A3B3=66.0))
    assert test.verdict == Verdict.FAIL
    address = reverse("bench-test-correct", args=[test.uid])
    form = as_technician.get(address).content.decode()
    assert 'name="p:A3:B3" value="66"' in form and 'name="p:A1:B1" value="0.4"' in form
    fields = dict(re.findall(r'name="(p:[^"]+)" value="([^"]*)"', form)) | {"p:A3:B3": "0.6"}
    answer = as_technician.post(address, fields, follow=True)
    right = BenchTest.objects.get(corrects=test)
    assert right.verdict == Verdict.PASS and right.done_at == test.done_at
    assert "Pass" in words(answer)
    old = words(page(as_technician, test))
    assert "Corrected" in old and "counts no more" in old
    lead.refresh_from_db()
    assert lead.suspect_since is None
    # a second correction of the same is led to what stands in for it
    assert as_technician.get(address)["Location"] == right.get_absolute_url()


def test_a_correction_that_cannot_be_read_keeps_what_was_typed(as_technician, lead):  # noqa: F811
    test = a_test(lead, nine(**GOOD))
    answer = as_technician.post(reverse("bench-test-correct", args=[test.uid]), {"p:A1:B1": "0.4", "p:A2:B2": "-3"})
    assert answer.status_code == 422
    assert "never below nothing" in words(answer) and 'value="-3"' in answer.content.decode()
    assert BenchTest.objects.count() == 1


def test_a_test_taken_back_is_struck_and_can_be_put_back(as_technician, lead):  # noqa: F811
    test = a_test(lead, nine(A1B1=0.4))
    answer = as_technician.post(reverse("bench-test-undo", args=[test.uid]), follow=True)
    assert "Taken back" in words(answer)
    lead.refresh_from_db()
    assert lead.suspect_since is None
    undo = BenchTest.objects.get(corrects=test)
    assert page_after(as_technician, undo) == test.get_absolute_url()
    as_technician.post(reverse("bench-test-undo", args=[undo.uid]), follow=True)
    lead.refresh_from_db()
    assert lead.suspect_since is not None


def page_after(client, test):
    return client.get(test.get_absolute_url())["Location"]


def test_a_multicore_folds_its_good_channels(as_technician, wirings):  # noqa: F811
    kind = make_type(Kind.MULTICORE, name="Multicore 8")
    MulticoreFacts.objects.create(type=kind, wiring="multicore", sends=8, returns=0, core_mm2=0.22)
    core = make_item(type=kind, length_mm=30_000)
    shown = []
    for channel in range(1, 9):
        for pin in (1, 2, 3):
            dead = channel == 5 and pin == 2
            shown.append(pair(f"A{channel}.{pin}", f"B{channel}.{pin}", None if dead else 2.4))
            shown += [pair(f"A{channel}.{pin}", f"B{channel}.{other}") for other in (1, 2, 3) if other != pin]
    test = a_test(core, shown)
    answer = page(as_technician, test)
    said = words(answer)
    assert "Channels 1 to 4 and 6 to 8: every wire reads as it should." in said
    assert re.search(r'<h3 class="marker">Channel 5</h3>', answer.content.decode())
    assert answer.content.decode().count('class="wiring') == 1
    core.refresh_from_db()
    assert core.excepts == "5"


def test_an_address_of_no_test_is_not_found(as_technician):
    assert as_technician.get(reverse("bench-test", args=[uuid.uuid4()])).status_code == 404


def test_a_verdict_asks_the_database_alike_after_one_test_and_after_many(as_technician, lead):  # noqa: F811
    counts = []
    for more in (1, 11):
        for _ in range(more):
            test = a_test(lead, nine(**GOOD))
        page(as_technician, test)
        with CaptureQueriesContext(connection) as asked:
            page(as_technician, test)
        counts.append(len(asked))
    assert counts[0] == counts[1] <= 14


def next_step(answer):
    found = re.search(r'class="strip next" href="([^"]+)"><span class="name">([^<]+)', answer.content.decode())
    return found and (found[2], found[1])


def test_an_old_fail_follows_what_became_of_the_thing(as_technician, lead, technician):  # noqa: F811
    ago = [now() - timedelta(days=days) for days in (9, 6, 3)]
    failed = a_test(lead, nine(A1B1=0.4, A3B3=0.6), done_at=ago[0])
    mend = reverse("repair-add", args=[lead.code])
    assert next_step(page(as_technician, failed)) == ("Repair it", mend)
    repair_record(uid=uuid.uuid4(), item=lead, did="new plug", end="", done_at=ago[1], person=technician, received_at=now())
    repaired = page(as_technician, failed)
    assert f"It was repaired since, on {day(ago[1])}." in words(repaired) and next_step(repaired)[0] == "Test it again"
    passed = a_test(lead, nine(**GOOD), done_at=ago[2])
    old = page(as_technician, failed)
    assert f'<a href="{passed.get_absolute_url()}">It has passed since, on {day(ago[2])}</a>' in old.content.decode()
    assert next_step(old) is None and "Suspect from now on" not in words(old)
    again = a_test(lead, nine(A1B1=0.4))
    assert next_step(page(as_technician, again))[0] == "Repair it"
    assert "It has failed since" in words(page(as_technician, failed))
    assert "It has failed since" in words(page(as_technician, passed))


def test_a_fail_somebody_saw_to_by_hand_asks_nothing(as_technician, lead, technician):  # noqa: F811
    failed = a_test(lead, nine(A1B1=0.4))
    fault_close(fault=Fault.objects.get(), person=technician, how="Plug was not pushed in", at=now())
    seen = page(as_technician, failed)
    assert "It was seen to by" in words(seen) and "Plug was not pushed in." in words(seen) and next_step(seen) is None


def test_what_was_read_while_bent_alone_stands_in_its_ring(as_technician, lead):  # noqa: F811
    bent = [pair("A1", "B1", 0.4, flexed=True), pair("A2", "B2", 0.6), pair("A2", "B2", 0.7, flexed=True)]
    test = a_test(lead, [*bent, pair("A3", "B3", 66.0, flexed=True)])
    html = page(as_technician, test).content.decode()
    cells = re.findall(r'<td class="([^"]*)">(.*?)</td>', html)
    ringed = [strip_tags(body) for css, body in cells if "want" in css]
    assert ringed == ["0.40bent", "0.60", "66.00too highbent"]
    listed = re.search(r"Worst while bent.*?</ul>", html, re.S)[0]
    assert "A2 to B2" in listed and "A1 to B1" not in listed and "A3 to B3" not in listed


def test_answers_are_named_though_the_shop_can_measure_them_no_more(as_technician, company):
    box = make_item(type=make_type(Kind.INTERFACE_BOX, name="Passive direct box"))
    done = a_test(box, procedure=Procedure.PASSIVE_BOX, steps=(StepReading(step="winding-out", value=40.0),))
    BenchSettings.objects.update_or_create(pk=1, defaults={"measures": [], "asked_at": now()})
    assert "Output winding" in words(page(as_technician, done))


def test_a_scale_places_a_figure_on_its_range():
    inside = scale_of(5, 0, 10, "V")
    assert inside.low < inside.at < inside.low + inside.width
    above = scale_of(12, 0, 10, "V")
    assert above.at > above.low + above.width and above.at < 100
    below = scale_of(-3, 0, None, "V")
    assert below.at < below.low and below.open_right
    assert scale_of(5, None, None, "V") is None
    assert 0 <= scale_of(0, None, 0, "V").at <= 100
