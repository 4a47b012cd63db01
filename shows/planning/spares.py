"""How many spares a show takes: the kinds' own failure records, pooled with what the trade would guess, against its goal."""

import math
from collections import Counter, defaultdict
from dataclasses import dataclass

from django.db.models import Count, Sum

from inventory.models import GearType
from maintenance.calc.retest_defaults import default_rule
from maintenance.models import Fault, UseLedger
from shows.calc.lines import LineWay
from shows.calc.pickup_choice import By
from shows.calc.spares import MOST_SPARES, Plan, Stock, enough, plan, table
from shows.models import Show
from shows.planning.advice import advice_of
from shows.planning.free import free_of
from shows.planning.leads import LeadGroup, leads_of
from shows.planning.told import ShowAdvice

MOST_SHOWN = 4
NEARLY = 0.995
HEAVY_G = 3_000  # what is heavier costs more to carry. Our proposal.


@dataclass(frozen=True, kw_only=True)
class KindTold:
    """One type with its record, what it would take, and spares against chance from none on."""

    type: GearType
    length_mm: int
    stock: Stock
    spares: int
    chance: float
    table: tuple[tuple[int, float], ...]
    record: str

    @property
    def row(self) -> tuple[tuple[int, str], ...]:
        """Return the table's cells: spares, and the chance in words."""
        return tuple((spares, chance_words(chance)) for spares, chance in self.table)


@dataclass(frozen=True, kw_only=True)
class SparesTold:
    """Every kind on the show, the plan that reaches the goal, the chance without spares, and after each one added."""

    show: Show
    goal: float
    kinds: tuple[KindTold, ...]
    plan: Plan
    without: float
    steps: tuple[tuple[str, float], ...]

    @property
    def chance_words(self) -> str:
        return chance_words(self.plan.chance)

    @property
    def without_words(self) -> str:
        return chance_words(self.without)

    @property
    def goal_words(self) -> str:
        return chance_words(self.goal)

    @property
    def short_of_goal(self) -> bool:
        return self.plan.chance < self.goal


def chance_words(chance: float) -> str:
    """Write a chance so that no rounding makes it a certainty: 98 %, 99.4 %, over 99.9 %."""
    if chance > 0.999:
        return "over 99.9\u2009%"
    return f"{chance:.1%}".replace("%", "\u2009%").replace(".0\u2009%", "\u2009%")


def spares_of(show: Show, advice: ShowAdvice | None = None) -> SparesTold:
    """Work out a show's spares; a constant number of queries."""
    advice = advice or advice_of(show)
    used: Counter[tuple[int, int]] = Counter()
    types: dict[int, GearType] = {}
    for one in advice.lines:
        plain = one.taken is not None and one.taken.pickup.by is By.LEAD  # counted among the leads
        if one.is_ours and one.pickup is not None and one.line.way == LineWay.IN and not plain:
            used[one.pickup.pk, 0] += 1
            types[one.pickup.pk] = one.pickup
    for group in leads_of(show, advice).groups:
        if group.used:
            # a spare lead stands in for any shorter one: the kind is counted whole, its spares are long ones
            types[group.type.pk] = group.type
            used[group.type.pk, _spare_length(group)] += sum(group.used.values())
    failures, exposure = _record(list(types))
    free = free_of(show, types)
    stocks = [_stock(types[key], mm, count, failures, exposure, free) for (key, mm), count in sorted(used.items())]
    goal = advice.plan.finish_chance
    # where even all there is does not reach it, more than all but the last half in a hundred is not worth its weight
    most = math.prod(enough(stock, min(stock.free, MOST_SPARES)) for stock in stocks)
    found = plan(stocks, goal=min(goal, most * NEARLY))
    taken = {one.stock.key: one for one in found.taken}
    kinds = tuple(
        KindTold(
            type=types[key],
            length_mm=mm,
            stock=stock,
            spares=taken[stock.key].spares,
            chance=taken[stock.key].chance,
            table=tuple(table(stock, MOST_SHOWN)),
            record=_record_words(stock),
        )
        for (key, mm), stock in zip(sorted(used), stocks, strict=True)
    )
    without = math.prod(enough(stock, 0) for stock in stocks)
    names = {stock.key: stock.name for stock in stocks}
    steps = tuple((names[key], chance) for key, chance in found.steps)
    return SparesTold(show=show, goal=goal, kinds=kinds, plan=found, without=without, steps=steps)


def _spare_length(group: LeadGroup) -> int:
    """Return the length a spare lead has: the longest in use of which one is left, else the longest that is left at all."""
    left = {mm: count - group.used.get(mm, 0) for mm, count in group.free.items()}
    in_use = [mm for mm in group.used if left.get(mm, 0) > 0]
    return max(in_use, default=max((mm for mm, count in left.items() if count > 0), default=max(group.used)))


def _record(types: list[int]) -> tuple[dict[int, int], dict[int, float]]:
    """Return faults found on shows, and item-shows on a line, by type. Two queries."""
    faults = Fault.objects.filter(item__type__in=types, withdrawn_at=None, show__isnull=False).order_by()
    failures = dict(faults.values_list("item__type").annotate(n=Count("pk")))
    uses = UseLedger.objects.filter(item__type__in=types, state="done").order_by()
    exposure = {key: float(total or 0) for key, total in uses.values_list("item__type").annotate(n=Sum("shows"))}
    return failures, exposure


def _stock(
    type_: GearType,
    length_mm: int,
    count: int,
    failures: dict[int, int],
    exposure: dict[int, float],
    free: dict[tuple[int, int], int],
) -> Stock:
    mine = {mm: n for (key, mm), n in free.items() if key == type_.pk}
    # of leads, what is at least as long as the spare is to be
    left = sum(n for mm, n in mine.items() if mm >= length_mm) if length_mm else sum(mine.values()) - count
    name = f"{type_.name} {length_mm / 1000:g}\u2009m" if length_mm else type_.name
    return Stock(
        key=f"{type_.pk}:{length_mm}",
        name=name,
        used=count,
        failures=failures.get(type_.pk, 0),
        item_shows=exposure.get(type_.pk, 0.0),
        prior_rate=1 / default_rule(type_.kind).median_shows,
        free=max(0, left),
        cost=2.0 if (type_.mass_g or 0) > HEAVY_G else 1.0,
    )


def _record_words(stock: Stock) -> str:
    guess = f"the trade's guess is 1 in {1 / stock.prior_rate:.0f}"
    times = round(stock.item_shows)
    if not times and not stock.failures:
        return f"never out on a line yet; {guess}"
    failed = f"failed {stock.failures:.0f} time{'' if stock.failures == 1 else 's'}" if stock.failures else "never failed"
    return f"{failed} in {times or 'less than 1'} time{'' if times in {0, 1} else 's'} out; {guess}"


def spare_rows(show: Show, advice: ShowAdvice | None = None) -> list[tuple[GearType, int, int, str]]:
    """Return the spares to pull: (type, length in mm, how many, why)."""
    told = spares_of(show, advice)
    rows: dict[tuple[int, int], tuple[GearType, int, int, str]] = defaultdict()
    for kind in told.kinds:
        if kind.spares:
            why = f"spare: {min(kind.chance, 0.999):.1%} that {kind.spares} will do; {kind.record}"
            rows[kind.type.pk, kind.length_mm] = (kind.type, kind.length_mm, kind.spares, why)
    return list(rows.values())
