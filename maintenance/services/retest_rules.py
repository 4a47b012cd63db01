"""When things of a type are tested again: as the owner set it, or the first guess of its kind."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

from inventory.calc.kinds import Kind
from inventory.models import FACTS_OF_KIND, GearType
from maintenance.calc.retest import Rule, default_rule, rule_from
from maintenance.models import RetestRule


def rule_of(types: Iterable[GearType]) -> dict[int, Rule]:
    """Return the rule of each type by its key, in a query, and one a kind among those that the owner has set nothing for."""
    wanted = {type_.pk: type_ for type_ in types}
    if not wanted:
        return {}
    rules = {row.type_id: rule_from(row) for row in RetestRule.objects.filter(type__in=wanted)}
    left = {pk: type_ for pk, type_ in wanted.items() if pk not in rules}
    facts = _facts(left)
    for pk, type_ in left.items():
        known = facts.get(pk, {})
        rules[pk] = default_rule(type_.kind, known.get("wiring", ""), known)
    return rules


def _facts(types: Mapping[int, GearType]) -> dict[int, dict[str, Any]]:
    by_kind: dict[Kind, list[int]] = defaultdict(list)
    for pk, type_ in types.items():
        by_kind[Kind(type_.kind)].append(pk)
    facts: dict[int, dict[str, Any]] = {}
    for kind, keys in sorted(by_kind.items()):
        rows = FACTS_OF_KIND[kind]._default_manager.filter(type__in=keys).order_by().values()
        facts.update((row["type_id"], row) for row in rows)
    return facts
