"""When to test again: the rule of each gear type, and what a target costs before it is saved."""

from dataclasses import replace
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Exists, OuterRef
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from company.access import owner_required, signed_in, technician_required
from company.clock import now, today
from inventory.calc.kinds import Kind
from inventory.models import GearType, Item
from maintenance.calc.cost_plot import cost_plot
from maintenance.calc.retest import Rule
from maintenance.calc.retest_cost import TARGETS, CostPoint, cost_words
from maintenance.calc.retest_due import DAYS_A_MONTH, per_cent
from maintenance.calc.retest_wear import few_words
from maintenance.dates import NOUNS
from maintenance.forms_rules import RuleForm
from maintenance.models import BenchSettings, RetestRule, Risk
from maintenance.models import TypeModel as StoredModel
from maintenance.outlook import Outlook, model_for, outlook_of, usual_interval
from maintenance.services.retest_models import clock_used, intervals_failed
from maintenance.services.retest_rules import rule_of
from maintenance.services.rules import RuleRefused, rule_forget, rule_set

PAGE = 30
LONGEST = 80
FEW = 8
form_page = require_http_methods(["GET", "HEAD", "POST"])


@technician_required
def rules(request: HttpRequest) -> HttpResponse:
    """List the gear types we own with their rule: target, usual interval, what is on record, how far it is still a guess."""
    words = request.GET.get("q", "")[:LONGEST].strip()
    owned = Item.objects.owned().filter(type=OuterRef("pk"))
    rows = GearType.objects.filter(Exists(owned), has_standing=True).order_by("name")
    if words:
        rows = rows.filter(name__icontains=words)
    page = Paginator(rows, PAGE).get_page(request.GET.get("page"))
    types = list(page.object_list)
    found = rule_of(types)
    stored = {row.type_id: row for row in StoredModel.objects.filter(type__in=types)}
    set_by_owner = set(RetestRule.objects.filter(type__in=types).values_list("type", flat=True))
    sees_show = BenchSettings.current().sees_show
    context = {
        "section": "Bench",
        "room": "rules",
        "page": page,
        "lines": [_line(t, found[t.pk], stored.get(t.pk), t.pk in set_by_owner, sees_show) for t in types],
        "guessed": sum(type_.pk not in set_by_owner for type_ in types),
        "words": words,
    }
    return render(request, "maintenance/plan/rules.html", context)


def _line(type_: GearType, rule: Rule, stored: StoredModel | None, own: bool, sees_show: float) -> dict[str, Any]:
    model = model_for(stored=stored, rule=rule)
    shows = usual_interval(model=model, rule=rule, sees_show=sees_show, clock=clock_used(stored))
    return {
        "type": type_,
        "own": own,
        "target": per_cent(rule.target),
        "interval": f"{shows} show{'' if shows == 1 else 's'}",
        "most_days": rule.most_days,
        "guess": guess_words(model.guess_left),
        "record": record_words(stored),
        "guard": stored.said.get("guard", "") if stored and stored.posterior.get("counts", {}).get("intervals") else "",
    }


def guess_words(share: float) -> str:
    """Say how much of what is reckoned is still the first guess."""
    for least, words in (
        (0.95, "all of it still our first guess"),
        (0.6, "mostly our first guess"),
        (0.3, "half guess, half record"),
    ):
        if share >= least:
            return words
    return "mostly our own record" if share >= 0.05 else "our own record"


def record_words(stored: StoredModel | None) -> str:
    if stored is None or not (stored.failures or stored.shows):
        return "Nothing on record yet."
    fails = f"{stored.failures:.0f} failure{'' if round(stored.failures) == 1 else 's'}"
    tests = f"{stored.tests} test{'' if stored.tests == 1 else 's'}"
    return f"{fails} in {stored.shows:.0f} shows, {tests}."


@form_page
@owner_required
def rule(request: HttpRequest, pk: int) -> HttpResponse:
    """Change one type's rule; what it costs is shown first, and `do=look` reckons it anew and keeps nothing."""
    type_ = get_object_or_404(GearType, pk=pk, has_standing=True)
    at = now()
    was = rule_of([type_])[type_.pk]
    outlook = outlook_of(type=type_, rule=was, day=today(at))
    (point,) = outlook.curve(was, (was.target,))
    form = RuleForm(
        request.POST if request.method == "POST" else None,
        rule=was,
        company=request.company,
        bad_a_show=point.bad_a_show,
        a_show=outlook.use.a_show,
        monthly=outlook.use.shows_a_month,
    )
    new, seen = was, outlook
    if form.is_bound and form.is_valid():
        new, seen = _wanted(form, was, outlook)
        if request.POST.get("do") != "look":
            try:
                fields = {**form.columns(), "target": new.target}
                _row, job = rule_set(type=type_, fields=fields, person=signed_in(request), at=at)
            except RuleRefused as refused:
                form.add_error(None, str(refused))
            else:
                later = " The dates are being worked out; it takes a moment." if job else ""
                messages.success(request, f"The rule of {type_} is kept.{later}")
                return redirect("retest-rule", pk=type_.pk)
    context = {
        "section": "Bench",
        "room": "rules",
        "type": type_,
        "form": form,
        "own": RetestRule.objects.filter(type=type_).exists(),
        "looking": request.POST.get("do") == "look" and not form.errors,
        "retire": _worse(type_),
        "source": was.source,
        "guess": guess_words(outlook.model.guess_left),
        "record": record_words(outlook.stored),
        "stored": outlook.stored,
        "wear": _wear(outlook.stored),
        **_cost(seen, was, new, type_, request.company.bench_minutes_a_month),
    }
    return render(request, "maintenance/plan/rule.html", context, status=422 if form.errors else 200)


def _wanted(form: RuleForm, was: Rule, outlook: Outlook) -> tuple[Rule, Outlook]:
    """Return the rule that was typed, and the outlook under it: with other guesses, other use, and its target worked out."""
    given = form.cleaned_data
    new = replace(was, **form.columns())
    seen = outlook.under(new, was).using(
        a_show=given["a_show"] or outlook.use.a_show,
        shows_a_month=outlook.use.shows_a_month if given["shows_a_month"] is None else given["shows_a_month"],
    )
    if form.target_typed:
        new = replace(new, target=min(0.9, max(0.0001, float(f"{seen.target_for(new, given['bad_a_show']):.4g}"))))
    return new, seen


def _cost(outlook: Outlook, was: Rule, new: Rule, type_: GearType, minutes: int) -> dict[str, Any]:
    """Return what a setting comes to: its words, and the curve with today's setting and the new one on it."""
    noun = many(type_)
    points = outlook.curve(new, TARGETS)
    (then,) = outlook.curve(new, (new.target,))
    (today_point,) = outlook.curve(was, (was.target,))
    moved = new != was
    plot = cost_plot(
        points=points,
        now=today_point,
        new=then,
        limit_minutes=float(minutes),
        alone=outlook.curve(unlimited(new), TARGETS),
        words=("now" if moved else "", "with this" if moved else "as it is set"),
    )
    return {
        "plot": plot,
        "moved": moved,
        "then": then,
        "noun": noun,
        "says": cost_words(today_point, then, noun) if moved else _as_now(then, noun),
        "means": _means(outlook, new, then, noun),
        "budget": _budget(then, minutes),
        "held": _held(then, new, outlook),
        "unmet": _unmet(then, new, outlook),
    }


def many(type_: GearType) -> str:
    one = NOUNS[Kind(type_.kind)]
    return f"{one}es" if one.endswith("x") else f"{one}s"


def _as_now(point: CostPoint, noun: str) -> str:
    return f"{point.bad_a_show:.2g} bad {noun} a show, for {point.minutes_a_month:.0f} bench minutes a month"


def _means(outlook: Outlook, rule_: Rule, point: CostPoint, noun: str) -> str:
    use = outlook.use
    seen = "" if use.seen else " Nothing is on record of its shows yet: these two are guesses to reckon with."
    return (
        f"With {use.a_show:.3g} of them on a show, and {use.shows_a_month:.3g} such shows a month: none may be likelier than "
        f"{per_cent(rule_.target)} to be bad before its next test, about {point.interval_shows:.0f} shows after the last.{seen}"
    )


def _budget(point: CostPoint, minutes: int) -> str:
    if not minutes:
        return "The company has said no bench minutes a month."
    if point.minutes_a_month > minutes:
        return f"That alone is more than the {minutes} bench minutes a month the company has said there are."
    return f"The company has {minutes} bench minutes a month for everything."


def unlimited(rule_: Rule) -> Rule:
    """Return a rule that goes by its target alone."""
    return replace(rule_, least_shows=0, least_days=0, most_shows=None, most_days=None)


def _held(point: CostPoint, rule_: Rule, outlook: Outlook) -> str:
    """Say which limits set the intervals, and how few shows lie between them; empty where the target does."""
    if not point.held:
        return ""
    most = f"{rule_.most_days} days" if rule_.most_days else f"{rule_.most_shows} shows" if rule_.most_shows else ""
    clamps = f"not before {rule_.least_shows} shows or {rule_.least_days} days" + (f", not later than {most}" if most else "")
    said = f"The limits below ({clamps}) set most intervals, not the target."
    a_month = min(outlook.use.a_show / max(outlook.use.count, 1), 1.0) * outlook.use.shows_a_month
    if not rule_.most_days or not a_month:
        return said
    shows = a_month * rule_.most_days / DAYS_A_MONTH
    return f"{said} Each goes to about {a_month:.1g} shows a month, so {rule_.most_days} days are only {shows:.2g} shows."


def _unmet(point: CostPoint, rule_: Rule, outlook: Outlook) -> str:
    wanted = rule_.target * outlook.use.a_show
    if point.bad_a_show <= wanted * 1.2:
        return ""
    return f"The least between tests lets more through than the target would: {point.bad_a_show:.2g} bad ones a show."


def _wear(stored: StoredModel | None) -> str:
    """Say what age does to the type: what was found, or that too few failed in use to look; empty while none did."""
    if stored is None:
        return ""
    if "wear" in stored.said:
        return str(stored.said["wear"]["words"])
    failed = intervals_failed(stored)
    return few_words(failed) if failed else ""


def _worse(type_: GearType) -> list[Risk]:
    """Return the things far worse than their kind."""
    rows = Risk.objects.filter(retire=True, item__type=type_, item__retired_on=None, item__gone_home_on=None)
    return list(rows.select_related("item__type").order_by("-chance_now", "pk")[:FEW])


@require_POST
@owner_required
def rule_forget_it(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a type back to the first guess of its kind."""
    type_ = get_object_or_404(GearType, pk=pk, has_standing=True)
    rule_forget(type=type_, person=signed_in(request), at=now())
    messages.success(request, f"{type_} is back on the first guess of its kind.")
    return redirect("retest-rule", pk=type_.pk)
