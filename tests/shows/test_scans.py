"""Recording scans: stored once, answered for good, everything else in the record follows."""

import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.calc import codes
from inventory.calc.kinds import Kind
from inventory.models import CountMove, Item, Label, Placement
from inventory.services.cases import placement_record
from inventory.services.counted import stock_of
from inventory.services.labels import label_bind
from maintenance.calc.bench import Verdict
from maintenance.models import Fault, UseLedger
from maintenance.services.faults import fault_of_item, fault_open
from shows.models import Checkout, Contradiction, CustodyHead, PullRow, Scan
from shows.services.scans import items_refold, scans_record, show_refold
from tests.builders import NOW, make_case, make_counted_line, make_item, make_place, make_pull_row, make_show
from tests.maintenance.bench_rows import bench_test

pytestmark = pytest.mark.django_db


def sent(code, action="out", show=None, *, at=NOW, uid=None, **more):
    code = code.code if isinstance(code, Item) else code
    return {
        "id": str(uid or uuid.uuid4()),
        "seq": 1,
        "code": code,
        "action": action,
        "show": show.pk if hasattr(show, "pk") else show,
        "happened_at": at.isoformat() if isinstance(at, datetime) else at,
        **more,
    }


def record(actor, *scans, at=NOW + timedelta(hours=1), sent_at=None, device="phone"):
    return scans_record(actor=actor, device=device, sent_at=sent_at, scans=list(scans), received_at=at)


@pytest.fixture
def show(company):
    return make_show(name="Harvest ceilidh")


@pytest.fixture
def box(company):
    return make_item(name="A")


def where(item):
    item = Item.objects.get(pk=item.pk)
    return item.custody, item.custody_show


def test_out_and_back_is_one_checkout(hand, show, box):
    (out,) = record(hand, sent(box, "out", show))
    assert (out.outcome, out.signal, out.reason, out.code) == ("accepted", "fine", "Out to Harvest ceilidh.", box.code)
    assert where(box) == ("show", show.pk)
    (truck,) = record(hand, sent(box, "truck", show, at=NOW + timedelta(minutes=5)))
    assert truck.signal == "fine" and where(box) == ("truck", show.pk)
    (back,) = record(hand, sent(box, "back", show, at=NOW + timedelta(minutes=9)))
    assert back.reason == "Back from Harvest ceilidh." and where(box) == ("", None)
    checkout = Checkout.objects.get()
    assert (checkout.ended, checkout.evidence, checkout.closed_by, checkout.opened_by) == ("back", "seen", hand, hand)


def test_same_scan_twice_is_one_checkout_and_one_answer(hand, show, box):
    scan = sent(box, "out", show)
    first = record(hand, scan)
    record(hand, sent(box, "back", show, at=NOW + timedelta(minutes=1)))
    again = record(hand, {**scan, "action": "back", "code": "nonsense"}, scan)
    assert again == [*first, *first] and Scan.objects.count() == 2 and Checkout.objects.count() == 1


def test_the_same_id_twice_in_one_batch_is_one_scan(hand, show, box):
    scan = sent(box, "out", show)
    answers = record(hand, scan, {**scan, "action": "back"})
    assert answers[0] == answers[1] and Scan.objects.count() == 1


def test_a_late_scan_takes_its_place(hand, show, box):
    record(hand, sent(box, "truck", show, at=NOW + timedelta(minutes=30)))
    assert Contradiction.objects.get().stands
    (late,) = record(hand, sent(box, "out", show, at=NOW), at=NOW + timedelta(hours=2))
    assert late.reason == "Out to Harvest ceilidh."
    assert not Contradiction.objects.get().stands
    assert Checkout.objects.get().opened_at == NOW and where(box) == ("truck", show.pk)


def test_a_phone_with_a_clock_two_days_off_is_put_right(hand, show, box):
    wrong = timedelta(days=2)
    record(
        hand, sent(box, "out", show, at=NOW + wrong), sent_at=NOW + wrong + timedelta(minutes=3), at=NOW + timedelta(minutes=3)
    )
    assert Scan.objects.get().effective_at == NOW and Scan.objects.get().happened_at == NOW + wrong


def test_no_scan_is_from_the_future(hand, show, box):
    record(hand, sent(box, "out", show, at=NOW + timedelta(days=300)), at=NOW)
    assert Scan.objects.get().effective_at == NOW


def test_undo_takes_back_and_undo_of_undo_brings_back(hand, show, box):
    out = sent(box, "out", show)
    record(hand, out)
    undo = sent(box, "undo", undoes=out["id"], at=NOW + timedelta(minutes=1))
    assert record(hand, undo)[0].reason == "Taken back: out. It is in the shop."
    assert where(box) == ("", None) and not Checkout.objects.exists()
    redo = sent(box, "undo", undoes=undo["id"], at=NOW + timedelta(minutes=2))
    assert "counts again" in record(hand, redo)[0].reason
    assert where(box) == ("show", show.pk) and Checkout.objects.get().opened_uid == uuid.UUID(out["id"])


def test_undo_that_arrives_first_works(hand, show, box):
    out = sent(box, "out", show)
    undo = sent(box, "undo", undoes=out["id"])
    (kept,) = record(hand, undo)
    assert kept.outcome == "accepted" and "Kept" in kept.reason
    (answer,) = record(hand, out)
    assert answer.outcome == "accepted" and where(box) == ("", None)
    redo = sent(box, "undo", undoes=undo["id"])
    record(hand, redo)
    assert where(box) == ("show", show.pk)


def test_undo_of_a_suspect_report_takes_back_fault_and_label_gone_and_missing(hand, show, box):
    Item.objects.filter(pk=box.pk).update(missing_since=NOW - timedelta(days=1))
    back = sent(box, "back", show, condition="suspect", symptom="hums", note="all night")
    record(hand, back)
    box.refresh_from_db()
    assert box.suspect_since == NOW and box.missing_since is None
    fault = Fault.objects.get()
    assert (fault.symptom, fault.note, fault.show, fault.person) == ("hums", "all night", show.pk, hand)
    undo = sent(box, "undo", undoes=back["id"])
    record(hand, undo)
    box.refresh_from_db()
    assert box.suspect_since is None and box.missing_since == NOW - timedelta(days=1)
    record(hand, sent(box, "undo", undoes=undo["id"]))
    box.refresh_from_db()
    assert box.suspect_since == NOW and box.missing_since is None and Fault.objects.count() == 1


@pytest.mark.parametrize(
    ("condition", "symptom"), [("damaged", "damaged"), ("parts missing", "parts missing"), ("suspect", "other")]
)
def test_each_bad_condition_opens_a_fault(hand, show, box, condition, symptom):
    record(hand, sent(box, "back", show, condition=condition))
    assert Fault.objects.get().symptom == symptom


def test_label_gone_is_noted_and_is_no_fault(hand, show, box):
    back = sent(box, "back", show, condition="label gone")
    record(hand, back)
    assert Item.objects.get(pk=box.pk).label_gone_since == NOW and not Fault.objects.exists()
    record(hand, sent(box, "undo", undoes=back["id"]))
    assert Item.objects.get(pk=box.pk).label_gone_since is None


def test_what_failed_at_the_bench_is_stopped_in_the_bench_s_own_words(hand, show):
    lead = make_item(kind=Kind.LEAD, length_mm=5000)
    test = bench_test(lead, Verdict.FAIL, done_at=NOW - timedelta(days=7))
    told = {"symptom": "other", "found": "bench", "opened_at": test.done_at, "uid": uuid.uuid4()}
    Fault.objects.create(item=lead, note="Core 3 (cold leg) open; Uneven legs", found_by=test, **told)
    Item.objects.filter(pk=lead.pk).update(suspect_since=test.done_at)
    (out,) = record(hand, sent(lead, "out", show))
    assert (out.outcome, out.signal) == ("accepted", "stop")
    assert "Suspect since Fri 18 Sep (at the bench: core 3 (cold leg) open): take another, or undo." in out.reason


def test_suspect_goes_out_against_advice_kept_and_flagged(hand, show, box):
    fault_open(uid=uuid.uuid4(), item=box, symptom="hums", at=NOW - timedelta(days=7), person=hand)
    (out,) = record(hand, sent(box, "out", show))
    assert (out.outcome, out.signal) == ("accepted", "stop")
    assert out.reason == ("It is out to Harvest ceilidh all the same. Suspect since Fri 18 Sep (hums): take another, or undo.")
    assert where(box) == ("show", show.pk) and Contradiction.objects.get().kind == "against advice"
    items_refold(item_ids=[box.pk])
    assert Contradiction.objects.get().said == out.reason and Contradiction.objects.get().stands


def test_a_box_called_dead_in_the_same_batch_is_against_advice(hand, show, box):
    answers = record(
        hand,
        sent(box, "inspect", show, condition="suspect", symptom="dead"),
        sent(box, "out", show, at=NOW + timedelta(seconds=5)),
    )
    assert [a.signal for a in answers] == ["look", "stop"]


def test_back_settles_lent_and_given_back_and_says_so(hand, show):
    lent = make_item(
        lent_to="the chapel", lent_on=(NOW - timedelta(days=9)).date(), lent_home_by=(NOW + timedelta(days=9)).date()
    )
    given = make_item(borrowed_from="Marsh hire", gone_home_on=(NOW - timedelta(days=3)).date())
    first, second = sent(lent, "back"), sent(given, "back")
    one, two = record(hand, first, second)
    assert "lent to the chapel; it is home again" in one.reason and "given back to Marsh hire; it is here again" in two.reason
    lent.refresh_from_db(), given.refresh_from_db()
    assert (lent.lent_to, lent.lent_on, lent.lent_home_by, given.gone_home_on) == ("", None, None, None)
    record(hand, sent(lent, "undo", undoes=first["id"]), sent(given, "undo", undoes=second["id"]))
    lent.refresh_from_db(), given.refresh_from_db()
    assert lent.lent_to == "the chapel" and lent.lent_on and lent.lent_home_by and given.gone_home_on


def test_a_scan_proves_it_is_not_at_the_repairer(hand, show):
    away = make_item(at=make_place(sort="repairer"))
    bench = make_item(at=make_place(sort="bench"))
    record(hand, sent(away, "inspect"), sent(bench, "inspect"))
    away.refresh_from_db(), bench.refresh_from_db()
    assert away.at is None and bench.at is not None
    record(hand, sent(bench, "out", show, at=NOW + timedelta(minutes=1)))
    record(hand, sent(bench, "back", show, at=NOW + timedelta(minutes=2)))
    bench.refresh_from_db()
    assert bench.at is None


def test_unbound_label_is_kept_and_counts_once_bound(hand, show, box):
    code = codes.mint()
    (answer,) = record(hand, sent(code, "out", show))
    assert (answer.outcome, answer.signal, answer.code) == ("unknown", "stop", code)
    Label.objects.create(code=code, minted_at=NOW)
    label_bind(code=code, item=box, at=NOW)
    items_refold(item_ids=[box.pk])
    assert where(box) == ("show", show.pk)


@pytest.mark.parametrize(
    "text", ["DO.OUT", "GO.17.OUT", "https://elsewhere.example/menu", "x" * 4000, "", "💡", None, 12, ["a"]]
)
def test_what_is_no_label_of_ours_is_unknown_and_kept(hand, show, text):
    (answer,) = record(hand, {**sent("x", "out", show), "code": text})
    assert (answer.outcome, answer.signal) == ("unknown", "stop") and answer.reason
    assert Scan.objects.get().outcome == "unknown"


ODD = [
    {"happened_at": "yesterday"},
    {"happened_at": "2026-09-25T10:00:00"},
    {"happened_at": "0001-01-01T00:00:00+14:00"},
    {"happened_at": "9999-12-31T23:59:59-14:00"},
    {"happened_at": "0001-01-01T00:00:00+00:00"},
    {"happened_at": None},
    {"happened_at": 17},
    {"show": 10**30},
    {"show": 999_999},
    {"show": -1},
    {"show": "\0"},
    {"show": True},
    {"condition": "on fire"},
    {"condition": 7},
    {"counted": -1},
    {"counted": 10**30},
    {"counted": "many"},
    {"missing": "all of it"},
    {"missing": 3},
]


@pytest.mark.parametrize("odd", ODD)
def test_malformed_out_is_refused_and_kept_but_back_and_inspect_are_accepted(hand, show, box, odd):
    out, truck, back, seen = record(
        hand, *({**sent(box, action, show), **odd} for action in ("out", "truck", "back", "inspect"))
    )
    unknown_show = "show" in odd
    assert (out.outcome, out.signal) == (truck.outcome, truck.signal) == ("refused", "stop")
    assert out.reason.endswith((".", "again.")) and back.outcome == seen.outcome == "accepted"
    assert Scan.objects.count() == 4 and where(box) == ("", None)
    if not unknown_show:
        assert Scan.objects.get(uid=out.id).as_sent is not None


@pytest.mark.parametrize(
    "odd",
    [
        {"note": "a\0b\ud800c" * 2000},
        {"symptom": "\ud800"},
        {"symptom": {"a": [1, float("nan")]}},
        {"seq": 10**30},
        {"seq": "first"},
        {"replaces": "\0"},
        {"missing": ["\ud800", None, 4]},
        {"device": 4, "extra": {"deep": [[[[[[1]]]]]]}},
    ],
)
def test_small_oddities_cost_nobody_a_scan(hand, show, box, odd):
    (answer,) = record(hand, {**sent(box, "out", show), **odd})
    assert answer.outcome == "accepted" and where(box) == ("show", show.pk)


@pytest.mark.parametrize(
    "odd", [{"action": "explode"}, {"action": None}, {"action": "undo"}, {"action": "undo", "undoes": "x"}]
)
def test_no_action_or_nothing_to_undo_is_refused(hand, show, box, odd):
    (answer,) = record(hand, {**sent(box, "out", show), **odd})
    assert (answer.outcome, answer.signal) == ("refused", "stop")


def test_an_undo_of_what_was_refused_takes_nothing_back(hand, show, box):
    odd = sent(box, "explode", show)
    for batch in ([odd, sent(box, "undo", undoes=odd["id"])], [sent(box, "undo", undoes=odd["id"])]):
        assert record(hand, *batch)[-1].outcome == "accepted"


def test_an_undo_of_itself_is_refused(hand, box):
    uid = uuid.uuid4()
    (answer,) = record(hand, sent(box, "undo", uid=uid, undoes=str(uid)))
    assert answer.outcome == "refused"


def test_only_an_id_that_is_none_raises(hand, box):
    with pytest.raises(ValueError, match="UUID"):
        record(hand, {**sent(box), "id": "7"})


def test_a_strange_device_name_is_cut(hand, show, box):
    record(hand, sent(box, "out", show), device="\0" * 300)
    assert len(Scan.objects.get().device) == 64


# cases


@pytest.fixture
def packed(company, hand):
    case, inside = make_case(name="Trunk"), [make_item(name=str(n)) for n in range(3)]
    for thing in inside:
        placement_record(uid=uuid.uuid4(), item=thing, case=case, effective_at=NOW - timedelta(hours=1), person=hand)
    return case, inside


def test_a_case_takes_its_contents_along(hand, show, packed):
    case, inside = packed
    record(hand, sent(case, "out", show, counted=3))
    assert all(where(i) == ("show", show.pk) for i in (case, *inside))
    assert set(CustodyHead.objects.filter(item__in=inside).values_list("evidence", flat=True)) == {"vouched"}
    record(hand, sent(case, "back", show, at=NOW + timedelta(minutes=5)))
    assert all(where(i) == ("", None) for i in (case, *inside))


def test_missing_contents_are_left_out(hand, show, packed):
    case, inside = packed
    record(hand, sent(case, "out", show, counted=2, missing=[inside[0].code]))
    assert where(inside[0]) == ("", None) and where(inside[1]) == ("show", show.pk) and not Contradiction.objects.exists()


def test_a_wrong_count_is_doubtful_and_one_contradiction(hand, show, packed):
    case, inside = packed
    (answer,) = record(hand, sent(case, "out", show, counted=2))
    assert (answer.outcome, answer.signal) == ("contradiction", "look") and "2 of 3" in answer.reason
    assert [c.item for c in Contradiction.objects.all()] == [case]
    assert set(CustodyHead.objects.filter(item__in=inside).values_list("evidence", flat=True)) == {"doubtful"}
    items_refold(item_ids=[case.pk])
    assert Contradiction.objects.filter(stands=True).count() == 1


def test_a_late_placement_counts(hand, show, packed):
    case, _inside = packed
    record(hand, sent(case, "out", show))
    late = make_item(name="late")
    placement_record(uid=uuid.uuid4(), item=late, case=case, effective_at=NOW - timedelta(minutes=1), person=hand)
    assert where(late) == ("show", show.pk)


def test_undo_of_a_case_scan_takes_its_contents_back(hand, show, packed):
    case, inside = packed
    out = sent(case, "out", show)
    record(hand, out)
    record(hand, sent(case, "undo", undoes=out["id"]))
    assert all(where(i) == ("", None) for i in (case, *inside)) and not Checkout.objects.exists()


def test_undo_takes_back_the_placement_a_scan_caused(hand, show, packed):
    case, (thing, *_rest) = packed
    other = make_case(name="Other")
    scan = sent(thing, "inspect")
    placement_record(uid=uuid.UUID(scan["id"]), item=thing, case=other, effective_at=NOW, device="phone", seq=1, person=hand)
    record(hand, scan)
    record(hand, sent(thing, "undo", undoes=scan["id"]))
    thing.refresh_from_db()
    assert thing.in_case == case and Placement.objects.filter(item=thing).count() == 3


# counted lines, channels, swaps


def test_counted_things_go_out_and_come_back(hand, show):
    line = make_counted_line(24)
    card = f"COUNT.{line.pk}"
    (out,) = record(hand, sent(card, "out", show, counted=20))
    assert out.outcome == "accepted" and "20 ×" in out.reason
    record(hand, sent(card, "back", show, counted=17), sent(card, "back", show, counted=1, condition="damaged"))
    stock = stock_of(line)
    assert (stock.on_shelf, stock.bad, stock.out) == (21, 1, 2)
    (more,) = record(hand, sent(card, "back", show, counted=5))
    assert (more.outcome, more.signal) == ("contradiction", "look") and "3 more than went out" in more.reason
    assert stock_of(line).out == -3, "kept all the same"


def test_a_count_is_needed(hand, show):
    line = make_counted_line(24)
    (answer,) = record(hand, sent(f"COUNT.{line.pk}", "out", show))
    assert (answer.outcome, answer.signal) == ("refused", "stop") and "how many" in answer.reason
    assert CountMove.objects.count() == 1


def test_counts_back_without_a_show_go_to_the_one_they_were_out_to(hand, show):
    line = make_counted_line(24)
    record(hand, sent(f"COUNT.{line.pk}", "out", show, counted=4))
    (answer,) = record(hand, sent(f"COUNT.{line.pk}", "back", 999_999, counted=4))
    assert answer.outcome == "accepted" and stock_of(line).out == 0


def test_undo_of_a_count_and_undo_of_that(hand, show):
    line = make_counted_line(24)
    out = sent(f"COUNT.{line.pk}", "out", show, counted=4)
    record(hand, out)
    chain = [out]
    for still_out in (0, 4, 0, 4):
        chain.append(sent(f"COUNT.{line.pk}", "undo", undoes=chain[-1]["id"]))
        record(hand, chain[-1])
        assert stock_of(line).out == still_out


def test_a_channel_report_finds_the_item_on_the_line(hand, show, box):
    make_pull_row(show, item=box, line="7")
    answers = record(hand, sent("CH.7", "inspect", show, symptom="hums"), sent("CH.9", "inspect", show, symptom="thin"))
    assert [a.outcome for a in answers] == ["accepted", "accepted"] and answers[0].reason.startswith(
        "Channel 7 hums: noted for Harvest ceilidh."
    )
    seven, nine = Fault.objects.get(line="7"), Fault.objects.get(line="9")
    assert (seven.item, seven.show, nine.item) == (box, show.pk, None)
    box.refresh_from_db()
    assert box.suspect_since == NOW


@pytest.mark.parametrize(
    ("action", "minutes", "found"),
    [
        ("inspect", -1, ""),  # in the shop, before load-in
        ("inspect", 0, "line check"),
        ("inspect", 119, "line check"),
        ("inspect", 120, "show"),
        ("inspect", 299, "show"),
        ("inspect", 300, "after"),
        ("truck", 330, "after"),
        ("back", 470, "after"),
        ("back", 200, "show"),
    ],
)
def test_a_report_says_when_it_came_out(hand, company, box, action, minutes, found):
    show = make_show(load_in=NOW, hours=8)  # starts after 2 h, ends after 5 h
    at = NOW + timedelta(minutes=minutes)
    record(hand, sent(box, action, show, at=at, condition="suspect", symptom="hums"), at=NOW + timedelta(hours=9))
    assert Fault.objects.get().found == found


def test_a_report_without_a_show_came_out_nowhere_unless_it_came_back(hand, company, box):
    other = make_item(name="B")
    record(hand, sent(box, "inspect", condition="suspect"), sent(other, "back", condition="suspect"))
    assert (Fault.objects.get(item=box).found, Fault.objects.get(item=other).found) == ("", "after")


def test_a_cancelled_show_finds_nothing(hand, box):
    show = make_show(load_in=NOW, state="cancelled")
    record(hand, sent(box, "inspect", show, at=NOW + timedelta(minutes=5), condition="suspect"))
    assert Fault.objects.get().found == ""


def test_when_a_report_came_out_survives_an_undo_taken_back_and_an_item_named_later(hand, box):
    show = make_show(load_in=NOW)
    report = sent("CH.7", "inspect", show, at=NOW + timedelta(minutes=5), symptom="hums")
    record(hand, report)
    undo = sent("CH.7", "undo", undoes=report["id"])
    record(hand, undo)
    record(hand, sent("CH.7", "undo", undoes=undo["id"]))
    fault = Fault.objects.get()
    assert (fault.withdrawn_at, fault.found) == (None, "line check")
    fault_of_item(fault=fault, item=box)
    fault.refresh_from_db()
    assert (fault.item, fault.found) == (box, "line check")


def test_a_spare_takes_the_dead_ones_place_and_undo_gives_it_back(hand, show, box):
    spare = make_item(type=box.type, name="B")
    row = make_pull_row(show, item=box, line="7", origin=PullRow.Origin.RIG)
    swap = sent(spare, "out", show, replaces=box.code)
    (answer,) = record(hand, swap)
    row.refresh_from_db()
    assert (row.item, row.origin, row.line) == (spare, "swapped", "7") and "takes the dead one's place" in answer.reason
    record(hand, swap)
    record(hand, sent(spare, "undo", undoes=swap["id"]))
    row.refresh_from_db()
    assert (row.item, row.origin) == (box, "rig")


def test_a_spare_on_the_list_changes_places(hand, show, box):
    spare = make_item(type=box.type, name="B")
    row, other = make_pull_row(show, item=box, line="7"), make_pull_row(show, item=spare)
    swap = sent(spare, "out", show, replaces=box.code)
    record(hand, swap)
    row.refresh_from_db(), other.refresh_from_db()
    assert (row.item, other.item) == (spare, box)
    record(hand, sent(spare, "undo", undoes=swap["id"]))
    row.refresh_from_db(), other.refresh_from_db()
    assert (row.item, other.item) == (box, spare)


# derived rows


def columns(model, *but):
    return [f.attname for f in model._meta.fields if f.name not in but]


def derived():
    """Every derived row, without keys that mean nothing."""
    return {
        "checkouts": list(Checkout.objects.order_by("item", "opened_at", "opened_uid").values_list(*columns(Checkout, "id"))),
        "heads": list(CustodyHead.objects.order_by("pk").values_list(*columns(CustodyHead, "folds"))),
        "found": list(
            Contradiction.objects.filter(stands=True)
            .order_by("item", "scan_uid", "kind")
            .values_list(*columns(Contradiction, "id"))
        ),
        "items": list(Item.objects.order_by("pk").values_list("pk", "custody", "custody_show", "custody_since")),
        "use": list(UseLedger.objects.order_by("item", "occasion").values_list(*columns(UseLedger, "id"))),
    }


def test_deleting_all_derived_rows_and_refolding_gives_them_back(hand, show, packed, box):
    case, inside = packed
    other = make_show(NOW + timedelta(minutes=20), name="Quarry fair")
    make_pull_row(show, item=box, line="7", feed="cells")
    steps = [
        sent(case, "out", show, counted=2),
        sent(box, "truck", other, at=NOW + timedelta(minutes=1)),
        sent(inside[0], "out", other, at=NOW + timedelta(minutes=25)),
        sent(box, "back", at=NOW + timedelta(minutes=26)),
        sent(case, "out", other, at=NOW + timedelta(minutes=27), counted=3),
        sent(case, "truck", other, at=NOW + timedelta(minutes=40)),
        sent(box, "out", show, at=NOW + timedelta(minutes=41)),
        sent(inside[1], "back", show, at=NOW + timedelta(minutes=42)),
    ]
    end = NOW + timedelta(hours=1)
    for step in steps:
        record(hand, step, at=end)
    record(hand, sent(case, "undo", undoes=steps[4]["id"], at=NOW + timedelta(minutes=50)), at=end)
    before = derived()
    assert before["found"] and before["use"] and len(before["checkouts"]) >= 5
    for model in (Checkout, CustodyHead, Contradiction, UseLedger):
        model.objects.all().delete()
    Item.objects.update(custody="", custody_show=None, custody_since=None)
    items_refold(item_ids=list(Item.objects.values_list("pk", flat=True)), at=end)
    assert derived() == before


def test_a_decision_survives_a_refold(hand, technician, show, box):
    record(hand, sent(box, "truck", show))
    Contradiction.objects.update(decided_at=NOW, decided_by=technician, decided="Jo forgot to scan.")
    items_refold(item_ids=[box.pk])
    found = Contradiction.objects.get()
    assert (found.decided, found.decided_by, found.stands) == ("Jo forgot to scan.", technician, True)


def test_use_is_planned_then_done(hand, show, box):
    make_pull_row(show, item=box, line="7", feed="phantom")
    spare = make_item(name="spare")
    record(hand, sent(box, "out", show), sent(spare, "out", show))
    use = UseLedger.objects.get(item=box)
    assert (use.state, use.on_minutes, use.fed_by, use.basis, use.day) == ("planned", 240, "phantom", "line", show.start.date())
    assert UseLedger.objects.get(item=spare).basis == "carried" and UseLedger.objects.get(item=spare).on_minutes == 0
    record(hand, sent(box, "back", show, at=show.home_by), at=show.home_by)
    assert UseLedger.objects.get(item=box).state == "done"


def test_what_was_back_before_the_line_check_was_not_used(hand, show, box):
    record(hand, sent(box, "out", show))
    record(hand, sent(box, "back", show, at=NOW + timedelta(minutes=2)))
    assert not UseLedger.objects.exists()


def test_a_shows_new_times_are_folded_again(hand, show, box):
    other = make_show(NOW - timedelta(hours=1), name="Quarry fair")
    record(hand, sent(box, "out", other, at=NOW - timedelta(minutes=30)))
    record(hand, sent(box, "out", show))
    assert Contradiction.objects.get().stands
    step = timedelta(minutes=1)
    for n, name in enumerate(("load_in", "line_check", "start", "end", "strike", "home_by")):
        setattr(other, name, NOW - timedelta(days=1) + n * step)
    other.save()
    show_refold(show_id=other.pk)
    assert not Contradiction.objects.get().stands
    assert Checkout.objects.get(show=other).ended == "straight on"


def test_a_batch_long_under_way_does_not_overtake_what_its_phone_scanned_later(hand, show, box):
    """The phone's clock is right; the first batch took eight seconds to arrive, which looks like a clock that is behind."""
    second = timedelta(seconds=1)
    record(hand, sent(box, "out", show, at=NOW, seq=1), sent_at=NOW, at=NOW + 8 * second)
    record(hand, sent(box, "back", show, at=NOW + 3 * second, seq=2), sent_at=NOW + 9 * second, at=NOW + 9 * second)
    assert where(box) == ("", None)
    # a clock that was set right in between is another matter
    record(hand, sent(box, "out", show, at=NOW - 60 * second, seq=3), sent_at=NOW + 20 * second, at=NOW + 20 * second)
    assert Scan.objects.get(seq=3).effective_at == NOW - 60 * second


# size


def count_queries(hand, scans, at):
    with CaptureQueriesContext(
        connection,
    ) as queries:
        record(hand, *scans, at=at)
    return len(queries)


def test_queries_do_not_grow_with_the_batch(hand, show):
    at = NOW + timedelta(hours=1)
    few, many = [make_item() for _ in range(2)], [make_item() for _ in range(40)]
    record(hand, *(sent(i, "out", show) for i in (*few, *many)))
    small = count_queries(hand, [sent(i, "back", show, at=NOW + timedelta(minutes=3)) for i in few], at)
    large = count_queries(
        hand, [sent(i, "back", show, at=NOW + timedelta(minutes=3), condition="suspect", symptom="hums") for i in many], at
    )
    assert small <= 28
    assert large <= small + 9, "a batch of suspect things opens its faults in bulk"


def test_an_ordinary_scan_does_not_read_the_history(hand, show, box):
    at = NOW + timedelta(days=40)
    for n in range(30):
        record(hand, sent(box, "out" if n % 2 == 0 else "back", show, at=NOW + timedelta(minutes=n)), at=at)
    with CaptureQueriesContext(connection) as queries:
        record(hand, sent(box, "out", show, at=NOW + timedelta(days=30)), at=at)
    assert not [q for q in queries if '"code" IN' in q["sql"] and '"shows_scan"' in q["sql"]]


def test_naive_and_missing_sent_at_are_taken_as_no_offset(hand, show, box):
    for sent_at in (None, datetime(2026, 1, 1), datetime(1, 1, 1, tzinfo=UTC), datetime(9999, 1, 1, tzinfo=UTC)):
        answers = record(hand, sent(box, "out", show), sent_at=sent_at)
        assert answers[0].outcome in ("accepted", "refused")
    assert Scan.objects.count() == 4


def test_a_thing_put_late_into_a_case_within_a_case_goes_where_the_outer_one_went(hand, show, box):
    outer, inner = make_case(name="outer"), make_case(name="inner")
    placement_record(uid=uuid.uuid4(), item=inner, case=outer, effective_at=NOW - timedelta(hours=2))
    record(hand, sent(outer, "out", show))
    placement_record(uid=uuid.uuid4(), item=box, case=inner, effective_at=NOW - timedelta(hours=1))
    assert where(box) == ("show", show.pk)


def test_a_thing_put_late_into_a_case_goes_where_the_case_s_old_label_went(hand, show, box):
    case = make_case(name="case")
    old = Label.objects.create(code=codes.mint(), item=case, minted_at=NOW, bound_at=NOW).code
    record(hand, sent(old, "out", show))
    placement_record(uid=uuid.uuid4(), item=box, case=case, effective_at=NOW - timedelta(hours=1))
    assert where(box) == ("show", show.pk)
