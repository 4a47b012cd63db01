"""Placements: the newest says where a thing is, the past can be asked, and no case lies in itself."""

import random
import uuid
from datetime import timedelta

import pytest

from inventory.calc.kinds import Kind
from inventory.models import CaseFacts, Item, Placement
from inventory.registries import AFTER_PLACEMENT
from inventory.services.cases import (
    CaseLoop,
    NotACase,
    case_contents_at,
    case_count_set,
    case_counts,
    placement_record,
    placement_undo,
    plan_copy,
    plan_line_set,
)
from tests.builders import NOW, make_case, make_counted_line, make_item, make_type

pytestmark = pytest.mark.django_db


def put(item, case, minutes=0, **kw):
    kw.setdefault("uid", uuid.uuid4())
    return placement_record(item=item, case=case, effective_at=NOW + timedelta(minutes=minutes), **kw)


def where(item):
    return Item.objects.get(pk=item.pk).in_case_id


def test_a_thing_seen_in_another_case_moves_there_by_itself():
    item, first, second = make_item(), make_case(), make_case()
    put(item, first)
    put(item, second, 1)
    assert where(item) == second.pk
    assert case_contents_at([first.pk, second.pk], NOW + timedelta(minutes=1)) == {first.pk: [], second.pk: [item.pk]}
    assert case_contents_at([first.pk, second.pk], NOW) == {first.pk: [item.pk], second.pk: []}
    put(item, None, 2)
    assert where(item) is None


def test_the_same_placements_in_any_order_of_arrival_end_in_the_same_case():
    cases = [make_case() for _ in range(3)]
    rows = [
        {"case": random.Random(n).choice([*cases, None]), "minutes": n // 3, "device": f"d{n % 2}", "seq": n} for n in range(12)
    ]
    ends = set()
    for seed in range(6):
        item = make_item()
        for row in random.Random(seed).sample(rows, len(rows)):
            put(item, **row)
        ends.add(where(item))
        newest = max(rows, key=lambda r: (r["minutes"], r["device"], r["seq"]))
        held = case_contents_at([c.pk for c in cases], NOW + timedelta(hours=1))
        assert [pk for pk, items in held.items() if item.pk in items] == ([newest["case"].pk] if newest["case"] else [])
    assert len(ends) == 1


def test_a_late_placement_of_the_past_does_not_move_a_thing_now():
    item, old, new = make_item(), make_case(), make_case()
    put(item, new, 10)
    put(item, old, 5)
    assert where(item) == new.pk
    assert case_contents_at([old.pk], NOW + timedelta(minutes=7))[old.pk] == [item.pk]


def test_the_same_placement_twice_is_recorded_once():
    item, case, uid = make_item(), make_case(), uuid.uuid4()
    assert put(item, case, uid=uid).pk == put(item, case, 3, uid=uid).pk
    assert Placement.objects.count() == 1


def test_a_case_never_lies_in_itself_at_any_depth():
    a, b, c, d = (make_case() for _ in range(4))
    with pytest.raises(CaseLoop, match="in itself"):
        put(a, a)
    put(a, b)
    put(b, c, 1)
    put(c, d, 2)
    with pytest.raises(CaseLoop, match="is packed in"):
        put(d, a, 3)
    assert where(d) is None and Placement.objects.count() == 3


def test_a_loop_is_judged_as_of_its_own_time_and_of_every_later_one():
    a, b = make_case(), make_case()
    put(a, b, 0)
    put(a, None, 10)
    with pytest.raises(CaseLoop):
        put(b, a, 5)
    put(b, a, 11)
    c, d = make_case(), make_case()
    put(d, c, 10)
    with pytest.raises(CaseLoop):
        put(c, d, 5)  # late: nothing wrong at minute 5, but from minute 10 on each would lie in the other
    put(c, None, 8)
    put(c, d, 6)
    assert where(c) is None


def test_cases_in_cases_are_not_flattened_and_cost_one_query(django_assert_num_queries):
    outer, inner, item = make_case(), make_case(), make_item()
    put(inner, outer)
    put(item, inner)
    for _ in range(20):
        put(make_item(), outer)
    with django_assert_num_queries(1):
        held = case_contents_at([outer.pk, inner.pk], NOW)
    assert inner.pk in held[outer.pk] and item.pk not in held[outer.pk] and held[inner.pk] == [item.pk]


def test_only_a_case_holds_things():
    item, box = make_item(), make_item()
    with pytest.raises(NotACase, match="is no case"):
        put(item, box)
    with pytest.raises(NotACase):
        case_count_set(uid=uuid.uuid4(), case=box, line=make_counted_line(), count=2, at=NOW)
    with pytest.raises(NotACase):
        plan_line_set(case=box, type=item.type, length_mm=0, count=1)


def test_undoing_a_placement_puts_the_thing_back_where_it_lay():
    item, first, second = make_item(), make_case(), make_case()
    put(item, first)
    wrong = put(item, second, 1)
    undo = uuid.uuid4()
    for _twice in range(2):
        placement_undo(uid=undo, undoes=wrong.uid, at=NOW + timedelta(minutes=2))
    assert where(item) == first.pk and Placement.objects.count() == 3
    assert placement_undo(uid=uuid.uuid4(), undoes=wrong.uid, at=NOW) is None
    assert placement_undo(uid=uuid.uuid4(), undoes=uuid.uuid4(), at=NOW) is None


def test_the_newest_count_in_a_case_holds_and_none_takes_it_out():
    case, line = make_case(), make_counted_line()
    uid = uuid.uuid4()
    for count, minute in ((6, 0), (9, 1)):
        case_count_set(
            uid=uid if minute else uuid.uuid4(), case=case, line=line, count=count, at=NOW + timedelta(minutes=minute)
        )
    case_count_set(uid=uid, case=case, line=line, count=99, at=NOW + timedelta(minutes=9))
    assert case_counts([case.pk]) == {case.pk: {line.pk: 9}}
    case_count_set(uid=uuid.uuid4(), case=case, line=line, count=0, at=NOW + timedelta(minutes=10))
    assert case_counts([case.pk]) == {case.pk: {}}


def test_copying_a_plan_replaces_the_old_one():
    case, source = make_case(), make_case()
    kept, gone = make_type(), make_type(Kind.LEAD)
    plan_line_set(case=source, type=kept, length_mm=0, count=4)
    plan_line_set(case=case, type=gone, length_mm=3000, count=2)
    assert plan_copy(case=case, source=source) == 1
    assert list(case.plan.values_list("type", "length_mm", "count")) == [(kept.pk, 0, 4)]
    assert plan_copy(case=case, source=case) == 1
    plan_line_set(case=case, type=kept, length_mm=0, count=0)
    assert not case.plan.exists()


def test_floors_above_are_told_once_of_a_placement():
    told = []
    AFTER_PLACEMENT.add("test-told", lambda item, case, placement: told.append((item.pk, case and case.pk)))
    try:
        item, case, uid = make_item(), make_case(), uuid.uuid4()
        put(item, case, uid=uid)
        put(item, case, uid=uid)
        assert told == [(item.pk, case.pk)]
    finally:
        AFTER_PLACEMENT._entries.pop("test-told")


def test_a_bench_bag_is_known_by_its_type():
    bag = make_case()
    CaseFacts.objects.create(type=bag.type, bench_bag=True)
    assert bag.type.case_facts.bench_bag
