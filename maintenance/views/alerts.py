"""The inbox of alerts, one alert, and the rules."""

from dataclasses import dataclass
from datetime import datetime, time, timedelta

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from company.access import owner_required, signed_in, technician_required
from company.clock import now
from company.models import Person
from company.registries import ALERT_RULES, AlertRule
from company.templatetags.tape import moment
from company.views.sign import safe_next
from maintenance.alert_inbox import alerts_for, inbox_of, inbox_seen, may_see
from maintenance.alert_terms import Effective, rule_put_back, rule_set, rules_now
from maintenance.calc.alert_spans import span_words
from maintenance.forms_alerts import DIGEST, RuleForm, SnoozeForm
from maintenance.models import Alert, RuleRun
from maintenance.services.alerts import alert_close, alert_hand, alert_hand_back, alert_open, alert_snooze, alert_wake


@dataclass(frozen=True, kw_only=True)
class _Row:
    """One rule as the page lists it."""

    rule: AlertRule
    now: Effective
    run: RuleRun | None
    lead: str
    stages: str


LONGEST = 80
MORNING = time(8, 0)
GONE = "That alert is closed already."


@require_safe
def alerts(request: HttpRequest) -> HttpResponse:
    """Show what is open for this person, what was put off, and what closed of late."""
    person, at = signed_in(request), now()
    words, rule = request.GET.get("q", "")[:LONGEST].strip(), request.GET.get("rule", "")[:40]
    box = inbox_of(person, at, rule=rule, words=words)
    rules = [make() for make in ALERT_RULES]
    if request.method == "GET":
        inbox_seen(request, at)
    context = {
        "box": box,
        "words": words,
        "rule": next((one for one in rules if one.key == rule), None),
        "rules": rules if person.is_technician else [],
        "at": at,
        "section": "Alerts",
    }
    return render(request, "maintenance/alerts/inbox.html", context)


@require_safe
def alert(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one alert with what can be done about it, and whom it was told to."""
    found, person = _found(request, pk), signed_in(request)
    return _draw(request, found, person)


@require_POST
def alert_do(request: HttpRequest, pk: int) -> HttpResponse:
    """See to it, put it off, hand it over; or take one of these back."""
    found, person, at = _found(request, pk), signed_in(request), now()
    back = redirect(safe_next(request) if request.POST.get("next") else "alerts")
    what = request.POST.get("what", "")
    if what == "seen-to":
        done = alert_close(alert=found, person=person, at=at)
        _say(request, done, f"{found.title}: seen to. It stays closed; take that back below, under what closed of late.")
    elif what == "open":
        _say(request, alert_open(alert=found, at=at), f"{found.title}: open again.", "It was not closed by hand.")
    elif what in {"tomorrow", "day"}:
        until = _tomorrow(at) if what == "tomorrow" else at + timedelta(days=1)
        done = alert_snooze(alert=found, until=until, person=person, at=at)
        _say(request, done, f"{found.title}: put off until {moment(until)}.")
    elif what == "until":
        form = SnoozeForm(request.POST, at=at)
        if not form.is_valid():
            return _draw(request, found, person, snooze=form, status=422)
        done = alert_snooze(alert=found, until=form.cleaned_data["until"], person=person, at=at)
        _say(request, done, f"{found.title}: put off until {moment(form.cleaned_data['until'])}.")
    elif what == "wake":
        _say(request, alert_wake(alert=found, at=at), f"{found.title}: no longer put off.", "It was not put off.")
    elif what == "hand":
        key = request.POST.get("to", "")
        to = Person.objects.filter(pk=int(key), is_active=True).first() if key.isdecimal() and len(key) < 16 else None
        if to is None:
            messages.error(request, "Choose whom to hand it to.")
            return redirect(found)
        done = alert_hand(alert=found, to=to, person=person, at=at)
        _say(request, done, f"{found.title}: handed to {to}, who alone is told from now on.")
    elif what == "hand-back":
        done = alert_hand_back(alert=found, at=at)
        _say(request, done, f"{found.title}: everybody's again.", "It was handed to nobody.")
    else:
        messages.error(request, "The page asked for something this program does not know. Nothing was changed.")
    return back


@require_safe
@technician_required
def rules(request: HttpRequest) -> HttpResponse:
    """List every rule: what it speaks up about, how, to whom, how early, and how it last ran."""
    runs = {run.rule: run for run in RuleRun.objects.all()}
    rows = [
        _Row(
            rule=effective.rule,
            now=effective,
            run=runs.get(key),
            lead=span_words(effective.terms.lead),
            stages=", ".join(span_words(stage) for stage in effective.terms.stages),
        )
        for key, effective in rules_now().items()
    ]
    at_once = [row for row in rows if row.now.on and not row.now.digest]
    digest = [row for row in rows if row.now.on and row.now.digest]
    off = [row for row in rows if not row.now.on]
    context = {"parts": [("by themselves, at once", at_once), ("in the daily digest", digest), ("switched off", off)]}
    return render(request, "maintenance/alerts/rules.html", context | {"section": "Alerts"})


@require_http_methods(["GET", "HEAD", "POST"])
@owner_required
def rule(request: HttpRequest, key: str) -> HttpResponse:
    """Change one rule, or put back its defaults."""
    effective = rules_now().get(key)
    if effective is None:
        raise Http404
    made = effective.rule
    if request.method == "POST" and "defaults" in request.POST:
        _say(request, rule_put_back(rule=made), f"{made.name}: as it was shipped.", "Nothing was changed of it.")
        return redirect("alert-rules")
    form = RuleForm(request.POST or None, rule=made, effective=effective)
    if request.method == "POST" and form.is_valid():
        _keep(made, form)
        messages.success(request, f"{made.name}: saved. It holds from the next run on, within five minutes.")
        return redirect("alert-rules")
    context = {"form": form, "rule": made, "now": effective, "section": "Alerts"}
    return render(request, "maintenance/alerts/rule.html", context, status=422 if form.errors else 200)


def _keep(made: AlertRule, form: RuleForm) -> None:
    given = form.cleaned_data
    rule_set(
        rule=made,
        on=given["on"],
        digest=given["how"] == DIGEST,
        urgent=given["urgent"],
        role=given["role"],
        people=list(given["people"]),
        lead=given.get("lead"),
        stages=given.get("stages", []),
    )


def _found(request: HttpRequest, pk: int) -> Alert:
    """Return an alert this person may see, else 404: what is not theirs is not there."""
    found = Alert.objects.select_related("handed_to", "handed_by", "snoozed_by").filter(pk=pk).first() if pk < 2**63 else None
    if found is None or not may_see(signed_in(request), found):
        raise Http404
    return found


def _draw(
    request: HttpRequest, found: Alert, person: Person, snooze: SnoozeForm | None = None, status: int = 200
) -> HttpResponse:
    at = now()
    told = found.deliveries.select_related("address__person").order_by("made_at", "pk")[:50] if person.is_technician else []
    context = {
        "alert": found,
        "told": told,
        "people": Person.objects.filter(is_active=True).exclude(pk=found.handed_to_id or 0),
        "snooze": snooze or SnoozeForm(at=at, initial={"until": timezone.localtime(_tomorrow(at))}),
        "now": at,
        "put_off": found.snoozed_until is not None and found.snoozed_until > at and found.closed_at is None,
        "mine": alerts_for(person).filter(pk=found.pk).exists(),
        "rule": next((one for one in (make() for make in ALERT_RULES) if one.key == found.rule), None),
        "section": "Alerts",
    }
    return render(request, "maintenance/alerts/alert.html", context, status=status)


def _tomorrow(at: datetime) -> datetime:
    """Return tomorrow morning in the company's zone."""
    local = timezone.localtime(at)
    return datetime.combine(local.date() + timedelta(days=1), MORNING, tzinfo=local.tzinfo)


def _say(request: HttpRequest, done: bool, said: str, otherwise: str = GONE) -> None:
    if done:
        messages.success(request, said)
    else:
        messages.warning(request, otherwise)
