"""Repairs, calls to test, wirings: noted once, taken back by a new row, refused in sentences."""

import uuid
from datetime import timedelta

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.calc.kinds import Kind
from inventory.models import GearType, Item
from maintenance.bench_subject import subject_of
from maintenance.calc.bench import Depth, Procedure
from maintenance.models import Repair, RetestRule, TestCall, Wiring
from maintenance.services.bench import Given, test_record, test_undo
from maintenance.services.calls import CallRefused, calls_record, calls_withdraw
from maintenance.services.repairs import RepairRefused, repair_record, repair_take_back
from maintenance.services.wirings import WiringRefused, wiring_delete, wiring_save, wirings_load
from tests.builders import NOW, a_day, make_case, make_item, make_lead, make_show, make_wiring

pytestmark = pytest.mark.django_db


@pytest.fixture
def lead(company):
    return make_lead()


def word(item, hours=0.0, good=True, **kw):
    at = NOW + timedelta(hours=hours)
    values = {"uid": uuid.uuid4(), "procedure": Procedure.WORD, "depth": Depth.OHMS, "word": good, **kw}
    return test_record(given=Given(item=item, done_at=at, **values), person=None, received_at=at)


def repaired(item, hours=0.0, **kw):
    at = NOW + timedelta(hours=hours)
    values = {"uid": uuid.uuid4(), "did": "New plug", "person": None, "done_at": at, "received_at": at, **kw}
    return repair_record(item=item, **values)


def read(item):
    item.refresh_from_db()
    return item


def wet(items, hours=0.0, **kw):
    values = {"why": TestCall.Why.WET, "show": None, "person": None, **kw}
    return calls_record(items=items, at=NOW + timedelta(hours=hours), **values)


# repairs


def test_a_repair_keeps_what_was_done_and_is_noted_once(lead, technician):
    uid = uuid.uuid4()
    for _ in range(2):
        repair = repaired(
            lead, uid=uid, did=" New  plug ", end="B", parts="1 plug", minutes=20, cost_cents=450, person=technician
        )
    assert Repair.objects.count() == 1
    assert (repair.did, repair.end, repair.parts, repair.minutes, repair.cost_cents) == ("New plug", "B", "1 plug", 20, 450)


def test_a_repair_taken_back_no_longer_lets_a_pass_answer(lead, technician):
    word(lead, 0, good=False)
    repair = repaired(lead, 1)
    word(lead, 2)
    assert read(lead).suspect_since is None
    row = repair_take_back(repair=repair, person=technician, at=NOW + timedelta(hours=3))
    assert row.takes_back == repair and read(lead).suspect_since == NOW
    assert repair_take_back(repair=repair, person=technician, at=NOW + timedelta(hours=4)) == row
    with pytest.raises(RepairRefused, match="note it again"):
        repair_take_back(repair=row, person=technician, at=NOW)


@pytest.mark.parametrize(
    ("field", "kw"),
    [
        ("did", {"did": "  "}),
        ("did", {"did": "x" * 501}),
        ("parts", {"parts": "x" * 301}),
        ("end", {"end": "ABCDE"}),
        ("minutes", {"minutes": -1}),
        ("cost_cents", {"cost_cents": 10**10}),
        ("done_at", {"done_at": NOW + timedelta(days=1)}),
    ],
)
def test_what_cannot_be_a_repair_is_refused_with_its_field(lead, field, kw):
    with pytest.raises(RepairRefused, match=r"\.$") as caught:
        repaired(lead, **kw)
    assert caught.value.field == field and not Repair.objects.exists()


def test_what_is_retired_or_never_good_or_bad_is_not_repaired(company):
    with pytest.raises(RepairRefused, match="was retired"):
        repaired(make_lead(retired_on=a_day(), retired_because="Crushed."))
    with pytest.raises(RepairRefused, match="never good or bad"):
        repaired(make_case())


# calls


def test_rain_makes_a_test_due_that_day_and_the_next_test_answers_it(lead):
    word(lead, -48)
    before = read(lead).test_by
    assert before > a_day()
    called = wet([lead])
    assert called.due == 1 and read(lead).test_by == a_day() and called.words.startswith("It got wet: noted.")
    recorded = word(lead, 1)
    assert TestCall.objects.get().answered_by == recorded.test and read(lead).test_by > a_day()
    test_undo(test=recorded.test, person=None, at=NOW + timedelta(hours=2))
    assert TestCall.objects.get().answered_by is None and read(lead).test_by == a_day()


def test_a_call_taken_back_puts_the_date_back(lead, technician):
    word(lead, -48)
    before = read(lead).test_by
    called = wet([lead])
    assert calls_withdraw(calls=called.calls, at=NOW, person=technician) == 1
    assert read(lead).test_by == before and calls_withdraw(calls=called.calls, at=NOW) == 0


def test_rain_on_what_its_rule_lets_get_wet_makes_nothing_due(lead):
    RetestRule.objects.create(type=lead.type, after_wet=False)
    word(lead, -48)
    called = wet([lead])
    assert called.due == 0 and read(lead).test_by > a_day() and "no test due" in called.words


def test_a_call_passes_over_what_has_no_standing_or_is_gone(company):
    gone = make_lead(retired_on=a_day(), retired_because="Crushed.")
    called = wet([make_case(), make_item(kind=Kind.STAND), gone, make_lead()])
    assert len(called.calls) == TestCall.objects.count() == 1
    assert wet([make_case()]).words == "Nothing there needs a test."
    with pytest.raises(CallRefused, match="Say why"):
        wet([gone], why="sang")


def test_the_same_call_sent_twice_is_one(lead):
    uid = uuid.uuid4()
    assert [c.pk for c in wet([lead], uid=uid).calls] == [c.pk for c in wet([lead], uid=uid).calls]


def test_one_call_costs_what_fifty_cost(company):
    leads = [make_lead()]
    leads += [make_item(type=leads[0].type, length_mm=10_000) for _ in range(49)]
    word(leads[0], -48)
    wet(leads[:2], show=make_show().pk)  # what is asked once a process is asked here
    counts = []
    for some in (leads[2:3], leads[3:]):
        with CaptureQueriesContext(connection) as queries:
            wet(some, show=make_show().pk)
        counts.append(len(queries))
    assert counts[0] == counts[1], counts


# wirings


THREE = {
    "name": "Odd lead",
    "ends": "A: three-pin socket: 1 2 3 sh\n\n B: three-pin plug: 1 2 3 sh",
    "nets": "A1=B1 screen | A2=B2 hot | A3=B3 cold",
}


def test_a_technicians_wiring_is_kept_and_says_what_uses_it(lead):
    wiring, used = wiring_save(wiring=None, **THREE)
    assert (wiring.key, wiring.shipped, used) == ("odd-lead", False, [])
    assert wiring_save(wiring=None, **{**THREE, "name": "odd Lead 2"})[0].key == "odd-lead-2"
    shipped = Wiring.objects.get(key="three-pin")
    Wiring.objects.filter(pk=shipped.pk).update(shipped=True)
    changed, used = wiring_save(wiring=shipped, **{**THREE, "name": "three-pin", "nets": THREE["nets"] + " | Ash=Bsh"})
    assert used == [lead.type] and not changed.shipped


@pytest.mark.parametrize(
    ("field", "changed"),
    [
        ("name", {"name": "  "}),
        ("name", {"name": "THREE-PIN"}),
        ("name", {"name": "x" * 81}),
        ("nets", {"nets": "A1=B9"}),
        ("nets", {"nets": "A1=B1 | A1=B2"}),
        ("nets", {"ends": "no end"}),
    ],
)
def test_a_wiring_that_contradicts_itself_is_refused_with_a_sentence(lead, field, changed):
    with pytest.raises(WiringRefused) as caught:
        wiring_save(wiring=None, **{**THREE, **changed})
    assert caught.value.field == field and str(caught.value)
    assert Wiring.objects.count() == 1


def test_a_wiring_in_use_stays(lead):
    wiring = make_wiring()
    with pytest.raises(WiringRefused, match="wired like that"):
        wiring_delete(wiring=wiring)
    lead.type.lead_facts.delete()
    wiring_delete(wiring=wiring)
    assert not Wiring.objects.exists()


def test_shipped_wirings_come_in_once_and_leave_alone_what_the_shop_changed(company):
    entries = [{"key": "one", **THREE}, {"key": "two", **THREE, "name": "Another"}]
    assert len(wirings_load(entries=entries).added) == 2
    assert wirings_load(entries=entries).words == "0 wirings added, 0 brought up to date."
    wiring_save(wiring=Wiring.objects.get(key="one"), **THREE, notes="ours")
    entries = [{**entry, "source": "A newer page"} for entry in entries]
    loaded = wirings_load(entries=entries)
    assert loaded.renewed == ["Another"] and loaded.kept == ["Odd lead"] and "Odd lead" in loaded.words
    assert Item.objects.count() == 0


def test_every_lead_of_the_catalogue_has_a_wiring_that_the_bench_can_read(company):
    call_command("load_catalogue", verbosity=0)
    call_command("load_catalogue", verbosity=0)
    types = GearType.objects.filter(kind__in=[Kind.LEAD, Kind.MULTICORE])
    items = [make_item(type=type_, length_mm=10_000) for type_ in types]
    named = {item.pk for item in items if item.type.facts and item.type.facts.wiring}
    told = {pk: subject.no_lead for pk, subject in subject_of(items).items() if pk in named and subject.lead is None}
    assert len(named) >= 15 and told == {}
