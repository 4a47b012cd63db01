"""Two real connections at once at the bench: one test sent by both, two people testing one thing, an undo by both."""

import uuid
from datetime import timedelta

import pytest
from django.db import connection

from maintenance.calc.bench import Depth, Procedure
from maintenance.models import BenchTest, Fault
from maintenance.services.bench import NONE_SEEN, Given, TestRefused, test_record, test_undo
from tests.builders import NOW, make_company, make_lead, make_person
from tests.faults.test_scan_races import at_once

pytestmark = pytest.mark.django_db(transaction=True)

ROUNDS = 15


@pytest.fixture(autouse=True)
def _file_database():
    make_company()
    if connection.vendor == "sqlite":
        assert "memory" not in str(connection.settings_dict["NAME"]), "locking in memory is not locking in life"


def given(item, **kw):
    values = {"uid": uuid.uuid4(), "procedure": Procedure.WORD, "depth": Depth.OHMS, "done_at": NOW, "word": True, **kw}
    return Given(item=item, **values)


def test_one_test_sent_by_both_is_one_test_with_one_answer():
    person = make_person()
    for _ in range(ROUNDS):
        item = make_lead()
        once = given(item, word=False)
        answers = at_once(*[lambda once=once: test_record(given=once, person=person, received_at=NOW)] * 2)
        assert sorted(answer.again for answer in answers) == [False, True]
        assert answers[0].test.pk == answers[1].test.pk and answers[0].words == answers[1].words
        assert BenchTest.objects.filter(item=item).count() == Fault.objects.filter(item=item).count() == 1


def test_one_id_sent_for_two_things_is_one_test():
    for _ in range(ROUNDS):
        uid = uuid.uuid4()
        items = [make_lead(), make_lead()]
        answers = at_once(
            *[
                lambda item=item, uid=uid: test_record(given=given(item, uid=uid), person=None, received_at=NOW)
                for item in items
            ]
        )
        assert BenchTest.objects.filter(item__in=items).count() == 1
        assert len({answer.test.pk for answer in answers}) == 1


def test_of_two_people_testing_one_thing_the_second_hears_of_the_first():
    people = [make_person(username="jo"), make_person(username="sam")]

    def bench(item, person, good):
        def send():
            try:
                return test_record(given=given(item, after=NONE_SEEN, word=good), person=person, received_at=NOW)
            except TestRefused as refused:
                return refused

        return send

    for _ in range(ROUNDS):
        item = make_lead()
        answers = at_once(bench(item, people[0], True), bench(item, people[1], False))
        (refused,) = [a for a in answers if isinstance(a, TestRefused)]
        (taken,) = [a for a in answers if not isinstance(a, TestRefused)]
        assert str(refused).startswith(f"{taken.test.person} tested it as well") and refused.field == "after"
        assert BenchTest.objects.filter(item=item).count() == 1
        item.refresh_from_db()
        assert bool(item.suspect_since) is (taken.test.verdict == "fail")


def test_an_undo_by_both_takes_back_once():
    for _ in range(ROUNDS):
        item = make_lead()
        test = test_record(given=given(item), person=None, received_at=NOW).test
        undos = at_once(*[lambda test=test: test_undo(test=test, person=None, at=NOW + timedelta(hours=1))] * 2)
        assert len({row.pk for row in undos}) == 1 and BenchTest.objects.filter(item=item).count() == 2
        item.refresh_from_db()
        assert item.tested_on is None
