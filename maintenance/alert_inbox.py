"""The inbox: which alerts are a person's, in which order, and which are drawn as one strip."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Window
from django.db.models.functions import RowNumber
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

from company.calc.roles import Role, at_least
from company.clock import now
from company.models import Absence, Person
from company.registries import ALERT_RULES, TopLine
from maintenance.address_needs import Dead, addresses_dead
from maintenance.calc.alert_words import Closed
from maintenance.models import Alert, RuleSetting

FEW = 5  # so many of one rule are drawn each by itself; more are one strip
NAMED = 3
MOST = 200  # alerts drawn one by one
COUNTED = 99
CLOSED_FOR, CLOSED_MOST = timedelta(days=7), 30
SEEN = "alerts_seen"
# the order in which alerts are to be seen to
IN_ORDER = (F("urgent").desc(), F("by").asc(nulls_last=True), "raised_at", "pk")


@dataclass(frozen=True, kw_only=True)
class Group:
    """Some alerts of one rule, or one alert; `count` is how many there are, `alerts` the first few."""

    rule: str
    name: str
    count: int
    alerts: Sequence[Alert]
    url: str = ""

    @property
    def one(self) -> Alert | None:
        return self.alerts[0] if self.count == 1 and self.alerts else None

    @property
    def names(self) -> str:
        shown = [alert.title for alert in self.alerts[:NAMED]]
        more = self.count - len(shown)
        return "; ".join(shown) + (f"; and {more} more" if more > 0 else "")


@dataclass(frozen=True, kw_only=True)
class Inbox:
    """What a person sees: each part in the order it is to be seen to."""

    handed: list[Alert] = field(default_factory=list)
    came: list[Group] = field(default_factory=list)
    now: list[Group] = field(default_factory=list)
    later: list[Group] = field(default_factory=list)
    put_off: list[Alert] = field(default_factory=list)
    closed: list[Alert] = field(default_factory=list)
    absence: Absence | None = None
    dead: list[Dead] = field(default_factory=list)
    more: int = 0

    @property
    def empty(self) -> bool:
        return not (self.handed or self.came or self.now or self.later or self.dead)

    @property
    def first(self) -> Alert | None:
        """Return the one next thing: the page's pink strip."""
        ones = [group.one for group in self.now if group.one]
        return next(iter([*self.handed, *ones]), None)


def alerts_for(person: Person) -> QuerySet[Alert]:
    """Return the alerts a person is told: handed to them; else those of their role, unless the rule names others."""
    roles = [role.value for role in Role if at_least(person.role, role)]
    named = RuleSetting.people.through.objects.filter(rulesetting=OuterRef("rule"), person__is_active=True)
    mine = Q(Exists(named.filter(person=person.pk))) | (Q(role__in=roles) & ~Q(Exists(named)))
    return Alert.objects.filter(Q(handed_to=person.pk) | (Q(handed_to=None) & mine))


def may_see(person: Person, alert: Alert) -> bool:
    """Say whether an alert is this person's, or they may see all."""
    return person.is_technician or alerts_for(person).filter(pk=alert.pk).exists()


def inbox_of(person: Person, at: datetime, *, rule: str = "", words: str = "") -> Inbox:
    """Return a person's inbox at an instant, of one rule or with some words in it if asked; a constant number of queries."""
    mine = alerts_for(person)
    if rule:
        mine = mine.filter(rule=rule)
    for word in words.split()[:6]:
        mine = mine.filter(Q(title__icontains=word) | Q(says__icontains=word))
    open_ = mine.filter(closed_at=None)
    asleep = Q(snoozed_until__gt=at)
    handed = Q(handed_to=person.pk)
    told = list(
        open_.exclude(asleep).filter(handed | Q(digest=False)).select_related("handed_by").order_by(*IN_ORDER)[: MOST + 1]
    )
    absence = Absence.objects.order_by("-until").first()
    away = absence if absence and absence.until > at - CLOSED_FOR else None
    rest = open_.exclude(asleep).exclude(handed).filter(digest=True)
    shown = [alert for alert in told[:MOST] if alert.handed_to_id != person.pk]
    came = [alert for alert in shown if away and alert.while_closed and alert.raised_at >= away.until]
    known = {alert.pk for alert in came}
    if away:
        asleep_then = Q(while_closed=True, raised_at__gte=away.until)
        came += list(rest.filter(asleep_then).order_by("by", "pk")[:MOST])
        rest = rest.exclude(asleep_then)
    return Inbox(
        handed=[alert for alert in told[:MOST] if alert.handed_to_id == person.pk],
        came=_folded(came),
        now=_folded([alert for alert in shown if alert.pk not in known]),
        later=_groups(rest),
        put_off=list(open_.filter(asleep).select_related("snoozed_by").order_by("snoozed_until", "pk")[:CLOSED_MOST]),
        closed=list(
            mine.filter(closed_at__gt=at - CLOSED_FOR)
            .exclude(closed_how=Closed.OFF)
            .order_by("-closed_at", "-pk")[:CLOSED_MOST]
        ),
        absence=away if came else None,
        dead=[] if rule or words else addresses_dead(person),
        more=max(0, len(told) - MOST),
    )


def _folded(alerts: Sequence[Alert]) -> list[Group]:
    """Draw many of one rule as one strip where the first of them stands, the others one by one."""
    of: dict[str, list[Alert]] = {}
    for alert in alerts:
        of.setdefault(alert.rule, []).append(alert)
    rules = {rule.key: rule for rule in (make() for make in ALERT_RULES)}
    found: list[Group] = []
    for alert in alerts:
        same = of[alert.rule]
        if len(same) <= FEW:
            found.append(Group(rule=alert.rule, name=alert.title, count=1, alerts=[alert]))
        elif alert is same[0]:
            rule = rules.get(alert.rule)
            url = (_address(rule.page) if rule else "") or (reverse("alerts") + f"?rule={alert.rule}")
            found.append(Group(rule=alert.rule, name=rule.name if rule else alert.rule, count=len(same), alerts=same, url=url))
    return found


def _groups(rest: QuerySet[Alert]) -> list[Group]:
    counts = dict(rest.order_by().values_list("rule").annotate(n=Count("pk")))
    if not counts:
        return []
    rank = Window(RowNumber(), partition_by=F("rule"), order_by=[F("by").asc(nulls_last=True), F("pk").asc()])
    first: dict[str, list[Alert]] = {}
    for alert in rest.annotate(place=rank).filter(place__lte=FEW).order_by("rule", "place"):
        first.setdefault(alert.rule, []).append(alert)
    found = []
    for rule in (make() for make in ALERT_RULES):
        if rule.key not in counts:
            continue
        alerts, count = first.get(rule.key, []), counts[rule.key]
        if count <= FEW:
            found += [Group(rule=rule.key, name=alert.title, count=1, alerts=[alert]) for alert in alerts]
        else:
            url = _address(rule.page) or (reverse("alerts") + f"?rule={rule.key}")
            found.append(Group(rule=rule.key, name=rule.name, count=count, alerts=alerts, url=url))
    return found


def _address(name: str) -> str:
    try:
        return reverse(name) if name else ""
    except NoReverseMatch:
        return ""


def alerts_top(request: HttpRequest) -> TopLine | None:
    """Say on every page how many things are told to this person by themselves; one query. Bold when there is one unseen."""
    person = request.user
    if not isinstance(person, Person):
        return None
    told = alerts_for(person).filter(closed_at=None, digest=False).exclude(snoozed_until__gt=now())
    raised = list(told.order_by("-raised_at").values_list("raised_at", flat=True)[: COUNTED + 1])
    seen = str(request.session.get(SEEN, ""))
    new = bool(raised) and raised[0].isoformat() > seen
    return TopLine(says="Alerts", url=reverse("alerts"), count=len(raised) or None, new=new)


def inbox_seen(request: HttpRequest, at: datetime) -> None:
    """Note in this browser's session that its person has looked."""
    request.session[SEEN] = at.isoformat()
