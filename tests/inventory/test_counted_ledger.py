"""The ledger of counted lines: its sums are what a hand with a pencil would have."""

import uuid
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from inventory.calc.kinds import Kind
from inventory.models import CountedLine, CountMove
from inventory.services import counted
from inventory.services.counted import CountRefused, stock_of
from tests.builders import NOW, make_counted_line, make_type

A, B = 7, 8  # two shows' keys


def did(name, line, at=NOW, **kw):
    return getattr(counted, f"count_{name}")(uid=kw.pop("uid", None) or uuid.uuid4(), line=line, at=at, **kw)


def sums(line):
    now = stock_of(line)
    return now.owned, now.on_shelf, now.bad, now.out


@pytest.mark.django_db
class TestWhatAHandWouldCount:
    def test_24_out_23_back_one_of_them_bad(self):
        line = make_counted_line(24)
        did("out", line, show=A, count=24)
        assert sums(line) == (24, 0, 0, 24)
        did("back", line, show=A, good=22, bad=1)
        assert sums(line) == (24, 22, 1, 1)
        did("lost", line, show=A, count=1)
        assert sums(line) == (23, 22, 1, 0)
        did("mended", line, count=1)
        assert sums(line) == (23, 23, 0, 0)

    def test_six_rolls_out_four_back_is_two_used_up(self):
        line = make_counted_line(10, type=make_type(Kind.CONSUMABLE))
        did("out", line, show=A, count=6)
        did("back", line, show=A, good=4)
        assert sums(line) == (8, 8, 0, 0)
        did("back", line, show=A, good=1)  # one more was under the seat: it was not used up after all
        assert sums(line) == (9, 9, 0, 0)

    def test_none_of_a_consumable_back_is_all_used_up(self):
        line = make_counted_line(10, type=make_type(Kind.CONSUMABLE))
        did("out", line, show=A, count=6)
        back = uuid.uuid4()
        did("back", line, show=A, good=0, uid=back)
        assert sums(line) == (4, 4, 0, 0)
        counted.count_undo(undo_uid=back, at=NOW)
        assert sums(line) == (10, 4, 0, 6)
        did("back", line, show=A, good=6)
        assert sums(line) == (10, 10, 0, 0)

    def test_more_than_the_record_has_is_entered_and_said(self):
        line = make_counted_line(4)
        answer = did("out", line, show=A, count=6)
        assert "2 more are gone from the shelf than the record had" in answer.warning and sums(line) == (4, -2, 0, 6)
        answer = did("back", line, show=A, good=9)
        assert "3 more than went out" in answer.warning and sums(line)[1] == 7
        assert did("mended", line, count=1).warning.startswith("That is 1 more than the record has as bad")

    def test_straight_on_never_touches_the_shelf(self):
        line = make_counted_line(8)
        did("out", line, show=A, count=5)
        did("straight_on", line, from_show=A, to_show=B, count=5)
        assert sums(line) == (8, 3, 0, 5) and counted.out_to(line, A) == 0 and counted.out_to(line, B) == 5
        with pytest.raises(CountRefused):
            did("straight_on", line, from_show=B, to_show=B, count=1)

    def test_a_recount_sets_the_shelf_and_writes_nothing_where_it_agrees(self):
        line = make_counted_line(24)
        did("recounted", line, on_shelf=22, bad=1)
        assert sums(line) == (23, 22, 1, 0)
        before = CountMove.objects.count()
        did("recounted", line, on_shelf=22, bad=1)
        assert CountMove.objects.count() == before

    def test_the_same_form_twice_counts_once(self):
        line, uid = make_counted_line(24), uuid.uuid4()
        for _twice in range(2):
            did("out", line, show=A, count=4, uid=uid)
        assert sums(line) == (24, 20, 0, 4)
        for _twice in range(3):
            counted.count_undo(undo_uid=uid, at=NOW, uid=uuid.uuid4())
        assert sums(line) == (24, 24, 0, 0)
        assert counted.count_undo(undo_uid=uuid.uuid4(), at=NOW) is None

    def test_a_count_of_nothing_is_refused_with_a_sentence(self):
        line = make_counted_line(3)
        for name, kw in (
            ("out", {"show": A, "count": 0}),
            ("bought", {"count": -1}),
            ("back", {"show": A, "good": -1}),
            ("back", {"show": A, "good": 0}),
            ("bought", {"count": 10**30}),
            ("recounted", {"on_shelf": -3}),
        ):
            with pytest.raises(CountRefused):
                did(name, line, **kw)
        assert sums(line) == (3, 3, 0, 0)

    def test_counting_a_type_twice_adds_to_the_first_line(self):
        kind = make_type(Kind.LEAD)
        for _ in range(2):
            answer = counted.counted_line_add(uid=uuid.uuid4(), type=kind, length_mm=6000, count=5, at=NOW)
        assert CountedLine.objects.get().pk == answer.line.pk and sums(answer.line)[0] == 10
        assert "counted already" in answer.warning

    def test_the_list_and_the_line_agree(self):
        line = make_counted_line(24)
        did("out", line, show=A, count=10)
        did("back", line, show=A, good=6, bad=2)
        row = CountedLine.objects.described().get(pk=line.pk)
        assert (row.owned, row.on_shelf, row.bad, row.out) == sums(line)


MOVES = st.lists(
    st.tuples(
        st.sampled_from(
            ["bought", "out", "back", "lost", "found_bad", "mended", "thrown_away", "straight_on", "recounted", "undo", "again"]
        ),
        st.integers(1, 30),
        st.integers(0, 10),
        st.sampled_from([A, B]),
    ),
    max_size=14,
)


class LedgerSums(TestCase):
    @given(MOVES)
    @settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    def test_ledger_sums_always_equal_a_simple_model(self, moves):
        """The model: four numbers on a slip of paper, a slip kept of every step so that it can be taken back."""
        line = make_counted_line(0)
        paper = {"owned": 0, "shelf": 0, "bad": 0, A: 0, B: 0}
        steps: list[tuple[uuid.UUID, dict]] = []
        undone: set[uuid.UUID] = set()

        def change(uid, **by):
            by = {{"a": A, "b": B}.get(k, k): v for k, v in by.items()}
            steps.append((uid, by))
            for k, v in by.items():
                paper[k] += v

        for n, (name, count, few, show) in enumerate(moves):
            uid, at = uuid.uuid4(), NOW + timedelta(minutes=n)
            key = "a" if show == A else "b"
            other = "b" if show == A else "a"
            if name == "undo":
                if steps:
                    target, by = steps[count % len(steps)]
                    counted.count_undo(undo_uid=target, at=at)
                    if target not in undone:
                        undone.add(target)
                        for k, v in by.items():
                            paper[k] -= v
                continue
            if name == "again":
                if steps:
                    did("bought", line, count=count, uid=steps[count % len(steps)][0], at=at)
                continue
            if name == "bought":
                did(name, line, count=count, uid=uid, at=at)
                change(uid, owned=count, shelf=count)
            elif name == "out":
                did(name, line, show=show, count=count, uid=uid, at=at)
                change(uid, shelf=-count, **{key: count})
            elif name == "back":
                did(name, line, show=show, good=count, bad=few, uid=uid, at=at)
                change(uid, shelf=count, bad=few, **{key: -count - few})
            elif name == "lost":
                did(name, line, show=show, count=count, uid=uid, at=at)
                change(uid, owned=-count, **{key: -count})
            elif name == "found_bad":
                did(name, line, count=count, uid=uid, at=at)
                change(uid, shelf=-count, bad=count)
            elif name == "mended":
                did(name, line, count=count, uid=uid, at=at)
                change(uid, shelf=count, bad=-count)
            elif name == "thrown_away":
                did(name, line, count=count, bad=bool(few % 2), uid=uid, at=at)
                change(uid, owned=-count, **{"bad" if few % 2 else "shelf": -count})
            elif name == "straight_on":
                did(name, line, from_show=show, to_show=B if show == A else A, count=count, uid=uid, at=at)
                change(uid, **{key: -count, other: count})
            elif name == "recounted":
                shelf, bad = count - paper["shelf"], few - paper["bad"]
                did(name, line, on_shelf=count, bad=few, uid=uid, at=at)
                if shelf or bad:
                    change(uid, owned=shelf + bad, shelf=shelf, bad=bad)
        assert sums(line) == (paper["owned"], paper["shelf"], paper["bad"], paper[A] + paper[B])
        assert (counted.out_to(line, A), counted.out_to(line, B)) == (paper[A], paper[B])
        assert paper["owned"] == paper["shelf"] + paper["bad"] + paper[A] + paper[B]
