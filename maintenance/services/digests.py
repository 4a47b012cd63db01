"""The digest: once a day, at a person's hour in their zone, what was raised and what closed by itself since the one before."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import F, Max, Q

from company.registries import ALERT_RULES
from maintenance.calc.alert_words import Closed
from maintenance.calc.telling import DAY, digest_day
from maintenance.models import Alert, Delivery, Digest, RuleRun
from maintenance.recipients import Recipients, recipients_now
from maintenance.sending.render import House
from maintenance.services.addresses import own_addresses_keep

GROUP_MOST = 8
CLOSED_MOST = 5
RUN_LONGEST = timedelta(hours=1)  # a run that began before has died


@dataclass(frozen=True, kw_only=True)
class Line:
    alert: Alert
    link: str


@dataclass(frozen=True, kw_only=True)
class Group:
    """The alerts of one rule: the first few, and how many more there are."""

    name: str
    shown: list[Line]
    more: int


@dataclass(frozen=True, kw_only=True)
class Parts:
    sentence: str
    raised: list[Group]
    closed: list[Group]


def digests_make(*, at: datetime) -> int:
    """Make the digests that are due, with their deliveries; return how many deliveries.

    A machine that was asleep at the hour makes it on waking, once for the latest day. A day on which nothing was raised and
    nothing closed is noted and sent to nobody. Asked often, it costs a few queries.
    """
    own_addresses_keep(at=at)
    known = recipients_now()
    due = []
    for person_id in known.people:
        hour = known.telling_of(person_id).digest_at
        if hour is not None:
            due.append((person_id, digest_day(at, known.zone_of(person_id), hour)))
    if not due:
        return 0
    last = {
        row["person"]: row
        for row in Digest.objects.values("person").annotate(day=Max("day"), upto=Max("upto")).order_by("person")
    }
    due = [(person_id, day) for person_id, day in due if person_id not in last or last[person_id]["day"] < day]
    if not due:
        return 0
    upto = _settled(at)
    made = 0
    for person_id, day in due:
        since = last[person_id]["upto"] if person_id in last else at - DAY
        if since > upto:
            continue  # a run is under way: in half a minute it has ended
        made += _make(known, person_id, day, since, upto, at)
    return made


def digest_parts(*, digest: Digest, house: House, known: Recipients) -> Parts:
    """Return what a digest lists, grouped by rule, long groups cut with a number."""
    raised = _theirs(_raised(digest.since, digest.upto), known, digest.person_id)
    closed = _theirs(_closed(digest.since, digest.upto), known, digest.person_id)
    return Parts(
        sentence=_sentence(len(raised), len(closed), digest.still_open),
        raised=_grouped(raised, house, GROUP_MOST),
        closed=_grouped(closed, house, CLOSED_MOST),
    )


def _make(known: Recipients, person_id: int, day: object, since: datetime, upto: datetime, at: datetime) -> int:
    raised = len(_theirs(_raised(since, upto), known, person_id))
    closed = len(_theirs(_closed(since, upto), known, person_id))
    still = len(_theirs(_open(upto), known, person_id))
    with transaction.atomic():
        digest, new = Digest.objects.get_or_create(
            person_id=person_id,
            day=day,
            defaults={"since": since, "upto": upto, "raised": raised, "closed": closed, "still_open": still},
        )
        if not new or not (raised or closed):
            return 0
        rows = [Delivery(digest=digest, address=a, made_at=at, not_before=at) for a in known.addresses.get(person_id, [])]
        Delivery.objects.bulk_create(rows, ignore_conflicts=True)
        return len(rows)


def _settled(at: datetime) -> datetime:
    """Return the instant up to which all that was found is written: the start of a run of a rule under way, or now."""
    running = RuleRun.objects.filter(
        Q(ended_at=None) | Q(ended_at__lt=F("began_at")), began_at__lte=at, began_at__gt=at - RUN_LONGEST
    )
    began = running.order_by("began_at").values_list("began_at", flat=True).first()
    return began - timedelta(microseconds=1) if began else at


def _raised(since: datetime, upto: datetime) -> Iterable[Alert]:
    still = Q(closed_at=None) | Q(closed_at__gt=upto)
    rows = Alert.objects.filter(still, digest=True, raised_at__gt=since, raised_at__lte=upto)
    return rows.order_by("rule", "by", "raised_at", "pk")


def _closed(since: datetime, upto: datetime) -> Iterable[Alert]:
    rows = Alert.objects.filter(closed_at__gt=since, closed_at__lte=upto, closed_how=Closed.GONE)
    return rows.order_by("rule", "closed_at", "pk")


def _open(upto: datetime) -> Iterable[Alert]:
    rows = Alert.objects.filter(Q(closed_at=None) | Q(closed_at__gt=upto), raised_at__lte=upto)
    return rows.only("rule", "role", "handed_to_id")


def _theirs(alerts: Iterable[Alert], known: Recipients, person_id: int) -> list[Alert]:
    return [alert for alert in alerts if any(person.pk == person_id for person in known.of(alert))]


def _grouped(alerts: list[Alert], house: House, most: int) -> list[Group]:
    names = {rule.key: rule.name for rule in (entry() for entry in ALERT_RULES)}
    groups: dict[str, list[Alert]] = {}
    for alert in alerts:
        groups.setdefault(alert.rule, []).append(alert)
    return [
        Group(
            name=names.get(rule, rule.replace("-", " ").capitalize()),
            shown=[Line(alert=alert, link=house.link(alert.url)) for alert in found[:most]],
            more=max(0, len(found) - most),
        )
        for rule, found in groups.items()
    ]


def _sentence(raised: int, closed: int, still: int) -> str:
    new = f"{raised or 'Nothing'} {'is' if raised == 1 or not raised else 'are'} new"
    gone = f", {closed} closed {'by itself' if closed == 1 else 'by themselves'}" if closed else ""
    left = f"{still or 'nothing'} {'is' if still == 1 or not still else 'are'} open now"
    return f"{new}{gone}, {left}."
