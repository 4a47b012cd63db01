"""Does age alone make things fail more often? Looked at by night, type by type, where enough failed since it was last asked.

What was found stands in the type's row, `said["wear"]`: the sentence, the clock where it foretold better than none, the age to
replace at, and what it was found from. The model is learnt by that clock when the type is next reckoned.
"""

import logging
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q

from inventory.models import GearType, Item
from maintenance.calc.retest import Rule, WearOut, wear_of
from maintenance.calc.retest_record import Records
from maintenance.calc.retest_update import records_joined
from maintenance.calc.retest_wear import LEAST_FAILURES
from maintenance.evidence import evidence_of
from maintenance.models import BenchSettings
from maintenance.models import TypeModel as StoredModel
from maintenance.services.retest import Done, items_in_parts, types_reckon
from maintenance.services.retest_models import clock_kept, clock_wanted, intervals_failed
from maintenance.services.retest_rules import rule_of

log = logging.getLogger(__name__)
Told = Callable[[int, int], None]


@dataclass(kw_only=True)
class Looked:
    """What a look for wear came to: how many types were looked at, and whose clock is another now."""

    types: int = 0
    changed: list[int] = field(default_factory=list)


def night_reckon(
    *, at: datetime, types: Iterable[int] | None = None, progress: Told | None = None, looking: Told | None = None
) -> Done:
    """Reckon all types, or those named; then look for wear, and reckon those once more whose clock is another now."""
    named = None if types is None else list(types)
    done = types_reckon(at=at, types=named, progress=progress)
    looked = wear_look(at=at, types=named, progress=looking)
    if looked.changed:
        again = types_reckon(at=at, types=looked.changed)
        done.written += again.written
        done.failed += [name for name in again.failed if name not in done.failed]
    return done


def wear_look(*, at: datetime, types: Iterable[int] | None = None, progress: Told | None = None) -> Looked:
    """Look for wear in each type that has LEAST_FAILURES intervals ended by a failure, if these, its first guesses or its costs
    are others than when it was last looked at. No transaction is open while it computes.

    Call it once the types are reckoned: it goes by the counts of their rows. What goes wrong for one type stops no other.
    """
    rows = StoredModel.objects.filter(Q(failures__gte=LEAST_FAILURES) | Q(said__has_key="wear")).select_related("type")
    if types is not None:
        rows = rows.filter(type__in=list(types))
    known = list(rows.order_by("type"))
    rules = rule_of(row.type for row in known)
    due = [(row, on) for row in known if (on := _found_from(row, rules[row.type_id])) != row.said.get("wear", {}).get("on")]
    due = [(row, on) for row, on in due if on["failures"] >= LEAST_FAILURES or "wear" in row.said]
    looked = Looked()
    for number, (row, on) in enumerate(due):
        if progress is not None:
            progress(number, len(due))
        try:
            rule = rules[row.type_id]
            wear = wear_of(rule, _records(row.type, rule, at), replacement_cents=row.type.replacement_cents or 0)
            if _write(row.type, wear, on):
                looked.changed.append(row.type_id)
        except Exception:
            log.exception("whether %s wears out could not be worked out", row.type)
        looked.types += 1
    return looked


def _found_from(row: StoredModel, rule: Rule) -> dict[str, Any]:
    return {
        "failures": intervals_failed(row),
        "guesses": [rule.median_shows, rule.pessimistic_shows],
        "cents": [row.type.replacement_cents or 0, rule.show_cents],
    }


def _records(type_: GearType, rule: Rule, at: datetime) -> Records:
    """Return the records of all items of a type, retired and lost ones too."""
    settings = BenchSettings.current()
    sees, storage = settings.sensitivity(), {type_.pk: rule.storage_shows_a_month} if rule.storage_shows_a_month else {}
    parts = items_in_parts([type_.pk], Item.objects.filter(type=type_).count())
    return records_joined(
        [evidence_of(items=items, at=at, sees=sees, storage=storage).records(sees_show=settings.sees_show) for items in parts]
    )


@transaction.atomic
def _write(type_: GearType, wear: WearOut, on: dict[str, Any]) -> bool:
    """Write what was found; answers whether the type's clock is another now. `made_at` stays: its model does not move."""
    row = StoredModel.objects.select_for_update().get(type=type_)
    before = clock_wanted(row)
    row.said = {
        **row.said,
        "wear": {
            "words": wear.words,
            "clock": clock_kept(wear.clock if wear.used else None),
            "rising": wear.rising,
            "replace_at": wear.replace_at,
            "replace_low": wear.replace_low,
            "replace_high": wear.replace_high,
            "on": on,
        },
    }
    row.save(update_fields=["said"])
    return clock_wanted(row) != before
