"""Leads for runs: as good as trying everything, never more than there is, and sentences for what cannot be."""

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shows.calc.lead_runs import Length, Run, RunError, need_mm, runs_made


def brute_force(runs, lengths):
    """Try every way to make every run; return (runs not made, leads, millimetres too much) of the best."""
    ways = []
    for run in runs:
        fits = [
            counts
            for counts in product(*(range(min(one.free, -(-run.need_mm // one.mm)) + 1) for one in lengths))
            if sum(c * one.mm for c, one in zip(counts, lengths, strict=True)) >= run.need_mm
        ]
        ways.append([*fits, None])
    best = None
    for chosen in product(*ways):
        used = [sum(way[k] for way in chosen if way) for k in range(len(lengths))]
        if any(u > one.free for u, one in zip(used, lengths, strict=True)):
            continue
        unmet = sum(way is None for way in chosen)
        total = sum(u * one.mm for u, one in zip(used, lengths, strict=True))
        score = (unmet, sum(used), total)
        best = score if best is None or score < best else best
    return best


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(1, 24), min_size=1, max_size=3),
    st.lists(st.tuples(st.sampled_from([1, 3, 5, 6, 10, 15, 20]), st.integers(0, 2)), max_size=4, unique_by=lambda x: x[0]),
)
def test_it_is_as_good_as_trying_everything(needs, stock):
    runs = [Run(key=str(i), need_mm=n * 1000) for i, n in enumerate(needs)]
    lengths = [Length(mm=mm * 1000, free=free) for mm, free in stock]
    made = runs_made(runs, lengths)
    score = (
        sum(not one.met for one in made),
        sum(len(one.lengths_mm) for one in made),
        sum(sum(one.lengths_mm) for one in made),
    )
    assert score == brute_force(runs, lengths)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(0, 40_000), max_size=12), st.integers(0, 4))
def test_no_lead_is_taken_twice_and_every_made_run_is_long_enough(needs, free):
    lengths = [Length(mm=mm, free=free) for mm in (3_000, 5_000, 10_000, 20_000)]
    made = runs_made([Run(key=str(i), need_mm=n) for i, n in enumerate(needs)], lengths)
    for length in lengths:
        assert sum(one.lengths_mm.count(length.mm) for one in made) <= length.free
    for one in made:
        assert not one.lengths_mm or sum(one.lengths_mm) >= one.run.need_mm
        assert one.met or free < 8


def test_one_lead_is_better_than_two_that_fit_exactly():
    (made,) = runs_made(
        [Run(key="1", need_mm=8_000)], [Length(mm=10_000, free=1), Length(mm=5_000, free=1), Length(mm=3_000, free=1)]
    )
    assert made.lengths_mm == (10_000,) and made.joins == 0 and made.waste_mm == 2_000


def test_the_long_lead_goes_where_it_spares_a_join():
    made = runs_made(
        [Run(key="near", need_mm=4_000), Run(key="far", need_mm=9_000)],
        [Length(mm=10_000, free=1), Length(mm=5_000, free=2)],
    )
    assert [one.lengths_mm for one in made] == [(5_000,), (10_000,)]


def test_what_cannot_be_made_is_said_and_takes_nothing():
    made = runs_made([Run(key="far", need_mm=30_000), Run(key="near", need_mm=5_000)], [Length(mm=10_000, free=2)])
    assert not made[0].met and made[0].lengths_mm == () and made[1].lengths_mm == (10_000,)


def test_a_plan_of_sixty_runs_is_made():
    runs = [Run(key=str(i), need_mm=2_500 + 700 * (i % 23)) for i in range(60)]
    made = runs_made(runs, [Length(mm=mm, free=20) for mm in (3_000, 5_000, 6_000, 10_000, 15_000, 20_000)])
    assert all(one.met for one in made)


def test_need_is_longer_than_the_straight_line():
    assert need_mm(0) == 2_000
    assert need_mm(5_000) == 8_500
    with pytest.raises(RunError, match="A distance of -1 m"):
        need_mm(-1_000)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Run(key="x", need_mm=-1),
        lambda: Length(mm=0, free=1),
        lambda: Length(mm=5, free=-1),
        lambda: runs_made([], [Length(mm=5, free=1), Length(mm=5, free=2)]),
        lambda: runs_made([Run(key=str(i), need_mm=1) for i in range(501)], []),
        lambda: need_mm(1, route_factor=0.5),
    ],
)
def test_what_cannot_be_gets_a_sentence(make):
    with pytest.raises(RunError, match=r"\.$"):
        make()
