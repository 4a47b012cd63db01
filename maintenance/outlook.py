"""What is known of a gear type for setting its rule: how it fails, how it is used, and what a target would cost."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from django.db.models import Count, Max, Min

from inventory.models import GearType, Item
from maintenance.calc.retest import Clock, Record, Records, Rule, TypeModel, model_from, records_of, type_fit
from maintenance.calc.retest_cost import TARGETS, CostPoint, cost_of_target, target_for
from maintenance.calc.retest_type import shows_until
from maintenance.calc.symptoms import Found
from maintenance.models import BenchSettings, Fault, Risk, UseLedger
from maintenance.models import TypeModel as StoredModel
from maintenance.services.retest_models import clock_used

YEAR = timedelta(days=365)
DAYS_A_MONTH = 365.25 / 12
MOST = 2_000  # items whose records stand for the type


@dataclass(frozen=True, kw_only=True)
class Use:
    """How a type is used: how many we own, how many go to a show that takes any, and how many such shows a month.

    `seen` says that it is from the record of the last year; otherwise it is a guess to reckon with.
    """

    count: int
    a_show: float
    shows_a_month: float
    seen: bool = True


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """A type as its rule's page needs it."""

    model: TypeModel
    records: Records
    use: Use
    at_line_check: int
    in_show: int
    sees_show: float
    stored: StoredModel | None
    clock: Clock | None
    rows: tuple[tuple[float, float, int, int], ...]

    def under(self, rule: Rule, was: Rule) -> "Outlook":
        """Return the outlook by other first guesses: the model is learnt anew from the same records."""
        if (rule.median_shows, rule.pessimistic_shows) == (was.median_shows, was.pessimistic_shows):
            return self
        return replace(self, model=_learnt(rule, self.rows))

    def using(self, *, a_show: float, shows_a_month: float) -> "Outlook":
        return replace(self, use=replace(self.use, a_show=a_show, shows_a_month=shows_a_month))

    def curve(self, rule: Rule, targets: Sequence[float] = TARGETS) -> tuple[CostPoint, ...]:
        """Return what each target comes to under a rule."""
        return cost_of_target(
            model=self.model,
            rule=rule,
            count=max(1, self.use.count),
            shows_a_month=self.use.shows_a_month,
            a_show=self.use.a_show,
            records=self.records,
            sees_show=self.sees_show,
            at_line_check=self.at_line_check,
            in_show=self.in_show,
            targets=targets,
            clock=self.clock,
        )

    def target_for(self, rule: Rule, bad_a_show: float) -> float:
        """Return the chance for each one that lets so many bad ones come to a show."""
        return target_for(
            bad_a_show=bad_a_show,
            model=self.model,
            rule=rule,
            count=max(1, self.use.count),
            shows_a_month=self.use.shows_a_month,
            a_show=self.use.a_show,
            records=self.records,
            sees_show=self.sees_show,
            clock=self.clock,
        )


def outlook_of(*, type: GearType, rule: Rule, day: date) -> Outlook:
    """Return what is known of a type, in a constant number of queries."""
    risks = Risk.objects.filter(item__type=type).order_by("pk").values_list("failures", "shows", "starts", "starts_bad")
    rows = tuple(risks[:MOST])
    stored = StoredModel.objects.filter(type=type).first()
    found = Fault.objects.filter(item__type=type, withdrawn_at=None, found__in=[Found.LINE_CHECK, Found.SHOW])
    seen = dict(found.order_by().values_list("found").annotate(Count("pk")))
    return Outlook(
        model=_stored(stored, rule) or _learnt(rule, rows),
        records=records_of([Record(failures=r, shows=t) for r, t, _s, _b in rows]),
        use=use_of(type, day),
        at_line_check=seen.get(Found.LINE_CHECK, 0),
        in_show=seen.get(Found.SHOW, 0),
        sees_show=BenchSettings.current().sees_show,
        stored=stored,
        clock=clock_used(stored),
        rows=rows,
    )


def use_of(type: GearType, day: date) -> Use:
    """Return how a type was used in the last year; where nothing is on record, a guess: half of them, at two shows a month."""
    count = Item.objects.owned().filter(type=type).count()
    ledger = UseLedger.objects.filter(item__type=type, state="done", day__gt=day - YEAR, day__lte=day)
    told = ledger.aggregate(rows=Count("pk"), shows=Count("occasion", distinct=True), first=Min("day"), last=Max("day"))
    if not told["shows"]:
        return Use(count=count, a_show=max(1.0, count / 2), shows_a_month=2.0, seen=False)
    months = max((day - told["first"]).days / DAYS_A_MONTH, 1.0)
    return Use(count=count, a_show=round(told["rows"] / told["shows"], 1), shows_a_month=round(told["shows"] / months, 1))


def _stored(stored: StoredModel | None, rule: Rule) -> TypeModel | None:
    """Return the model worked out by night, where it was made from these first guesses."""
    if stored is None or stored.posterior.get("guesses") != [rule.median_shows, rule.pessimistic_shows]:
        return None
    try:
        return model_from(stored.posterior)
    except ValueError:
        return None


def _learnt(rule: Rule, rows: Sequence[tuple[float, float, int, int]]) -> TypeModel:
    return type_fit(
        median_shows=rule.median_shows,
        pessimistic_shows=rule.pessimistic_shows,
        failures=[row[0] for row in rows],
        shows=[row[1] for row in rows],
        starts=sum(row[2] for row in rows),
        starts_bad=sum(row[3] for row in rows),
    )


def usual_interval(*, model: TypeModel, rule: Rule, sees_show: float, clock: Clock | None = None) -> int:
    """Return the whole shows until the next test of one of the type without a record of its own, by target and clamps."""
    nothing = np.zeros(1)
    wanted = float(shows_until(model, nothing, nothing, np.array([rule.target]))[0]) / max(1e-9, 1.0 - sees_show)
    wanted = float(clock.age(np.array(wanted))) if clock else wanted
    most = wanted if rule.most_shows is None else min(wanted, rule.most_shows)
    return int(max(most, rule.least_shows))


def model_for(*, stored: StoredModel | None, rule: Rule) -> TypeModel:
    """Return a type's stored model, or the first guess where there is none for this rule."""
    return _stored(stored, rule) or _learnt(rule, ())
