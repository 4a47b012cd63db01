"""Sending what the outbox holds: claim a batch by lease, write an attempt before each send, send outside any transaction,
record right after. Whatever stops the program in between, a lease runs out and another sender goes on.
"""

import logging
import time
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from types import TracebackType

from django.conf import settings
from django.db import OperationalError, connection, transaction
from django.db.models import Q, QuerySet

from maintenance.calc.alert_words import AddressKind, DeliveryState
from maintenance.calc.telling import PAUSES, pause_after
from maintenance.models import Address, Attempt, Delivery
from maintenance.recipients import Recipients, recipients_now
from maintenance.sending.mail import Mailer
from maintenance.sending.message import Message, one_line
from maintenance.sending.outcome import Fate, Outcome
from maintenance.sending.push import push_send
from maintenance.sending.render import House, alert_message, digest_message, house_now, key_of
from maintenance.sending.seal import SealBrokenError, unseal
from maintenance.services.addresses import own_addresses_keep
from maintenance.services.digests import digest_parts

log = logging.getLogger(__name__)

BATCH = 100
MOST_TRIES = len(PAUSES) + 24  # 1, 5, 15, 60 minutes and then every hour: a little over a day
MOST_UNWRITTEN = 3  # tries of one that cannot even be written
MOST_INTERRUPTED = 5  # times that one may stop the program
_NORMAL = 1  # SQLite's word for it
INTERRUPTED = "The program stopped between sending and recording: it may have been told twice."


@dataclass(kw_only=True)
class Sent:
    """What a run did; `left`: there is more to send now."""

    sent: int = 0
    later: int = 0
    aside: int = 0
    dropped: int = 0
    left: bool = False
    down: list[str] = field(default_factory=list)


def deliveries_send(*, at: datetime, most: int = 1_000_000, seconds: float = 3600.0) -> Sent:
    """Send what is due, the urgent first, then the oldest; stop after so many or so long. Any number may run at once."""
    own_addresses_keep(at=at)
    with _Run(at) as run:
        while run.handled < most and run.elapsed() < seconds:
            batch = run.claim(min(BATCH, most - run.handled))
            if not batch:
                return run.sent
            run.work(batch, until_s=seconds)
        run.sent.left = _free(run.now()).exclude(run.shut_off()).exists()
        return run.sent


def lease_length() -> timedelta:
    """Return how long a sender may be silent before another goes on: above the longest single send."""
    return timedelta(seconds=settings.DELIVERY_LEASE_S)


def _free(at: datetime) -> QuerySet[Delivery]:
    waiting = Q(state=DeliveryState.WAITING, not_before__lte=at)
    return Delivery.objects.filter(waiting | Q(state=DeliveryState.SENDING, lease_until__lt=at))


@dataclass(kw_only=True)
class _Done:
    """A delivery that was tried, with what came of it, not yet recorded."""

    delivery: Delivery
    number: int
    outcome: Outcome
    at: datetime
    unwritten: bool = False


class _Run:
    """One sender at work. It knows the time by the instant it began and its own stopwatch."""

    def __init__(self, at: datetime) -> None:
        self._began, self._start = at, time.monotonic()
        self.sent = Sent()
        self.handled = 0
        self.down: dict[str, str] = {}
        self._lease: datetime = at
        self._retaken: set[int] = set()
        self._synchronous = 0
        self._written: tuple[object, Message] | None = None
        self._done: _Done | None = None
        self._mailer = Mailer(timeout_s=settings.DELIVERY_LEASE_S / 6)
        self._house: House = house_now()
        self._known: Recipients = recipients_now()

    def __enter__(self) -> "_Run":
        self._synchronous = _synced_by_the_batch()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._mailer.close()
        _sync_as(self._synchronous)

    def elapsed(self) -> float:
        return time.monotonic() - self._start

    def now(self) -> datetime:
        return self._began + timedelta(seconds=self.elapsed())

    def shut_off(self) -> Q:
        """Return which deliveries there is no way for just now."""
        services = Q(address__service__in=[way for way in self.down if way != AddressKind.EMAIL])
        return services | Q(address__kind=AddressKind.EMAIL) if AddressKind.EMAIL in self.down else services

    def claim(self, most: int) -> list[Delivery]:
        """Take a batch under a lease; what another sender left under a lease that ran out is taken again."""
        at = self.now()
        free = _free(at).exclude(self.shut_off()).order_by("not_before", "pk")
        _sync_as(self._synchronous)  # this commit waits for the disk, and with it all those before
        with transaction.atomic():
            # senders on PostgreSQL take different rows; on SQLite there is one writer at a time
            locked = free.select_for_update(skip_locked=True, of=("self",))
            rows = list(locked.filter(alert__urgent=True).values_list("pk", "state")[:most])
            if len(rows) < most:
                rest = locked.exclude(pk__in=[pk for pk, _ in rows])
                rows += rest.values_list("pk", "state")[: most - len(rows)]
            keys = [pk for pk, _ in rows]
            self._retaken = {pk for pk, state in rows if state == DeliveryState.SENDING}
            if not keys:
                return []
            if self._retaken:
                Attempt.objects.filter(delivery__in=self._retaken, ended_at=None, said="").update(said=INTERRUPTED)
            self._lease = at + lease_length()
            _free(at).filter(pk__in=keys).update(state=DeliveryState.SENDING, lease_until=self._lease)
        _sync_as(_NORMAL if self._synchronous else 0)
        self._known = recipients_now()
        mine = Delivery.objects.filter(pk__in=keys, state=DeliveryState.SENDING, lease_until=self._lease)
        found = {one.pk: one for one in mine.select_related("alert", "digest", "address")}
        return [found[pk] for pk in keys if pk in found]

    def work(self, batch: list[Delivery], *, until_s: float) -> None:
        """Send a batch, each recorded before the next but one begins."""
        for place, delivery in enumerate(batch):
            if self._lease - self.now() < lease_length() / 2:
                self._renew(batch[place:])
            if self.elapsed() > until_s:
                self._release(batch[place:])
                break
            self.handled += 1
            shut = self._shut(delivery)
            began = self._step(delivery)
            if began is None:
                continue
            outcome, unwritten = (shut, False) if shut else self._send(delivery)
            if outcome.down:
                self.down[_way(delivery.address)] = outcome.said
                self.sent.down = sorted(set(self.down.values()))
            self._done = _Done(delivery=delivery, number=began, outcome=outcome, at=self.now(), unwritten=unwritten)
        self._step(None)

    def _shut(self, delivery: Delivery) -> Outcome | None:
        """Say whether the way there is shut, before an attempt is begun that cannot reach anybody."""
        if said := self.down.get(_way(delivery.address)):
            return Outcome(fate=Fate.LATER, said=said, down=True)
        return self._mailer.open() if delivery.address.kind == AddressKind.EMAIL else None

    def _step(self, delivery: Delivery | None) -> int | None:
        """In one transaction: record what was sent before, and begin the next. Return its number; None if it is not to be sent.

        A busy database is asked again: what went out must be recorded.
        """
        for pause in (0.2, 1.0, 3.0, None):
            sent = Sent(**{**vars(self.sent), "down": list(self.sent.down)})
            try:
                with transaction.atomic():
                    if self._done is not None:
                        self._record(self._done)
                    number = self._begin(delivery) if delivery is not None else None
            except OperationalError:
                self.sent = sent
                if pause is None:
                    raise
                log.warning("the database is busy: what was sent is recorded in a moment")
                time.sleep(pause)
            else:
                self._done = None
                return number
        raise AssertionError

    def _begin(self, delivery: Delivery) -> int | None:
        at = self.now()
        ours = Delivery.objects.filter(pk=delivery.pk, state=DeliveryState.SENDING, lease_until=self._lease)
        said, later = self._not_to_be_sent(delivery, at)
        if said:
            if ours.update(state=DeliveryState.DROPPED, lease_until=None, said=said):
                self.sent.dropped += 1
            return None
        if later is not None:
            ours.update(state=DeliveryState.WAITING, lease_until=None, not_before=later)
            return None
        if delivery.pk in self._retaken and delivery.tries:
            interrupted = Attempt.objects.filter(delivery=delivery, ended_at=None).count()
            if interrupted and interrupted % MOST_INTERRUPTED == 0:
                self._aside(delivery, f"It stopped the program {interrupted} times and was given up.")
                return None
        if not ours.update(tries=delivery.tries + 1, lease_until=at + lease_length()):
            return None  # this sender was silent for too long, and another has it
        number = delivery.tries + 1
        Attempt.objects.create(delivery=delivery, number=number, began_at=at)
        return number

    def _not_to_be_sent(self, delivery: Delivery, at: datetime) -> tuple[str, datetime | None]:
        """Return why it is no longer wanted, or until when it must wait. What may have changed since the claim is read anew."""
        address = delivery.address
        fresh = Delivery.objects.filter(pk=delivery.pk).values_list(
            "address__removed_at",
            "address__off_at",
            "address__person__is_active",
            "alert__closed_at",
            "alert__snoozed_until",
            "alert__handed_to",
        )
        removed, off, active, closed, snoozed, handed = fresh[0]
        if not active or address.person_id not in self._known.people:
            return "The person has left.", None
        if removed is not None:
            return "The address was removed.", None
        if off is not None:
            return "The address is switched off.", None
        alert = delivery.alert
        if alert is None:
            return "", None
        if closed is not None:
            return "It was seen to before it was sent.", None
        if snoozed is not None and snoozed > at:
            return "It was put off before it was sent.", None
        alert.handed_to_id = handed
        if not any(person.pk == address.person_id for person in self._known.of(alert)):
            return "It was handed to somebody else, or is no longer theirs to see to.", None
        later = self._known.not_before(address.person_id, urgent=alert.urgent, at=at)
        return "", later if later > at else None

    def _send(self, delivery: Delivery) -> tuple[Outcome, bool]:
        """Write the message and hand it over; also say whether it could not even be written."""
        try:
            to = unseal(delivery.address.sealed)
        except SealBrokenError as error:
            return Outcome(fate=Fate.GONE, said=str(error)), False
        try:
            message = self._message(delivery)
        except Exception as error:  # whatever is wrong with one must not stop the others
            log.exception("delivery %s could not be written", delivery.pk)
            said = f"It could not be written: the program made a mistake ({type(error).__name__})."
            return Outcome(fate=Fate.LATER, said=said), True
        try:
            if delivery.address.kind == AddressKind.EMAIL:
                return self._mailer.send(to, message), False
            return push_send(delivery.address.service, to, message), False
        except Exception as error:
            log.exception("delivery %s could not be sent", delivery.pk)
            return Outcome(fate=Fate.LATER, said=f"It could not be sent ({type(error).__name__})."), True

    def _message(self, delivery: Delivery) -> Message:
        zone = self._known.zone_of(delivery.address.person_id)
        key = key_of(delivery)
        if delivery.alert is not None:
            same = (delivery.alert_id, delivery.stage, str(zone), self._lease)
            if self._written is None or self._written[0] != same:  # neighbours in the queue often say the same
                self._written = same, alert_message(alert=delivery.alert, house=self._house, zone=zone, key=key)
            return replace(self._written[1], key=key)
        digest = delivery.digest
        if digest is None:
            raise ValueError("a delivery of nothing")
        digest.person = self._known.people[digest.person_id]
        parts = digest_parts(digest=digest, house=self._house, known=self._known)
        return digest_message(digest=digest, parts=parts, house=self._house, zone=zone, key=key)

    def _record(self, done: _Done) -> None:
        outcome, delivery = done.outcome, done.delivery
        said = one_line(outcome.said, 300)
        went = outcome.fate == Fate.WENT
        Attempt.objects.filter(delivery=delivery, number=done.number).update(ended_at=done.at, went=went, said=said)
        if went:
            _own(delivery).update(state=DeliveryState.SENT, sent_at=done.at, lease_until=None, said="")
            self.sent.sent += 1
        elif outcome.fate == Fate.GONE:
            self._aside(delivery, said)
            address_off(address=delivery.address, why=said, at=done.at)
        elif outcome.fate == Fate.REFUSED:
            self._aside(delivery, said)
        elif done.unwritten and done.number % MOST_UNWRITTEN == 0:
            self._aside(delivery, f"{said} It was tried {done.number} times; tell whoever looks after the program.")
        elif done.number % MOST_TRIES == 0:  # sent again by hand, it has as many tries once more
            self._aside(delivery, f"{said} It was tried {done.number} times in over a day, and given up.")
        else:
            later = done.at + pause_after((done.number - 1) % MOST_TRIES + 1)
            _own(delivery).update(state=DeliveryState.WAITING, not_before=later, lease_until=None, said=said)
            self.sent.later += 1

    def _aside(self, delivery: Delivery, said: str) -> None:
        _own(delivery).update(state=DeliveryState.ASIDE, lease_until=None, said=one_line(said, 300))
        self.sent.aside += 1
        log.error("delivery %s was put aside: %s", delivery.pk, said)

    def _renew(self, rest: list[Delivery]) -> None:
        lease = self.now() + lease_length()
        keys = [delivery.pk for delivery in rest]
        held = Delivery.objects.filter(pk__in=keys, state=DeliveryState.SENDING, lease_until=self._lease)
        held.update(lease_until=lease)
        self._lease = lease

    def _release(self, rest: list[Delivery]) -> None:
        keys = [delivery.pk for delivery in rest]
        held = Delivery.objects.filter(pk__in=keys, state=DeliveryState.SENDING, lease_until=self._lease)
        held.update(state=DeliveryState.WAITING, lease_until=None)


def _synced_by_the_batch() -> int:
    """On SQLite, wait for the disk once a batch instead of at each of its commits; return what to set it back to.

    Whatever ends the program, the commits stay. Should the machine itself lose its power, the last of them may go: those
    deliveries are sent once more, uncounted, and none is lost.
    """
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        return 0
    with connection.cursor() as cursor:
        before = int(cursor.execute("PRAGMA synchronous").fetchone()[0])
    _sync_as(_NORMAL)
    return before


def _sync_as(level: int) -> None:
    if level and not connection.in_atomic_block:
        with connection.cursor() as cursor:
            cursor.execute(f"PRAGMA synchronous={level}")


def _way(address: Address) -> str:
    """Name the way to an address: one mail server for all mail, else the service."""
    return AddressKind.EMAIL if address.kind == AddressKind.EMAIL else address.service


def _own(delivery: Delivery) -> QuerySet[Delivery]:
    return Delivery.objects.filter(pk=delivery.pk, state=DeliveryState.SENDING)


def address_off(*, address: Address, why: str, at: datetime) -> None:
    """Switch an address off, with the reason, and put aside what waits for it."""
    if Address.objects.filter(pk=address.pk, off_at=None).update(off_at=at, off_why=one_line(why, 300)):
        Delivery.objects.filter(address=address, state=DeliveryState.WAITING).update(
            state=DeliveryState.ASIDE, said=one_line(f"The address was switched off. {why}", 300)
        )
