"""Cases in a browser: short and extra at a glance, plans, packing by scans, closing."""

import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.calc import codes
from inventory.calc.kinds import Kind
from inventory.models import CaseCount, CaseFacts, Item, Placement
from inventory.registries import ITEM_ACTIONS, ITEM_LIFE, ITEM_PANELS
from inventory.services.cases import case_count_set, placement_record, plan_line_set
from maintenance.models import Fault
from tests.builders import NOW, make_case, make_counted_line, make_item, make_place, make_show, make_type

pytestmark = pytest.mark.django_db


def put(item, case, **kw):
    return placement_record(uid=uuid.uuid4(), item=item, case=case, effective_at=NOW, **kw)


def scan(client, case, text, **kw):
    return client.post(reverse("case-pack", args=[case.code]), {"uid": str(uuid.uuid4()), "text": text, **kw}, follow=True)


def inside(case):
    return set(Item.objects.filter(in_case=case).values_list("pk", flat=True))


def said(answer):
    return answer.context["answer"]["signal"], answer.context["answer"]["said"]


def test_the_list_tells_short_and_extra_at_a_constant_cost(as_hand, django_assert_num_queries):
    kind, other, line = make_type(name="Microphone"), make_type(name="Clip"), make_counted_line(9)

    def fill(n):
        for _ in range(n):
            case = make_case()
            plan_line_set(case=case, type=kind, length_mm=0, count=3)
            put(make_item(type=kind), case)
            put(make_item(type=other), case)
            case_count_set(uid=uuid.uuid4(), case=case, line=line, count=2, at=NOW)

    fill(1)
    as_hand.get(reverse("cases"))
    with CaptureQueriesContext(connection) as one:
        page = as_hand.get(reverse("cases")).content.decode()
    assert "2 Microphone" in page and "1 Clip" in page and "1 of 3" in page
    fill(49)
    with django_assert_num_queries(len(one)):
        page = as_hand.get(reverse("cases"))
    assert len(page.context["cases"]) == 50
    make_case(name="whole")
    assert len(as_hand.get(reverse("cases"), {"only": "short"}).context["cases"]) == 50
    assert len(as_hand.get(reverse("cases"), {"q": "whole"}).context["cases"]) == 1
    for odd in ("", "\x00", "x" * 4000, "-1", "'"):
        assert as_hand.get(reverse("cases"), {"q": odd, "page": odd, "only": odd}).status_code == 200


def test_scan_the_case_scan_what_goes_in_close(as_hand):
    case, items, line = make_case(), [make_item() for _ in range(3)], make_counted_line(9, length_mm=5000)
    plan_line_set(case=case, type=line.type, length_mm=5000, count=6)
    opened = as_hand.post(reverse("packing"), {"text": codes.spell(case.code), "uid": str(uuid.uuid4())})
    assert opened.url == reverse("case-pack", args=[case.code])
    for item in items:
        assert said(scan(as_hand, case, item.code.lower()))[0] in {"fine", "look"}
    assert inside(case) == {item.pk for item in items}
    closing = scan(as_hand, case, "DO.CLOSE")
    assert "the plan asks for 6" in closing.content.decode()
    close = reverse("case-close", args=[case.code])
    uid = str(uuid.uuid4())
    for _twice in range(2):
        closed = as_hand.post(close, {"uid": uid, f"count-{line.pk}": "4"}, follow=True)
    assert "is closed: 2 short, 3 extra" in closed.content.decode()
    assert CaseCount.objects.get().count == 4
    assert scan(as_hand, case, case.code).redirect_chain[-1][0] == close


def test_a_thing_from_another_case_moves_and_an_undo_takes_it_back(as_hand):
    case, other, item = make_case(), make_case(name="Old"), make_item()
    put(item, other)
    assert "moved here from" in said(scan(as_hand, case, item.code))[1]
    assert "was already in" in said(scan(as_hand, case, item.code))[1]
    assert "Taken back" in said(scan(as_hand, case, "DO.UNDO"))[1]
    assert inside(other) == {item.pk}
    assert "nothing of yours" in said(scan(as_hand, case, "DO.UNDO"))[1]


def test_the_same_scan_sent_twice_is_one_placement(as_hand):
    case, item, uid = make_case(), make_item(), str(uuid.uuid4())
    for _twice in range(2):
        scan(as_hand, case, item.code, uid=uid)
    assert Placement.objects.count() == 1


def test_taking_out(as_hand):
    case, item, stranger = make_case(), make_item(), make_item()
    put(item, case)
    assert said(scan(as_hand, case, item.code, way="out")) == ("fine", f"{item} is out of the case.")
    assert "was not in here" in said(scan(as_hand, case, stranger.code, way="out"))[1]
    put(item, case)
    take = reverse("case-take-out", args=[case.code])
    for _twice in range(2):
        as_hand.post(take, {"item": item.code})
    assert inside(case) == set()
    assert as_hand.post(take, {"item": "nothing!"}).status_code == 404


def test_what_a_packer_should_know_is_said_and_the_thing_is_packed_all_the_same(as_hand):
    case, show = make_case(), make_show(name="Brass concert")
    suspect = make_item(suspect_since=NOW)
    away = make_item(custody="show", custody_show=show.pk)
    planned = make_type()
    plan_line_set(case=case, type=planned, length_mm=0, count=1)
    for item, words in (
        (suspect, "it is suspect"),
        (make_item(retired_on=NOW.date(), retired_because="worn"), "it is retired"),
        (away, "at a show, Brass concert: scan it back"),
        (make_item(lent_to="a friend"), "as lent"),
        (make_item(), "the plan has none of these"),
        (make_item(missing_since=NOW), "as missing"),
    ):
        signal, text = said(scan(as_hand, case, item.code))
        assert signal == "look" and words in text, text
        assert item.pk in inside(case)
    assert said(scan(as_hand, case, make_item(type=planned).code))[0] == "fine"
    assert "the plan has 1, here are 2" in said(scan(as_hand, case, make_item(type=planned).code))[1]
    page = as_hand.get(reverse("case", args=[case.code])).content.decode()
    assert "one thing in it is suspect" in page


def test_what_goes_in_a_case_is_no_longer_at_the_bench(as_hand):
    case, item = make_case(), make_item(at=make_place(sort="bench"))
    scan(as_hand, case, item.code)
    assert Item.objects.get(pk=item.pk).at is None


def test_loops_and_foreign_scans_are_stopped_with_a_sentence(as_hand):
    outer, inner, box = make_case(), make_case(), make_item()
    scan(as_hand, outer, inner.code)
    signal, text = said(scan(as_hand, inner, outer.code))
    assert signal == "stop" and "is packed in" in text
    for text in (
        "",
        "x" * 4000,
        "https://elsewhere.example/q",
        "\x00",
        "DO.OUT",
        "GO.1.OUT",
        "CH.7",
        codes.mint(),
        "COUNT.999",
    ):
        signal, words = said(scan(as_hand, inner, text))
        assert signal == "stop" and words.endswith("."), text
    answer = as_hand.post(reverse("packing"), {"text": box.code, "uid": "not a uid"})
    assert answer.status_code == 422 and "Scan the case first" in answer.content.decode()
    assert Placement.objects.count() == 1


def test_a_thing_that_is_no_case_has_no_case_page(as_technician):
    box, case = make_item(), make_case()
    for name in ("case", "case-pack", "case-close", "case-sheet"):
        answer = as_technician.get(reverse(name, args=[box.code]))
        assert answer.status_code == 404 and "is no case" in answer.content.decode()
    assert as_technician.post(reverse("case-plan", args=[box.code]), {"do": "contents"}).status_code == 404
    assert as_technician.get(reverse("case", args=[codes.spell(case.code).lower()])).status_code == 200
    assert as_technician.get(reverse("case", args=["0000-0000"])).status_code == 404


def test_a_script_gets_the_fragment_alone_with_its_signal(as_hand):
    case, item = make_case(), make_item()
    answer = as_hand.post(
        reverse("case-pack", args=[case.code]), {"uid": str(uuid.uuid4()), "text": item.code}, headers={"X-Fragment": "yes"}
    )
    assert (
        answer.headers["X-Signal"] == "fine"
        and "<html" not in answer.content.decode()
        and item.code[:4] in answer.content.decode()
    )
    answer = as_hand.post(reverse("case-pack", args=[case.code]), {"text": "DO.CLOSE"}, headers={"X-Fragment": "yes"})
    assert answer.headers["X-Go"] == reverse("case-close", args=[case.code])


def test_a_shelf_label_asks_for_a_number(as_hand):
    case, line = make_case(), make_counted_line(9)
    answer = scan(as_hand, case, f"COUNT.{line.pk}")
    assert f'name="count-{line.pk}"' in answer.content.decode()
    close = reverse("case-close", args=[case.code])
    as_hand.post(close, {"uid": str(uuid.uuid4()), "lines": line.pk, "stay": "1", f"count-{line.pk}": "5"})
    assert CaseCount.objects.get().count == 5
    for odd in ("-1", "x", "9" * 30, "1.5", "٣"):
        answer = as_hand.post(close, {"uid": str(uuid.uuid4()), f"count-{line.pk}": odd})
        assert answer.status_code == 422 and "give a whole number" in answer.content.decode()
    as_hand.post(close, {"uid": str(uuid.uuid4()), f"count-{line.pk}": ""})
    assert CaseCount.objects.count() == 1


def test_the_plan_is_edited_copied_and_taken_from_the_contents(as_technician, as_hand):
    case, source, kind = make_case(), make_case(), make_type(Kind.LEAD, name="Lead")
    plan = reverse("case-plan", args=[case.code])
    assert as_hand.post(plan, {"type": kind.pk, "length_mm": "5", "count": 6}).status_code == 403
    as_technician.post(plan, {"type": kind.pk, "length_mm": "5", "count": 6})
    as_technician.post(plan, {"type": kind.pk, "length_mm": "5.0", "count": 8})
    assert list(case.plan.values_list("length_mm", "count")) == [(5000, 8)]
    as_technician.post(reverse("case-plan", args=[source.code]), {"do": "copy", "source": case.pk})
    assert list(source.plan.values_list("length_mm", "count")) == [(5000, 8)]
    as_technician.post(plan, {"type": kind.pk, "length_mm": "5", "count": 8, "off": "1"})
    assert not case.plan.exists()
    put(make_item(type=kind, length_mm=3000), case)
    as_technician.post(plan, {"do": "contents"})
    assert list(case.plan.values_list("length_mm", "count")) == [(3000, 1)]
    for bad in ({"count": "x"}, {"count": -1}, {"count": 10**9}, {"type": 0}, {"length_mm": "nan"}, {"length_mm": "1e300"}):
        assert as_technician.post(plan, {"type": kind.pk, "count": 1, **bad}).status_code == 422
    assert as_technician.post(plan, {"do": "copy", "source": "x"}).status_code == 422


def test_the_case_page_and_sheet_say_what_is_in_it(as_hand):
    case, item, line = make_case(name="Blue"), make_item(name="A"), make_counted_line(9)
    put(item, case)
    case_count_set(uid=uuid.uuid4(), case=case, line=line, count=4, at=NOW)
    for name in ("case", "case-sheet"):
        page = as_hand.get(reverse(name, args=[case.code])).content.decode()
        assert codes.spell(item.code) in page and line.type.name in page
    for _ in range(49):
        put(make_item(), case)
    with CaptureQueriesContext(connection) as many:
        as_hand.get(reverse("case", args=[case.code]))
    assert len(many) < 30


def test_whatever_goes_in_a_bench_bag_is_suspect_until_that_is_taken_back(as_hand):
    bag, item, stand = make_case(), make_item(), make_item(kind=Kind.STAND)
    CaseFacts.objects.create(type=bag.type, bench_bag=True)
    assert "suspect from now on" in said(scan(as_hand, bag, item.code))[1]
    scan(as_hand, bag, stand.code)
    assert Fault.objects.get().item == item and Item.objects.get(pk=item.pk).suspect_since
    scan(as_hand, bag, "DO.UNDO")
    scan(as_hand, bag, "DO.UNDO")
    assert Item.objects.get(pk=item.pk).suspect_since is None and inside(bag) == set()


def test_the_item_page_says_what_is_in_a_case_and_what_a_thing_is_packed_in(rf, hand, as_hand):
    case, item = make_case(name="Blue"), make_item()
    put(item, case, person=hand)
    request = rf.get("/")
    request.user = hand
    item.refresh_from_db()
    assert ITEM_PANELS["case contents"](request, case, NOW).context["sorts"] == [(item.type.name, 1)]
    assert ITEM_PANELS["case contents"](request, item, NOW) is None
    assert ITEM_PANELS["packed in"](request, item, NOW).context["placement"].case == case
    assert [entry.did for entry in ITEM_LIFE["packing"](item, NOW)] == [f"packed in {case}"]
    assert {action.name for action in ITEM_ACTIONS["shelf"](request, case)} >= {"Pack it"}
    for thing in (case, item):
        assert as_hand.get(thing.get_absolute_url()).status_code == 200


def test_the_history_tells_in_out_and_where_to_and_groups_what_went_together(as_hand, django_assert_num_queries):
    from datetime import timedelta

    from inventory.packing import case_history

    case, other, kind = make_case(), make_case(name="Red"), make_type(name="Clip")
    things = [make_item(type=kind) for _ in range(4)]
    for thing in things:
        put(thing, case)

    def later(item, to, hours):
        placement_record(uid=uuid.uuid4(), item=item, case=to, effective_at=NOW + timedelta(hours=hours))

    later(things[0], other, 1)
    later(things[1], None, 2)
    later(things[1], other, 3)  # it was out of this case by then
    later(case, other, 4)
    with django_assert_num_queries(1):
        told = [(p.said, p.count, p.what) for p in case_history(case, 40)]
    assert told == [
        ("this case was packed in", 1, str(case)),
        ("out", 1, "Clip"),
        ("moved to", 1, "Clip"),
        ("in", 4, "Clip"),
    ]
    assert "4 × Clip" in as_hand.get(reverse("case", args=[case.code])).content.decode()
