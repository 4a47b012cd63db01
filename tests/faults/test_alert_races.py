"""The rules run twice at once, from two real connections: one alert a cause, one delivery an address, no endless wait.

On SQLite by default; on PostgreSQL when DATABASE_URL says so.
"""

import random
from datetime import timedelta

import pytest
from django.core import mail
from django.db import connection

from company.registries import ALERT_RULES
from maintenance.calc.alert_words import Closed, DeliveryState
from maintenance.models import Alert, Attempt, Delivery, RuleRun
from maintenance.services.alerts import alerts_run
from maintenance.services.outbox import deliveries_send
from tests.builders import NOW, make_company, make_person
from tests.faults.test_scan_races import at_once
from tests.maintenance.test_alerts import Finding, cause

pytestmark = pytest.mark.django_db(transaction=True)
HOUR = timedelta(hours=1)
MANY = 600  # more than two parts of a run


@pytest.fixture(autouse=True)
def _file_database(settings, monkeypatch):
    if connection.vendor == "sqlite":
        assert "memory" not in str(connection.settings_dict["NAME"]), "locking in memory is not locking in life"
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)  # the senders that a run wakes know no other hour
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"


class Shuffled(Finding):
    """A rule that finds the same things in another order each time, as a database may."""

    def find(self, at, terms):
        return iter(random.sample(self.causes, len(self.causes)))


@pytest.fixture
def rule(monkeypatch):
    made = Shuffled("swap")
    monkeypatch.setattr(ALERT_RULES, "_entries", {"swap": (100, lambda: made.rule)})
    make_company()
    for number in range(2):
        make_person("technician", username=f"t{number}", email=f"t{number}@example.org")
    return made


def causes(many, stage=0, says="Swap them."):
    return [cause(f"item:{number}", stage=stage, says=says) for number in range(many)]


@pytest.mark.parametrize("apart", [timedelta(0), timedelta(microseconds=1)], ids=["the same instant", "a moment apart"])
def test_two_runs_at_once_raise_step_close_and_reopen_once(rule, apart):
    at = NOW

    def both():
        nonlocal at
        at += HOUR
        return at_once(lambda: alerts_run(at=at), lambda: alerts_run(at=at + apart))

    rule.causes = causes(MANY)
    assert not any(ran.threw for ran in both())
    assert (Alert.objects.count(), Delivery.objects.count()) == (MANY, 2 * MANY)
    rule.causes = causes(MANY, stage=1, says="Swap them now.")
    assert not any(ran.threw for ran in both())
    assert Delivery.objects.filter(stage=1).count() == 2 * MANY == Delivery.objects.filter(stage=0).count()
    rule.causes = []
    first, second = both()
    assert not first.threw and not second.threw and first.closed + second.closed == MANY
    assert Alert.objects.filter(closed_how=Closed.GONE).count() == MANY
    assert not Delivery.objects.filter(state=DeliveryState.WAITING).exists()
    rule.causes = causes(MANY, stage=1)
    assert not any(ran.threw for ran in both())
    assert Alert.objects.filter(closed_at=None).count() == MANY == Alert.objects.count()
    assert Delivery.objects.count() == 4 * MANY and RuleRun.objects.count() == 1


def test_two_runs_and_two_senders_at_once_tell_everybody_once(rule):
    rule.causes = causes(120)
    at_once(
        lambda: alerts_run(at=NOW),
        lambda: alerts_run(at=NOW),
        lambda: deliveries_send(at=NOW),
        lambda: deliveries_send(at=NOW),
    )
    at_once(lambda: deliveries_send(at=NOW + HOUR), lambda: deliveries_send(at=NOW + HOUR))
    told = sorted((one.to[0], one.extra_headers.get("Message-ID", one.subject)) for one in mail.outbox)
    assert Alert.objects.count() == 120 and Delivery.objects.filter(state=DeliveryState.SENT).count() == 240
    assert len(mail.outbox) == 240 == Attempt.objects.count() and len(set(told)) == 240


def test_one_run_finds_what_another_no_longer_does_and_neither_throws(rule):
    full, empty = causes(MANY), causes(0)
    rule.causes = full
    alerts_run(at=NOW)
    for turn in range(1, 4):

        def one(turn=turn):
            rule.causes = empty if turn % 2 else full
            return alerts_run(at=NOW + turn * HOUR)

        assert not any(ran.threw for ran in at_once(one, lambda turn=turn: alerts_run(at=NOW + turn * HOUR)))
    rule.causes = full
    alerts_run(at=NOW + 9 * HOUR)
    assert Alert.objects.filter(closed_at=None).count() == MANY == Alert.objects.count()
