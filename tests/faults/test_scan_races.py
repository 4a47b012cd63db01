"""Two real connections at once: one item 200 times, overlapping batches in opposite order, one scan sent by everybody.

On SQLite by default; on PostgreSQL when DATABASE_URL says so.
"""

import threading
import time
import uuid
from datetime import timedelta

import pytest
from django.db import connection, connections

from inventory.models import Item
from inventory.services.cases import placement_record
from maintenance.models import Fault
from shows.models import Checkout, Scan
from shows.services.scans import items_refold, scans_record
from tests.builders import NOW, make_case, make_item, make_person, make_show

pytestmark = pytest.mark.django_db(transaction=True)

TURNS = 200
PAUSE = 0.01  # a phone's own time between two scans: SQLite polls for its turn, and a loop without a pause never leaves one
RECEIVED = NOW + timedelta(days=1)


@pytest.fixture(autouse=True)
def _file_database():
    if connection.vendor == "sqlite":
        assert "memory" not in str(connection.settings_dict["NAME"]), "locking in memory is not locking in life"


def scan(code, action, show, *, seconds=0, uid=None, **more):
    return {
        "id": str(uid or uuid.uuid4()),
        "seq": seconds,
        "code": code,
        "action": action,
        "show": show.pk,
        "happened_at": (NOW + timedelta(seconds=seconds)).isoformat(),
        **more,
    }


def at_once(*jobs):
    """Run each job in a thread with a connection of its own, let go at the same moment; return their answers."""
    gate, answers, failures = threading.Barrier(len(jobs)), [None] * len(jobs), []

    def run(place, job):
        try:
            gate.wait(30)
            answers[place] = job()
        except BaseException as error:
            failures.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=(place, job)) for place, job in enumerate(jobs)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(240)
        assert not thread.is_alive(), "a deadlock, or a wait without end"
    if failures:
        raise failures[0]
    return answers


def test_two_phones_race_for_one_item_200_times():
    person, item = make_person("hand"), make_item()
    shows = [make_show(NOW + timedelta(days=9), name="One"), make_show(NOW + timedelta(days=9), name="Two")]

    def phone(device, show):
        def send():
            outcomes = []
            for turn in range(TURNS):
                action = "out" if turn % 2 == 0 else "back"
                body = [scan(item.code, action, show, seconds=turn)]
                time.sleep(PAUSE)
                outcomes += scans_record(actor=person, device=device, sent_at=None, scans=body, received_at=RECEIVED)
            return outcomes

        return send

    one, two = at_once(phone("a", shows[0]), phone("b", shows[1]))
    assert len(one) == len(two) == TURNS and Scan.objects.count() == 2 * TURNS
    assert {a.outcome for a in (*one, *two)} <= {"accepted", "contradiction"}
    columns = ("show", "opened_uid", "opened_at", "closed_uid", "closed_at", "ended", "evidence")
    kept = list(Checkout.objects.order_by("opened_at", "opened_uid").values_list(*columns))
    assert sum(row[3] is None for row in kept) <= 1
    before = Item.objects.values_list("custody", "custody_show").get(pk=item.pk)
    Checkout.objects.all().delete()
    items_refold(item_ids=[item.pk], at=RECEIVED)
    assert list(Checkout.objects.order_by("opened_at", "opened_uid").values_list(*columns)) == kept, "as if told in order"
    assert Item.objects.values_list("custody", "custody_show").get(pk=item.pk) == before


def test_overlapping_batches_in_opposite_order_never_deadlock():
    person, show = make_person("hand"), make_show(NOW + timedelta(days=9))
    items = [make_item(type=first.type) for first in [make_item()] for _ in range(12)]

    def sender(order, device):
        def send():
            for turn in range(25):
                time.sleep(PAUSE)
                bodies = [scan(i.code, "out" if turn % 2 else "back", show, seconds=turn, condition="suspect") for i in order]
                scans_record(actor=person, device=device, sent_at=None, scans=bodies, received_at=RECEIVED)

        return send

    at_once(sender(items, "a"), sender(items[::-1], "b"), sender(items[3:9], "c"))
    assert Scan.objects.count() == 25 * (12 + 12 + 6)
    assert Checkout.objects.filter(closed_at=None).count() <= len(items)
    assert Fault.objects.count() == Scan.objects.count()


def test_one_scan_sent_by_four_at_once_is_one_scan_with_one_answer():
    person, show = make_person("hand"), make_show(NOW + timedelta(days=9))
    items = [make_item() for _ in range(6)]
    for turn in range(10):
        bodies = [scan(i.code, "out", show, seconds=turn) for i in items]

        def send(order, bodies=bodies):
            return lambda: scans_record(
                actor=person, device="a", sent_at=None, scans=[bodies[n] for n in order], received_at=RECEIVED
            )

        answers = at_once(send(range(6)), send(range(5, -1, -1)), send([3, 1, 5, 0, 4, 2]), send([2, 2, 4, 1, 0, 5, 3]))
        said = {(a.id, a.outcome, a.signal, a.reason) for some in answers for a in some}
        assert len(said) == 6
    assert Scan.objects.count() == 60


def test_one_id_with_two_bodies_at_once_is_one_scan():
    person, show = make_person("hand"), make_show(NOW + timedelta(days=9))
    one, two = make_item(), make_item()
    for turn in range(20):
        uid = uuid.uuid4()
        answers = at_once(
            *(
                lambda item=item, uid=uid, turn=turn: scans_record(
                    actor=person,
                    device="a",
                    sent_at=None,
                    scans=[scan(item.code, "out", show, seconds=turn, uid=uid)],
                    received_at=RECEIVED,
                )
                for item in (one, two)
            )
        )
        assert answers[0] == answers[1]
    assert Scan.objects.count() == 20


def test_a_case_and_its_contents_scanned_at_once():
    person, show, case = make_person("hand"), make_show(NOW + timedelta(days=9)), make_case()
    inside = [make_item() for _ in range(5)]
    for item in inside:
        placement_record(uid=uuid.uuid4(), item=item, case=case, effective_at=NOW - timedelta(days=1))

    def cases():
        for turn in range(20):
            time.sleep(PAUSE)
            body = [scan(case.code, "out" if turn % 2 else "back", show, seconds=2 * turn)]
            scans_record(actor=person, device="a", sent_at=None, scans=body, received_at=RECEIVED)

    def things():
        for turn in range(20):
            time.sleep(PAUSE)
            bodies = [scan(i.code, "back" if turn % 2 else "out", show, seconds=2 * turn + 1) for i in inside[::-1]]
            scans_record(actor=person, device="b", sent_at=None, scans=bodies, received_at=RECEIVED)

    at_once(cases, things)
    ids = [case.pk, *(i.pk for i in inside)]
    before = list(Item.objects.filter(pk__in=ids).order_by("pk").values_list("custody", "custody_show", "custody_since"))
    items_refold(item_ids=ids, at=RECEIVED)
    after = list(Item.objects.filter(pk__in=ids).order_by("pk").values_list("custody", "custody_show", "custody_since"))
    assert after == before


def test_packing_and_scanning_the_same_things_at_once_never_deadlocks():
    person, show, case = make_person("hand"), make_show(NOW + timedelta(days=9)), make_case()
    things = [make_item() for _ in range(4)]

    def packer():
        for turn in range(30):
            time.sleep(PAUSE)
            into = case if turn % 2 else None
            at = NOW + timedelta(seconds=turn)
            for thing in things[::-1]:
                thing = Item.objects.select_related("type").get(pk=thing.pk)
                placement_record(uid=uuid.uuid4(), item=thing, case=into, effective_at=at, person=person)

    def scanner():
        for turn in range(30):
            time.sleep(PAUSE)
            action = "out" if turn % 2 else "back"
            bodies = [scan(i.code, action, show, seconds=100 + turn, condition="suspect") for i in (*things, case)]
            scans_record(actor=person, device="a", sent_at=None, scans=bodies, received_at=RECEIVED)

    at_once(packer, scanner)
    assert Scan.objects.count() == 150
    before = derived()
    items_refold(item_ids=[i.pk for i in (*things, case)], at=RECEIVED)
    assert derived() == before


def derived():
    return list(Item.objects.order_by("pk").values_list("pk", "custody", "custody_show", "custody_since"))
