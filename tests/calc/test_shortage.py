"""Overlap arithmetic against a model that looks at every day."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shows.calc.shortage import Demand, Left, Stock, lacking_words, matches, shortages

DAY = date(2026, 10, 1)
KEYS = [(1, 0), (1, 10), (1, 20), (2, 0)]


def a_day(n):
    return DAY + timedelta(days=n)


@st.composite
def demands(draw):
    first = draw(st.integers(0, 12))
    return Demand(
        show=draw(st.integers(2, 5)),
        name="other",
        key=draw(st.sampled_from(KEYS)),
        count=draw(st.integers(1, 9)),
        first=a_day(first),
        last=a_day(first + draw(st.integers(0, 6))),
    )


stocks = st.dictionaries(
    st.sampled_from(KEYS),
    st.builds(lambda owned, bad: Stock(owned=owned, unfit=min(owned, bad)), st.integers(0, 12), st.integers(0, 4)),
)


@given(
    wanted=st.dictionaries(st.sampled_from(KEYS), st.integers(1, 12), min_size=1),
    first=st.integers(0, 12),
    days=st.integers(0, 8),
    stock=stocks,
    others=st.lists(demands(), max_size=8),
)
def test_the_worst_day_is_the_worst_of_all_days(wanted, first, days, stock, others):
    found = shortages(wanted=wanted, first=a_day(first), last=a_day(first + days), stock=stock, others=others)
    assert set(found) == set(wanted)
    for key, count in wanted.items():
        fit = sum(s.owned - s.unfit for k, s in stock.items() if matches(key, k))
        left = {}
        for n in range(first, first + days + 1):
            promised = sum(d.count for d in others if matches(key, d.key) and d.first <= a_day(n) <= d.last)
            left[a_day(n)] = fit - promised
        worst = min(left.values())
        assert found[key].left == worst
        assert found[key].short == min(count, max(0, count - worst))  # the rest is what the others lack
        assert found[key].day == min(day for day, n in left.items() if n == worst)


def test_the_sentence_has_its_numbers():
    found = shortages(
        wanted={(1, 0): 5},
        first=a_day(2),
        last=a_day(2),
        stock={(1, 0): Stock(owned=8)},
        others=[Demand(show=2, name="Harvest supper", key=(1, 0), count=5, first=a_day(0), last=a_day(3))],
    )
    assert found[1, 0].why == "we own 8, 5 promised to Harvest supper: short 2 on Sat 3 Oct"


def test_a_hold_of_a_century_is_answered_at_once():
    found = shortages(wanted={(1, 0): 1}, first=DAY, last=date(2099, 1, 1), stock={}, others=[])
    assert found[1, 0].short == 1


def _short(*, wants, owned, unfit, promised, unfit_there=0):
    return shortages(
        wanted={(1, 0): wants},
        first=a_day(2),
        last=a_day(2),
        stock={(1, 0): Stock(owned=owned, unfit=unfit, unfit_at={2: unfit_there} if unfit_there else {})},
        others=[Demand(show=2, name="Harvest supper", key=(1, 0), count=promised, first=a_day(0), last=a_day(3))],
    )[1, 0]


def test_what_is_out_to_another_show_and_not_fit_is_one_thing():
    desk = _short(wants=1, owned=1, unfit=1, promised=1, unfit_there=1)
    assert (desk.short, desk.unfit, desk.promised) == (1, 0, 1)
    assert desk.told.startswith("This list wants 1; we own 1, 1 promised to Harvest supper: short 1")
    boxes = _short(wants=6, owned=16, unfit=12, promised=8, unfit_there=12)
    assert (boxes.short, boxes.unfit, boxes.promised) == (2, 4, 8)


def test_a_list_lacks_no_more_than_it_wants():
    assert _short(wants=1, owned=1, unfit=1, promised=1).short == 1
    assert _short(wants=6, owned=10, unfit=0, promised=20).short == 6


def on_third(**more) -> Left:
    return Left(**{"key": (1, 0), "day": date(2026, 10, 3), "wanted": 9, "owned": 8, "unfit": 0, "promised": 4, **more})


ENOUGH = "2 not on the shelf today: still out, or named elsewhere; there are enough on the show's days"


@pytest.mark.parametrize(
    ("count", "left", "said"),
    [
        (2, None, ENOUGH),
        (2, on_third(wanted=4), ENOUGH),
        (9, on_third(owned=0, promised=0), "we own none: hire or borrow"),
        (5, on_third(), "short 5: all others are promised"),
        (1, on_third(promised=0), "short 1: we own 8"),
        (
            7,
            on_third(unfit=1, wanted=8),
            "short 5: all others are promised or not fit to go; 2 still out or named elsewhere today",
        ),
        (3, on_third(), "the list is short 5 on Sat 3 Oct: all others are promised"),
    ],
)
def test_paper_says_what_cannot_be_taken_in_the_shortages_own_number(count, left, said):
    assert lacking_words(count, left) == said
