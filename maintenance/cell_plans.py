"""How gear types are fed, in words: what they draw and who says so, where they stop, how long a fresh set lasts."""

from dataclasses import dataclass
from math import exp

from django.db.models import Q

from inventory.calc.kinds import Kind
from inventory.models import GearType
from maintenance.calc.cell_advice import hours_down
from maintenance.calc.cell_forecast import METERED, life
from maintenance.calc.cell_life import MAKERS_FIGURE
from maintenance.calc.cell_words import LOAD_UNITS, CellError, Draw, Life, Load
from maintenance.cell_evidence import guess_of
from maintenance.models import CellPlan, CellType, TypeDraw
from maintenance.services.cell_types import kind_of, plan_of, shipped


@dataclass(frozen=True, kw_only=True)
class PlanRow:
    """One gear type's plan with what it means."""

    type: GearType
    plan: CellPlan
    usual: CellType | None
    draw: str
    known: str
    says: str
    learnt: str


def plan_rows() -> list[PlanRow]:
    """Return the plans of the types that cells or packs feed, by name; constant queries."""
    packs = [plan["type"] for plan in shipped()["plans"] if plan.get("full_charge_h")]
    fed = Q(bays__gt=0) | Q(cell_plan__full_charge_h__isnull=False) | Q(key__in=packs)
    types = list(GearType.objects.filter(fed).exclude(kind=Kind.CELL_SET).distinct().order_by("name"))
    plans = plan_of(types)
    usual = {row.key: row for row in CellType.objects.filter(key__in={type_.cell_size for type_ in types if type_.cell_size})}
    learnt = {row.type_id: row for row in TypeDraw.objects.filter(type__in=types, devices__gt=0)}
    return [_row(type_, plans[type_.pk], usual.get(type_.cell_size), learnt.get(type_.pk)) for type_ in types]


def _row(type_: GearType, plan: CellPlan, usual: CellType | None, learnt: TypeDraw | None) -> PlanRow:
    unit = LOAD_UNITS[Load(plan.load)]
    said = ""
    if learnt is not None:
        many = "1 device" if learnt.devices == 1 else f"{learnt.devices} devices"
        said = f"The sets of {many} say about {exp(learnt.mean_ln):.3g} {unit}."
    return PlanRow(
        type=type_,
        plan=plan,
        usual=usual,
        draw="" if plan.draw is None else f"{plan.draw:g} {unit}",
        known=known_words(plan),
        says=plan_words(plan, usual),
        learnt=said,
    )


def known_words(plan: CellPlan) -> str:
    """Say who says what it draws."""
    if plan.draw is None:
        return "not known"
    if plan.sigma <= METERED + 1e-9:
        return "metered"
    return "the maker's figure" if plan.sigma <= MAKERS_FIGURE + 1e-9 else "a guess by its class"


def plan_words(plan: CellPlan, usual: CellType | None) -> str:
    """Say what a plan comes to: a fresh 6LR61 lasts 61 to 215 h, likely 115. Or why nothing can be said."""
    if plan.full_charge_h and usual is None:
        return f"A full charge lasts about {plan.full_charge_h:g} h."
    if usual is None:
        return "Name the cell it takes on its type, such as 6LR61, and its hours can be reckoned."
    found = fresh_of(plan, usual)
    if isinstance(found, str):
        return found
    low, middle, high = (hours_down(h) for h in (found.low_h, found.median_h, found.high_h))
    many = f"set of {plan.cells_a_bay} {usual.key}" if plan.cells_a_bay > 1 else usual.key
    return f"A fresh {many} lasts {low} to {high} h, likely {middle}."


def fresh_of(plan: CellPlan, usual: CellType) -> Life | str:
    """Return the life of a fresh set by a plan, or the sentence why there is none."""
    guess = guess_of(plan)
    if not isinstance(guess, Draw):
        return guess
    try:
        return life(kind_of(usual), guess, n_cells=plan.cells_a_bay, same_batch=True)
    except (CellError, TypeError, ValueError, KeyError) as wrong:
        return str(wrong) if isinstance(wrong, CellError) else f"The figures of {usual} cannot be read: put them right."
