"""A pull list's progress against a model that counts one thing at a time."""

import uuid
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.calc.kinds import Kind
from inventory.models import CountMove, Item
from inventory.services.counted import count_back, count_lost, count_out, count_undo
from shows.models import Checkout, PullRow, Show
from shows.progress import pull_progress, totals_of
from tests.builders import NOW, make_checkout, make_counted_line, make_item, make_pull_row, make_show, make_type

pytestmark = pytest.mark.django_db

LENGTHS = [0, 10_000, 20_000]
ENDED = NOW - timedelta(hours=1)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    wanted=st.lists(st.tuples(st.integers(0, 1), st.sampled_from(LENGTHS), st.integers(1, 4)), max_size=5),
    named=st.lists(st.integers(0, 7), unique=True, max_size=3),
    states=st.lists(st.sampled_from(["shelf", "out", "truck", "back", "moved"]), min_size=8, max_size=8),
)
def test_progress_is_what_counting_by_hand_gives(company, wanted, named, states):
    Checkout.objects.all().delete()
    PullRow.objects.all().delete()
    Item.objects.update(custody="", custody_show=None)
    types = [make_type(Kind.LEAD), make_type(Kind.LEAD)]
    show = make_show()
    items = [make_item(type=types[n % 2], length_mm=LENGTHS[n % 3]) for n in range(8)]
    for kind, length, count in wanted:
        make_pull_row(show, type=types[kind], length_mm=length, count=count)
    for n in named:
        make_pull_row(show, item=items[n])
    for item, state in zip(items, states, strict=True):
        if state == "shelf":
            continue
        closed = {"closed_at": ENDED, "closed_uid": uuid.uuid4()} if state in {"back", "moved"} else {}
        truck = {"truck_at": ENDED} if state == "truck" else {}
        make_checkout(show, item, **closed, **truck, ended=state if closed else "")

    lines = pull_progress(show)

    totals = totals_of(lines)
    assert totals.wanted == sum(count for _k, _l, count in wanted) + len(named)
    assert totals.still_out == sum(s in {"out", "truck"} for s in states)
    assert totals.on_truck == states.count("truck")
    assert totals.back == states.count("back")
    placed = sorted(i.item_id for line in lines for i in line.items)
    assert placed == sorted(i.pk for i, s in zip(items, states, strict=True) if s not in {"shelf", "moved"})
    for line in lines:
        assert line.lacking == max(0, line.wanted - line.out)
        for pulled in line.items:
            item = next(i for i in items if i.pk == pulled.item_id)
            assert item.type_id == line.type_id
            assert line.length_mm in (0, item.length_mm)
    by_name = {line.item_id: line for line in lines if line.item_id}
    for n in named:
        assert by_name[items[n].pk].out == (states[n] in {"out", "truck"})
    _most_is_packed(totals.packed, wanted, named, states)


def _most_is_packed(packed, wanted, named, states):
    """No other way of giving things to lines packs more: try them all, one type at a time."""
    best = sum(states[n] in {"out", "truck"} for n in named)
    for kind in (0, 1):
        need = {length: sum(c for k, le, c in wanted if (k, le) == (kind, length)) for length in LENGTHS}
        have = {
            length: sum(
                states[n] in {"out", "truck"} for n in range(8) if n % 2 == kind and LENGTHS[n % 3] == length and n not in named
            )
            for length in LENGTHS
        }
        exact = {length: min(need[length], have[length]) for length in LENGTHS}
        spare = sum(have[length] - exact[length] for length in LENGTHS)
        best += sum(exact.values()) + min(need[0] - exact[0], spare)
    assert packed == best


def test_counted_things_count_beside_labelled_ones(company):
    show, lead = make_show(), make_type(Kind.LEAD)
    make_pull_row(show, type=lead, length_mm=10_000, count=24)
    counted = make_counted_line(30, type=lead, length_mm=10_000)
    make_checkout(show, make_item(type=lead, length_mm=10_000))
    count_out(uid=uuid.uuid4(), line=counted, show=show.pk, count=20, at=NOW)
    (line,) = pull_progress(show)
    assert (line.out, line.lacking, line.went) == (21, 3, 21)


def test_twenty_four_out_twenty_two_good_one_bad_one_lost(company):
    show = make_show()
    counted = make_counted_line(30)
    count_out(uid=uuid.uuid4(), line=counted, show=show.pk, count=24, at=NOW)
    count_back(uid=uuid.uuid4(), line=counted, show=show.pk, good=22, bad=1, at=NOW)
    count_lost(uid=uuid.uuid4(), line=counted, show=show.pk, count=1, at=NOW)
    (line,) = pull_progress(show)
    assert (line.out, line.counted_back, line.counted_lost, line.went) == (0, 23, 1, 24)


@pytest.mark.parametrize("undone", ["out", "back"])
def test_an_undone_count_takes_away_from_what_it_undid(company, undone):
    show, counted = make_show(), make_counted_line(30)
    uids = {"out": uuid.uuid4(), "back": uuid.uuid4()}
    count_out(uid=uuid.uuid4(), line=counted, show=show.pk, count=10, at=NOW)
    count_out(uid=uids["out"], line=counted, show=show.pk, count=4, at=NOW)
    count_back(uid=uids["back"], line=counted, show=show.pk, good=3, at=NOW)
    count_undo(undo_uid=uids[undone], at=NOW)
    (line,) = pull_progress(show)
    assert (line.went, line.counted_back) == ((10, 3) if undone == "out" else (14, 0))


def test_used_up_tape_is_not_back_and_not_out(company):
    show = make_show()
    tape = make_counted_line(6, type=make_type(Kind.CONSUMABLE))
    count_out(uid=uuid.uuid4(), line=tape, show=show.pk, count=6, at=NOW)
    count_back(uid=uuid.uuid4(), line=tape, show=show.pk, good=4, at=NOW)
    (line,) = pull_progress(show)
    assert (line.out, line.back, line.counted_lost) == (0, 4, 2)


def test_what_is_out_fills_a_line_before_what_is_back_already(company):
    show, box = make_show(), make_type()
    make_pull_row(show, type=box, count=1)
    make_checkout(show, make_item(type=box), closed_at=ENDED, closed_uid=uuid.uuid4(), ended="back", at=NOW - timedelta(days=2))
    make_checkout(show, make_item(type=box))
    line = pull_progress(show)[0]
    assert (line.out, line.back) == (1, 1)
    assert totals_of([line]).packed == 1


def test_progress_of_fifty_shows_costs_three_queries(company, django_assert_num_queries):
    from shows.progress import pulls_progress

    for _ in range(50):
        make_pull_row(make_show())
    shows = list(Show.objects.all())
    with django_assert_num_queries(3):
        assert len(pulls_progress(shows)) == 50
    assert CountMove.objects.count() == 0
