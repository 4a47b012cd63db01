"""Cell types and how gear is fed by them: the shipped ones, a shop's own, and the plan of a gear type."""

import json
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.db import transaction
from django.db.models import prefetch_related_objects

from inventory.calc.kinds import Kind
from inventory.models import GearType
from inventory.services.catalogue import catalogue_read
from maintenance.calc import cells
from maintenance.calc.cell_forecast import CLASS_GUESS, MAKERS_FIGURE
from maintenance.calc.cell_words import CellError, CellKind, Load
from maintenance.models import CellPlan, CellType
from maintenance.services.cell_refused import CellRefused

SHIPPED = Path(settings.BASE_DIR) / "fixtures" / "cells.json"
HALF_USED_V = 1.25  # a cell: turns a maker's milliamps into the power a switching regulator takes; from memory
_OF_PLAN = (
    *("load", "draw", "sigma", "stops_below_v", "sounds_poor_below_v", "standby_ma", "cells_a_bay"),
    *("transmitter", "fresh_every_show", "stored_weeks", "full_charge_h"),
)
_OF_KIND = (
    *("key", "name", "system", "units", "nominal_v", "fresh_most_v", "curve", "capacity", "r_fresh_ohm", "r_empty_ohm"),
    *("end_v", "loss_per_year", "sigma_v", "cold", "floor_v", "valid_to_ma", "rechargeable", "flat", "regulated"),
)
# leads and stands hold no cells, whatever a plan says: their pages are spared the asking
_NEVER_POWERED = frozenset({Kind.LEAD, Kind.MULTICORE, Kind.STAND, Kind.CASE, Kind.CONSUMABLE, Kind.POWER})
# where neither the shop nor the catalogue says: guesses by class, from memory
_BY_KIND: dict[Kind, dict[str, Any]] = {
    Kind.INTERFACE_BOX: {"draw": 4.5, "stops_below_v": 6.0, "sounds_poor_below_v": 7.0},
    Kind.TRANSMITTER: {"transmitter": True, "fresh_every_show": True, "stored_weeks": 2, "sigma": 0.3},
    Kind.RECEIVER: {"draw": 130.0, "sigma": 0.3, "stops_below_v": 1.9, "fresh_every_show": True, "stored_weeks": 2},
    Kind.MICROPHONE: {"draw": 2.0, "sigma": 0.5, "stored_weeks": 4},
    Kind.INSTRUMENT: {"draw": 10.0, "sigma": 0.5, "stored_weeks": 26},
}


@cache
def shipped() -> dict[str, Any]:
    """Read the shipped cell types and plans, once."""
    return json.loads(SHIPPED.read_text(encoding="utf-8"))


@cache
def _catalogue_draws() -> dict[str, tuple[float | None, float | None]]:
    """Return the draw and the least volts the catalogue ships for a type: what differs from it the shop has put in."""
    types = {entry["key"]: entry.get("facts", {}) for entry in catalogue_read()["types"]}
    return {key: (facts.get("draw_ma"), facts.get("least_supply_v")) for key, facts in types.items()}


@transaction.atomic
def cell_types_load() -> tuple[list[str], list[str]]:
    """Add shipped cell types that are not there yet and renew those nobody has changed; answers names added, and renewed.

    One the shop has changed (it is no longer `shipped`), or entered under the same name, stays as it is. Plans need no rows:
    `plan_of` answers the shipped plan until somebody changes it.
    """
    there = {row.key: row for row in CellType.objects.all()}
    names = {row.name: row.key for row in there.values()}
    added, renewed = [], []
    for entry in shipped()["types"]:
        values = {"shipped": True, **entry}
        row = there.get(entry["key"])
        if row is None:
            if entry["name"] not in names:
                CellType.objects.create(**values)
                added.append(entry["name"])
            continue
        changed = [name for name, value in values.items() if getattr(row, name) != value]
        if not row.shipped or not changed or names.get(entry["name"], row.key) != row.key:
            continue
        for name in changed:
            setattr(row, name, values[name])
        row.save(update_fields=changed)
        renewed.append(row.name)
    return added, renewed


def cell_type_save(*, row: CellType, values: Mapping[str, Any]) -> CellType:
    """Add a cell type or change one; a shipped one that was changed is the shop's from then on.

    Raises CellRefused with a field and a sentence; a curve or capacities that cannot be are caught here, before anything is
    reckoned with them. What sits fitted is reckoned again by the caller (`cell_reckon.cells_reckon`).
    """
    changed = [name for name, value in values.items() if row.pk is None or getattr(row, name) != value]
    for name in changed:
        setattr(row, name, values[name])
    try:
        if row.curve or row.capacity:
            cells.table_of(kind_of(row))
    except CellError as wrong:
        raise CellRefused(str(wrong), "curve" if "curve" in str(wrong) else "capacity") from wrong
    except (TypeError, ValueError, KeyError) as wrong:
        raise CellRefused("Write curve and capacities as pairs of numbers.", "curve") from wrong
    with transaction.atomic():
        if changed:
            row.shipped = False
        try:
            row.full_clean()
        except ValidationError as wrong:
            where, words = next(iter(wrong.message_dict.items()))
            raise CellRefused(" ".join(words), "" if where == "__all__" else where) from wrong
        if row.pk is None:
            row.save(force_insert=True)
        elif changed:
            row.save(update_fields=[*changed, "shipped"])
    return row


def kind_of(row: CellType) -> CellKind:
    """Return what the forecast needs of a cell type."""
    return cells.kind_of({name: getattr(row, name) for name in _OF_KIND})


def plan_of(types: Iterable[GearType]) -> dict[int, CellPlan]:
    """Return how things of these types are fed by cells, in a constant number of queries.

    The shop's own row, or one not saved: the shipped plan, else a guess by class, with the draw somebody put in the type's
    facts in its place. `pk` None tells that nobody has changed it; `draw` None that nobody knows what it draws.
    """
    types = list({type_.pk: type_ for type_ in types}.values())
    found = {plan.type_id: plan for plan in CellPlan.objects.filter(type__in=[t.pk for t in types])}
    rest = [type_ for type_ in types if type_.pk not in found]
    for name, kinds in (
        ("box_facts", {Kind.INTERFACE_BOX}),
        ("wireless_facts", {Kind.TRANSMITTER, Kind.RECEIVER}),
        ("microphone_facts", {Kind.MICROPHONE}),
    ):
        some = [type_ for type_ in rest if type_.kind in kinds]
        if some:
            prefetch_related_objects(some, name)
    for type_ in types:
        if type_.pk in found:
            found[type_.pk].type = type_
    return found | {type_.pk: _usual(type_) for type_ in rest}


def _usual(type_: GearType) -> CellPlan:
    entry = next((one for one in shipped()["plans"] if one["type"] == type_.key), None)
    values = dict(_BY_KIND.get(Kind(type_.kind), {})) if entry is None else {n: entry[n] for n in _OF_PLAN if n in entry}
    block = nine_volts(type_)
    if entry is None and type_.kind == Kind.TRANSMITTER and type_.bays:
        one = {"draw": 675.0, "stops_below_v": 0.95} if type_.bays == 1 else {"draw": 500.0, "stops_below_v": 1.9}
        values |= {"load": Load.CURRENT, "draw": 40.0, "stops_below_v": 6.5} if block else {"load": Load.POWER, **one}
    if entry is None and type_.kind in {Kind.MICROPHONE, Kind.INSTRUMENT}:
        values["stops_below_v"] = (6.0 if type_.kind == Kind.MICROPHONE else 7.0) if block else 1.0 * max(1, type_.bays)
    if entry is None and type_.bays and not block:
        values["cells_a_bay"] = type_.bays  # AA cells lie beside each other and make one set; 9 V blocks each a bay
    plan = CellPlan(type=type_, **values)
    try:
        facts: Any = type_.facts
    except ObjectDoesNotExist:
        facts = None
    own, least = getattr(facts, "draw_ma", None), getattr(facts, "least_supply_v", None)
    of_catalogue = _catalogue_draws().get(type_.key or "", (None, None))
    if own and own != of_catalogue[0]:
        plan.sigma = MAKERS_FIGURE
        plan.draw = own * plan.cells_a_bay * HALF_USED_V if plan.load == Load.POWER else own
    if least and least != of_catalogue[1]:
        plan.stops_below_v = least
    if plan.draw is not None and entry is None and "sigma" not in values and plan.sigma != MAKERS_FIGURE:
        plan.sigma = CLASS_GUESS
    return plan


def plan_save(*, type: GearType, values: Mapping[str, Any]) -> CellPlan:
    """Keep a type's plan as a row of its own, with these columns changed. Raises CellRefused with a field and a sentence."""
    with transaction.atomic():
        plan = CellPlan.objects.select_for_update().filter(type=type).first() or plan_of([type])[type.pk]
        for name, value in values.items():
            if name not in _OF_PLAN:
                raise CellRefused("That is not something a plan says.", name)
            setattr(plan, name, value)
        try:
            plan.full_clean()
        except ValidationError as wrong:
            where, words = next(iter(wrong.message_dict.items()))
            raise CellRefused(" ".join(words), "" if where == "__all__" else where) from wrong
        plan.save()
    return plan


def nine_volts(type_: GearType) -> bool:
    """Say whether a type takes 9 V blocks, by the cell it names."""
    return type_.cell_size.upper().startswith(("6LR", "6F", "9V", "9 V", "6LP", "6KR", "6HR"))


def sets_of(type_: GearType, plan: CellPlan) -> int:
    """Return how many sets sit in a thing of this type at once: its places for cells by the cells of a set."""
    return max(1, type_.bays // plan.cells_a_bay) if type_.bays else 0


def sizes_wanted(types: Iterable[GearType]) -> dict[int, str]:
    """Return {type: the size it takes}: of the cell it names by letters, or the words themselves; one query."""
    types = list(types)
    sizes = dict(CellType.objects.filter(key__in={t.cell_size for t in types}).values_list("key", "size"))
    return {type_.pk: sizes.get(type_.cell_size, type_.cell_size) for type_ in types}


def may_hold_cells(type: GearType) -> bool:
    """Say whether a thing of this type could hold cells, or be a set of them."""
    return bool(type.bays) or type.kind not in _NEVER_POWERED
