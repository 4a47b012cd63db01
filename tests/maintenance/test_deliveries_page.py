"""What was told to whom: the page, its counts and filters; what is forgotten; an address that no longer works."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from company.registries import NEEDS, STATUS
from company.tasks import tidy
from maintenance.address_needs import addresses_dead
from maintenance.calc.alert_words import DeliveryState
from maintenance.delivery_log import KEPT, deliveries_forget
from maintenance.models import Address, Attempt, Delivery, Digest, RuleRun
from maintenance.services.address_book import address_add, address_switch
from maintenance.services.outbox_send import address_off
from tests.builders import NOW, make_person
from tests.maintenance.test_alert_pages import make_alert

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
PAGE = "/alerts/deliveries/"


@pytest.fixture(autouse=True)
def _clock(monkeypatch):
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


def an_address(person, email="bo@example.org"):
    return address_add(person=person, service="email", filled={"email": email}, at=NOW)[0]


def a_delivery(address, state=DeliveryState.SENT, made_at=NOW, stage=0, went=None, **kw):
    one = Delivery.objects.create(
        alert=kw.pop("alert", None) or make_alert(number=Delivery.objects.count() + 1),
        stage=stage,
        address=address,
        state=state,
        made_at=made_at,
        not_before=made_at,
        sent_at=made_at if state == DeliveryState.SENT else None,
        **kw,
    )
    Attempt.objects.create(
        delivery=one, number=1, began_at=made_at, ended_at=made_at, went=state == DeliveryState.SENT if went is None else went
    )
    return one


def read(client, **query):
    return client.get(PAGE, query).content.decode()


def test_it_opens_on_what_needs_a_look_and_shows_the_rest_for_the_asking(as_technician, technician):
    to = an_address(technician)
    states = {state: a_delivery(to, state, said=f"Said {state}.").alert.title for state in DeliveryState}
    wanted = {
        "": {"aside", "waiting", "sending"},
        "aside": {"aside"},
        "way": {"waiting", "sending"},
        "sent": {"sent"},
        "dropped": {"dropped"},
        "all": set(states),
        "nonsense": {"aside", "waiting", "sending"},
    }
    for outcome, shown in wanted.items():
        page = read(as_technician, outcome=outcome)
        assert {str(state) for state, title in states.items() if title in page} == shown, outcome


def test_it_is_narrowed_to_one_person(as_technician, technician):
    other = make_person("technician", username="x")
    mine, theirs = a_delivery(an_address(technician)), a_delivery(an_address(other, "x@example.org"))
    page = read(as_technician, outcome="all", person=other.pk)
    assert theirs.alert.title in page and mine.alert.title not in page
    for odd in ("x", "999999999999999999999", "-1", "\x00"):
        assert mine.alert.title in read(as_technician, outcome="all", person=odd)


def test_it_is_paged_and_the_filter_is_kept(as_technician, technician):
    to = an_address(technician)
    for _ in range(51):
        a_delivery(to)
    page = read(as_technician, outcome="sent", person=technician.pk)
    assert "51 deliveries." in page and "Page 1 of 2" in page
    assert f"outcome=sent&amp;person={technician.pk}&amp;page=2" in page
    assert "Swap 1 cells" in read(as_technician, outcome="sent", page=2)
    assert as_technician.get(PAGE, {"page": "x"}).status_code == as_technician.get(PAGE, {"page": 99}).status_code == 200


def test_each_day_of_a_fortnight_is_counted_in_the_shop_s_zone(as_technician, technician):
    to = an_address(technician)
    midnight = NOW.replace(hour=23, minute=0, second=0)  # in London summer time: the next day
    a_delivery(to, made_at=midnight - DAY - timedelta(seconds=1))
    a_delivery(to, DeliveryState.ASIDE, made_at=midnight - DAY)
    a_delivery(to, made_at=NOW - 15 * DAY)
    response = as_technician.get(PAGE)
    assert [(one.day, one.sent, one.aside) for one in response.context["days"]] == [
        (NOW.date(), 0, 1),
        (NOW.date() - DAY, 1, 0),
    ]


@pytest.mark.parametrize("many", [1, 50])
def test_it_costs_the_same_for_one_and_for_fifty(as_technician, technician, many):
    to = an_address(technician)
    for _ in range(many):
        a_delivery(to, DeliveryState.ASIDE)
    with CaptureQueriesContext(connection) as asked:
        read(as_technician)
    assert len(asked) == COST, "\n".join(q["sql"][:140] for q in asked)


COST = 13


def test_what_is_old_is_forgotten_by_the_nightly_tidy_and_what_may_be_needed_is_kept(technician):
    to, old = an_address(technician), NOW - KEPT - DAY
    closed = {"closed_at": old, "closed_how": "gone"}
    gone = [a_delivery(to, made_at=old, alert=make_alert(number=n, **closed)) for n in range(100, 100 + 450)]
    kept = [
        a_delivery(to, made_at=old, alert=make_alert(number=1)),  # open still
        a_delivery(to, made_at=old, alert=make_alert(number=2, closed_at=NOW - DAY, closed_how="gone")),
        a_delivery(to, DeliveryState.WAITING, made_at=old, alert=make_alert(number=3, **closed)),
        a_delivery(to, made_at=NOW - KEPT + DAY, alert=make_alert(number=4, **closed)),
    ]
    days = [
        Digest.objects.create(person=technician, day=(old - n * DAY).date(), since=old, upto=old - n * DAY) for n in (2, 1, 0)
    ]
    Delivery.objects.create(digest=days[0], address=to, state="sent", made_at=old, not_before=old)
    tidy()
    assert set(Delivery.objects.values_list("pk", flat=True)) == {one.pk for one in kept}
    assert Attempt.objects.count() == len(kept) and len(gone) == 450
    assert list(Digest.objects.all()) == [days[2]], "the last one is where the next begins"
    assert deliveries_forget(at=NOW) == 0


def needs(person, rf):
    request = rf.get("/")
    request.user = person
    return [need for source in NEEDS for need in source(request, NOW) if need.key.startswith("address:")]


def test_an_address_that_died_is_said_to_its_person_and_the_owner_until_it_is_mended(
    technician, owner, hand, as_technician, as_owner, rf
):
    to = an_address(technician)
    assert not needs(technician, rf)
    address_off(address=to, why="The mail server says that nobody is there: 550.", at=NOW)
    (mine,), (owners,) = needs(technician, rf), needs(owner, rf)
    assert mine.url == "/me/telling/" and owners.url == PAGE and "550" in mine.why and "550" in owners.why
    assert str(technician) in owners.name and not needs(hand, rf)
    for client in (as_technician, as_owner):
        page = client.get("/alerts/").content.decode()
        assert "addresses that do not work" in page and "550" in page and "Nothing to see to." not in page
    address_switch(address=to, on=True, at=NOW)
    assert not needs(technician, rf) and not needs(owner, rf)


def test_an_own_address_that_died_is_mended_by_another_one_on_the_own_page(technician, as_technician, owner):
    technician.email = "t@example.org"
    technician.save(update_fields=["email"])
    as_technician.post("/me/telling/", {"digest_at": "08:00", "quiet_from": "", "quiet_until": ""})
    address_off(address=Address.objects.get(person=technician), why="Nobody is there.", at=NOW)
    assert [dead.url for dead in addresses_dead(technician)] == ["/me/"]
    assert [dead.url for dead in addresses_dead(owner)] == [f"/people/{technician.pk}/"]
    technician.email = "new@example.org"
    technician.save(update_fields=["email"])
    as_technician.post("/me/telling/", {"digest_at": "08:00", "quiet_from": "", "quiet_until": ""})
    assert not addresses_dead(technician) and not addresses_dead(owner)


def test_what_was_switched_off_by_hand_is_no_failure(technician, owner):
    address_switch(address=an_address(technician), on=False, at=NOW)
    assert not addresses_dead(technician) and not addresses_dead(owner)


def mail_line(at=NOW):
    return next(line for source in STATUS for line in source(at) if line.name == "Mail")


def test_the_status_page_says_how_the_mail_server_is(technician, settings):
    settings.EMAIL_HOST, settings.EMAIL_BACKEND = "mail.example.org", "django.core.mail.backends.smtp.EmailBackend"
    to = an_address(technician)
    assert mail_line().says == "Nothing was mailed yet." and mail_line().well is None
    a_delivery(to, made_at=NOW - DAY)
    assert mail_line().says == "Last taken yesterday." or mail_line().says.startswith("Last taken ")
    assert mail_line().well is True
    refused = a_delivery(to, DeliveryState.ASIDE)
    assert mail_line().well is True, "an address that refuses is no fault of the server's"
    Delivery.objects.filter(pk=refused.pk).update(state=DeliveryState.WAITING)
    Attempt.objects.filter(delivery=refused).update(said="The mail server does not answer.")
    line = mail_line()
    assert line.well is False and "The mail server does not answer. It is tried again by itself." in line.says
    a_delivery(to, made_at=NOW + timedelta(minutes=1))
    assert mail_line(NOW + timedelta(minutes=2)).well is True


def test_the_status_page_names_the_slowest_rule(company):
    for key, took in (("swap-before-show", 1_240), ("not-home", 90)):
        RuleRun.objects.create(rule=key, began_at=NOW, ended_at=NOW, ended_well_at=NOW, took_ms=took)
    line = next(line for source in STATUS for line in source(NOW) if line.name == "Alert rules")
    assert line.well and "The slowest took 1.2\u2009s: Swap before a show." in line.says
