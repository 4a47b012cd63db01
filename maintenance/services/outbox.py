"""The outbox: what is to be told to whom. A delivery's row is written in the transaction of its alert; sending comes after.

A row waits, is leased by a sender, and is sent, put aside with a sentence, or dropped when it is no longer wanted. A broker
message only wakes a sender; a tick finds all the work in the table.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import Count, Q, QuerySet

from maintenance.calc.alert_words import DeliveryState
from maintenance.models import Alert, Attempt, Delivery
from maintenance.recipients import recipients_now
from maintenance.services.addresses import own_addresses_keep
from maintenance.services.digests import digests_make
from maintenance.services.outbox_send import Sent, deliveries_send

__all__ = [
    "Report",
    "Sent",
    "deliveries_again",
    "deliveries_drop",
    "deliveries_queue",
    "deliveries_report",
    "deliveries_send",
    "digests_make",
    "sender_wake",
]

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
        sender_wake()
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


def sender_wake() -> None:
    """Wake a sender once the rows are committed. Robust: a broker that is down spoils nothing, the tick finds the rows."""
    transaction.on_commit(_wake, robust=True)


def deliveries_again(*, deliveries: QuerySet[Delivery], at: datetime) -> int:
    """Take what was put aside back into the outbox, with as many tries as it had at first; return how many.

    What goes to an address that is switched off stays aside: it would only be dropped.
    """
    works = Q(address__off_at=None, address__removed_at=None)
    keys = list(deliveries.filter(works, state=DeliveryState.ASIDE).values_list("pk", flat=True)[:10_000])
    taken = 0
    for start in range(0, len(keys), CHUNK):
        aside = Delivery.objects.filter(pk__in=keys[start : start + CHUNK], state=DeliveryState.ASIDE)
        with transaction.atomic():
            taken += aside.update(state=DeliveryState.WAITING, not_before=at, said="")
            sender_wake()
    return taken


@dataclass(frozen=True, kw_only=True)
class Report:
    """How the outbox stands: counts by state, the attempts that were interrupted, and how many of these were told again."""

    waiting: int
    sending: int
    sent: int
    aside: int
    dropped: int
    interrupted: int
    twice: int


def deliveries_report(*, at: datetime, since: datetime | None = None) -> Report:
    """Count. An attempt without an end whose sender is silent fell between sending and recording: that person may have been
    told once more than was meant.
    """
    rows = Delivery.objects.filter(made_at__gte=since) if since else Delivery.objects.all()
    counts = dict(rows.order_by().values_list("state").annotate(n=Count("pk")))
    broken = Attempt.objects.filter(ended_at=None, delivery__in=rows).exclude(
        said="", delivery__state=DeliveryState.SENDING, delivery__lease_until__gte=at
    )
    again = broken.filter(delivery__attempts__went=True)
    return Report(
        waiting=counts.get(DeliveryState.WAITING, 0),
        sending=counts.get(DeliveryState.SENDING, 0),
        sent=counts.get(DeliveryState.SENT, 0),
        aside=counts.get(DeliveryState.ASIDE, 0),
        dropped=counts.get(DeliveryState.DROPPED, 0),
        interrupted=broken.count(),
        twice=again.values("pk").distinct().count(),
    )


def _wake() -> None:
    from maintenance.tasks import deliveries_due

    deliveries_due.delay()
