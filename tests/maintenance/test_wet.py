"""It rained on us: one tap on a show, a case or a thing calls for tests; one tap takes it back; who may, and what is said."""

import uuid
from datetime import timedelta

import pytest

from company.clock import now, today
from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.models import RetestRule, TestCall
from maintenance.wet import taps_of_show
from tests.builders import make_case, make_checkout, make_item, make_lead, make_show, make_type
from tests.conftest import signed_in
from tests.maintenance.bench_rows import bench_test

pytestmark = pytest.mark.django_db


@pytest.fixture
def show(company):
    """A show that is on now."""
    return make_show(load_in=now() - timedelta(hours=3))


def out(show, item, **kw):
    if "closed_at" in kw:
        kw |= {"closed_uid": uuid.uuid4(), "ended": "back"}
    make_checkout(show, item, at=show.load_in + timedelta(minutes=5), **kw)
    return item


def said(answer, client):
    return client.get(answer.url).content.decode()


def test_one_tap_calls_all_that_is_out_to_the_show_and_nothing_else(as_hand, show):
    there = {out(show, make_lead()).pk for _ in range(3)}
    make_lead()
    out(show, make_lead(), closed_at=now() - timedelta(hours=1))
    out(show, make_item(kind=Kind.STAND))
    answer = as_hand.post(f"/bench/wet/show/{show.pk}/")
    assert answer.url == f"/shows/{show.pk}/#wet"
    assert set(TestCall.objects.values_list("item", flat=True)) == there
    assert set(TestCall.objects.values_list("show", "why")) == {(show.pk, "wet")}
    page = said(answer, as_hand)
    assert "Noted of 3 things" in page and "It rained on 3 things" in page and "test them before they go out again" in page


def test_test_falls_due_at_once_where_the_rule_says_so_and_not_where_it_does_not(as_hand, show):
    tough = make_type(Kind.LEAD)
    RetestRule.objects.create(type=tough, after_wet=False)
    asks, no = out(show, make_lead()), out(show, make_item(type=tough))
    answer = as_hand.post(f"/bench/wet/show/{show.pk}/")
    asks.refresh_from_db()
    no.refresh_from_db()
    assert asks.test_by == today(now()) and no.test_by is None
    assert "test 1 of them before they go out again" in said(answer, as_hand)


def test_one_tap_takes_it_back_and_dates_are_what_they_were(as_hand, show):
    item = out(show, make_lead())
    as_hand.post(f"/bench/wet/show/{show.pk}/")
    call = TestCall.objects.get()
    answer = as_hand.post("/bench/wet/take-back/", {"show": show.pk, "at": call.at.isoformat()})
    item.refresh_from_db()
    call.refresh_from_db()
    assert call.withdrawn_at is not None and item.test_by is None
    page = said(answer, as_hand)
    assert "Taken back for 1 thing" in page and "It rained on 1" not in page


def test_two_taps_are_taken_back_one_by_one(as_hand, hand, show):
    out(show, make_lead())
    as_hand.post(f"/bench/wet/show/{show.pk}/")
    as_hand.post(f"/bench/wet/show/{show.pk}/")
    first, second = sorted(TestCall.objects.all(), key=lambda call: call.at)
    as_hand.post("/bench/wet/take-back/", {"show": show.pk, "at": second.at.isoformat()})
    assert [tap.at for tap in taps_of_show(show.pk, hand)] == [first.at]


def test_a_hand_takes_back_its_own_word_only_and_a_technician_anybody_s(as_hand, as_technician, show):
    from tests.builders import make_person

    other = signed_in(make_person("hand"))
    out(show, make_lead())
    other.post(f"/bench/wet/show/{show.pk}/")
    call = TestCall.objects.get()
    given = {"show": show.pk, "at": call.at.isoformat()}
    assert "Take it back" not in as_hand.get(f"/shows/{show.pk}/").content.decode()
    assert "nothing to take back" in said(as_hand.post("/bench/wet/take-back/", given), as_hand)
    call.refresh_from_db()
    assert call.withdrawn_at is None
    as_technician.post("/bench/wet/take-back/", given)
    call.refresh_from_db()
    assert call.withdrawn_at is not None


def test_after_the_show_it_is_what_was_out_at_its_end(as_hand, company):
    show = make_show(load_in=now() - timedelta(days=3))
    stayed = out(show, make_lead(), closed_at=show.home_by)
    out(show, make_lead(), closed_at=show.start)
    as_hand.post(f"/bench/wet/show/{show.pk}/")
    assert [call.item for call in TestCall.objects.all()] == [stayed]


def test_a_show_nothing_went_to_offers_no_weather(as_hand, show):
    assert "It rained on us" not in as_hand.get(f"/shows/{show.pk}/").content.decode()
    assert "Nothing was out to it" in said(as_hand.post(f"/bench/wet/show/{show.pk}/"), as_hand)
    assert as_hand.post("/bench/wet/show/999999/").status_code == 404
    coming = make_show(load_in=now() + timedelta(days=9))
    assert "It rained on us" not in as_hand.get(f"/shows/{coming.pk}/").content.decode()


def test_a_case_calls_all_in_it_and_in_the_cases_in_it(as_hand, company):
    case, inner = make_case(name="Trunk"), make_case(name="Pouch")
    Item.objects.filter(pk=inner.pk).update(in_case=case)
    inside = [make_lead(in_case=case), make_lead(in_case=inner), make_lead()]
    answer = as_hand.post(f"/a/{case.code}/wet/")
    assert answer.url == f"/cases/{case.code}/"
    assert set(TestCall.objects.values_list("item", flat=True)) == {inside[0].pk, inside[1].pk}
    page = said(answer, as_hand)
    assert "One thing in it got wet" in page and "Take it back" in page
    as_hand.post("/bench/wet/take-back/", {"code": case.code, "at": TestCall.objects.first().at.isoformat()})
    assert not TestCall.objects.filter(withdrawn_at=None).exists()


def test_an_empty_case_says_so(as_hand, company):
    case = make_case()
    assert "nothing in it that needs a test" in said(as_hand.post(f"/a/{case.code}/wet/"), as_hand)


def test_a_thing_is_called_alone_and_its_next_test_answers(as_hand, company, technician):
    item = make_lead(tested_on=today(now()) - timedelta(days=9), test_by=today(now()) + timedelta(days=90))
    page = said(as_hand.post(f"/a/{item.code}/wet/"), as_hand)
    assert "It got wet" in page and "Take it back" in page
    item.refresh_from_db()
    assert item.test_by == today(now())
    call = TestCall.objects.get()
    call.answered_by = bench_test(item, done_at=now())
    call.save(update_fields=["answered_by"])
    assert "Take it back" not in as_hand.get(f"/a/{item.code}").content.decode()


@pytest.mark.parametrize(
    "instant", ["", "now", "2026-09-25", "2026-09-25T10:00", "9999-99-99T00:00:00Z", "0001-01-01T00:00+14:00"]
)
@pytest.mark.parametrize("what", [{"show": "1"}, {"show": "x"}, {"show": "9" * 30}, {}, {"code": "NOTACODE"}])
def test_odd_ways_to_take_back_change_nothing(as_hand, show, instant, what):
    out(show, make_lead())
    as_hand.post(f"/bench/wet/show/{show.pk}/")
    assert as_hand.post("/bench/wet/take-back/", {"at": instant, **what}).status_code in (302, 404)
    assert TestCall.objects.filter(withdrawn_at=None).count() == 1


def test_a_case_with_something_suspect_says_so_wherever_it_is_handled(as_hand, as_technician, show):
    case = make_case(name="Trunk")
    bad = make_lead(in_case=case, suspect_since=now())
    assert "one thing in it is suspect" in as_hand.get(f"/cases/{case.code}/").content.decode()
    assert "1 suspect in it" in as_hand.get("/cases/").content.decode()
    assert "one thing in it is suspect" in as_hand.get(f"/cases/{case.code}/pack/").content.decode()
    assert "Look: 1 suspect in it" in said(as_technician.post(f"/cases/{case.code}/close/", {}), as_technician)
    known = as_hand.get(f"/dock/lookup?code={case.code}").json()["items"][case.code]
    assert known["says"] == f"suspect in it: {bad.label}"
    out(show, case)
    out(show, bad)
    page = as_hand.get(f"/shows/{show.pk}/").content.decode()
    assert "one thing out with it is suspect" in page and f"in {case.label}" in page


def test_dead_channels_are_named_wherever_a_part_good_thing_is_offered(as_hand, as_technician, show):
    from tests.builders import make_pull_row

    core = make_item(kind=Kind.MULTICORE, excepts="14", tested_on=today(now()), name="A")
    make_pull_row(show, item=core)
    assert "nothing on 14" in as_hand.get(f"/dock/lookup?code={core.code}").content.decode()
    assert "nothing on 14" in as_technician.get(f"/shows/{show.pk}/pull/").content.decode()
    assert "good except 14: nothing on 14" in as_hand.get(f"/shows/{show.pk}/print/").content.decode()
    out(show, core)
    assert "nothing on 14" in as_hand.get(f"/shows/{show.pk}/").content.decode()
