"""Who gets what: as good as trying everything on small cases, never two shows at once, little changed when asked again."""

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shows.calc import allocation
from shows.calc.allocation import Thing, Want, allocate, cost_of, may
from shows.calc.tide import Hold, shorts, tides


def overlap(one: Want, other: Want) -> bool:
    return one.first <= other.last and other.first <= one.last


def brute_force(wants, things):
    """Try every assignment; return the least cost."""
    best = None
    for chosen in product(*([None, *(t for t in things if may(want, t))] for want in wants)):
        clash = any(
            a is not None and a is b and overlap(wants[i], wants[j])
            for i, a in enumerate(chosen)
            for j, b in enumerate(chosen[:i])
        )
        if not clash:
            cost = cost_of(list(zip(wants, chosen, strict=True)))
            best = cost if best is None else min(best, cost)
    return best


THINGS = st.builds(
    Thing,
    key=st.just(0),
    type=st.integers(1, 2),
    case=st.one_of(st.none(), st.integers(1, 2)),
    suspect=st.booleans(),
    proved=st.booleans(),
    test_by=st.one_of(st.none(), st.integers(1, 12)),
    hours_left=st.one_of(st.none(), st.floats(0, 10)),
    wear=st.sampled_from([0.0, 0.25, 0.75]),
    away=st.sampled_from([(), ((3, 5),)]),
)
WANTS = st.builds(
    lambda show, type_, first, days, weight, hours, had: Want(
        key="", show=show, type=type_, first=first, last=first + days, weight=weight, hours=hours, had=had
    ),
    st.integers(1, 3),
    st.integers(1, 2),
    st.integers(1, 8),
    st.integers(0, 3),
    st.sampled_from([0.5, 1.0, 2.0]),
    st.sampled_from([0.0, 5.0]),
    st.one_of(st.none(), st.integers(1, 4)),
)


def keyed(things, wants):
    from dataclasses import replace

    return (
        [replace(t, key=i + 1) for i, t in enumerate(things)],
        [replace(w, key=str(i)) for i, w in enumerate(wants)],
    )


@settings(max_examples=80, deadline=None)
@given(st.lists(THINGS, max_size=4), st.lists(WANTS, min_size=1, max_size=4))
def test_it_is_as_good_as_trying_everything(things, wants):
    things, wants = keyed(things, wants)
    found = allocate(wants, things)
    assert found.best
    assert found.cost == pytest.approx(brute_force(wants, things), abs=1e-6)


def sound(found, things):
    of = {thing.key: thing for thing in things}
    held: dict[int, list[Want]] = {}
    for one in found.given:
        if one.thing is not None:
            assert may(one.want, of[one.thing])
            assert not any(overlap(one.want, other) for other in held.get(one.thing, []))
            held.setdefault(one.thing, []).append(one.want)


def a_season(shows=20, lines=6, types=4, owned=14):
    things = [
        Thing(key=100 * t + n, type=t, case=t * 10 + n // 4, proved=n % 5 > 0, test_by=20 + n, wear=n / owned)
        for t in range(1, types + 1)
        for n in range(owned)
    ]
    wants = [
        Want(key=f"{s}.{n}", show=s, type=1 + (s + n) % types, first=2 * s, last=2 * s + 3 + s % 3)
        for s in range(shows)
        for n in range(lines)
    ]
    return wants, things


def test_type_by_type_nothing_is_in_two_places_and_nobody_goes_without_needlessly(monkeypatch):
    wants, things = a_season()
    whole = allocate(wants, things)
    monkeypatch.setattr(allocation, "AT_ONCE", 10)
    told = []
    parts = allocate(wants, things, progress=lambda done, total: told.append((done, total)))
    sound(whole, things)
    sound(parts, things)
    assert not whole.without and not parts.without
    assert whole.cost <= parts.cost + 1e-6 and parts.cost <= whole.cost * 1.1 + 20
    assert told[-1] == (len(wants), len(wants)) and told == sorted(told)


def test_asked_again_nothing_changes_and_with_one_gone_little_does():
    from dataclasses import replace

    wants, things = a_season(shows=6)
    first = allocate(wants, things)
    had = [replace(one.want, had=one.thing) for one in first.given]
    again = allocate(had, things)
    assert [one.thing for one in again.given] == [one.thing for one in first.given]
    gone = first.given[0].thing
    fewer = allocate(had, [thing for thing in things if thing.key != gone])
    changed = sum(a.thing != b.thing for a, b in zip(first.given, fewer.given, strict=True))
    assert 1 <= changed <= 2 * sum(one.thing == gone for one in first.given)


def test_a_case_goes_whole_before_two_are_opened():
    things = [Thing(key=n, type=1, case=1 + n // 2) for n in range(4)]
    wants = [Want(key=str(n), show=1, type=1, first=1, last=2) for n in range(2)]
    found = allocate(wants, things)
    assert len({1 + one.thing // 2 for one in found.given}) == 1


def test_the_weightier_line_gets_the_one_that_is_there():
    found = allocate(
        [Want(key="choir", show=1, type=1, first=1, last=1), Want(key="lead", show=2, type=1, first=1, last=1, weight=3)],
        [Thing(key=1, type=1)],
    )
    assert [one.thing for one in found.given] == [None, 1] and [w.key for w in found.without] == ["choir"]


def test_what_speaks_against_a_thing_is_said():
    want = Want(key="a", show=1, type=1, first=5, last=9, hours=6)
    (one,) = allocate([want], [Thing(key=1, type=1, test_by=7, hours_left=3)]).given
    assert one.doubts == ("its cells may last only 3 h more and the line needs 6", "its proof runs out before the show is home")


def test_nothing_asked_and_nothing_owned_is_no_trouble():
    assert allocate([], []).given == ()
    assert allocate([Want(key="a", show=1, type=1, first=1, last=1)], []).given[0].thing is None


@given(
    st.lists(
        st.builds(
            lambda t, s, f, d, c: Hold(key=t, show=s, first=f, last=f + d, count=c),
            st.integers(1, 3), st.integers(1, 5), st.integers(-5, 40), st.integers(0, 9), st.integers(0, 4),
        ),
        max_size=25,
    )
)  # fmt: skip
def test_the_tide_is_what_counting_day_by_day_gives(holds):
    owned = {1: 3, 2: 0}
    left = tides(holds, owned, first=0, last=30)
    for key, days in left.items():
        for day in range(31):
            held = sum(h.count for h in holds if h.key == key and h.first <= day <= h.last)
            assert days[day] == owned.get(key, 0) - held
    short = {(s.key, day): s.size for s in shorts(holds, owned, first=0, last=30) for day in range(s.first, s.last + 1)}
    assert short == {(key, day): -int(n) for key, days in left.items() for day, n in enumerate(days) if n < 0}


def test_a_shortage_names_its_shows_and_days():
    holds = [Hold(key=1, show=7, first=3, last=6, count=2), Hold(key=1, show=8, first=5, last=9, count=2)]
    (found,) = shorts(holds, {1: 3}, first=0, last=20)
    assert (found.first, found.last, found.size, found.shows) == (5, 6, 1, (7, 8))


@pytest.mark.parametrize(
    "make",
    [
        lambda: Want(key="a", show=1, type=1, first=3, last=1),
        lambda: Want(key="a", show=1, type=1, first=1, last=1, weight=0),
        lambda: allocate([Want(key="a", show=1, type=1, first=1, last=1)] * 2, []),
        lambda: tides([], {}, first=2, last=1),
        lambda: tides([Hold(key=1, show=1, first=2, last=1, count=1)], {}, first=0, last=5),
    ],
)
def test_what_cannot_be_gets_a_sentence(make):
    with pytest.raises(ValueError, match=r"\.$"):
        make()
