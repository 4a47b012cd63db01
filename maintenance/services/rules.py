"""When things of a type are tested again: the owner's rule for it, set or given back to the first guess."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from company.models import Job, Person
from inventory.models import GearType
from maintenance.calc.retest_defaults import COLUMNS
from maintenance.models import RetestRule
from maintenance.services.retest import rule_changed
from maintenance.services.retest_rules import rule_of


class RuleRefused(ValueError):  # noqa: N818 (a word of the house)
    """A rule cannot be as given; the words say why."""


def rule_set(
    *, type: GearType, fields: Mapping[str, Any], person: Person | None, at: datetime
) -> tuple[RetestRule, Job | None]:
    """Set a type's rule and work its dates out anew: at once, or by the job that is answered. Unchanged fields stay."""
    was = rule_of([type])[type.pk]
    with transaction.atomic():
        row = RetestRule.objects.select_for_update().filter(type=type).first()
        made = row is None
        row = row or RetestRule(type=type, **{name: getattr(was, name) for name in COLUMNS})
        changed = [name for name, value in fields.items() if getattr(row, name) != value]
        for name in changed:
            setattr(row, name, fields[name])
        try:
            row.full_clean(validate_unique=False)
        except ValidationError as wrong:
            raise RuleRefused(" ".join(wrong.messages)) from wrong
        if made:
            row.save(force_insert=True)
        elif changed:
            row.save(update_fields=changed)
    return row, rule_changed(type=type, person=person, at=at) if made or changed else None


def rule_forget(*, type: GearType, person: Person | None, at: datetime) -> Job | None:
    """Give a type back to the first guess of its kind, and work its dates out anew."""
    row = RetestRule.objects.filter(type=type).first()
    if row is None:
        return None
    row.delete()
    return rule_changed(type=type, person=person, at=at)
