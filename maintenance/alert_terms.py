"""How each alert rule goes in this shop: its defaults, and what the owner changed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from django.db import transaction

from company.calc.roles import Role
from company.models import Person
from company.registries import ALERT_RULES, AlertRule, RuleTerms
from maintenance.models import RuleSetting

MINUTE = timedelta(minutes=1)
MOST_STAGES = 6


@dataclass(frozen=True, kw_only=True)
class Effective:
    """A rule as it goes now; `changed`: the owner changed something of it; `people`: only these are told, if any."""

    rule: AlertRule
    on: bool
    digest: bool
    urgent: bool
    role: str
    terms: RuleTerms
    changed: bool = False
    people: tuple[Person, ...] = ()


def rules_now() -> dict[str, Effective]:
    """Return every rule as it goes, by key; two queries."""
    rows = {row.rule: row for row in RuleSetting.objects.prefetch_related("people")}
    rules = [make() for make in ALERT_RULES]
    return {rule.key: effective_of(rule, rows.get(rule.key)) for rule in rules}


def effective_of(rule: AlertRule, row: RuleSetting | None) -> Effective:
    if row is None:
        return Effective(rule=rule, on=rule.on, digest=rule.digest, urgent=rule.urgent, role=rule.role, terms=rule.terms)
    lead = rule.terms.lead if row.lead_minutes is None or rule.lead_means is None else row.lead_minutes * MINUTE
    stages = tuple(int(minutes) * MINUTE for minutes in row.stage_minutes) if rule.lead_means else rule.terms.stages
    return Effective(
        rule=rule,
        on=row.on,
        digest=row.digest,
        urgent=row.urgent,
        role=row.role,
        terms=RuleTerms(lead=lead, stages=stages),
        changed=True,
        people=tuple(row.people.all()),
    )


@transaction.atomic
def rule_set(
    *,
    rule: AlertRule,
    on: bool,
    digest: bool,
    urgent: bool,
    role: str,
    people: Sequence[Person] = (),
    lead: timedelta | None = None,
    stages: Sequence[timedelta] = (),
) -> RuleSetting:
    """Keep what the owner wants of a rule; it holds from the next run on. ValueError in words for what cannot be."""
    if role not in set(Role):
        raise ValueError("A rule tells hands, technicians or owners.")
    if len(stages) > MOST_STAGES:
        raise ValueError(f"At most {MOST_STAGES} further times.")
    row = RuleSetting(
        rule=rule.key,
        on=on,
        digest=digest,
        urgent=urgent and not digest,
        role=role,
        lead_minutes=None if lead is None else int(lead / MINUTE),
        stage_minutes=[int(stage / MINUTE) for stage in stages],
    )
    row.full_clean(exclude=["rule"])
    kept, _new = RuleSetting.objects.update_or_create(
        rule=rule.key,
        defaults={name: getattr(row, name) for name in ("on", "digest", "urgent", "role", "lead_minutes", "stage_minutes")},
    )
    kept.people.set(people)
    return kept


def rule_put_back(*, rule: AlertRule) -> bool:
    """Put back the defaults; False where nothing was changed."""
    return bool(RuleSetting.objects.filter(rule=rule.key).delete()[0])
