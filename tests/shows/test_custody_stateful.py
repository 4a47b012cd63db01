"""Scans in random order, repeated, late, undone, with wrong clocks, cases moved in between, from three devices: the record
always says what a small model written another way says, and no item is ever out twice."""

import uuid
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from inventory.models import Item
from inventory.services.cases import placement_record
from shows.models import Checkout, Contradiction, Scan
from shows.services.scans import items_refold, scans_record
from tests.builders import NOW, make_case, make_company, make_item, make_person, make_show

DEVICES = ("phone", "tablet", "wand")
SENT = NOW + timedelta(days=3)


class Model:
    """Who has what, the slow way: replay everything from nothing, one dictionary of item to show and one of item to case."""

    def __init__(self, shows):
        self.scans, self.placements = {}, []
        self.times = {s.pk: (s.load_in, s.strike) for s in shows}

    def undone(self):
        """An undo holds unless an undo that holds names it; these machines make no rings."""
        undos = [s for s in self.scans.values() if s["action"] == "undo"]

        def holds(undo):
            return not any(holds(other) for other in undos if other["undoes"] == undo["id"])

        return {u["undoes"] for u in undos if holds(u)}

    def replay(self):
        gone = self.undone()
        out, truck = {}, set()
        done = [s for s in self.scans.values() if s["action"] != "undo" and s["id"] not in gone]
        for scan in sorted(done, key=lambda s: (s["at"], s["device"], s["seq"], uuid.UUID(s["id"]))):
            inside = {}
            for at, item, case in sorted(self.placements, key=lambda p: p[0]):
                if at <= scan["at"]:
                    inside[item] = case
            self.apply(scan, out, truck, inside)
        return {item: (show, item in truck) for item, show in out.items()}

    def apply(self, scan, out, truck, inside):
        item, show, action = scan["item"], scan["show"], scan["action"]
        was = out.get(item)
        if action == "out":
            out[item] = show
            truck.discard(item)
        elif action == "truck":
            out[item] = show
            truck.add(item)
        elif action == "back":
            out.pop(item, None)
            truck.discard(item)
        if action != "inspect":
            self.along(item, was, action, show, out, truck, inside)

    def along(self, case, case_was, action, show, out, truck, inside):
        for item in [i for i, c in inside.items() if c == case]:
            was = out.get(item)
            if action == "out" and was in (None, show, case_was):
                out[item] = show
                if was != show:
                    truck.discard(item)
            elif action == "truck" and was == show:
                truck.add(item)
            elif action == "back" and was is not None and was == case_was:
                out.pop(item)
                truck.discard(item)
            else:
                continue
            self.along(item, was, action, show, out, truck, inside)


class CustodyMachine(RuleBasedStateMachine):
    @initialize()
    def begin(self):
        make_company()
        self.person = make_person("hand")
        self.shows = [make_show(NOW + timedelta(hours=h)) for h in (-12, 0, 4, 30)]
        self.outer, self.inner = make_case(name="outer"), make_case(name="inner")
        self.boxes = [make_item(type=b) for b in [make_item().type] for _ in range(3)]
        self.things = [*self.boxes, self.inner, self.outer]
        self.model = Model(self.shows)
        self.held_back, self.sequence = [], 0

    def made(self, device, minutes, **scan):
        self.sequence += 1
        at = NOW + timedelta(minutes=minutes)
        return {"id": str(uuid.uuid4()), "device": device, "seq": self.sequence % 3, "at": at, **scan}

    def send(self, scans, clock_minutes=0):
        """Send as a device whose clock is off by so many minutes; the batch's sent_at is off by the same."""
        off = timedelta(minutes=clock_minutes)
        for device in DEVICES:
            mine = [s for s in scans if s["device"] == device]
            if not mine:
                continue
            bodies = [
                {
                    "id": s["id"],
                    "seq": s["seq"],
                    "code": self.codes[s["item"]],
                    "action": s["action"],
                    "show": s["show"],
                    "happened_at": (s["at"] + off).isoformat(),
                    "undoes": s.get("undoes"),
                }
                for s in mine
            ]
            answers = scans_record(actor=self.person, device=device, sent_at=SENT + off, scans=bodies, received_at=SENT)
            assert all(a.outcome in ("accepted", "contradiction") for a in answers)
            for s in mine:
                self.model.scans.setdefault(s["id"], s)

    @property
    def codes(self):
        return {t.pk: t.code for t in self.things}

    @rule(
        device=st.sampled_from(DEVICES),
        minutes=st.integers(-600, 1800),
        thing=st.integers(0, 4),
        show=st.integers(0, 3),
        action=st.sampled_from(["out", "out", "truck", "back", "back", "inspect"]),
        clock=st.sampled_from([0, 0, 2880, -2880, 7]),
        late=st.booleans(),
    )
    def scan(self, device, minutes, thing, show, action, clock, late):
        scan = self.made(device, minutes, item=self.things[thing].pk, show=self.shows[show].pk, action=action)
        if late:
            self.held_back.append(scan)
        else:
            self.send([scan], clock)

    @rule(random=st.randoms(use_true_random=False))
    def late_ones_arrive(self, random):
        random.shuffle(self.held_back)
        self.send(self.held_back)
        self.held_back = []

    @rule(data=st.data(), device=st.sampled_from(DEVICES), minutes=st.integers(-600, 1800), early=st.booleans())
    def undo(self, data, device, minutes, early):
        """Undo something known, an undo included, or (early) something that has not arrived."""
        known = self.held_back if early else list(self.model.scans.values())
        if known:
            target = data.draw(st.sampled_from(known))
            self.send([self.made(device, minutes, item=target["item"], show=None, action="undo", undoes=target["id"])])

    @rule(data=st.data())
    def again(self, data):
        """A flaky line sends some scans twice, in one batch and another."""
        if self.model.scans:
            some = data.draw(st.lists(st.sampled_from(list(self.model.scans.values())), max_size=4))
            before = Scan.objects.count()
            self.send([*some, *some])
            assert Scan.objects.count() == before

    @rule(thing=st.integers(0, 3), case=st.sampled_from(["inner", "outer", None]), minutes=st.integers(-600, 1800))
    def pack(self, thing, case, minutes):
        item, into = self.things[thing], getattr(self, case) if case else None
        if into == item:
            return
        at = NOW + timedelta(minutes=minutes, seconds=30, microseconds=len(self.model.placements))
        item, into = Item.objects.get(pk=item.pk), into and Item.objects.get(pk=into.pk)
        placement_record(uid=uuid.uuid4(), item=item, case=into, effective_at=at, person=self.person)
        self.model.placements.append((at, item.pk, into.pk if into else None))

    @invariant()
    def the_record_agrees(self):
        if not hasattr(self, "model"):
            return
        ours = {i.pk: (i.custody_show, i.custody == "truck") for i in Item.objects.exclude(custody="")}
        assert ours == self.model.replay()
        still = list(Checkout.objects.filter(closed_at=None).values_list("item_id", "show_id"))
        assert sorted(still) == sorted((item, show) for item, (show, _truck) in ours.items())

    def teardown(self):
        if not hasattr(self, "model"):
            return
        columns = [f.attname for f in Checkout._meta.fields if f.name != "id"]
        checkouts = sorted(Checkout.objects.values_list(*columns), key=repr)
        found = set(Contradiction.objects.filter(stands=True).values_list("item", "scan_uid", "kind", "said"))
        Checkout.objects.all().delete()
        items_refold(item_ids=[t.pk for t in self.things], at=SENT)
        assert sorted(Checkout.objects.values_list(*columns), key=repr) == checkouts
        assert set(Contradiction.objects.filter(stands=True).values_list("item", "scan_uid", "kind", "said")) == found
        super().teardown()


class TestCustodyMachine(TestCase):
    """Each run of the machine in a transaction of its own."""

    def test_the_record_agrees_with_a_small_model_whatever_arrives(self):
        from django.db import transaction

        class InTransaction(CustodyMachine):
            def __init__(self):
                super().__init__()
                self.point = transaction.atomic()
                self.point.__enter__()

            def teardown(self):
                try:
                    super().teardown()
                finally:
                    transaction.set_rollback(True)
                    self.point.__exit__(None, None, None)

        run_state_machine_as_test(
            InTransaction,
            settings=settings(
                max_examples=15,
                stateful_step_count=20,
                deadline=None,
                suppress_health_check=list(HealthCheck),
            ),
        )


pytestmark = pytest.mark.django_db
