"""Where and when a person is told: their page, its bad input, and what could not be told."""

from datetime import timedelta

import pytest
from django.core import mail

from company.clock import now
from maintenance.calc.alert_words import DeliveryState
from maintenance.models import Address, Alert, Delivery, Telling
from maintenance.sending.seal import unseal
from maintenance.services.address_book import MOST, AddressRefusedError, address_add, address_remove, address_try
from maintenance.services.outbox import deliveries_queue
from tests.builders import make_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def post(settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    return mail.outbox


def add(client, **kw):
    return client.post("/me/telling/add/email/", {"email": "bo@example.org", **kw})


def test_an_address_is_shown_whole_once_then_masked_and_is_sealed(as_technician):
    page = add(as_technician)
    assert "bo@example.org" in page.content.decode() and "no-store" in page["Cache-Control"]
    again = as_technician.get("/me/telling/").content.decode()
    assert "bo@example.org" not in again and "b…@example.org" in again
    row = Address.objects.get()
    assert "bo@" not in row.sealed and unseal(row.sealed) == "bo@example.org"


def test_the_same_address_twice_gets_a_sentence(as_technician):
    add(as_technician)
    answer = add(as_technician, email="BO@Example.org")
    assert answer.status_code == 422 and "on your list already" in answer.content.decode()
    assert Address.objects.count() == 1


@pytest.mark.parametrize("odd", ["", "bo", "bo@", "a@b\nBcc: c@d.org", "x" * 400 + "@example.org", "bo@example.org\x00"])
def test_what_is_no_address_gets_a_sentence(as_technician, odd):
    answer = add(as_technician, email=odd)
    assert answer.status_code == 422 and 'class="error"' in answer.content.decode() and not Address.objects.exists()


def test_a_service_takes_only_what_has_its_shape_and_shows_no_secret(as_technician):
    path = "/me/telling/add/ntfy/"
    for odd in ("x", "a topic with spaces", "http://192.168.0.1/", "../../etc", "t" * 65):
        assert as_technician.post(path, {"topic": odd}).status_code == 422
    assert as_technician.post(path, {"topic": "a_long_topic_42"}).status_code == 200
    row = Address.objects.get()
    assert "a_long" not in row.shown and row.shown.endswith("_42")
    for odd in ("json", "xml", "dbus", "email-ish"):
        assert as_technician.get(f"/me/telling/add/{odd}/").status_code == 404


def test_a_trial_goes_at_most_once_a_minute(as_technician, post, monkeypatch):
    add(as_technician)
    row = Address.objects.get()
    path = f"/me/telling/addresses/{row.pk}/"
    assert "on its way" in as_technician.post(path, {"what": "try"}, follow=True).content.decode()
    assert "wait a minute" in as_technician.post(path, {"what": "try"}, follow=True).content.decode()
    assert len(post) == 1 and post[0].to == ["bo@example.org"]
    row.refresh_from_db()
    assert row.tried_well
    with pytest.raises(AddressRefusedError):
        address_try(address=row, at=now())
    address_try(address=row, at=now() + timedelta(seconds=61))
    assert len(post) == 2


def test_a_trial_that_fails_says_why_and_a_dead_address_is_switched_off(as_technician, settings):
    add(as_technician)
    row = Address.objects.get()
    settings.SECRET_KEY = "another"
    assert "secret key" in address_try(address=row, at=now()).said
    row.refresh_from_db()
    assert row.off_at and not row.tried_well and "secret key" in row.off_why


def test_addresses_are_switched_and_taken_away_by_their_owner_alone(as_technician, as_hand):
    add(as_technician)
    row = Address.objects.get()
    path = f"/me/telling/addresses/{row.pk}/"
    assert as_hand.post(path, {"what": "remove"}).status_code == 404
    as_technician.post(path, {"what": "off"})
    row.refresh_from_db()
    assert row.off_at
    as_technician.post(path, {"what": "on"})
    row.refresh_from_db()
    assert row.off_at is None
    as_technician.post(path, {"what": "remove"})
    row.refresh_from_db()
    assert row.removed_at
    assert as_technician.post(path, {"what": "try"}).status_code == 404
    assert add(as_technician).status_code == 200  # taken away, it may be added again


def test_what_waits_for_an_address_taken_away_is_dropped(technician):
    row, _text = address_add(person=technician, service="email", filled={"email": "t@example.org"}, at=now())
    alert = Alert.objects.create(
        rule="r", subject="s", occasion="o", title="T", says="S", url="/", digest=False, raised_at=now()
    )
    deliveries_queue(alerts=[alert], at=now())
    address_remove(address=row, at=now())
    assert [d.state for d in Delivery.objects.filter(address=row)] == [DeliveryState.DROPPED]


def test_ones_own_address_is_changed_on_ones_own_page(as_technician, technician):
    technician.email = "t@example.org"
    technician.save(update_fields=["email"])
    as_technician.post("/me/telling/", {"digest_at": "08:00", "quiet_from": "", "quiet_until": ""})
    own = Address.objects.get(service="own")
    page = as_technician.post(f"/me/telling/addresses/{own.pk}/", {"what": "remove"}, follow=True)
    assert "change it there" in page.content.decode()
    own.refresh_from_db()
    assert own.removed_at is None


def test_there_is_a_most(technician):
    for n in range(MOST):
        address_add(person=technician, service="email", filled={"email": f"t{n}@example.org"}, at=now())
    with pytest.raises(AddressRefusedError, match="take one away"):
        address_add(person=technician, service="email", filled={"email": "one@example.org"}, at=now())


def test_the_hours_are_kept(as_technician, technician):
    as_technician.post(
        "/me/telling/", {"digest_at": "06:30", "quiet_from": "23:00", "quiet_until": "", "time_zone": "Asia/Kolkata"}
    )
    assert not Telling.objects.exists()
    form = {"digest_at": "06:30", "quiet_from": "23:00", "quiet_until": "06:00", "time_zone": "Asia/Kolkata"}
    as_technician.post("/me/telling/", form)
    row = Telling.objects.get()
    assert (row.digest_at.hour, row.quiet_from.hour, row.time_zone) == (6, 23, "Asia/Kolkata")
    for odd in ({"time_zone": "Mars/Base"}, {"digest_at": "25:00"}, {"quiet_until": "23:00"}, {"digest_at": "\x00"}):
        answer = as_technician.post("/me/telling/", form | odd)
        assert answer.status_code == 422 and 'class="error"' in answer.content.decode()


def test_what_was_put_aside_is_shown_with_its_reason_and_sent_again(as_technician):
    other = make_person("technician", username="x", email="x@example.org")
    alert = Alert.objects.create(
        rule="r", subject="s", occasion="o", title="Swap it", says="S", url="/", digest=False, raised_at=now()
    )
    deliveries_queue(alerts=[alert], at=now())
    Delivery.objects.update(state=DeliveryState.ASIDE, said="It burned.")
    page = as_technician.get("/alerts/deliveries/").content.decode()
    assert "Swap it" in page and "It burned." in page and str(other) in page
    as_technician.post("/alerts/deliveries/do/", {"which": "all"})
    assert Delivery.objects.get().state == DeliveryState.WAITING
    page = as_technician.post("/alerts/deliveries/do/", {"which": "٣"}, follow=True).content.decode()
    assert "Nothing was changed." in page
