"""What is written to the outbox: once a stage and address, for the right people, put off in their quiet hours."""

from datetime import UTC, datetime, time, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from maintenance.calc.alert_words import DeliveryState
from maintenance.models import Address, Alert, Delivery, RuleSetting, Telling
from maintenance.sending.seal import unseal
from maintenance.services.outbox import deliveries_drop, deliveries_queue
from tests.builders import make_person

NOON = datetime(2026, 6, 5, 11, 0, tzinfo=UTC)  # London: 12:00
NIGHT = datetime(2026, 6, 5, 22, 30, tzinfo=UTC)  # London: 23:30


def make_alert(**kw):
    kw = {"rule": "swap", "subject": "show:1", "occasion": "1", "title": "Swap the cells", "says": "Do it.", "url": "/", **kw}
    kw = {"digest": False, "raised_at": NOON, **kw}
    return Alert.objects.create(**kw)


@pytest.fixture
def told(company):
    """An owner and a technician with e-mail, one without, a hand, and one who has left."""
    return {
        "owner": make_person("owner", username="ines", email="ines@example.org"),
        "technician": make_person("technician", username="bo", email="bo@example.org"),
        "silent": make_person("technician", username="pat"),
        "hand": make_person("hand", username="joss", email="joss@example.org"),
        "left": make_person("technician", username="gone", email="gone@example.org", is_active=False),
    }


def to_whom(alert):
    return sorted(Delivery.objects.filter(alert=alert).values_list("address__person__username", flat=True))


def test_everybody_of_the_role_with_an_address_is_told_once(told):
    alert = make_alert()
    assert deliveries_queue(alerts=[alert], at=NOON) == 2
    deliveries_queue(alerts=[alert], at=NOON + timedelta(minutes=5))
    assert to_whom(alert) == ["bo", "ines"]
    delivery = Delivery.objects.get(alert=alert, address__person=told["technician"])
    assert (delivery.state, delivery.not_before, delivery.made_at) == (DeliveryState.WAITING, NOON, NOON)


def test_a_further_stage_is_told_again(told):
    alert = make_alert()
    deliveries_queue(alerts=[alert], at=NOON)
    alert.stage = 1
    deliveries_queue(alerts=[alert], at=NOON)
    assert to_whom(alert) == ["bo", "bo", "ines", "ines"]


def test_what_waits_for_the_digest_makes_no_delivery(told):
    assert deliveries_queue(alerts=[make_alert(digest=True)], at=NOON) == 0


def test_a_rule_that_names_people_tells_these_alone_and_after_they_left_its_role(told):
    setting = RuleSetting.objects.create(rule="swap")
    setting.people.add(told["hand"])
    alert = make_alert()
    deliveries_queue(alerts=[alert], at=NOON)
    assert to_whom(alert) == ["joss"]
    told["hand"].is_active = False
    told["hand"].save(update_fields=["is_active"])
    later = make_alert(occasion="2")
    deliveries_queue(alerts=[later], at=NOON)
    assert to_whom(later) == ["bo", "ines"]


def test_one_it_was_handed_to_is_told_alone(told):
    alert = make_alert(handed_to=told["hand"])
    deliveries_queue(alerts=[alert], at=NOON)
    assert to_whom(alert) == ["joss"]


def test_quiet_hours_put_off_what_is_not_urgent(told):
    calm, urgent = make_alert(), make_alert(occasion="2", urgent=True)
    deliveries_queue(alerts=[calm, urgent], at=NIGHT)
    assert set(Delivery.objects.filter(alert=urgent).values_list("not_before", flat=True)) == {NIGHT}
    morning = datetime(2026, 6, 6, 6, 0, tzinfo=UTC)  # London: 07:00
    assert set(Delivery.objects.filter(alert=calm).values_list("not_before", flat=True)) == {morning}


def test_quiet_hours_are_those_of_the_persons_own_zone(told):
    Telling.objects.create(person=told["owner"], time_zone="America/New_York", quiet_from=time(22), quiet_until=time(7))
    alert = make_alert()
    deliveries_queue(alerts=[alert], at=datetime(2026, 6, 5, 3, 0, tzinfo=UTC))  # New York: 23:00, London: 04:00
    puts = dict(Delivery.objects.filter(alert=alert).values_list("address__person__username", "not_before"))
    assert puts["ines"] == datetime(2026, 6, 5, 11, 0, tzinfo=UTC)
    assert puts["bo"] == datetime(2026, 6, 5, 6, 0, tzinfo=UTC)


def test_an_alert_that_closed_is_not_told_any_more(told):
    alert, other = make_alert(), make_alert(occasion="2")
    deliveries_queue(alerts=[alert, other], at=NOON)
    assert deliveries_drop(alerts=[alert], at=NOON) == 2
    assert set(Delivery.objects.filter(alert=alert).values_list("state", flat=True)) == {DeliveryState.DROPPED}
    assert set(Delivery.objects.filter(alert=other).values_list("state", flat=True)) == {DeliveryState.WAITING}
    assert deliveries_queue(alerts=[alert], at=NOON) >= 0
    assert Delivery.objects.filter(alert=alert, state=DeliveryState.WAITING).count() == 0


def test_a_changed_email_takes_the_place_of_the_old_one_also_for_what_waits(told):
    alert = make_alert()
    deliveries_queue(alerts=[alert], at=NOON)
    told["technician"].email = "bo@new.example.org"
    told["technician"].save(update_fields=["email"])
    later = make_alert(occasion="2")
    deliveries_queue(alerts=[later], at=NOON)
    assert to_whom(later) == ["bo", "ines"]
    assert Address.objects.filter(person=told["technician"], removed_at=None).count() == 1
    waiting = Delivery.objects.get(alert=alert, address__person=told["technician"])
    assert waiting.state == DeliveryState.WAITING and unseal(waiting.address.sealed) == "bo@new.example.org"
    told["technician"].email = ""
    told["technician"].save(update_fields=["email"])
    deliveries_queue(alerts=[later], at=NOON)
    assert set(Delivery.objects.filter(address=waiting.address).values_list("state", flat=True)) == {DeliveryState.DROPPED}


def test_the_queries_do_not_grow_with_the_alerts(told):
    deliveries_queue(alerts=[make_alert(occasion="first")], at=NOON)
    counts = []
    for number in (1, 50):
        alerts = [make_alert(occasion=f"{number}.{n}") for n in range(number)]
        with CaptureQueriesContext(connection) as seen:
            deliveries_queue(alerts=alerts, at=NOON)
        counts.append(sum("INSERT" not in query["sql"] for query in seen))
        assert len(seen) <= counts[-1] + 2, "rows are written many at once"
    assert counts[0] == counts[1] <= 9
