"""Any order of arrival of tests, corrections, undos and repairs gives the same standing: found by trying many orders."""

import itertools
import uuid
from dataclasses import dataclass
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from maintenance.calc.bench import Depth, PairReading, Procedure
from maintenance.models import BenchTest, Fault, TestCall
from maintenance.services.bench import Given, test_record, test_undo
from maintenance.services.calls import calls_record
from maintenance.services.faults import fault_open
from maintenance.services.repairs import repair_record, repair_take_back
from tests.builders import NOW, make_company, make_multicore

pytestmark = pytest.mark.django_db


@dataclass(frozen=True)
class Did:
    """One thing that happened at an hour: a test with what it found, a repair, a report, rain; then perhaps taken back."""

    what: str
    hour: int
    depth: Depth = Depth.OHMS
    good: bool | None = True
    dead: frozenset[int] = frozenset()
    note: str = ""
    symptom: str = "hums"
    then: str = ""  # "undo", "redo", "correct"
    right: bool = True


HOURS = st.integers(0, 40)
DEPTHS = st.sampled_from(list(Depth))
THEN = st.sampled_from(["", "", "", "undo", "redo", "correct"])
EVENTS = st.one_of(
    st.builds(
        Did,
        what=st.just("word"),
        hour=HOURS,
        depth=DEPTHS,
        good=st.sampled_from([True, True, False, None]),
        note=st.sampled_from(["", "", "pushed home"]),
        then=THEN,
        right=st.booleans(),
    ),
    st.builds(
        Did,
        what=st.just("pins"),
        hour=HOURS,
        dead=st.frozensets(st.integers(1, 4), max_size=3),
        then=THEN,
        right=st.booleans(),
    ),
    st.builds(Did, what=st.just("repair"), hour=HOURS, then=st.sampled_from(["", "", "undo"])),
)
SAID = st.builds(Did, what=st.just("said"), hour=HOURS, symptom=st.sampled_from(["hums", "crackles", "damaged", "dead"]))
RAIN = st.builds(Did, what=st.just("rain"), hour=HOURS)


def at(hour):
    return NOW + timedelta(hours=hour)


LATER = at(100)  # when all of it arrives


def pins(dead):
    return tuple(
        PairReading(
            a=f"A{c}.{a}", b=f"B{c}.{b}", **({"above_ohms": 2e7} if a != b or (c in dead and a == 2) else {"ohms": 0.8})
        )
        for c in range(1, 5)
        for a in (1, 2, 3)
        for b in (1, 2, 3)
    )


def bench_of(item, did, uid, **kw):
    readings = pins(did.dead) if did.what == "pins" else ()
    values = {"word": did.good if did.what == "word" else None, "readings": readings, "note": did.note, **kw}
    return test_record(
        given=Given(
            uid=uid,
            item=item,
            procedure=Procedure.WIRING if did.what == "pins" else Procedure.WORD,
            depth=did.depth,
            done_at=at(did.hour),
            **values,
        ),
        person=None,
        received_at=LATER,
    ).test


def key_of(item, number, part):
    """Return an id that ranks as the thing does, whichever item it is of: of one instant, ids decide what came first."""
    return uuid.UUID(int=(number * 2 + part) << 64 | item.pk)


def arrive(item, number, did):
    """Let one thing arrive, with what was then done about it."""
    uid = key_of(item, number, 0)
    if did.what == "repair":
        repair = repair_record(uid=uid, item=item, did="New plug", done_at=at(did.hour), person=None, received_at=LATER)
        if did.then == "undo":
            repair_take_back(repair=repair, person=None, at=LATER)
        return
    test = bench_of(item, did, uid)
    if did.then in ("undo", "redo"):
        row = test_undo(test=test, person=None, at=LATER)
        if did.then == "redo":
            test_undo(test=row, person=None, at=LATER)
    elif did.then == "correct":
        again = Did(what="word", hour=did.hour, depth=did.depth, good=did.right)
        bench_of(item, again, key_of(item, number, 1), corrects=test)


def record_of(things, reports, rain):
    """Make an item, let things arrive in this order, and say how it stands."""
    item = make_multicore(sends=4)
    for number, said in enumerate(reports):
        fault_open(uid=uuid.uuid4(), item=item, symptom=said.symptom, at=at(said.hour), line=str(number))
    for did in rain:
        calls_record(items=[item], why="wet", show=None, person=None, at=at(did.hour))
    for number, did in things:
        arrive(item, number, did)
    item.refresh_from_db()
    faults = Fault.objects.filter(item=item, withdrawn_at=None)
    return {
        "tested_on": item.tested_on,
        "excepts": item.excepts,
        "suspect_since": item.suspect_since,
        "test_by": item.test_by,
        "faults": sorted((f.opened_at, f.line, f.closed_at, f.closed_how, f.found, f.note) for f in faults),
        "calls": [(c.at, c.answered_by and c.answered_by.done_at) for c in TestCall.objects.filter(item=item).order_by("at")],
        "standing": sorted(
            (t.done_at, t.verdict, t.depth)
            for t in BenchTest.objects.filter(item=item, corrected_by=None).exclude(procedure="undo")
        ),
    }


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
@given(
    things=st.lists(EVENTS, min_size=1, max_size=5),
    reports=st.lists(SAID, max_size=2),
    rain=st.lists(RAIN, max_size=1),
    order=st.randoms(use_true_random=False),
)
def test_any_order_of_arrival_gives_the_same_standing(db, things, reports, rain, order):
    make_company()
    numbered = list(enumerate(things))
    shuffled = list(numbered)
    order.shuffle(shuffled)
    reference = record_of(sorted(numbered, key=lambda n: (n[1].hour, n[0])), reports, rain)
    assert record_of(shuffled, reports, rain) == reference


FEW = [
    Did(what="word", hour=1, good=False),
    Did(what="word", hour=3, then="undo"),
    Did(what="repair", hour=5),
    Did(what="word", hour=7, depth=Depth.OHMS_FLEXED, then="redo"),
]


def test_every_order_of_four_things_gives_the_same_standing(company):
    answers = [record_of(list(order), [], []) for order in itertools.permutations(list(enumerate(FEW)))]
    assert all(answer == answers[0] for answer in answers)
    assert answers[0]["tested_on"] == NOW.date() and answers[0]["suspect_since"] is None
