"""Two people in the same second, on real connections: one thing in one case, one form once, no loop."""

import threading
import uuid
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from inventory.models import CountedLine, CountMove, Item, Placement
from inventory.services.cases import CaseLoop, placement_record
from inventory.services.counted import count_out, count_recounted, count_undo, stock_of
from tests.builders import NOW, make_case, make_counted_line, make_item

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(*jobs):
    """Run every job in a thread and connection of its own, all let go at the same moment; return what each gave or raised."""
    gate = threading.Barrier(len(jobs))

    def run(job):
        try:
            gate.wait()
            return job()
        except Exception as error:
            return error
        finally:
            connection.close()

    with ThreadPoolExecutor(len(jobs)) as pool:
        return list(pool.map(run, jobs))


def test_two_people_packing_one_thing_at_once_leave_it_in_one_case():
    for _ in range(10):
        item, cases = make_item(), [make_case(), make_case()]
        answers = at_once(
            *[
                lambda case=case, item=item: placement_record(
                    uid=uuid.uuid4(), item=Item.objects.get(pk=item.pk), case=case, effective_at=NOW
                )
                for case in cases
            ]
        )
        assert all(isinstance(answer, Placement) for answer in answers), answers
        newest = max(answers, key=lambda p: p.uid.hex)
        assert Item.objects.get(pk=item.pk).in_case_id == newest.case_id


def test_two_cases_put_in_each_other_at_once_make_no_loop():
    for _ in range(10):
        a, b = make_case(), make_case()
        answers = at_once(
            lambda a=a, b=b: placement_record(uid=uuid.uuid4(), item=a, case=b, effective_at=NOW),
            lambda a=a, b=b: placement_record(uid=uuid.uuid4(), item=b, case=a, effective_at=NOW),
        )
        assert {type(answer) for answer in answers} == {CaseLoop, Placement}, answers


def test_the_same_form_from_two_connections_counts_once():
    for _ in range(10):
        line, uid = make_counted_line(24), uuid.uuid4()
        at_once(*[lambda uid=uid, line=line: count_out(uid=uid, line=line, show=7, count=4, at=NOW)] * 3)
        assert stock_of(line).on_shelf == 20
        answers = at_once(*[lambda uid=uid: count_undo(undo_uid=uid, at=NOW)] * 2)
        assert stock_of(line).on_shelf == 24 and CountMove.objects.filter(line=line).count() == 3, answers


def test_two_recounts_at_once_end_in_one_of_the_two():
    for _ in range(5):
        line = make_counted_line(24)
        at_once(
            *[
                lambda n=n, line=line: count_recounted(
                    uid=uuid.uuid4(), line=CountedLine.objects.get(pk=line.pk), on_shelf=n, at=NOW
                )
                for n in (20, 22)
            ]
        )
        assert stock_of(line).on_shelf in {20, 22}
