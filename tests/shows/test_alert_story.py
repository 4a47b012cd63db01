"""A weekend as told by the program: read it from top to bottom. The clock is moved by hand; every mail that goes out is here.

Bo is the technician. The ceilidh loads in on Friday at 19:00 and is to be home on Saturday at 03:00, by the clock in London.
One of its boxes runs on a cell nobody knows anything of; a microphone goes along; a lead in the shop is to be tested next week.
"""

from datetime import UTC, datetime, timedelta

import pytest
from django.core import mail

from inventory.models import Item
from maintenance.models import Alert, Delivery
from maintenance.services.alerts import alerts_run
from maintenance.services.outbox import deliveries_send, digests_make
from shows.models import Checkout
from tests.builders import (
    fit_cells,
    make_box,
    make_checkout,
    make_company,
    make_item,
    make_lot,
    make_person,
    make_pull_row,
    make_show,
    make_type,
    make_venue,
)

pytestmark = pytest.mark.django_db
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)


def london(day, hour, minute=0):
    """Return an instant of September 2026 by the shop's clock, which is an hour ahead of UTC then."""
    return datetime(2026, 9, day, hour, minute, tzinfo=UTC) - HOUR


THURSDAY, FRIDAY, SATURDAY = 24, 25, 26


@pytest.fixture
def weekend(settings):
    settings.SITE_ADDRESS = "https://gear.example.org"
    make_company()
    bo = make_person("technician", username="bo", first_name="Bo", email="bo@example.org")
    show = make_show(london(FRIDAY, 19), name="Ceilidh", venue=make_venue(name="Barn"))
    box = make_box(name="A")
    make_lot(24)
    make_pull_row(show, item=box, line="5", feed="cells", critical="critical")
    microphone = make_item(type=make_type("microphone", name="Microphone"), name="B")
    make_item(type=make_type("lead", name="Lead"), name="C", test_by=london(THURSDAY, 12).date() + timedelta(days=6))
    return bo, show, box, microphone


def tick(at):
    """Do what the clock has done every few minutes: run the rules, make digests, send. Return the subjects that went out."""
    before = len(mail.outbox)
    alerts_run(at=at)
    digests_make(at=at)
    deliveries_send(at=at)
    return [message.subject for message in mail.outbox[before:]]


def test_a_weekend(weekend):
    bo, show, box, microphone = weekend

    # Thursday, one minute to seven in the evening: the program is opened, and makes up for the day's digest. The lead is in it;
    # the swap list is not: that is told a day before load-in, and not a minute earlier.
    (subject,) = tick(london(THURSDAY, 18, 59))
    assert "Lead C: test by Wed 30 Sep" in mail.outbox[-1].body and "Ceilidh" not in mail.outbox[-1].body
    assert {a.rule for a in Alert.objects.filter(closed_at=None)} == {"retest-soon"}

    # Seven: the swap list is not worked, and Bo is told at once, with where it is done. Later runs say nothing.
    (subject,) = tick(london(THURSDAY, 19))
    assert "Ceilidh: swap 1 set" in subject
    assert mail.outbox[-1].to == ["bo@example.org"]
    assert f"https://gear.example.org/cells/swaps/{show.pk}/" in mail.outbox[-1].body
    for minutes in (5, 10, 60):
        assert tick(london(THURSDAY, 19) + minutes * MINUTE) == []

    # Friday at eight: nothing new came for the digest, as the swap list was told by itself. Nobody is sent an empty one.
    assert tick(london(FRIDAY, 8)) == []

    # Three in the afternoon, four hours to load-in and nobody has swapped it: again, once.
    (subject,) = tick(london(FRIDAY, 15))
    assert "Ceilidh: swap 1 set" in subject and "Still to do" in mail.outbox[-1].body
    assert tick(london(FRIDAY, 15, 5)) == []

    # Half past four: it is swapped. The alert closes by itself and says so; nobody is mailed for that.
    fit_cells(box, at=london(FRIDAY, 16, 30), received_at=london(FRIDAY, 16, 30), show=show.pk)
    assert tick(london(FRIDAY, 16, 35)) == []
    swap = Alert.objects.get(rule="swap-before-show")
    assert swap.closed_at == london(FRIDAY, 16, 35) and swap.closed_how == "gone"
    assert swap.closed_says == "Nothing on its swap list is left to do, or it is over."

    # The microphone goes out. At three in the night it should be home; a minute later Bo is told, quiet hours or not.
    make_checkout(show, microphone, at=london(FRIDAY, 18), opened_by=bo)
    assert tick(show.home_by) == []
    (subject,) = tick(show.home_by + MINUTE)
    assert "Microphone B not home from Ceilidh" in subject
    assert "Scanned out Fri 25 Sep, 18:00 by Bo" in mail.outbox[-1].body
    assert tick(show.home_by + 6 * MINUTE) == []

    # Saturday at eight: the digest says that the swap is done. The night's alert was told by itself and is not told again.
    (subject,) = tick(london(SATURDAY, 8))
    digest = mail.outbox[-1].body
    assert "Ceilidh: swap 1 set" in digest and "Nothing on its swap list is left to do" in digest
    assert "Microphone B" not in digest

    # At nine it is scanned back: that closes too. Sunday's digest says so, and is the last word.
    Checkout.objects.update(closed_at=london(SATURDAY, 9), closed_uid="0" * 32, ended="back")
    Item.objects.filter(pk=microphone.pk).update(custody="", custody_show=None)
    assert tick(london(SATURDAY, 9, 5)) == []
    assert Alert.objects.get(rule="not-home").closed_says.startswith("It is all home")
    (subject,) = tick(london(SATURDAY + 1, 8))
    assert "It is all home" in mail.outbox[-1].body
    assert tick(london(SATURDAY + 1, 8, 5)) == []

    # Nothing was told twice: no two mails alike, and every delivery went out once.
    assert len({(message.subject, message.body) for message in mail.outbox}) == len(mail.outbox) == 6
    assert set(Delivery.objects.values_list("state", "tries")) == {("sent", 1)}
