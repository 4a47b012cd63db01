"""Boxes, desks and mains leads through the whole record: steps asked, answers judged, kept and held against the first ones."""

import time
import uuid
from datetime import timedelta

import pytest

from inventory.calc.kinds import Kind
from inventory.models import DeskFacts, InterfaceBoxFacts, PowerFacts, StageBoxFacts
from maintenance.bench_subject import subject_of
from maintenance.calc.bench import Capability, Depth, PairReading, Procedure, StepReading, Verdict
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.procedures import steps_for
from maintenance.models import BenchFigure, BenchSettings, BenchTest
from maintenance.services.bench import Given, TestRefused, test_record
from maintenance.services.faults import fault_open
from tests.builders import NOW, make_item, make_type, make_wiring

pytestmark = pytest.mark.django_db

GOOD = {
    "gain": -21.8,
    "winding-out": 40.0,
    "winding-in": 1500.0,
    "isolation": False,
    "lift-off": True,
    "lift-on": False,
    "through": True,
    "pad": 20.1,
    "polarity": True,
    "crackle": False,
}


@pytest.fixture
def box(company):
    gear = make_type(Kind.INTERFACE_BOX, name="Passive direct box P")
    InterfaceBoxFacts.objects.filter(type=gear).delete()
    InterfaceBoxFacts.objects.create(
        type=gear, turns_ratio=12, output_ohm=150, pad_db=20, transformer_isolated=True, ground_lift=True
    )
    return make_item(type=gear)


@pytest.fixture
def desk(company):
    gear = make_type(Kind.DESK, name="Desk D")
    DeskFacts.objects.filter(type=gear).delete()
    DeskFacts.objects.create(type=gear, inputs=32, phantom="per-channel")
    return make_item(type=gear)


@pytest.fixture
def mains_lead(company):
    gear = make_type(Kind.POWER, name="Mains lead M")
    PowerFacts.objects.filter(type=gear).delete()
    PowerFacts.objects.create(type=gear, rating_a=10)
    return make_item(type=gear)


def answered(values):
    return tuple(
        StepReading(step=key, yes=value) if isinstance(value, bool) else StepReading(step=key, value=value)
        for key, value in values.items()
    )


def recorded(item, procedure, values, hours=0.0, depth=Depth.OHMS):
    given = Given(
        uid=uuid.uuid4(),
        item=item,
        procedure=procedure,
        depth=depth,
        done_at=NOW + timedelta(hours=hours),
        steps=answered(values),
    )
    return test_record(given=given, person=None, received_at=NOW + timedelta(hours=hours))


def feeding(channels, **bad):
    one = {"open-2": 48.0, "open-3": 48.0, "load": 14.0}
    return {
        f"{key}.{c}": bad.get(f"c{c}", one[key]) if key == "load" else one[key] for c in range(1, channels + 1) for key in one
    }


def test_a_box_is_asked_for_the_steps_its_facts_call_for(box):
    subject = subject_of([box])[box.pk]
    steps = steps_for(
        procedure=subject.procedures[0],
        facts=subject.facts,
        capabilities=set(Capability),
        limits=BenchLimits(),
        golden=subject.golden,
    )
    assert [step.key for step in steps] == list(GOOD)


def test_a_box_is_later_held_against_its_own_first_windings(box):
    assert recorded(box, Procedure.PASSIVE_BOX, GOOD).judgement.verdict == Verdict.PASS
    assert BenchFigure.objects.get(test__item=box, name="Output winding").value == 40.0
    assert subject_of([box])[box.pk].golden["Output winding"] == 40.0
    drifted = recorded(box, Procedure.PASSIVE_BOX, GOOD | {"winding-out": 52.0}, hours=1)
    assert drifted.judgement.verdict == Verdict.FAIL
    assert [f.name for f in drifted.judgement.findings] == ["output winding high"]
    assert "Its own first reading was 40\u2009Ω." in drifted.judgement.findings[0].text
    assert BenchFigure.objects.get(test=drifted.test, name="Output winding").within is False
    box.refresh_from_db()
    assert box.suspect_since is not None


def test_a_desk_is_good_except_where_its_phantom_collapses(desk):
    began = time.perf_counter()
    done = recorded(desk, Procedure.PHANTOM, feeding(32, c7=3.0, c14=4.0))
    taken = time.perf_counter() - began
    desk.refresh_from_db()
    assert done.judgement.verdict == Verdict.FAIL
    assert done.judgement.dead_channels == (7, 14)
    assert desk.excepts == "7, 14"
    assert desk.suspect_since is None
    assert taken < 2, "96 answers and their figures in one short transaction"


def test_a_box_answers_a_complaint_by_what_was_measured_alone(box):
    """It hums: a pass that looked at the pad says nothing of the lift switch; one that tried the switch does."""
    fault = fault_open(uid=uuid.uuid4(), item=box, symptom="hums", at=NOW - timedelta(hours=1))
    looked = recorded(box, Procedure.PASSIVE_BOX, {"pad": 20.1, "through": True, "gain": -21.8})
    assert [(f, why) for f, why in looked.open_still] == [(fault, "Nothing that was measured looks into “hums”.")]
    assert recorded(box, Procedure.PASSIVE_BOX, GOOD, hours=1).closed == [fault]


def test_a_word_alone_does_not_answer_for_what_feeds_a_box(box):
    fault = fault_open(uid=uuid.uuid4(), item=box, symptom="no phantom", at=NOW - timedelta(hours=1))
    given = Given(uid=uuid.uuid4(), item=box, procedure=Procedure.WORD, depth=Depth.LAMPS, done_at=NOW, word=True)
    done = test_record(given=given, person=None, received_at=NOW)
    assert done.open_still[0][0] == fault and "a word alone" in done.open_still[0][1]


def test_channels_that_were_answered_count_whatever_the_shop_owns_now(desk):
    BenchSettings.objects.update_or_create(pk=1, defaults={"measures": [], "asked_at": NOW})
    done = recorded(desk, Procedure.PHANTOM, feeding(2))
    assert done.test.effects["covers"] == [1, 2]
    desk.refresh_from_db()
    assert desk.tested_on is None, "two of its channels prove no whole"


def test_a_mains_lead_is_held_against_the_companys_own_limits_alone(mains_lead):
    values = {"visual": True, "earth": 0.2, "insulation": 300.0}
    assert recorded(mains_lead, Procedure.MAINS, values).judgement.verdict == Verdict.CANNOT_TELL
    BenchSettings.current()
    BenchSettings.objects.update(earth_ohm=0.5, mains_insulation_mohm=1.0)
    done = recorded(mains_lead, Procedure.MAINS, values, hours=1)
    assert done.judgement.verdict == Verdict.PASS
    assert done.test.reasons[0] == "Within the limits your company set."
    assert any("competent person" in reason for reason in done.test.reasons)


@pytest.mark.parametrize(
    ("values", "words"),
    [({"winding-out": -3.0}, "below nothing"), ({"gain": 300.0}, "cannot be"), ({"gain-cells": 0.0}, "no step")],
)
def test_an_answer_that_cannot_be_is_refused_and_nothing_is_kept(box, values, words):
    with pytest.raises(TestRefused, match=words):
        recorded(box, Procedure.PASSIVE_BOX, values)
    assert not box.bench_tests.exists()


def test_a_first_reading_is_not_learnt_while_a_box_is_suspect(box):
    fault_open(uid=uuid.uuid4(), item=box, symptom="hums", at=NOW - timedelta(hours=1))
    looked = recorded(box, Procedure.PASSIVE_BOX, {"pad": 20.1, "through": True, "gain": -21.8})
    assert looked.judgement.verdict == Verdict.PASS and looked.open_still and subject_of([box])[box.pk].golden == {}
    recorded(box, Procedure.PASSIVE_BOX, GOOD, hours=1)
    assert subject_of([box])[box.pk].golden["Output winding"] == 40.0


def test_a_stage_box_of_sockets_and_cores_is_tested_as_a_multicore(company):
    make_wiring("multicore", per_channel=True, ends="A: three-pin socket: 1 2 3\nB: three-pin plug: 1 2 3")
    of = make_type(Kind.STAGE_BOX)
    StageBoxFacts.objects.create(type=of, inputs=8, outputs=0, phantom="none", digital=False)
    subject = subject_of([make_item(type=of)])
    (one,) = subject.values()
    assert one.procedures[0] == Procedure.WIRING and one.channels == 8
    assert one.lead is not None and one.lead.wiring.sends == 8 and not one.no_lead


def test_readings_beside_a_word_are_not_thrown_away(box):
    given = Given(
        uid=uuid.uuid4(),
        item=box,
        procedure=Procedure.WORD,
        depth=Depth.LAMPS,
        done_at=NOW,
        word=True,
        readings=(PairReading(a="A2", b="B2", above_ohms=2e7),),
    )
    with pytest.raises(TestRefused, match="a word would throw them away"):
        test_record(given=given, person=None, received_at=NOW)
    assert not BenchTest.objects.exists()
