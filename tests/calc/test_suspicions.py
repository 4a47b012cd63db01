"""What a symptom points at, and which passes lay it to rest."""

import itertools
import json
from pathlib import Path

import pytest

from inventory.calc.kinds import KINDS_WITHOUT_STANDING, Kind
from maintenance.calc.bench import Capability, Depth, Procedure
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.procedures import procedures_for, steps_for
from maintenance.calc.suspicions import answers, likely, likely_pairs, likely_steps
from maintenance.calc.symptoms import Symptom

HEARD = [
    Symptom.HUMS,
    Symptom.CRACKLES,
    Symptom.THIN,
    Symptom.QUIET,
    Symptom.DEAD,
    Symptom.INTERMITTENT,
    Symptom.NO_PHANTOM,
    Symptom.FADES,
]
TYPES = json.loads((Path(__file__).parents[2] / "fixtures" / "catalogue.json").read_text())["types"]


def _steps_of_every_type():
    known = {}
    for gear in TYPES:
        for procedure in procedures_for(gear["kind"], gear["facts"]):
            steps = steps_for(
                procedure=procedure, facts=gear["facts"], capabilities=set(Capability), limits=BenchLimits(), golden={}
            )
            known.setdefault(procedure, set()).update(step.base for step in steps)
    return known


KNOWN = _steps_of_every_type()
# asked for only where the usual way is not to be had
STAND_INS = {"load-3k3", "short-both", "sound"}


@pytest.mark.parametrize("procedure", [p for p in Procedure if KNOWN.get(p)])
def test_every_step_a_symptom_points_at_is_a_step_of_that_test(procedure):
    for symptom in Symptom:
        assert set(likely_steps(procedure=procedure, symptoms=[symptom])) <= KNOWN[procedure] | STAND_INS


@pytest.mark.parametrize("symptom", HEARD)
def test_every_complaint_about_a_lead_points_at_pins(symptom):
    found = likely(kind="lead", symptoms=[symptom])
    assert found
    for suspicion in found:
        assert suspicion.pairs and suspicion.roles and suspicion.why.endswith(".")
        assert all(
            a.startswith("A") and b[0] in "AB" for a, b in (pair.split("-") for pair in suspicion.pairs if pair[0] == "A")
        )


@pytest.mark.parametrize("symptom", HEARD)
def test_every_complaint_about_an_active_box_points_at_steps(symptom):
    assert all(s.steps and s.why for s in likely(kind="interface-box", symptoms=[symptom], procedures=[Procedure.ACTIVE_BOX]))
    assert likely_steps(procedure=Procedure.ACTIVE_BOX, symptoms=[symptom])


@pytest.mark.parametrize(
    ("symptom", "first"),
    [("hums", "A1-B1"), ("thin", "A2-B3"), ("no phantom", "A1-B1"), ("got wet", "A1-A2"), ("dead", "A2-B2")],
)
def test_the_likeliest_pins_come_first(symptom, first):
    assert likely_pairs(symptoms=[symptom])[0] == first


def test_crackling_wants_a_bend_before_anything_else():
    for symptom in ("crackles", "comes and goes"):
        assert likely(kind="lead", symptoms=[symptom])[0].flexed


def test_two_symptoms_ask_each_thing_once_and_the_first_comes_first():
    both = likely(kind="lead", symptoms=["hums", "no phantom"])
    assert len({(s.title, s.why) for s in both}) == len(both)
    assert both[0].symptom == Symptom.HUMS
    assert len(likely_pairs(symptoms=["hums", "no phantom"])) == len(set(likely_pairs(symptoms=["hums", "no phantom"])))


@pytest.mark.parametrize(("kind", "symptom"), list(itertools.product(Kind, Symptom)))
def test_no_kind_and_no_symptom_is_a_surprise(kind, symptom):
    found = likely(kind=kind, symptoms=[symptom])
    assert all(s.title and s.why for s in found)
    assert kind not in KINDS_WITHOUT_STANDING or not found


def test_what_is_no_symptom_is_refused():
    with pytest.raises(ValueError):
        likely(kind="lead", symptoms=["sad"])


@pytest.mark.parametrize(("symptom", "depth", "procedure"), list(itertools.product(Symptom, Depth, Procedure)))
def test_a_complaint_that_stays_open_says_why_in_a_sentence(symptom, depth, procedure):
    why = answers(symptom=symptom, depth=depth, procedure=procedure)
    assert why == "" or (why.endswith(".") and why[0] in "“" + "ABCDEFGHIJKLMNOPQRSTUVWXYZ")


@pytest.mark.parametrize(("symptom", "procedure"), list(itertools.product(Symptom, Procedure)))
def test_a_deeper_test_never_leaves_open_what_a_shallower_one_closed(symptom, procedure):
    order = [(Depth.LAMPS, Depth.LAMPS_FLEXED), (Depth.LAMPS, Depth.OHMS), (Depth.OHMS, Depth.OHMS_FLEXED)]
    for shallow, deep in [*order, (Depth.LAMPS_FLEXED, Depth.OHMS_FLEXED)]:
        if not answers(symptom=symptom, depth=shallow, procedure=procedure):
            assert not answers(symptom=symptom, depth=deep, procedure=procedure)


@pytest.mark.parametrize(
    ("symptom", "depth", "closes"),
    [
        ("crackles", Depth.OHMS, False),
        ("crackles", Depth.LAMPS_FLEXED, True),
        ("comes and goes", Depth.LAMPS, False),
        ("comes and goes", Depth.OHMS_FLEXED, True),
        ("hums", Depth.LAMPS, True),
        ("thin", Depth.LAMPS, True),
        ("quiet", Depth.LAMPS_FLEXED, False),
        ("quiet", Depth.OHMS, True),
        ("got wet", Depth.LAMPS_FLEXED, False),
        ("got wet", Depth.OHMS, True),
        ("other", Depth.LAMPS, False),
        ("other", Depth.OHMS, True),
        ("damaged", Depth.OHMS_FLEXED, False),
        ("parts missing", Depth.OHMS_FLEXED, False),
    ],
)
def test_a_lead_answers_what_its_test_can_see(symptom, depth, closes):
    assert (answers(symptom=symptom, depth=depth, procedure=Procedure.WIRING) == "") == closes


@pytest.mark.parametrize(
    ("symptom", "procedure", "closes"),
    [
        ("no phantom", Procedure.PHANTOM, True),
        ("no phantom", Procedure.INPUT, False),
        ("dead", Procedure.PHANTOM, False),
        ("dead", Procedure.INPUT, True),
        ("gets quieter", Procedure.ACTIVE_BOX, True),
        ("gets quieter", Procedure.PASSIVE_BOX, True),
        ("gets quieter", Procedure.PHANTOM, True),
        ("hums", Procedure.MAINS, False),
        ("got wet", Procedure.MAINS, True),
        ("dead", Procedure.UNDO, False),
    ],
)
def test_a_test_answers_only_what_it_looks_for(symptom, procedure, closes):
    assert (answers(symptom=symptom, depth=Depth.OHMS, procedure=procedure) == "") == closes


PROPER = [k for k in Kind if k not in KINDS_WITHOUT_STANDING | {Kind.POWER, Kind.CELL_SET, Kind.INSTRUMENT}]


@pytest.mark.parametrize("kind", PROPER)
@pytest.mark.parametrize("symptom", HEARD)
def test_no_complaint_is_beyond_every_proper_test_of_its_kind(kind, symptom):
    """What no test could close would stay open until a person closes it. An amplifier has no phantom to miss."""
    tests = {p for facts in ({}, {"active": True}, {"phantom": "global"}) for p in procedures_for(kind, facts)}
    closing = [p for p in tests - {Procedure.WORD} if not answers(symptom=symptom, depth=Depth.OHMS_FLEXED, procedure=p)]
    assert closing or (kind, symptom) == (Kind.AMPLIFIER, Symptom.NO_PHANTOM)


@pytest.mark.parametrize(
    ("symptom", "steps", "closes"),
    [
        ("gets quieter", ["gain-low-cells"], True),
        ("gets quieter", ["through", "polarity"], False),
        ("crackles", ["crackle", "gain-cells"], True),
        ("crackles", ["crackle.2"], True),
        ("crackles", ["gain-cells"], False),
        ("hums", ["lift-on"], True),
        ("hums", ["gain-phantom"], False),
    ],
)
def test_what_was_measured_decides_what_a_box_answers(symptom, steps, closes):
    why = answers(symptom=symptom, depth=Depth.OHMS, procedure=Procedure.ACTIVE_BOX, steps=steps)
    assert (why == "") == closes


def test_a_word_alone_does_not_say_that_a_desk_feeds():
    assert answers(symptom="no phantom", depth=Depth.OHMS_FLEXED, procedure=Procedure.WORD, kind="desk")
    assert not answers(symptom="no phantom", depth=Depth.OHMS_FLEXED, procedure=Procedure.WORD, kind="lead")
