"""The shelf in a browser: lists, forms sent twice, odd input, who may do what."""

import re
import uuid

import pytest
from django.urls import reverse

from inventory.calc.kinds import Kind
from inventory.models import CaseCount, ConsumableFacts, CountedLine, CountMove, Item
from inventory.services.counted import count_back, count_out, stock_of
from maintenance.models import Fault
from tests.builders import NOW, make_case, make_counted_line, make_item, make_place, make_show, make_type

pytestmark = pytest.mark.django_db
ODD = ["", "-1", "1e9", "4 kB " * 800, "\x00", "99999999999999999999", "<b>", "0.5"]


def sums(line):
    now = stock_of(line)
    return now.owned, now.on_shelf, now.bad, now.out


@pytest.fixture
def show():
    from company.clock import now

    return make_show(load_in=now(), name="Harvest ceilidh")


def post(client, name, line, **data):
    return client.post(reverse(name, args=[line.pk]), {"uid": str(uuid.uuid4()), **data})


def test_the_list_takes_as_many_queries_for_50_lines_as_for_1(as_hand, django_assert_num_queries, show):
    def fill(n):
        for _ in range(n):
            line = make_counted_line(12, type=make_type(Kind.CONSUMABLE))
            ConsumableFacts.objects.create(type=line.type, keep_at_least=20)
            count_out(uid=uuid.uuid4(), line=line, show=show.pk, count=3, at=NOW)

    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    fill(1)
    as_hand.get(reverse("counted"))
    with CaptureQueriesContext(connection) as one:
        as_hand.get(reverse("counted"))
    fill(49)
    with django_assert_num_queries(len(one)):
        page = as_hand.get(reverse("counted"))
    assert len(page.context["lines"]) == 50 and len(one) < 16


def test_the_list_says_what_is_on_the_shelf_out_and_bad_and_keeps_its_filter_when_sorted(as_hand, show):
    line = make_counted_line(24, type=make_type(Kind.LEAD, name="Microphone lead"), length_mm=10_000)
    count_out(uid=uuid.uuid4(), line=line, show=show.pk, count=24, at=NOW)
    count_back(uid=uuid.uuid4(), line=line, show=show.pk, good=22, bad=1, at=NOW)
    make_counted_line(3)
    page = as_hand.get(reverse("counted"), {"q": "microphone", "only": "bad", "sort": "-out"})
    assert [found.pk for found in page.context["lines"]] == [line.pk]
    assert "22 on the shelf, 1 out, 1 bad" in page.content.decode() and "q=microphone" in page.content.decode()
    for odd in ODD:
        assert (
            as_hand.get(reverse("counted"), {"q": odd, "sort": odd, "page": odd, "kind": odd, "home": odd}).status_code == 200
        )


def test_24_out_23_back_1_bad_through_the_forms(as_hand, show):
    line = make_counted_line(24)
    assert post(as_hand, "counted-out", line, **{"out-show": show.pk, "out-count": 24}).status_code == 302
    assert post(as_hand, "counted-back", line, **{"back-show": show.pk, "back-came": 23, "back-bad": 1}).status_code == 302
    assert sums(line) == (24, 22, 1, 1)
    page = as_hand.get(line.get_absolute_url()).content.decode()
    assert "23 came back from Harvest ceilidh, 1 of them bad" in page and "24 went out to Harvest ceilidh" in page


def test_the_same_form_twice_counts_once(as_technician, show):
    line, uid = make_counted_line(10), str(uuid.uuid4())
    for _twice in range(2):
        post(as_technician, "counted-out", line, uid=uid, **{"out-show": show.pk, "out-count": 4})
    assert sums(line) == (10, 6, 0, 4)
    kind, uid = make_type(Kind.LEAD), str(uuid.uuid4())
    for _twice in range(2):
        as_technician.post(reverse("counted-add"), {"uid": uid, "type": kind.pk, "length_mm": "5", "count": 8})
    assert sums(CountedLine.objects.get(type=kind, length_mm=5000)) == (8, 8, 0, 0)


def test_odd_input_is_a_sentence_and_writes_nothing(as_technician, show):
    line = make_counted_line(10)
    before = CountMove.objects.count()
    for odd in ODD:
        for name, data in (
            ("counted-out", {"out-show": show.pk, "out-count": odd}),
            ("counted-out", {"out-show": odd, "out-count": 1}),
            ("counted-back", {"back-show": show.pk, "back-came": odd}),
            ("counted-recount", {"recount-on_shelf": odd}),
            ("counted-change", {"change-what": odd, "change-count": 1}),
            ("counted-lost", {"lost-show": odd, "lost-count": odd}),
        ):
            answer = post(as_technician, name, line, **data)
            assert answer.status_code == 422, (name, odd)
    assert CountMove.objects.count() == before
    assert as_technician.get(reverse("counted-line", args=[2**62])).status_code == 404


def test_more_out_than_there_are_is_asked_about_once_and_then_entered(as_hand, show):
    line = make_counted_line(4)
    sent = {"uid": str(uuid.uuid4()), "out-show": show.pk, "out-count": 6}
    asked = as_hand.post(reverse("counted-out", args=[line.pk]), sent)
    page = asked.content.decode()
    assert asked.status_code == 422 and sums(line) == (4, 4, 0, 0)
    assert "There are 4 on the shelf by the record. Send 6 all the same?" in page and ">Send 6 all the same<" in page
    assert 'name="out-sure" value="6"' in page
    assert post(as_hand, "counted-out", line, **{**sent, "out-count": 7, "out-sure": 6}).status_code == 422  # another number
    answer = as_hand.post(reverse("counted-out", args=[line.pk]), {**sent, "out-sure": 6}, follow=True)
    page = answer.content.decode()
    assert sums(line)[1] == -2 and "2 more are out than the record had: count the shelf." in page
    assert not re.search(r"[\s>]-2\b", page)


def test_the_bad_are_of_those_that_came_back(as_hand, show):
    line = make_counted_line(24)
    post(as_hand, "counted-out", line, **{"out-show": show.pk, "out-count": 23})
    page = as_hand.get(line.get_absolute_url()).content.decode()
    assert "How many came back" in page and "of which bad" in page and 'name="back-came" value="23"' in page
    wrong = post(as_hand, "counted-back", line, **{"back-show": show.pk, "back-came": 2, "back-bad": 3})
    assert wrong.status_code == 422 and "3 bad of 2 that came back cannot be" in wrong.content.decode()
    post(as_hand, "counted-back", line, **{"back-show": show.pk, "back-came": 23, "back-bad": 1})
    assert sums(line) == (24, 23, 1, 0)


def test_taking_back_is_a_new_row_and_both_stay_in_the_ledger(as_hand, as_technician, show):
    line, uid = make_counted_line(10), uuid.uuid4()
    post(as_hand, "counted-out", line, uid=str(uid), **{"out-show": show.pk, "out-count": 4})
    for _twice in range(2):
        as_technician.post(reverse("counted-undo", args=[line.pk, uid]))
    assert sums(line) == (10, 10, 0, 0)
    page = as_hand.get(line.get_absolute_url()).content.decode()
    assert "Taken back: 4 went out to Harvest ceilidh" in page and "<s>4 went out to Harvest ceilidh</s>" in page


def test_a_hand_takes_back_only_what_that_hand_entered(as_hand, as_technician, show):
    line, mine, other = make_counted_line(10), uuid.uuid4(), uuid.uuid4()
    post(as_hand, "counted-out", line, uid=str(mine), **{"out-show": show.pk, "out-count": 1})
    post(as_technician, "counted-out", line, uid=str(other), **{"out-show": show.pk, "out-count": 2})
    for uid in (mine, other, uuid.uuid4()):
        as_hand.post(reverse("counted-undo", args=[line.pk, uid]))
    assert sums(line) == (10, 8, 0, 2)


def test_a_hand_says_what_is_bad_but_does_not_buy(as_hand):
    line = make_counted_line(5)
    assert post(as_hand, "counted-change", line, **{"change-what": "found-bad", "change-count": 1}).status_code == 302
    assert post(as_hand, "counted-change", line, **{"change-what": "bought", "change-count": 9}).status_code == 422
    for name in ("counted-recount", "counted-lost", "counted-label", "counted-edit"):
        assert post(as_hand, name, line).status_code == 403
    assert as_hand.get(reverse("counted-add")).status_code == 403
    assert sums(line) == (5, 4, 1, 0)


def test_only_an_owner_sees_what_it_is_worth(as_owner, as_technician):
    line = make_counted_line(10, type=make_type(Kind.LEAD, replacement_cents=1250))
    assert "125.00" in as_owner.get(line.get_absolute_url()).content.decode()
    assert "125.00" not in as_technician.get(line.get_absolute_url()).content.decode()


def test_a_counted_lead_becomes_an_item_when_it_is_labelled(as_technician):
    from inventory.services.labels import labels_mint

    line, uid = make_counted_line(10, length_mm=10_000, home=make_place()), str(uuid.uuid4())
    code = labels_mint(count=1, at=NOW)[0].code
    for _twice in range(2):
        answer = post(as_technician, "counted-label", line, uid=uid, **{"label-code": code})
        assert answer.status_code == 302
    item = Item.objects.get()
    assert (item.code, item.type, item.length_mm, item.home) == (code, line.type, 10_000, line.home)
    assert sums(line) == (9, 9, 0, 0) and item.suspect_since is None
    page = as_technician.get(line.get_absolute_url()).content.decode()
    assert "One got a label of its own" in page


def test_a_bad_lead_becomes_a_suspect_item(as_technician):
    line = make_counted_line(10)
    post(as_technician, "counted-change", line, **{"change-what": "found-bad", "change-count": 1})
    post(as_technician, "counted-label", line, **{"label-code": "", "label-bad": "on"})
    item = Item.objects.get()
    assert item.suspect_since and Fault.objects.get().item == item and sums(line) == (9, 9, 0, 0)


def test_a_taken_or_wrong_code_labels_nothing(as_technician):
    line, taken = make_counted_line(10), make_item()
    for code in (taken.code, "NOTACODE", "x" * 300):
        assert post(as_technician, "counted-label", line, **{"label-code": code}).status_code == 422
    assert Item.objects.count() == 1 and sums(line) == (10, 10, 0, 0)


def test_the_line_says_in_which_cases_some_of_it_lies(as_hand):
    line, case = make_counted_line(10), make_case(name="Blue")
    CaseCount.objects.create(uid=uuid.uuid4(), case=case, line=line, count=6, effective_at=NOW)
    page = as_hand.get(line.get_absolute_url()).content.decode()
    assert "6 lie in" in page and case.code in page


def test_a_shelf_label_and_words_find_the_line(as_hand, company):
    from company.registries import SEARCH

    line = make_counted_line(4, type=make_type(Kind.LEAD, name="Jack lead"), length_mm=3000)
    place = make_place(name="Jack shelf")
    make_counted_line(4, type=line.type, length_mm=6000)
    found = SEARCH["shelf"]
    assert [f.url for f in found(None, f"COUNT.{line.pk}", 10)] == [line.get_absolute_url()]
    assert [f.name for f in found(None, "jack 3m", 10)] == [line.label]
    assert place.name in [f.name for f in found(None, "jack shelf", 10)]
    for odd in ODD:
        list(found(None, odd, 5))
