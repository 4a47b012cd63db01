"""The outbox: what is to be told to whom. A delivery's row is written in the transaction of its alert; sending comes after.

A row waits, is leased by a sender, and is sent, put aside with a sentence, or dropped when it is no longer wanted. A broker
message only wakes a sender; a tick finds all the work in the table.
"""

import logging
from collections.abc import Iterable
from datetime import datetime

from maintenance.calc.alert_words import DeliveryState
from maintenance.models import Alert, Delivery
from maintenance.recipients import recipients_now
from maintenance.services.addresses import own_addresses_keep

log = logging.getLogger(__name__)

CHUNK = 500


def deliveries_queue(*, alerts: Iterable[Alert], at: datetime) -> int:
    """Write a delivery for every recipient's every address, of alerts that are told by themselves; return how many.

    Call it inside the transaction that raises the alerts, steps their stage or hands them to somebody. What is there already
    stays as it is: the same stage is told once at an address. Quiet hours put it off, unless the alert is urgent.
    """
    told = [alert for alert in alerts if not alert.digest and alert.closed_at is None]
    if not told:
        return 0
    own_addresses_keep(at=at)
    known = recipients_now()
    rows = [
        Delivery(
            alert=alert,
            stage=alert.stage,
            address=address,
            made_at=at,
            not_before=known.not_before(person.pk, urgent=alert.urgent, at=at),
        )
        for alert in told
        for person in known.of(alert)
        for address in known.addresses.get(person.pk, [])
    ]
    if rows:
        Delivery.objects.bulk_create(rows, ignore_conflicts=True, batch_size=CHUNK)
    return len(rows)


def deliveries_drop(*, alerts: Iterable[Alert], at: datetime) -> int:
    """Drop what was not sent yet of alerts that closed or were snoozed; return how many. Call it in their transaction.

    What a sender has in hand just now is judged by the sender itself.
    """
    keys = [alert.pk for alert in alerts]
    dropped = 0
    for start in range(0, len(keys), CHUNK):
        dropped += Delivery.objects.filter(alert__in=keys[start : start + CHUNK], state=DeliveryState.WAITING).update(
            state=DeliveryState.DROPPED, said="It was seen to, or put off, before it was sent."
        )
    return dropped
