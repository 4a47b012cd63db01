"""The worker's silence and backups: what is an alarm, what is a laptop that slept, and when."""

import sys
from datetime import timedelta
from types import ModuleType

import pytest

from company import alert_rules
from company.models import Absence, Company
from company.registries import ALERT_RULES
from tests.builders import NOW

pytestmark = pytest.mark.django_db
HOUR, DAY, SECOND = timedelta(hours=1), timedelta(days=1), timedelta(seconds=1)


@pytest.fixture(autouse=True)
def shop(company):
    return company


def silence(at=NOW):
    rule = ALERT_RULES["worker-silent"]()
    return list(rule.find(at, rule.terms))


def test_a_worker_that_stood_still_while_the_machine_was_on_is_told_of_for_a_day(monkeypatch):
    monkeypatch.setattr(alert_rules, "worker_silent", lambda at: None)
    Absence.objects.create(since=NOW - 3 * HOUR, until=NOW - HOUR, machine_on=True)
    (cause,) = silence()
    assert "from Fri 25 Sep, 07:00 to Fri 25 Sep, 09:00" in cause.says and cause.subject == "shop"
    assert silence(NOW + 23 * HOUR - SECOND) and not silence(NOW + 23 * HOUR)


def test_a_sleeping_laptop_is_no_alarm(monkeypatch):
    monkeypatch.setattr(alert_rules, "worker_silent", lambda at: None)
    Absence.objects.create(since=NOW - 3 * HOUR, until=NOW - HOUR, machine_on=False)
    assert not silence()


def test_the_same_silence_is_one_occasion_while_it_lasts_and_after(monkeypatch):
    since = NOW - 3 * HOUR
    monkeypatch.setattr(alert_rules, "worker_silent", lambda at: since)
    (during,) = silence()
    assert "Start it again" in during.says
    monkeypatch.setattr(alert_rules, "worker_silent", lambda at: None)
    Absence.objects.create(since=since, until=NOW, machine_on=True)
    (after,) = silence(NOW + SECOND)
    assert (after.subject, after.occasion) == (during.subject, during.occasion) and after.says != during.says


@pytest.fixture
def backups(monkeypatch):
    """Answer for the folder of backups."""
    answer = {"last": None}
    module = sys.modules.get("company.backups") or ModuleType("company.backups")
    monkeypatch.setitem(sys.modules, "company.backups", module)
    monkeypatch.setattr(module, "last_backup", lambda at: answer["last"], raising=False)
    return answer


def no_backup(at=NOW):
    return list(alert_rules.BACKUP.find(at, alert_rules.BACKUP.terms))


def test_three_days_without_a_backup_are_told_at_the_instant_and_once_a_last_backup(backups):
    backups["last"] = NOW - 3 * DAY
    assert not no_backup(NOW - SECOND)
    (cause,) = no_backup()
    assert "made on Tue 22 Sep, 10:00" in cause.says and cause.occasion == f"backup:{backups['last'].isoformat()}"
    assert no_backup(NOW + DAY)[0].occasion == cause.occasion and cause.by == NOW
    backups["last"] = NOW
    assert not no_backup(NOW + DAY)


def test_a_shop_that_never_had_one_is_told_three_days_after_it_was_set_up(backups):
    Company.objects.update(set_up_at=NOW - 3 * DAY)
    assert not no_backup(NOW - SECOND)
    (cause,) = no_backup()
    assert cause.says.startswith("There has never been one.") and cause.occasion == "backup:never"
    Company.objects.update(set_up_at=None)
    assert not no_backup()
