"""I have so many minutes: what do I test?"""

import uuid
from datetime import date, timedelta

import pytest
from django.urls import reverse

from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.bench_needs import before_shows
from maintenance.bench_queue import Asked, queue_of
from maintenance.models import BenchTest, Fault, Repair, RetestRule, Risk, Sitting, TestCall
from maintenance.registries import coming_between
from maintenance.services.faults import fault_open
from tests.builders import (
    NOW,
    a_day,
    make_case,
    make_checkout,
    make_counted_line,
    make_item,
    make_place,
    make_pull_row,
    make_show,
    make_type,
)

TODAY = date(2026, 9, 25)


@pytest.fixture(autouse=True)
def still(monkeypatch, company):
    """Stop the clock at NOW: Friday 25 September 2026, 10:00 in London."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


@pytest.fixture
def lead(company):
    made = make_type(Kind.LEAD, name="Microphone lead")
    RetestRule.objects.create(type=made, minutes_a_test=2)
    return made


def risky(item: Item, chance: float) -> Item:
    Risk.objects.create(item=item, made_at=NOW, chance_now=chance)
    return item


def reported(item: Item, symptom: str = "hums", **kw) -> Item:
    fault_open(uid=uuid.uuid4(), item=item, symptom=symptom, at=NOW - timedelta(days=1), **kw)
    return item


def listed(minutes: int = 90, **kw) -> dict[int, str]:
    """Return what the list says: the why of each item by its key, in order."""
    queue = queue_of(asked=Asked(minutes=minutes, **kw), day=TODAY)
    return {row.item.pk: row.pick.why for row in queue.rows}


def page(client, **given):
    answer = client.get(reverse("bench"), given)
    return answer, answer.content.decode()


# ---- what is on it --------------------------------------------------------------------------------------------------


def test_what_somebody_reported_is_on_it_with_what_was_said(lead):
    item = reported(make_item(type=lead))
    assert listed()[item.pk].startswith("Somebody reported: it hums")


def test_a_report_is_no_certainty_until_it_is_tested(lead):
    item = risky(reported(make_item(type=lead)), 1.0)
    assert "60\u202f% that it is bad" in listed()[item.pk]


def test_what_is_overdue_says_by_how_much(lead):
    item = make_item(type=lead, tested_on=a_day(-200), test_by=a_day(-11))
    assert "Its test is 11 days overdue" in listed()[item.pk]


def test_what_got_wet_is_called_in(lead):
    item = make_item(type=lead)
    TestCall.objects.create(uid=uuid.uuid4(), item=item, why="wet", at=NOW)
    assert "it got wet" in listed()[item.pk]


def test_a_call_weighs_at_once_whatever_was_reckoned_before(lead):
    item = risky(make_item(type=lead), 0.017)
    TestCall.objects.create(uid=uuid.uuid4(), item=item, why="wet", at=NOW)
    assert "20\u202f% that it is bad" in listed()[item.pk]
    heard = risky(reported(make_item(type=lead)), 0.017)
    assert "60\u202f% that it is bad" in listed()[heard.pk]


def test_what_is_out_already_is_asked_of_no_shelf_and_named_apart(as_technician, lead):
    show = make_show(load_in=NOW + timedelta(hours=2), name="Harvest supper")
    make_pull_row(show, type=lead, count=2)
    due = make_item(type=lead, test_by=a_day(-1))
    away = [make_item(type=lead) for _ in range(2)]
    make_checkout(show, away[0], at=NOW - timedelta(hours=1))
    assert "Harvest supper" in listed()[due.pk]
    assert [(one.count, one.out) for one in coming_between(TODAY, a_day(1))] == [(1, 1)]
    make_checkout(show, away[1], at=NOW - timedelta(hours=1))
    assert "Harvest supper" not in listed()[due.pk]
    _answer, text = page(as_technician)
    assert f"Out already to Harvest supper: 2 {lead.name}." in text


def test_what_cannot_be_tested_before_its_show_loads_does_not_come_first(lead):
    from company.clock import now

    other = make_type(Kind.LEAD)
    soon, later = make_show(load_in=now() + timedelta(minutes=2)), make_show(load_in=now() + timedelta(hours=30))
    first, second = make_item(type=lead, test_by=a_day(-1)), make_item(type=other, test_by=a_day(-1))
    make_pull_row(soon, item=first)
    make_pull_row(later, item=second)
    blocks = {p.candidate.item: p.candidate.blocks for p in queue_of(asked=Asked(), day=TODAY, at=now()).plan.picks}
    assert blocks == {first.pk: False, second.pk: True}


def test_a_coming_show_that_names_it_is_said(lead):
    item = risky(make_item(type=lead), 0.02)
    make_pull_row(make_show(load_in=NOW + timedelta(days=3), name="Ceilidh"), item=item)
    assert "Wanted for Ceilidh on Mon 28 Sep" in listed()[item.pk]


def test_a_show_that_goes_short_without_it_is_said_and_comes_first(lead):
    due = make_item(type=lead, length_mm=10_000, tested_on=a_day(-200), test_by=a_day(-1))
    worse = risky(make_item(), 0.5)
    make_pull_row(make_show(load_in=NOW + timedelta(days=2), name="Fair"), type=lead, length_mm=10_000, count=1)
    found = listed()
    assert list(found) == [due.pk, worse.pk]
    assert "Fair on Sun 27 Sep lacks known good ones without it" in found[due.pk]


def test_counted_ones_are_enough_too(lead):
    due = make_item(type=lead, length_mm=10_000, tested_on=a_day(-200), test_by=a_day(-1))
    make_counted_line(24, type=lead, length_mm=10_000)
    make_pull_row(make_show(load_in=NOW + timedelta(days=2)), type=lead, length_mm=10_000, count=8)
    assert "lacks known good ones" not in listed()[due.pk]


def test_what_failed_at_the_bench_waits_for_a_repair_and_comes_back_once_mended(lead):
    item = make_item(type=lead)
    fault = Fault.objects.create(uid=uuid.uuid4(), item=item, symptom="other", found="bench", opened_at=NOW - timedelta(days=2))
    Item.objects.filter(pk=item.pk).update(suspect_since=fault.opened_at)
    queue = queue_of(asked=Asked(), day=TODAY)
    assert (queue.rows, queue.to_mend) == ([], 1)
    Repair.objects.create(uid=uuid.uuid4(), item=item, fault=fault, done_at=NOW, did="new plug")
    assert "it was mended" in listed()[item.pk]


@pytest.mark.parametrize("away", ["show", "lent", "missing", "repairer", "retired"])
def test_what_is_not_here_is_not_on_it(lead, away):
    item = reported(make_item(type=lead))
    match away:
        case "show":
            make_checkout(make_show(), item)
        case "lent":
            Item.objects.filter(pk=item.pk).update(lent_to="the chapel", lent_on=TODAY)
        case "missing":
            Item.objects.filter(pk=item.pk).update(missing_since=NOW)
        case "repairer":
            Item.objects.filter(pk=item.pk).update(at=make_place(sort="repairer"))
        case "retired":
            Item.objects.filter(pk=item.pk).update(retired_on=TODAY, retired_because="gone")
    assert listed() == {}
    assert queue_of(asked=Asked(), day=TODAY).away == (1 if away == "show" else 0)


def test_what_nothing_asks_for_and_is_hardly_bad_is_left_alone(as_technician, lead):
    risky(make_item(type=lead), 0.004)
    answer, text = page(as_technician)
    assert answer.context["queue"].rows == []
    assert "Nothing is worth testing tonight," in text
    assert "no test falls due within 7 days" in text
    assert "the likeliest to be bad is so with a chance of 0.4\u202f%" in text


def test_the_list_fits_the_minutes_and_says_what_it_leaves_out(as_technician, lead):
    for _ in range(20):
        reported(make_item(type=lead))
    answer, text = page(as_technician, minutes="21")
    plan = answer.context["queue"].plan
    # fetching the leads takes 3 minutes, each 2
    assert (len(plan.picks), plan.minutes) == (9, 21)
    assert "11 more wait for a test and would need 22 minutes." in text


def test_things_are_fetched_from_their_case_or_their_shelf(lead):
    shelf, box = make_place(name="Shelf 1"), make_case(name="7")
    Item.objects.filter(pk=box.pk).update(home=shelf)
    one, other = reported(make_item(type=lead, in_case=box)), reported(make_item(type=lead, home=shelf))
    where = {row.item.pk: row.shelf for row in queue_of(asked=Asked(), day=TODAY).rows}
    assert where == {one.pk: f"Shelf 1, in {Item.objects.get(pk=box.pk).label}", other.pk: "Shelf 1"}


# ---- narrowed -------------------------------------------------------------------------------------------------------


def test_it_is_narrowed_by_place_kind_and_show(lead):
    shelf, ceilidh = make_place(), make_show(load_in=NOW + timedelta(days=2))
    here = reported(make_item(type=lead, home=shelf))
    box = reported(make_item())
    make_pull_row(ceilidh, item=box)
    assert set(listed(place=shelf.pk)) == {here.pk}
    assert set(listed(kind="interface-box")) == {box.pk}
    assert set(listed(show=ceilidh.pk)) == {box.pk}


@pytest.mark.parametrize("typed", ["0", "-5", "lots", "1e3", "9999999", "4", "²"])
def test_odd_minutes_are_said_in_words_and_the_list_is_still_there(as_technician, lead, typed):
    reported(make_item(type=lead))
    answer, text = page(as_technician, minutes=typed)
    assert answer.status_code == 422
    assert "Write whole minutes, from 5 to 600." in text
    assert len(answer.context["queue"].rows) == 1


# ---- handed on ------------------------------------------------------------------------------------------------------


def test_a_sitting_is_begun_with_the_list(as_technician, lead):
    items = [reported(make_item(type=lead)) for _ in range(2)]
    answer = as_technician.post(reverse("bench-start"), {"minutes": "30"})
    assert answer["Location"] == f"{reverse('sittings')}?minutes=30"
    assert set(as_technician.session["bench_list"]) == {item.code for item in items}


def test_who_has_sat_before_begins_at_once_with_the_same_instrument(as_technician, technician, lead):
    reported(make_item(type=lead))
    meter = make_item(kind=Kind.INSTRUMENT, name="2")
    with_it = {"instrument": meter, "depth": "ohms-flexed", "null_ohms": 0.15}
    Sitting.objects.create(person=technician, began_at=NOW - timedelta(days=3), ended_at=NOW - timedelta(days=3), **with_it)
    answer = as_technician.post(reverse("bench-start"), {"minutes": "30"})
    made = Sitting.objects.get(ended_at=None)
    assert answer["Location"] == made.get_absolute_url()
    assert (made.instrument, made.depth, made.null_ohms, made.minutes) == (meter, "ohms-flexed", 0.15, 30)
    assert reverse("sitting-change", args=[made.pk]) in as_technician.get(made.get_absolute_url()).content.decode()


def test_the_marks_of_the_list_have_a_key(as_technician, lead):
    reported(make_item(type=lead))
    assert "unproved: never tested" in page(as_technician)[1]


def test_on_paper_it_is_in_walking_order(as_technician, lead):
    far, near = make_place(name="Far shelf", rank=9), make_place(name="Near shelf", rank=2)
    reported(make_item(type=lead, home=far))
    reported(make_item(home=near))
    answer = as_technician.get(reverse("bench-paper"))
    assert list(answer.context["stops"]) == ["Near shelf", "Far shelf"]


def test_a_hand_is_not_asked_to_test(as_hand):
    assert as_hand.get(reverse("bench")).status_code == 403
    assert as_hand.post(reverse("bench-start")).status_code == 403


# ---- cost -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [1, 50])
def test_the_list_costs_the_same_queries_however_many(as_technician, lead, count, django_assert_num_queries):
    show = make_show(load_in=NOW + timedelta(days=2))
    for n in range(count):
        item = risky(reported(make_item(type=lead, length_mm=1000 * n, test_by=a_day(-1))), 0.3)
        TestCall.objects.create(uid=uuid.uuid4(), item=item, why="wet", at=NOW)
        make_pull_row(show, item=item)
    make_pull_row(show, type=lead, count=3)
    with django_assert_num_queries(QUERIES):
        page(as_technician, minutes="200")


QUERIES = 34


@pytest.mark.parametrize("count", [1, 50])
def test_what_coming_shows_take_along_costs_the_same_however_many(lead, count, django_assert_num_queries):
    for n in range(count):
        make_pull_row(make_show(load_in=NOW + timedelta(days=1 + n % 10)), type=lead, count=2)
    with django_assert_num_queries(4):
        assert len(coming_between(TODAY, a_day(14))) == count


# ---- needs a person -------------------------------------------------------------------------------------------------


class Asking:
    def __init__(self, person) -> None:
        self.user = person


def needs(person):
    return list(before_shows(Asking(person), NOW))  # type: ignore[arg-type]


def test_a_show_that_goes_short_unless_tested_is_a_need(technician, hand, lead):
    make_item(type=lead, length_mm=10_000, tested_on=a_day(-200), test_by=a_day(1))
    show = make_show(load_in=NOW + timedelta(days=2), name="Fair")
    make_pull_row(show, type=lead, length_mm=10_000, count=1)
    (need,) = needs(technician)
    assert (need.name, need.code) == ("Test 1 before it loads", "Fair")
    assert need.why == "It goes short unless tested first: 1 Microphone lead 10\u2009m."
    assert need.url.endswith(f"?show={show.pk}")
    assert needs(hand) == []


def test_a_named_thing_whose_proof_runs_out_before_is_a_need(technician, lead):
    item = make_item(type=lead, name="A", tested_on=a_day(-200), test_by=a_day(1))
    make_pull_row(make_show(load_in=NOW + timedelta(days=2)), item=item)
    (need,) = needs(technician)
    assert "Microphone lead A by Sat 26 Sep" in need.why


def test_what_is_due_but_not_missed_is_no_need(technician, lead):
    make_item(type=lead, length_mm=10_000, tested_on=a_day(-200), test_by=a_day(1))
    make_item(type=lead, length_mm=10_000)
    make_pull_row(make_show(load_in=NOW + timedelta(days=2)), type=lead, length_mm=10_000, count=1)
    assert needs(technician) == []


def test_at_most_a_few_shows_are_named(technician, lead):
    for n in range(6):
        item = make_item(type=lead, name=f"{n}", tested_on=a_day(-200), test_by=a_day(0))
        make_pull_row(make_show(load_in=NOW + timedelta(days=1 + n)), item=item)
    assert len(needs(technician)) == 3


def test_the_sitting_says_what_is_next_on_the_list_until_it_is_done(as_technician, technician, lead):
    one, other = reported(make_item(type=lead, name="A")), reported(make_item(type=lead, name="B"))
    sitting = Sitting.objects.create(person=technician, began_at=NOW)
    assert as_technician.post(reverse("bench-start"), {"minutes": "30"})["Location"] == sitting.get_absolute_url()

    def says() -> str:
        return " ".join(as_technician.get(sitting.get_absolute_url()).content.decode().split())

    assert "Next on your list:" in says() and "Microphone lead A" in says() and "Microphone lead B" in says()
    for item in (one, other):
        made = uuid.uuid4()
        BenchTest.objects.create(
            uid=made, item=item, procedure="word", depth="lamps", done_at=NOW, received_at=NOW, verdict="pass", sitting=sitting
        )
    assert "Your list is done." in says()
