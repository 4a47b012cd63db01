"""What was told to whom, as its page lists it: by outcome and person, day by day; and what is forgotten of it."""

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models import Count, Max, Q, QuerySet
from django.db.models.functions import TruncDate

from company.models import Company, Person
from maintenance.calc.alert_words import DeliveryState
from maintenance.models import Delivery, Digest

DAYS = 14
KEPT = timedelta(days=90)
CHUNK = 200  # deliveries a transaction, each with its attempts
UNDER_WAY = (DeliveryState.WAITING, DeliveryState.SENDING)
# what may be asked for, in the order it is offered; the first is what a person must look at
OUTCOMES = {
    "open": "put aside or under way",
    "aside": "put aside",
    "way": "under way",
    "sent": "sent",
    "dropped": "no longer wanted",
    "all": "all",
}
_STATES: dict[str, tuple[DeliveryState, ...]] = {
    "open": (DeliveryState.ASIDE, *UNDER_WAY),
    "aside": (DeliveryState.ASIDE,),
    "way": UNDER_WAY,
    "sent": (DeliveryState.SENT,),
    "dropped": (DeliveryState.DROPPED,),
}


@dataclass(kw_only=True)
class Day:
    """How many deliveries written on one day came to what."""

    day: date
    sent: int = 0
    way: int = 0
    aside: int = 0
    dropped: int = 0


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What the page's address asks for; what makes no sense there is left out."""

    outcome: str = "open"
    person: int | None = None
    people: list[Person] = field(default_factory=list)

    @property
    def narrowed(self) -> bool:
        return self.outcome != "open" or self.person is not None


def asked_of(outcome: str, person: str) -> Asked:
    """Read the address. One query: everybody who ever had an address."""
    people = list(Person.objects.filter(addresses__isnull=False).distinct())
    keys = {str(one.pk): one.pk for one in people}
    return Asked(outcome=outcome if outcome in OUTCOMES else "open", person=keys.get(person), people=people)


def deliveries_of(asked: Asked) -> QuerySet[Delivery]:
    """Return the deliveries asked for: what was put aside first, then the newest first."""
    rows = Delivery.objects.select_related("alert", "digest", "address__person")
    if asked.outcome in _STATES:
        rows = rows.filter(state__in=_STATES[asked.outcome])
    if asked.person is not None:
        rows = rows.filter(address__person=asked.person)
    # "aside" comes first in the alphabet, before "sending" and "waiting"
    return rows.order_by("state", "-pk") if asked.outcome == "open" else rows.order_by("-pk")


def days_of(asked: Asked, at: datetime) -> list[Day]:
    """Count the deliveries of the last fortnight by the day they were written, in the company's zone, the newest first."""
    zone = Company.current().zone
    rows = Delivery.objects.filter(made_at__gt=at - timedelta(days=DAYS), made_at__lte=at)
    if asked.person is not None:
        rows = rows.filter(address__person=asked.person)
    found: dict[date, Day] = {}
    counted = rows.order_by().annotate(day=TruncDate("made_at", tzinfo=zone)).values_list("day", "state")
    for on, state, count in counted.annotate(n=Count("pk")):
        day = found.setdefault(on, Day(day=on))
        name = "way" if state in UNDER_WAY else str(state)
        setattr(day, name, getattr(day, name) + count)
    return sorted(found.values(), key=lambda one: one.day, reverse=True)


def deliveries_forget(*, at: datetime) -> int:
    """Delete deliveries, with their attempts, and digests that are older than 90 days; return how many deliveries.

    Kept, however old: what is still to be sent; whatever an open alert was told by, or one that closed within that time (it
    may open again and is not told twice); and each person's last digest, from which the next one counts.
    """
    before = at - KEPT
    over = ~Q(state__in=UNDER_WAY) & (Q(alert__closed_at__lt=before) | Q(digest__upto__lt=before))
    old = Delivery.objects.filter(over, made_at__lt=before).order_by("pk")
    gone = 0
    while keys := list(old.values_list("pk", flat=True)[:CHUNK]):
        with transaction.atomic():
            Delivery.objects.filter(pk__in=keys).delete()
        gone += len(keys)
    last = Digest.objects.order_by().values("person").annotate(last=Max("pk")).values("last")
    stale = Digest.objects.filter(upto__lt=before, deliveries=None).exclude(pk__in=last).order_by("pk")
    while keys := list(stale.values_list("pk", flat=True)[:CHUNK]):
        Digest.objects.filter(pk__in=keys).delete()
    return gone
