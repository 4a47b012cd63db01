"""The engine: what is raised, told, rewritten, closed and opened again, whatever a rule or a second run does."""

from dataclasses import replace
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from company.models import Absence
from company.registries import ALERT_RULES, AlertRule, Cause, RuleTerms
from maintenance.alert_terms import rule_put_back, rule_set, rules_now
from maintenance.calc.alert_words import Closed, DeliveryState
from maintenance.models import Alert, Delivery, RuleRun
from maintenance.services.alerts import (
    alert_close,
    alert_hand,
    alert_hand_back,
    alert_open,
    alert_snooze,
    alert_wake,
    alerts_due,
    alerts_run,
)
from tests.builders import NOW, make_person

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)


class Finding:
    """A rule that finds what a test puts into it."""

    def __init__(self, key, **kw):
        self.causes = []
        self.threw = None
        self.terms = None
        self.rule = AlertRule(
            key=key, name=key, why="A rule of a test.", find=self.find, done="It was seen to.", **{"digest": False, **kw}
        )

    def find(self, at, terms):
        self.terms = terms
        if self.threw:
            raise self.threw
        return iter(self.causes)


@pytest.fixture
def rules(monkeypatch):
    """Two rules, and no others."""
    made = {"swap": Finding("swap", lead_means="before load-in"), "home": Finding("home", urgent=True)}
    monkeypatch.setattr(ALERT_RULES, "_entries", {key: (100, lambda one=one: one.rule) for key, one in made.items()})
    return made


@pytest.fixture
def people(company):
    return [
        make_person("technician", username="t", email="t@example.org"),
        make_person("owner", username="o", email="o@example.org"),
    ]


def cause(subject="show:1", **kw):
    return Cause(
        **{"subject": subject, "occasion": subject, "title": "Swap 3 cells", "says": "Swap them.", "url": "/cells/", **kw}
    )


def deliveries(**kw):
    return Delivery.objects.filter(**kw)


def test_what_is_found_is_raised_once_and_told_to_everybody_of_the_role(rules, people):
    rules["swap"].causes = [cause(), cause("show:2")]
    assert alerts_run(at=NOW).raised == 2
    assert deliveries().count() == 4
    for later in (1, 2):
        ran = alerts_run(at=NOW + later * HOUR)
        assert (ran.found, ran.raised, ran.closed) == (2, 0, 0)
    assert (Alert.objects.count(), deliveries().count()) == (2, 4)


def test_an_alert_closes_by_itself_says_so_and_what_was_not_sent_is_dropped(rules, people):
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW)
    deliveries().filter(pk=deliveries()[0].pk).update(state=DeliveryState.SENT, sent_at=NOW)
    rules["swap"].causes = []
    assert alerts_run(at=NOW + HOUR).closed == 1
    alert = Alert.objects.get()
    assert (alert.closed_how, alert.closed_says, alert.closed_at) == (Closed.GONE, "It was seen to.", NOW + HOUR)
    assert sorted(deliveries().values_list("state", flat=True)) == [DeliveryState.DROPPED, DeliveryState.SENT]


def test_a_cause_that_comes_back_opens_it_again_and_tells_nobody(rules, people):
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW)
    deliveries().update(state=DeliveryState.SENT)
    rules["swap"].causes = []
    alerts_run(at=NOW + HOUR)
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW + 2 * HOUR)
    alert = Alert.objects.get()
    assert (alert.closed_at, alert.closed_how, alert.closed_says) == (None, "", "")
    assert deliveries().count() == 2 and not deliveries(state=DeliveryState.WAITING).exists()


def test_a_new_occasion_of_the_same_subject_is_a_new_alert(rules, people):
    rules["swap"].causes = [cause(occasion="test:1")]
    alerts_run(at=NOW)
    rules["swap"].causes = [cause(occasion="test:2")]
    alerts_run(at=NOW + HOUR)
    assert list(Alert.objects.order_by("pk").values_list("occasion", "closed_how")) == [("test:1", "gone"), ("test:2", "")]


def test_what_a_person_closed_stays_closed_and_can_be_opened(rules, people):
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW)
    alert = Alert.objects.get()
    assert alert_close(alert=alert, person=people[0], at=NOW) and not alert_close(alert=alert, person=people[0], at=NOW)
    alerts_run(at=NOW + HOUR)
    alert.refresh_from_db()
    assert alert.closed_how == Closed.HAND and "seen to" in alert.closed_says
    assert alert_open(alert=alert, at=NOW) and not alert_open(alert=alert, at=NOW)
    alert.refresh_from_db()
    assert alert.closed_at is None


def test_changed_words_are_rewritten_quietly_and_a_further_stage_is_told_again(rules, people):
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW)
    rules["swap"].causes = [cause(title="Swap 2 cells", by=NOW + HOUR)]
    alerts_run(at=NOW + HOUR)
    alert = Alert.objects.get()
    assert (alert.title, alert.by, alert.stage) == ("Swap 2 cells", NOW + HOUR, 0) and deliveries().count() == 2
    rules["swap"].causes = [cause(stage=1)]
    alerts_run(at=NOW + 2 * HOUR)
    assert deliveries(stage=1).count() == 2
    rules["swap"].causes = [cause(stage=0)]
    alerts_run(at=NOW + 3 * HOUR)
    assert Alert.objects.get().stage == 1 and deliveries().count() == 4


def test_a_rule_that_throws_leaves_its_alerts_and_stops_no_other(rules, people):
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW)
    rules["swap"].threw = ZeroDivisionError("three by nought")
    rules["home"].causes = [cause("show:9")]
    ran = alerts_run(at=NOW + HOUR)
    assert ran.threw == ["swap"] and ran.raised == 1
    assert Alert.objects.filter(closed_at=None).count() == 2
    run = RuleRun.objects.get(rule="swap")
    assert "ZeroDivisionError: three by nought" in run.said and NOW <= run.ended_well_at < NOW + HOUR
    rules["swap"].threw = None
    alerts_run(at=NOW + 2 * HOUR)
    assert RuleRun.objects.get(rule="swap").said == ""


def test_a_rule_switched_off_closes_its_alerts_and_finds_nothing(rules, people):
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW)
    rule_set(rule=rules["swap"].rule, on=False, digest=False, urgent=False, role="technician")
    alerts_run(at=NOW + HOUR)
    assert Alert.objects.get().closed_how == Closed.OFF
    rule_put_back(rule=rules["swap"].rule)
    alerts_run(at=NOW + 2 * HOUR)
    assert Alert.objects.get().closed_at is None


def test_an_owners_terms_reach_the_rule(rules, people):
    rule_set(
        rule=rules["swap"].rule,
        on=True,
        digest=True,
        urgent=True,
        role="owner",
        people=people[:1],
        lead=30 * HOUR,
        stages=[HOUR],
    )
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW)
    assert rules["swap"].terms == RuleTerms(lead=30 * HOUR, stages=(HOUR,))
    alert = Alert.objects.get()
    assert (alert.digest, alert.urgent, alert.role) == (True, False, "owner") and deliveries().count() == 0
    assert rules_now()["swap"].people == (people[0],)
    with pytest.raises(ValueError, match=r"hands, technicians or owners\."):
        rule_set(rule=rules["swap"].rule, on=True, digest=True, urgent=True, role="nobody")
    with pytest.raises(ValueError, match="At most 6"):
        rule_set(rule=rules["swap"].rule, on=True, digest=True, urgent=True, role="owner", stages=[HOUR] * 7)


def test_named_people_alone_are_told(rules, people):
    rule_set(rule=rules["swap"].rule, on=True, digest=False, urgent=False, role="technician", people=people[:1])
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW)
    assert [d.address.person for d in deliveries()] == [people[0]]


def test_what_is_put_off_is_not_told_until_then_and_then_once(rules, people):
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW)
    deliveries().update(state=DeliveryState.SENT)
    alert_snooze(alert=Alert.objects.get(), until=NOW + 5 * HOUR, person=people[0], at=NOW)
    rules["swap"].causes = [cause(stage=1)]
    alerts_run(at=NOW + HOUR)
    assert deliveries().count() == 2
    alerts_run(at=NOW + 5 * HOUR)
    assert deliveries(state=DeliveryState.WAITING).count() == 2
    alerts_run(at=NOW + 6 * HOUR)
    assert deliveries().count() == 4 and Alert.objects.get().snoozed_until is None and Alert.objects.get().stage == 1
    alert_snooze(alert=Alert.objects.get(), until=NOW + 9 * HOUR, person=people[0], at=NOW + 6 * HOUR)
    alerts_run(at=NOW + 9 * HOUR)
    assert deliveries(state=DeliveryState.WAITING).count() == 2 and deliveries().count() == 6
    with pytest.raises(ValueError, match=r"later than now\."):
        alert_snooze(alert=Alert.objects.get(), until=NOW, person=people[0], at=NOW)


def test_putting_off_is_taken_back(rules, people):
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW)
    alert = Alert.objects.get()
    alert_snooze(alert=alert, until=NOW + HOUR, person=people[0], at=NOW)
    assert alert_wake(alert=alert, at=NOW) and not alert_wake(alert=alert, at=NOW)


def test_handed_over_it_is_told_to_that_person_alone(rules, people):
    other = make_person("hand", username="h", email="h@example.org")
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW)
    alert_hand(alert=Alert.objects.get(), to=other, person=people[1], at=NOW)
    assert [d.address.person for d in deliveries(state=DeliveryState.WAITING)] == [other]
    rules["swap"].causes = [cause(stage=1)]
    alerts_run(at=NOW + HOUR)
    assert [d.address.person for d in deliveries(stage=1)] == [other]
    assert alert_hand_back(alert=Alert.objects.get(), at=NOW) and not alert_hand_back(alert=Alert.objects.get(), at=NOW)


def test_handed_to_one_whose_delivery_was_dropped_it_is_told_after_all(rules, people):
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW)
    alert_hand(alert=Alert.objects.get(), to=people[0], person=people[1], at=NOW)
    assert [d.address.person for d in deliveries(state=DeliveryState.WAITING)] == [people[0]]


def test_what_came_while_the_program_was_closed_is_marked(rules, people):
    Absence.objects.create(since=NOW - 9 * HOUR, until=NOW - timedelta(minutes=1))
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW)
    rules["swap"].causes += [cause("show:2")]
    alerts_run(at=NOW + HOUR)
    assert list(Alert.objects.order_by("pk").values_list("while_closed", flat=True)) == [True, False]


def test_one_that_goes_and_comes_back_before_it_was_sent_is_told_after_all(rules, people):
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW)
    rules["swap"].causes = []
    alerts_run(at=NOW + HOUR)
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW + 2 * HOUR)
    assert deliveries(state=DeliveryState.WAITING).count() == 2


@pytest.mark.parametrize("how", ["open", "wake", "back"])
def test_taking_back_wants_again_what_was_dropped(rules, people, how):
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW)
    alert = Alert.objects.get()
    if how == "open":
        alert_close(alert=alert, person=people[0], at=NOW)
        alert_open(alert=alert, at=NOW)
    elif how == "wake":
        alert_snooze(alert=alert, until=NOW + HOUR, person=people[0], at=NOW)
        alert_wake(alert=alert, at=NOW)
    else:
        alert_hand(alert=alert, to=people[0], person=people[1], at=NOW)
        alert_hand_back(alert=alert, at=NOW)
    assert deliveries(state=DeliveryState.WAITING).count() == 2


def test_a_stage_that_comes_as_a_pause_ends_is_told_once(rules, people):
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW)
    deliveries().update(state=DeliveryState.SENT)
    alert_snooze(alert=Alert.objects.get(), until=NOW + 5 * HOUR, person=people[0], at=NOW)
    rules["swap"].causes = [cause(stage=1)]
    alerts_run(at=NOW + 5 * HOUR)
    assert deliveries(state=DeliveryState.WAITING).count() == 2


def test_two_runs_at_once_raise_and_tell_once(rules, people):
    rules["swap"].causes = [cause()]
    found = rules["swap"].rule.find

    def twice(at, terms):
        causes = list(found(at, terms))
        rules["swap"].rule = replace(rules["swap"].rule, find=found)
        alerts_run(at=at)  # the other run comes between this one's look and its write
        return causes

    rules["swap"].rule = replace(rules["swap"].rule, find=twice)
    alerts_run(at=NOW)
    assert Alert.objects.count() == 1 and deliveries().count() == 2


def test_a_rule_the_program_no_longer_has_closes_its_alerts(rules, people):
    rules["swap"].causes = [cause()]
    alerts_run(at=NOW)
    Alert.objects.update(rule="gone-rule")
    rules["swap"].causes = []
    alerts_run(at=NOW + HOUR)
    assert Alert.objects.get().closed_how == Closed.OFF


def test_rules_named_alone_are_run(rules, people):
    rules["swap"].causes, rules["home"].causes = [cause()], [cause("show:9")]
    assert alerts_run(at=NOW, rules=["home"]).raised == 1
    assert Alert.objects.get().rule == "home"


def test_they_are_due_when_the_last_run_is_five_minutes_old(rules, people):
    assert alerts_due(at=NOW)
    alerts_run(at=NOW)
    assert not alerts_due(at=NOW + timedelta(minutes=4, seconds=59))
    assert alerts_due(at=NOW + timedelta(minutes=5))


@pytest.mark.parametrize("many", [1, 60])
def test_a_quiet_run_costs_the_same_with_one_and_with_many(rules, people, many):
    rules["swap"].causes = [cause(f"item:{n}") for n in range(many)]
    alerts_run(at=NOW)
    with CaptureQueriesContext(connection) as asked:
        alerts_run(at=NOW + HOUR)
    assert len(asked) == QUIET, "\n".join(q["sql"][:120] for q in asked)


QUIET = 16


@pytest.mark.parametrize("many", [1, 2_600])
def test_many_causes_that_were_seen_to_cost_one_query_and_are_not_said_again(rules, people, many):
    rules["swap"].causes = [cause(f"item:{n}", occasion="a") for n in range(many)]
    Alert.objects.bulk_create(
        Alert(
            rule="swap",
            subject=one.subject,
            occasion=one.occasion,
            title="T",
            says="S",
            url="/",
            raised_at=NOW,
            closed_at=NOW,
            closed_how=Closed.HAND,
        )
        for one in rules["swap"].causes
    )
    alerts_run(at=NOW)
    with CaptureQueriesContext(connection) as asked:
        ran = alerts_run(at=NOW + HOUR)
    assert (ran.found, ran.raised) == (many, 0) and not Alert.objects.filter(closed_at=None).exists()
    assert len(asked) == QUIET + 2, "\n".join(q["sql"][:120] for q in asked)
    rules["swap"].causes = [cause("item:0", occasion="b"), cause("item:0", occasion="a")]
    assert alerts_run(at=NOW + 2 * HOUR).raised == 1, "another occasion of the same subject is new"
