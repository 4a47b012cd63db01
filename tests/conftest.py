"""What every test may ask for."""

import time
from collections import Counter

import pytest
from django.core.management import call_command
from django.db import transaction
from django.test import Client
from django.test.utils import teardown_databases

from company.pulses import WATCH, Watch
from tests.builders import make_company, make_person
from tests.made_database import databases_set_up

# Few tests, but long ones: they start shops, load the demo, restore backups. Begun last, one worker would wait for them.
LONG = {f"test_{name}" for name in ("addresses", "alert_rules", "backups", "bench_stateful", "chaos", "demo", "env", "lan")}
LONG |= {f"test_{name}" for name in ("look", "main_job", "record_check", "supervisor")}


def pytest_collection_modifyitems(items):
    """Deal out the long files first, then the others by how many tests they have (`--no-loadscope-reorder` keeps that)."""
    of = Counter(item.path for item in items)
    items.sort(key=lambda item: (item.path.stem not in LONG, -of[item.path]))


@pytest.fixture(scope="session")
def django_db_setup(django_test_environment, django_db_blocker, django_db_modify_db_settings):
    """Give this worker a database of its own: a copy of one that was migrated once."""
    with django_db_blocker.unblock():
        old = databases_set_up()
    yield
    with django_db_blocker.unblock():
        teardown_databases(old, verbosity=0)


@pytest.fixture(autouse=True)
def just_opened(monkeypatch):
    """Silence of the worker is counted from here, not from when the first test ran: a long suite is not a dead worker."""
    for name, value in vars(Watch(started_s=time.monotonic())).items():
        monkeypatch.setattr(WATCH, name, value)


@pytest.fixture(scope="module")
def catalogue(django_db_setup, django_db_blocker):
    """The shipped catalogue, loaded once for a file of tests: it takes a second. None of them may commit."""
    with django_db_blocker.unblock(), transaction.atomic():
        call_command("load_catalogue", verbosity=0)
        yield
        transaction.set_rollback(True)


@pytest.fixture
def company(db):
    return make_company()


@pytest.fixture
def owner(company):
    return make_person("owner", username="owner")


@pytest.fixture
def technician(company):
    return make_person("technician", username="technician")


@pytest.fixture
def hand(company):
    return make_person("hand", username="hand")


def signed_in(person) -> Client:
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def as_owner(owner):
    return signed_in(owner)


@pytest.fixture
def as_technician(technician):
    return signed_in(technician)


@pytest.fixture
def as_hand(hand):
    return signed_in(hand)
