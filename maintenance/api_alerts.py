"""Open alerts over HTTP: what a person is told in their inbox, for a program that reads it for them."""

from datetime import datetime
from enum import StrEnum
from typing import Any

from django.http import HttpRequest
from ninja import Query, Router, Schema
from ninja.errors import HttpError
from pydantic import Field

from company.api import PROBLEMS, CleanText, Limit, Offset, person_of
from company.calc.roles import Role
from company.clock import now
from company.registries import ALERT_RULES
from maintenance.alert_inbox import IN_ORDER, alerts_for
from maintenance.models import Alert

router = Router(tags=["alerts"])


class Whose(StrEnum):
    MINE = "mine"
    ALL = "all"


class Severity(StrEnum):
    """How it is told: at any hour, at once but for quiet hours, or in the daily digest."""

    URGENT = "urgent"
    AT_ONCE = "at once"
    DIGEST = "digest"


class AlertStanding(StrEnum):
    """Open and everybody's, put off until a time, or handed to one person. One that is handed and put off is put off."""

    OPEN = "open"
    PUT_OFF = "put off"
    HANDED = "handed over"


class AlertOut(Schema):
    """One open alert. `page` is its own page, `do_at` where it is seen to; both are paths within the program."""

    id: int
    rule: str
    rule_name: str
    subject: str = Field(description='What it is about: "item:17", "show:4", "lot:3", "shop".')
    title: str
    says: str = Field(description="A sentence that says what to do.")
    severity: Severity
    stage: int = Field(description="How many times its rule told it again because it was still undone.")
    standing: AlertStanding
    since: datetime
    by: datetime | None
    put_off_until: datetime | None
    handed_to: str
    show: int | None
    page: str
    do_at: str


class AlertList(Schema):
    """A page of alerts; `count` is how many there are in all, exactly."""

    count: int
    alerts: list[AlertOut]


class AlertQuery(Schema):
    whose: Whose = Field(Whose.MINE, description="All: for owners.")
    rule: CleanText = Field("", max_length=40, description="A rule's key; left out: of every rule.")
    limit: Limit = 50
    offset: Offset = 0


@router.get("/alerts", response={200: AlertList, **PROBLEMS}, summary="Open alerts")
def alerts(request: HttpRequest, query: Query[AlertQuery]) -> dict[str, Any]:
    """List the open alerts of whoever asks, in the order they are to be seen to: the urgent, then by when they are due.

    What was put off or handed over is among them, and says so. A closed alert is not.
    """
    person, at = person_of(request), now()
    if query.whose is Whose.ALL and not person.is_at_least(Role.OWNER):
        raise HttpError(403, "Everybody's alerts are an owner's to list. Leave `whose` out for your own.")
    found = Alert.objects.all() if query.whose is Whose.ALL else alerts_for(person)
    found = found.filter(closed_at=None)
    if query.rule:
        found = found.filter(rule=query.rule)
    page = found.select_related("handed_to").order_by(*IN_ORDER)[query.offset : query.offset + query.limit]
    names = {rule.key: rule.name for rule in (make() for make in ALERT_RULES)}
    return {"count": found.count(), "alerts": [_row(alert, names, at) for alert in page]}


def _row(alert: Alert, names: dict[str, str], at: datetime) -> dict[str, Any]:
    put_off = alert.snoozed_until is not None and alert.snoozed_until > at
    return {
        "id": alert.pk,
        "rule": alert.rule,
        "rule_name": names.get(alert.rule, alert.rule),
        "subject": alert.subject,
        "title": alert.title,
        "says": alert.says,
        "severity": Severity.URGENT if alert.urgent else Severity.DIGEST if alert.digest else Severity.AT_ONCE,
        "stage": alert.stage,
        "standing": _standing(alert, put_off),
        "since": alert.raised_at,
        "by": alert.by,
        "put_off_until": alert.snoozed_until if put_off else None,
        "handed_to": str(alert.handed_to) if alert.handed_to else "",
        "show": alert.show,
        "page": alert.get_absolute_url(),
        "do_at": alert.url,
    }


def _standing(alert: Alert, put_off: bool) -> AlertStanding:
    if put_off:
        return AlertStanding.PUT_OFF
    return AlertStanding.HANDED if alert.handed_to_id else AlertStanding.OPEN
