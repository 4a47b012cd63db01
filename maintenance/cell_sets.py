"""Labelled rechargeable sets: charges, capacity tests, and the trend against what a show needs; constant queries."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.calc.cell_advice import hours_up
from maintenance.calc.cell_forecast import Trend, capacity_trend, need_mah
from maintenance.calc.cell_plots import Plot, trend_plot
from maintenance.calc.cell_words import CellError, CellKind, Draw
from maintenance.cell_between import CAPACITY_EVERY
from maintenance.cell_evidence import evidence_of
from maintenance.cell_fleet import day_of, next_uses
from maintenance.cell_querysets import counting_capacity_tests
from maintenance.models import CapacityTest, Charge, FittedSet
from maintenance.services.cell_types import kind_of

USUAL_NEED = 5.0  # hours of an evening, where no show asks for the device it sits in
YEAR = timedelta(days=365.25)
STEPS = 24


@dataclass(frozen=True, kw_only=True)
class SetRow:
    """One labelled set. `held` is what it sits in; `trend` none where neither a printed capacity nor a test is there."""

    item: Item
    held: FittedSet | None
    charges: int
    charged_at: datetime | None
    tests: list[CapacityTest]
    trend: Trend | None
    plot: Plot | None
    need: str
    test_by: date | None = None  # none: it never had one
    late: bool = False


def set_rows(at: datetime) -> list[SetRow]:
    """Return the labelled sets in the house, those to retire first."""
    items = list(
        Item.objects.filter(type__kind=Kind.CELL_SET, retired_on=None, gone_home_on=None)
        .select_related("type__cell_set_facts", "home")
        .order_by("type__name", "name", "code")
    )
    keys = [item.pk for item in items]
    held = {
        row.cell_set_id: row
        for row in FittedSet.objects.filter(cell_set__in=keys, removed_at=None).select_related(
            "item__type", "type", "lot", "cell_set__type__cell_set_facts"
        )
    }
    tests: dict[int, list[CapacityTest]] = defaultdict(list)
    for test in counting_capacity_tests().filter(item__in=keys).select_related("person").order_by("done_at", "pk"):
        tests[test.item_id].append(test)
    charges: dict[int, list[datetime]] = defaultdict(list)
    for item, when in (
        Charge.objects.filter(item__in=keys, withdrawn_at=None, at__lte=at).order_by("at").values_list("item", "at")
    ):
        charges[item].append(when)
    needs = _needs(list(held.values()), at)
    rows = [_row(item, held.get(item.pk), charges[item.pk], tests[item.pk], needs.get(item.pk), at) for item in items]
    return sorted(rows, key=lambda row: not (row.trend and row.trend.retire))


def _needs(held: list[FittedSet], at: datetime) -> dict[int, tuple[float, str]]:
    """Return {set: (mAh a show takes, in words)} for those that sit in a device."""
    devices = {one.item_id: one.item for one in held}
    evidence = evidence_of(items=list(devices.values()), sets=[], at=at)
    uses = next_uses(at) if held else {}
    found = {}
    for one in held:
        draw, use = evidence.draw(one.item_id), uses.get(one.item_id)
        hours = use.need.need_h if use else USUAL_NEED
        what = use.show.name if use else "a show"
        try:
            kind: CellKind = kind_of(one.type)
            if isinstance(draw, Draw) and kind.capacity:
                found[one.cell_set_id or 0] = (need_mah(kind, draw, hours), f"{what}, {hours_up(hours)} h")
        except (CellError, TypeError, ValueError, KeyError):
            continue
    return found


def _row(
    item: Item,
    held: FittedSet | None,
    charges: list[datetime],
    tests: list[CapacityTest],
    need: tuple[float, str] | None,
    at: datetime,
) -> SetRow:
    facts = getattr(item.type, "cell_set_facts", None)
    rated = (facts.capacity_mah if facts else None) or (tests[0].mah if tests else None)
    born = item.bought_on or day_of(item.added_at)
    told = [(max(_years(born, day_of(test.done_at)), 0.0), test.mah) for test in tests]
    now_years = max(_years(born, day_of(at)), 0.0)
    wanted = need[0] if need else None
    trend = plot = None
    if rated:
        try:
            trend = capacity_trend(told, rated_mah=rated, now_years=now_years, need_mah=wanted)
            plot = _plot(told, rated, now_years, need) if tests else None
        except CellError:
            trend = None
    test_by = day_of(tests[-1].done_at) + CAPACITY_EVERY if tests else None
    return SetRow(
        item=item,
        held=held,
        charges=len(charges),
        charged_at=charges[-1] if charges else None,
        tests=tests[::-1],
        trend=trend,
        plot=plot,
        need=f"{need[1]}: {need[0]:.0f} mAh" if need else "",
        test_by=test_by,
        late=test_by is not None and test_by < day_of(at),
    )


def _years(born: date, day: date) -> float:
    return (day - born) / YEAR


def _plot(told: list[tuple[float, float]], rated: float, now_years: float, need: tuple[float, str] | None) -> Plot:
    last = max(now_years + 1.0, 1.5)
    line = [last * n / STEPS for n in range(STEPS + 1)]
    found = [(years, capacity_trend(told, rated_mah=rated, now_years=years)) for years in line]
    return trend_plot(
        tests=told,
        middle=[(years, one.mah) for years, one in found],
        low=[(years, one.low_mah) for years, one in found],
        high=[(years, one.high_mah) for years, one in found],
        now_years=now_years,
        need_mah=need[0] if need else None,
        need_words=need[1] if need else "",
    )
