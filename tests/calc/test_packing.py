"""A case against its plan, and how much to buy."""

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from inventory.calc.packing import pack_compare
from inventory.calc.stock import to_buy, used_a_show


def test_short_and_extra_are_told_apart_by_type_and_length():
    packed = pack_compare(plan={(1, 0): 4, (2, 5000): 6}, packed={(1, 0): 3, (2, 5000): 6, (2, 10000): 2})
    assert (packed.short, packed.extra, packed.right, packed.planned) == (1, 2, 9, 10)
    assert [line.type_id for line in packed.short_lines] == [1] and packed.extra_lines[0].length_mm == 10000
    assert not packed.as_planned


def test_a_case_without_a_plan_is_neither_short_nor_extra():
    packed = pack_compare(plan={}, packed={(1, 0): 3})
    assert (packed.short, packed.extra, packed.has_plan, packed.as_planned) == (0, 0, False, False)
    assert packed.short_lines == packed.extra_lines == ()


def test_a_case_packed_as_planned_says_so():
    assert pack_compare(plan={(1, 0): 2}, packed={(1, 0): 2}).as_planned


SORTS = st.dictionaries(st.tuples(st.integers(1, 4), st.sampled_from([0, 5000])), st.integers(0, 9), max_size=6)


@given(SORTS, SORTS)
def test_packed_is_planned_less_short_plus_extra(plan, packed):
    report = pack_compare(plan=plan, packed=packed)
    if report.has_plan:
        assert report.packed == report.planned - report.short + report.extra


def test_average_a_show_counts_only_shows_that_took_any():
    used = used_a_show([2, 0, 5])
    assert (used.mean, used.least, used.most, used.shows) == (Decimal("2.3"), 0, 5, 3)
    assert used_a_show([]) is None


def test_buy_in_whole_packs_up_to_the_level():
    assert to_buy(left=5, keep_at_least=5) == 0
    assert to_buy(left=4, keep_at_least=5, buy_by=12) == 12
    assert to_buy(left=-3, keep_at_least=10, buy_by=6) == 18
    assert to_buy(left=9, keep_at_least=10, buy_by=0) == 1
