"""Faults: reported by anybody, closed by a technician with a sentence; the item is suspect in between."""

import uuid
from datetime import timedelta

import pytest
from django.urls import reverse

from inventory.calc.kinds import Kind
from inventory.models import Item
from inventory.registries import ITEM_LIFE
from maintenance import parts
from maintenance.calc.bench import Depth, Procedure
from maintenance.models import Fault
from maintenance.services.bench import Given, test_record
from maintenance.services.faults import FaultRefused, fault_close, fault_of_item, fault_open, fault_withdraw
from tests.builders import NOW, make_checkout, make_item, make_show

pytestmark = pytest.mark.django_db


@pytest.fixture
def box(company):
    return make_item(name="A")


def said(item, hours=0, **kw):
    kw.setdefault("symptom", "hums")
    return fault_open(uid=kw.pop("uid", uuid.uuid4()), item=item, at=NOW + timedelta(hours=hours), **kw)


def since(item):
    return Item.objects.values_list("suspect_since", flat=True).get(pk=item.pk)


def test_suspect_since_the_earliest_open_fault(box, technician):
    later, first = said(box, 5), said(box, 1)
    assert since(box) == NOW + timedelta(hours=1)
    fault_close(fault=first, at=NOW, person=technician, how="Re-soldered.", taken_as_good=False)
    assert since(box) == NOW + timedelta(hours=5)
    fault_close(fault=later, at=NOW, person=technician, how="Same joint.", taken_as_good=True)
    box.refresh_from_db()
    assert box.suspect_since is None and box.taken_as_good_on == NOW.date()


def test_the_same_report_twice_is_one_fault_and_withdrawn_it_can_come_back(box):
    uid = uuid.uuid4()
    assert said(box, uid=uid).pk == said(box, uid=uid).pk
    assert fault_withdraw(uid=uid, at=NOW) and not fault_withdraw(uid=uid, at=NOW)
    assert since(box) is None
    said(box, uid=uid)
    assert since(box) == NOW and Fault.objects.count() == 1


def test_closing_asks_for_a_sentence_and_closes_once(box, technician):
    fault = said(box)
    with pytest.raises(FaultRefused, match="Say what was done"):
        fault_close(fault=fault, at=NOW, person=technician, how="  ")
    fault_close(fault=fault, at=NOW, person=technician, how="New jack.")
    with pytest.raises(FaultRefused, match="Somebody else"):
        fault_close(fault=fault, at=NOW, person=technician, how="Again.")


def test_a_closed_fault_is_not_opened_by_sending_it_again(box, technician):
    fault = said(box)
    fault_close(fault=fault, at=NOW, person=technician, how="New jack.")
    said(box, uid=fault.uid)
    assert since(box) is None


def test_any_hand_reports_with_one_tap_and_the_same_form_twice_is_one(as_hand, hand, box):
    url = reverse("fault-report", args=[box.code])
    page = as_hand.get(url)
    assert page.status_code == 200 and b'value="comes and goes"' in page.content
    form = {"symptom": "hums", "note": "on the\0 left", "uid": str(uuid.uuid4())}
    for _ in range(2):
        assert as_hand.post(url, form).status_code == 302
    fault = Fault.objects.get()
    assert (fault.symptom, fault.person, fault.note) == ("hums", hand, "on the  left")
    assert as_hand.post(url, {"symptom": "sings"}).status_code == 422


def test_what_is_reported_at_a_show_says_which_and_when(as_hand, box, monkeypatch):
    show = make_show(load_in=NOW, hours=8)
    make_checkout(show, box)
    monkeypatch.setattr("maintenance.views.faults.now", lambda: NOW + timedelta(hours=3))
    assert as_hand.post(reverse("fault-report", args=[box.code]), {"symptom": "hums"}).status_code == 302
    fault = Fault.objects.get()
    assert (fault.show, fault.found) == (show.pk, "show")


def test_a_hand_may_not_close_or_take_as_good(as_hand, box):
    fault = said(box)
    for url in (reverse("fault-close", args=[fault.pk]), reverse("taken-as-good", args=[box.code])):
        assert as_hand.get(url).status_code == as_hand.post(url, {"how": "Fine."}).status_code == 403
    assert since(box)


def test_a_technician_closes_with_a_sentence(as_technician, technician, box):
    fault = said(box)
    url = reverse("fault-close", args=[fault.pk])
    assert as_technician.get(url).status_code == 200
    assert as_technician.post(url, {"how": ""}).status_code == 422
    assert as_technician.post(url, {"how": "New jack.", "taken_as_good": "on"}).status_code == 302
    box.refresh_from_db()
    assert box.suspect_since is None and box.taken_as_good_on
    assert b"New jack." in as_technician.get(url).content
    assert as_technician.post(url, {"how": "Twice."}).status_code == 302
    assert Fault.objects.get().closed_how == "New jack."


def test_taken_as_good_closes_all_that_is_open(as_technician, box):
    said(box), said(box, 1)
    url = reverse("taken-as-good", args=[box.code])
    assert as_technician.post(url, {"how": " "}).status_code == 422
    assert as_technician.post(url, {"how": "Used all week, no word against it."}).status_code == 302
    assert since(box) is None and not Fault.objects.filter(closed_at=None).exists()


def test_a_channel_report_finds_its_item_later(as_technician, box):
    show = make_show(name="Harvest ceilidh")
    fault = said(None, show=show.pk, line="7")
    url = reverse("fault-close", args=[fault.pk])
    assert b"Channel 7" in as_technician.get(url).content
    assert as_technician.post(url, {"code": "nonsense"}).status_code == 422
    assert as_technician.post(url, {"code": box.code}).status_code == 302
    assert since(box) == NOW
    with pytest.raises(FaultRefused):
        fault_of_item(fault=fault, item=box)


@pytest.mark.parametrize("code", ["nonsense", "00000000", "DO.OUT"])
def test_an_unknown_code_is_not_found(as_technician, code, company):
    assert as_technician.get(reverse("fault-report", args=[code])).status_code == 404
    assert as_technician.get(reverse("taken-as-good", args=[code])).status_code == 404


def test_the_item_page_says_why(as_technician, technician, box):
    said(box, person=technician, note="bad all night", line="7", show=make_show(name="Harvest ceilidh").pk)
    page = as_technician.get(box.get_absolute_url()).content.decode()
    assert "Suspect since" in page and "It hums, said technician on" in page
    assert "on line 7 at Harvest ceilidh" in page and "bad all night" in page


def test_life_tears_and_mends(box, technician):
    fault = said(box)
    fault_close(fault=fault, at=NOW + timedelta(hours=1), person=technician, how="New jack.")
    entries = list(ITEM_LIFE["faults"](box, NOW))
    assert [(e.bad, e.patched) for e in entries] == [(True, False), (False, True)]


def test_needs_name_suspects_and_channels_once(rf, box, technician):
    said(box), said(box, 1), said(None, line="9")
    request = rf.get("/")
    request.user = technician
    assert [n.code for n in parts.suspects(request, NOW)] == [f"{box.code[:4]}-{box.code[4:]}"]
    assert [n.name for n in parts.channels(request, NOW)] == ["Channel 9 hums"]


def test_the_first_page_says_what_the_bench_found_and_asks_to_mend_it(as_technician, technician):
    lead = make_item(kind=Kind.LEAD, length_mm=5000)
    given = Given(uid=uuid.uuid4(), item=lead, procedure=Procedure.WORD, depth=Depth.LAMPS, done_at=NOW, word=False)
    test_record(given=given, person=technician, received_at=NOW)
    page = as_technician.get("/").content.decode()
    assert "It failed at the bench on" in page and "something is wrong with it" not in page
    assert "tested it. Mend it, then test it again." in page
