"""Any order of arrival of swaps and of taking them back gives the same sets and the same stock; two threads make one swap."""

import threading
import uuid
from dataclasses import dataclass
from datetime import timedelta

import pytest
from django.db import connection
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from company.models import Person
from inventory.calc.kinds import Kind
from maintenance.calc.cell_words import Pool, SwapReason
from maintenance.cell_querysets import lots_counted
from maintenance.models import CellLot, CellMove, CellReading, FittedSet, Swap
from maintenance.services.cells import SwapRefused, swap_record, swap_undo
from tests.builders import NOW, make_box, make_cell_type, make_company, make_item, make_lot, make_person, make_type

LATER = NOW + timedelta(hours=100)


@dataclass(frozen=True)
class Did:
    """One swap at an hour: what went in, why, where what came out went; then perhaps taken back."""

    hour: int
    bay: int = 1
    what: str = "lot"  # lot, loose, out
    reason: SwapReason = SwapReason.PRECAUTION
    out_to: str = ""
    back: bool = False


SWAPS = st.builds(
    Did,
    hour=st.integers(0, 12),
    bay=st.integers(1, 2),
    what=st.sampled_from(["lot", "lot", "loose", "out"]),
    reason=st.sampled_from(list(SwapReason)),
    out_to=st.sampled_from(["", "", Pool.REHEARSAL, Pool.RECYCLE]),
    back=st.booleans(),
)


def record_of(things):
    """Make a device of two bays, let things arrive in this order, and say what sat in it and what is left of the lot."""
    type_ = make_cell_type()
    box = make_item(type=make_type(Kind.INTERFACE_BOX, bays=2, cell_size="6LR61"))
    lot = make_lot(50)
    CellMove.objects.exclude(lot=lot).delete()
    for number, did in things:
        inside = {"lot": {"lot": lot}, "loose": {"type": type_}, "out": {}}[did.what]
        swap = swap_record(
            uid=uuid.UUID(int=(number + 1) << 64 | box.pk),
            item=box,
            bay=did.bay,
            reason=did.reason,
            out_to=did.out_to,
            done_at=NOW + timedelta(hours=did.hour),
            received_at=LATER,
            person=None,
            anyway=True,
            **inside,
        ).swap
        if did.back:
            swap_undo(swap=swap, person=None, at=LATER)
    sets = FittedSet.objects.filter(item=box).order_by("bay", "fitted_at", "opened_uid")
    return (
        [(s.bay, s.opened_uid.int >> 64, s.fitted_at, s.removed_at, s.removed_because, s.lot_id == lot.pk) for s in sets],
        sorted(
            (row.pool, row.left) for row in lots_counted(CellLot.objects.filter(moves__isnull=False).distinct()) if row.left
        ),
        FittedSet.objects.filter(item=box, removed_at=None).count() <= 2,
    )


@pytest.mark.django_db
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
@given(things=st.lists(SWAPS, min_size=1, max_size=6), order=st.randoms(use_true_random=False))
def test_any_order_of_arrival_gives_the_same_sets_and_the_same_stock(db, things, order):
    make_company()
    numbered = list(enumerate(things))
    shuffled = list(numbered)
    order.shuffle(shuffled)
    reference = record_of(sorted(numbered, key=lambda n: (n[1].hour, n[0])))
    assert record_of(shuffled) == reference


def together(*functions):
    """Run functions in threads that start at once; answers what each returned or raised."""
    answers = [None] * len(functions)
    gate = threading.Barrier(len(functions))

    def run(number, function):
        gate.wait()
        try:
            answers[number] = function()
        except Exception as error:
            answers[number] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(functions)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return answers


def swapper(box, lot, person, key=None):
    return lambda: swap_record(
        uid=key or uuid.uuid4(),
        item=box,
        lot=lot,
        done_at=NOW,
        received_at=NOW,
        person=Person.objects.get(pk=person.pk),
    )


@pytest.mark.django_db(transaction=True)
def test_two_phones_in_the_same_second_end_as_one_swap():
    make_company()
    box, lot = make_box(), make_lot(9)
    answers = together(*(swapper(box, lot, make_person(username=name)) for name in ("ann", "bob")))
    refused = [a for a in answers if isinstance(a, SwapRefused)]
    assert len(refused) == 1 and "Done already by" in str(refused[0]), answers
    assert Swap.objects.count() == 1 and FittedSet.objects.filter(removed_at=None).count() == 1
    assert lots_counted().get(pk=lot.pk).left == 8 and not CellReading.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_one_swap_sent_by_two_ways_at_once_is_one_swap_with_one_answer():
    make_company()
    box, lot, ann, key = make_box(), make_lot(9), make_person(username="ann"), uuid.uuid4()
    answers = together(*(swapper(box, lot, ann, key) for _ in range(3)))
    assert sorted(a.again for a in answers) == [False, True, True]
    assert Swap.objects.count() == 1 and lots_counted().get(pk=lot.pk).left == 8
