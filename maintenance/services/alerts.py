"""Speaking up: run the rules, raise what is new, close what has lost its cause; put off, hand over, see to.

A run compares what a rule finds with what is open and writes the difference, in short transactions. Two runs at once do no
harm: an alert is unique on (rule, subject, occasion), a delivery on (alert, stage, address), every change is conditional.
"""

import logging
import time
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, TypeVar

from django.db import DatabaseError, connection, transaction
from django.db.models import Max, Q, QuerySet

from company.models import Person
from company.pulses import absence_now
from company.registries import ALERT_RULES, AlertRule, Cause
from maintenance.alert_terms import Effective, rules_now
from maintenance.calc.alert_words import Closed, DeliveryState
from maintenance.models import Alert, Delivery, RuleRun
from maintenance.services.outbox import deliveries_drop, deliveries_queue, sender_wake

log = logging.getLogger(__name__)
T = TypeVar("T")

OFTEN = timedelta(minutes=5)  # between two runs of the rules
CHUNK = 100  # rows a transaction: well under 200 ms also on a busy machine
REMINDED = 1000  # deliveries from this stage on are told again after a pause; rules' own stages lie below
SAID = ("title", "says", "url", "by", "show", "urgent", "digest", "role")  # what a run may rewrite
OFF_SAYS = "The rule was switched off."


@dataclass(kw_only=True)
class Ran:
    """What a run came to, a rule or all of them."""

    rules: int = 0
    found: int = 0
    raised: int = 0
    closed: int = 0
    threw: list[str] = field(default_factory=list)


def alerts_due(*, at: datetime) -> bool:
    """Say whether the rules should run: the last run began over five minutes ago, or there was none."""
    last = RuleRun.objects.aggregate(last=Max("began_at"))["last"]
    return last is None or last <= at - OFTEN


def alerts_run(*, at: datetime, rules: Collection[str] | None = None) -> Ran:
    """Run the rules (all, or those named). One that throws leaves its alerts as they were, and stops no other."""
    ran = Ran()
    effective = rules_now()
    away = absence_now(at) is not None
    for make in ALERT_RULES:
        rule = make()
        if rules is None or rule.key in rules:
            _rule_run(rule, effective[rule.key], ran, at=at, away=away)
    if rules is None:
        _forget_unknown(set(effective), at)
        _snoozes_end(at)
    return ran


def alert_close(*, alert: Alert, person: Person, at: datetime) -> bool:
    """Say that it is seen to: it stays closed, whatever its rule finds; False where it was closed already."""
    with transaction.atomic():
        closed = Alert.objects.filter(pk=alert.pk, closed_at=None).update(
            closed_at=at, closed_how=Closed.HAND, closed_says=f"{person} said that it is seen to."[:200], snoozed_until=None
        )
        deliveries_drop(alerts=[alert], at=at)
    return bool(closed)


def alert_open(*, alert: Alert, at: datetime) -> bool:
    """Take "seen to" back, with what was not sent because of it. If its cause is gone, the next run closes it again."""
    by_hand = Alert.objects.filter(pk=alert.pk, closed_how=Closed.HAND)
    return _undone(alert, by_hand, at, closed_at=None, closed_how="", closed_says="")


def alert_snooze(*, alert: Alert, until: datetime, person: Person, at: datetime) -> bool:
    """Put an open alert off until an instant; it is told again then, if its cause is still there."""
    if until <= at:
        raise ValueError("An alert is put off until later than now.")
    with transaction.atomic():
        put_off = Alert.objects.filter(pk=alert.pk, closed_at=None).update(snoozed_until=until, snoozed_by=person)
        deliveries_drop(alerts=[alert], at=at)
    return bool(put_off)


def alert_wake(*, alert: Alert, at: datetime) -> bool:
    """Take a putting-off back, with what was not sent because of it."""
    put_off = Alert.objects.filter(pk=alert.pk, closed_at=None, snoozed_until__isnull=False)
    return _undone(alert, put_off, at, snoozed_until=None)


def alert_hand(*, alert: Alert, to: Person, person: Person, at: datetime) -> bool:
    """Hand an open alert to somebody, who alone is told from now on; what still waits for others is dropped."""
    with transaction.atomic():
        handed = Alert.objects.filter(pk=alert.pk, closed_at=None).update(handed_to=to, handed_by=person, handed_at=at)
        if handed:
            alert.refresh_from_db()
            deliveries_drop(alerts=[alert], at=at)
            _tell([alert], at)
    return bool(handed)


def alert_hand_back(*, alert: Alert, at: datetime) -> bool:
    """Let everybody have it again who had it before it was handed over."""
    handed = Alert.objects.filter(pk=alert.pk, handed_to__isnull=False)
    return _undone(alert, handed, at, handed_to=None, handed_by=None, handed_at=None)


def _undone(alert: Alert, rows: QuerySet[Alert], at: datetime, **back: Any) -> bool:
    """Set columns back and want again what was dropped because of them."""
    with transaction.atomic():
        if not rows.update(**back):
            return False
        alert.refresh_from_db()
        if alert.closed_at is None and not _put_off(alert):
            _tell([alert], at)
    return True


def _rule_run(rule: AlertRule, effective: Effective, ran: Ran, *, at: datetime, away: bool) -> None:
    run = RuleRun.objects.update_or_create(rule=rule.key, defaults={"began_at": at, "ended_at": None})[0]
    mine = RuleRun.objects.filter(pk=run.pk, began_at=at)  # a later run that is under way writes its own end
    ran.rules += 1
    start = time.monotonic()
    try:
        if effective.on:
            causes = {(cause.subject, cause.occasion): cause for cause in rule.find(at, effective.terms)}
            raised, closed = _difference(rule, effective, causes, at=at, away=away)
        else:
            causes, raised, closed = {}, 0, _close(_open(rule.key).values(), Closed.OFF, OFF_SAYS, at)
    except Exception as error:  # whatever a rule does wrong, the others speak up
        log.exception("The alert rule %s threw.", rule.key)
        ran.threw.append(rule.key)
        busy = isinstance(error, DatabaseError)
        said = "The database did not answer." if busy else f"The program made a mistake here ({type(error).__name__}: {error})."
        mine.update(said=said[:400], **_ended(at, start))
        return
    ran.found, ran.raised, ran.closed = ran.found + len(causes), ran.raised + raised, ran.closed + closed
    ended = _ended(at, start)
    mine.update(ended_well_at=ended["ended_at"], found=len(causes), raised=raised, closed=closed, said="", **ended)


def _ended(at: datetime, start: float) -> dict[str, Any]:
    """Return when a rule's part of the run ended and how long it took, by its own stopwatch."""
    took = timedelta(seconds=time.monotonic() - start)
    return {"ended_at": at + took, "took_ms": min(int(took / timedelta(milliseconds=1)), 2**31 - 1)}


def _difference(
    rule: AlertRule, effective: Effective, causes: dict[tuple[str, str], Cause], *, at: datetime, away: bool
) -> tuple[int, int]:
    """Write what differs between what is found and what is open; return how many were raised and closed."""
    held = _open(rule.key)
    # in one order: two runs at once then wait for each other's rows and never across one another
    fresh = [causes[key] for key in sorted(causes.keys() - held.keys())]
    seen_to, again = _closed_before(rule.key, fresh)
    known = seen_to | {(alert.subject, alert.occasion) for alert in again}
    new = [cause for cause in fresh if (cause.subject, cause.occasion) not in known]
    for part in _parts(new):
        with transaction.atomic():
            _raise(rule.key, effective, part, at=at, away=away)
    again.sort(key=lambda alert: alert.pk)
    for some in _parts(again):
        with transaction.atomic():
            _hold(some)
            Alert.objects.filter(pk__in=[a.pk for a in some]).exclude(closed_at=None).update(
                closed_at=None, closed_how="", closed_says=""
            )
            for alert in some:
                alert.closed_at = None
            # who was told stays told; whom it did not reach before it closed is told after all
            _tell(some, at)
    both = {**held, **{(alert.subject, alert.occasion): alert for alert in again}}
    _rewrite([(alert, causes[key]) for key, alert in both.items() if key in causes], effective, at)
    closed = _close([alert for key, alert in held.items() if key not in causes], Closed.GONE, rule.done, at)
    return len(new), closed


def _open(rule: str) -> dict[tuple[str, str], Alert]:
    return {(alert.subject, alert.occasion): alert for alert in Alert.objects.filter(rule=rule, closed_at=None).order_by()}


def _closed_before(rule: str, causes: Sequence[Cause]) -> tuple[set[tuple[str, str]], list[Alert]]:
    """Return which of these causes people have seen to, and the alerts of those that closed otherwise: what was said before is
    never said anew.

    A thousand causes that were seen to are found again at every run: one query, however many, and no row of theirs is built.
    """
    if not causes:
        return set(), []
    wanted = {(cause.subject, cause.occasion) for cause in causes}
    closed = (
        Alert.objects.filter(rule=rule, subject__among={subject for subject, _ in wanted}).exclude(closed_at=None).order_by()
    )
    by_hand = closed.filter(closed_how=Closed.HAND).values_list("subject", "occasion")
    seen_to = {key for key in by_hand.iterator(chunk_size=5_000) if key in wanted}
    rest = closed.exclude(closed_how=Closed.HAND).iterator(chunk_size=CHUNK)
    return seen_to, [alert for alert in rest if (alert.subject, alert.occasion) in wanted]


def _raise(rule: str, effective: Effective, causes: Sequence[Cause], *, at: datetime, away: bool) -> None:
    rows = [
        Alert(
            rule=rule,
            subject=cause.subject,
            occasion=cause.occasion,
            stage=cause.stage,
            raised_at=at,
            while_closed=away,
            **_said(cause, effective),
        )
        for cause in causes
    ]
    Alert.objects.bulk_create(rows, ignore_conflicts=True)
    if not effective.digest:
        # what another run raised a moment ago is not told a second time: its raised_at differs, or its deliveries are there
        made = Alert.objects.filter(rule=rule, raised_at=at, subject__in={cause.subject for cause in causes}, closed_at=None)
        _tell(list(made), at)


def _said(cause: Cause, effective: Effective) -> dict[str, Any]:
    return {
        "title": cause.title[:160],
        "says": cause.says[:500],
        "url": cause.url[:300],
        "by": cause.by,
        "show": cause.show,
        "urgent": effective.urgent,
        "digest": effective.digest,
        "role": effective.role,
    }


def _rewrite(pairs: Iterable[tuple[Alert, Cause]], effective: Effective, at: datetime) -> None:
    """Bring what open alerts say up to date, and tell those again that have come to a further stage."""
    changed, stepped = [], set()
    for alert, cause in pairs:
        said = _said(cause, effective)
        steps = cause.stage > alert.stage
        if not steps and all(getattr(alert, name) == value for name, value in said.items()):
            continue
        for name, value in said.items():
            setattr(alert, name, value)
        if steps:
            alert.stage = cause.stage
            stepped.add(alert.pk)
        changed.append(alert)
    changed.sort(key=lambda alert: alert.pk)
    for part in _parts(changed):
        with transaction.atomic():
            _hold(part)
            Alert.objects.bulk_update(part, [*SAID, "stage"], batch_size=50)
            _tell([alert for alert in part if alert.pk in stepped and not _put_off(alert)], at)


def _put_off(alert: Alert) -> bool:
    # also one whose hour has come: the end of this run tells it, once
    return alert.snoozed_until is not None


def _close(alerts: Iterable[Alert], how: Closed, says: str, at: datetime) -> int:
    count = 0
    for part in _parts(sorted(alerts, key=lambda alert: alert.pk)):
        with transaction.atomic():
            _hold(part)
            count += Alert.objects.filter(pk__in=[alert.pk for alert in part], closed_at=None).update(
                closed_at=at, closed_how=how, closed_says=says[:200], snoozed_until=None
            )
            deliveries_drop(alerts=part, at=at)
    return count


def _tell(alerts: Sequence[Alert], at: datetime) -> None:
    """Queue deliveries; what was dropped before it was sent at this very stage is wanted again."""
    alerts = [alert for alert in alerts if not alert.digest]  # what stands in digests is told there
    if not alerts:
        return
    deliveries_queue(alerts=alerts, at=at)
    dropped = Q()
    for alert in alerts:
        dropped |= Q(alert=alert.pk, stage=alert.stage)
    rows = Delivery.objects.filter(dropped, state=DeliveryState.DROPPED, sent_at=None)
    handed = {alert.pk: alert.handed_to_id for alert in alerts if alert.handed_to_id}
    if handed:
        rows = rows.filter(address__person__in=set(handed.values()))
    if rows.update(state=DeliveryState.WAITING, not_before=at, said=""):
        sender_wake()


def _snoozes_end(at: datetime) -> None:
    """Tell again what was put off until now and is still open."""
    over = list(Alert.objects.filter(closed_at=None, snoozed_until__lte=at).order_by("pk")[:1000])
    told = dict(
        Delivery.objects.filter(alert__in=over, stage__gte=REMINDED).order_by().values_list("alert").annotate(last=Max("stage"))
    )
    for part in _parts(over):
        with transaction.atomic():
            woken = [a for a in part if Alert.objects.filter(pk=a.pk, snoozed_until=a.snoozed_until).update(snoozed_until=None)]
            for alert in woken:
                alert.stage = told.get(alert.pk, REMINDED - 1) + 1  # in memory alone: a stage of its own for this telling
            deliveries_queue(alerts=woken, at=at)


def _forget_unknown(known: set[str], at: datetime) -> None:
    """Close what a rule raised that this program no longer has."""
    _close(Alert.objects.filter(closed_at=None).exclude(rule__in=known).order_by("pk")[:1000], Closed.OFF, OFF_SAYS, at)


def _hold(alerts: Sequence[Alert]) -> None:
    """Lock these rows in one order, as every run does: a database of many writers locks in whatever order it reads."""
    if connection.features.has_select_for_update:
        rows = Alert.objects.select_for_update(no_key=True).filter(pk__in=[alert.pk for alert in alerts])
        list(rows.order_by("pk").values_list("pk", flat=True))


def _parts(things: Sequence[T]) -> Iterator[Sequence[T]]:
    for start in range(0, len(things), CHUNK):
        yield things[start : start + CHUNK]
