"""Somebody else holds the database for longer than anybody waits: the API says so, and what is sent again is stored once."""

import json
import sqlite3
import uuid

import psycopg
import pytest
from django.conf import settings
from django.db import connection

from shows.models import Checkout, CustodyHead, Scan
from tests.builders import NOW, make_company, make_item, make_person, make_show
from tests.conftest import signed_in

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def held_elsewhere(request):
    """Return a function that holds what a scan must write from a second connection, until the function it returns is called;
    this one waits a tenth of a second at most."""
    opened = []

    def hold(item):
        if connection.vendor == "sqlite":
            other = sqlite3.connect(connection.settings_dict["NAME"], isolation_level=None)
            other.execute("BEGIN IMMEDIATE")
            with connection.cursor() as cursor:
                cursor.execute("PRAGMA busy_timeout = 100")
        else:
            given = connection.get_connection_params()
            other = psycopg.connect(**{k: given[k] for k in ("dbname", "user", "password", "host", "port") if k in given})
            other.execute(f"SELECT 1 FROM {CustodyHead._meta.db_table} WHERE item_id = %s FOR UPDATE", [item.pk])
            with connection.cursor() as cursor:
                cursor.execute("SET lock_timeout = '100ms'")
        opened.append(other)
        return other.rollback

    yield hold
    for other in opened:
        other.close()
    connection.close()


def test_a_busy_database_is_503_with_retry_after_and_nothing_is_lost_or_half_written(held_elsewhere):
    assert not settings.DEBUG
    make_company()
    hand, show, item = make_person("hand"), make_show(), make_item()
    CustodyHead.objects.create(item=item)
    client = signed_in(hand)
    scan = {"id": str(uuid.uuid4()), "code": item.code, "action": "out", "show": show.pk, "happened_at": NOW.isoformat()}
    body = json.dumps({"device": "phone", "scans": [scan]})
    let_go = held_elsewhere(item)
    busy = client.post("/api/scans", body, content_type="application/json")
    assert busy.status_code == 503 and int(busy["Retry-After"]) >= 1 and busy.json()["detail"]
    let_go()
    assert not Scan.objects.exists() and not Checkout.objects.exists()
    for _time in range(2):
        answer = client.post("/api/scans", body, content_type="application/json")
        assert answer.status_code == 200 and answer.json()["results"][0]["outcome"] == "accepted"
    assert Scan.objects.count() == 1 and Checkout.objects.count() == 1
