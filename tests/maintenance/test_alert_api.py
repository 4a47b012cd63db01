"""Open alerts over HTTP: whose, in which order, how many, and what each says of itself."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests.builders import NOW
from tests.maintenance.test_alert_pages import make_alert

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


def titles(client, **query):
    return [row["title"] for row in client.get("/api/alerts", query).json()["alerts"]]


def test_an_alert_says_all_that_the_inbox_says(as_technician, technician, owner):
    alert = make_alert(by=NOW + HOUR, stage=2, urgent=True, show=4, handed_to=technician, handed_by=owner)
    assert as_technician.get("/api/alerts").json() == {
        "count": 1,
        "alerts": [
            {
                "id": alert.pk,
                "rule": "swap-before-show",
                "rule_name": "Swap before a show",
                "subject": "show:1",
                "title": "Swap 1 cells",
                "says": "Swap them now.",
                "severity": "urgent",
                "stage": 2,
                "standing": "handed over",
                "since": NOW.isoformat().replace("+00:00", "Z"),
                "by": (NOW + HOUR).isoformat().replace("+00:00", "Z"),
                "put_off_until": None,
                "handed_to": str(technician),
                "show": 4,
                "page": f"/alerts/{alert.pk}/",
                "do_at": "/cells/",
            }
        ],
    }


@pytest.mark.parametrize(
    ("kw", "severity", "standing"),
    [
        ({}, "at once", "open"),
        ({"digest": True}, "digest", "open"),
        ({"urgent": True}, "urgent", "open"),
        ({"snoozed_until": NOW + HOUR}, "at once", "put off"),
        ({"snoozed_until": NOW}, "at once", "open"),
    ],
)
def test_how_grave_and_how_it_stands(as_technician, kw, severity, standing):
    make_alert(**kw)
    (row,) = as_technician.get("/api/alerts").json()["alerts"]
    assert (row["severity"], row["standing"]) == (severity, standing)
    assert (row["put_off_until"] is not None) == (standing == "put off")


def test_in_the_order_they_are_to_be_seen_to_and_closed_ones_are_left_out(as_technician):
    make_alert(number=1, by=NOW + 9 * HOUR)
    make_alert(number=2, by=NOW + 2 * HOUR)
    make_alert(number=3, urgent=True)
    make_alert(number=4, closed_at=NOW, closed_how="gone")
    assert titles(as_technician) == ["Swap 3 cells", "Swap 2 cells", "Swap 1 cells"]


def test_a_person_gets_their_own_and_the_owner_all_for_the_asking(as_hand, as_technician, as_owner, hand, owner):
    make_alert(number=1, role="hand")
    make_alert(number=2)
    make_alert(number=3, role="owner", handed_to=hand, handed_by=owner)
    assert titles(as_hand) == ["Swap 1 cells", "Swap 3 cells"]
    assert titles(as_technician) == ["Swap 1 cells", "Swap 2 cells"]
    assert titles(as_owner) == ["Swap 1 cells", "Swap 2 cells"]
    assert len(titles(as_owner, whose="all")) == 3
    for client in (as_hand, as_technician):
        refused = client.get("/api/alerts", {"whose": "all"})
        assert refused.status_code == 403 and "an owner's to list" in refused.json()["detail"]


def test_they_are_paged_with_an_exact_count(as_technician):
    for number in range(7):
        make_alert(number=number, by=NOW + number * HOUR)
    answer = as_technician.get("/api/alerts", {"limit": 3, "offset": 3}).json()
    assert answer["count"] == 7 and [row["title"] for row in answer["alerts"]] == [f"Swap {n} cells" for n in (3, 4, 5)]
    assert as_technician.get("/api/alerts", {"offset": 99}).json() == {"count": 7, "alerts": []}
    make_alert(rule="not-home", number=9)
    assert as_technician.get("/api/alerts", {"rule": "not-home"}).json()["count"] == 1


def test_a_stranger_is_told_to_sign_in(company):
    answer = Client().get("/api/alerts")
    assert answer.status_code == 401 and "Bearer" in answer.json()["detail"]


@pytest.mark.parametrize(
    "query",
    [{"limit": 0}, {"limit": 201}, {"limit": "x"}, {"offset": -1}, {"whose": "yours"}, {"rule": "a\x00b"}, {"rule": "x" * 41}],
)
def test_what_cannot_be_asked_is_422_with_a_sentence(as_technician, query):
    answer = as_technician.get("/api/alerts", query)
    assert answer.status_code == 422 and answer.json()["field"] == next(iter(query)) and answer.json()["detail"].endswith(".")


@pytest.mark.parametrize("many", [1, 50])
def test_it_costs_the_same_for_one_and_for_fifty(as_technician, technician, many):
    for number in range(many):
        make_alert(number=number, handed_to=technician)
    with CaptureQueriesContext(connection) as asked:
        assert len(as_technician.get("/api/alerts", {"limit": 200}).json()["alerts"]) == many
    assert len(asked) == 5, "\n".join(q["sql"][:120] for q in asked)
