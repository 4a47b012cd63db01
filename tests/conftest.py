"""What every test may ask for."""

import pytest
from django.test import Client

from tests.builders import make_company, make_person


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
