"""What came of the swap lists' forecasts: by gear type, devices that are off, and cells saved against fresh every show."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import sqrt
from statistics import mean, stdev
from typing import Any

from django.db.models import Count, Sum

from inventory.models import GearType, Item
from maintenance.calc import cell_pool
from maintenance.calc.cell_advice import LINE_LIMITS
from maintenance.calc.cell_forecast import Saved, metering_worth, persistently_off, saved
from maintenance.calc.cell_words import CellError, Draw, Stakes, SwapReason
from maintenance.calc.scoring import Score, Verdict, score, wilson
from maintenance.cell_early import MEASURE
from maintenance.cell_evidence import guess_of
from maintenance.cell_querysets import counting_swaps
from maintenance.models import CellForecast, CellForecastOutcome, CellType, DeviceDraw, TypeDraw, UseLedger
from maintenance.services.cell_types import kind_of, plan_of

MOST = 4_000
LATELY = timedelta(days=365)
LEAST_TERMS = 10
USUAL_NEED = 5.0  # hours of an evening: for what measuring would buy
DIED, SURVIVED, SWAPPED = "died", "survived", "swapped"


@dataclass(frozen=True, kw_only=True)
class Covered:
    """How often a death fell in its band of 90 in 100, with the limits (95 %) so few allow."""

    inside: int
    count: int
    low: float
    high: float

    @property
    def low_words(self) -> str:
        return f"{100 * self.low:.0f}"

    @property
    def high_words(self) -> str:
        return f"{100 * self.high:.0f}"


PLAIN = {
    Verdict.TOO_FEW: "Too few to judge.",
    Verdict.NO_SIGN: "Nothing says that the chances are wrong, though they are not many yet.",
    Verdict.SIGNS: "It looks as if the chances are off, though they are not many yet.",
    Verdict.HOLDS: "The chances hold: as many died as was foretold.",
    Verdict.TOO_LOW: "The chances are too low: more died than was foretold. Swap earlier than the list says.",
    Verdict.TOO_HIGH: "The chances are too high: fewer died than was foretold. Sets are swapped that would have lasted.",
    Verdict.OFF: "The number is right, but not which ones: the chances do not tell weak sets from good ones.",
}


def score_words(found: Score) -> str:
    """Say what came of forecasts: 8 of 138 devices died in their show; 6.2 were foretold. 2 to 11 are usual were they right."""
    devices = "1 device" if found.count == 1 else f"{found.count} devices"
    said = f"{found.seen} of {devices} died in their show; {found.expected:.1f} were foretold."
    if found.verdict is Verdict.TOO_FEW:
        return said
    usual = f"{found.seen_low}" if found.seen_low == found.seen_high else f"{found.seen_low} to {found.seen_high}"
    return f"{said} Were every chance right, {usual} would be usual."


@dataclass(frozen=True, kw_only=True)
class OfType:
    """One gear type's forecasts. `score` is of the chance of dying in the show; none where nothing came to anything."""

    name: str
    url: str
    score: Score | None
    covered: Covered | None
    swapped: int

    @property
    def words(self) -> str:
        return f"{PLAIN[self.score.verdict]} {score_words(self.score)}" if self.score else "Nothing came to anything yet."


@dataclass(frozen=True, kw_only=True)
class OffOne:
    """A device that is persistently off, and what metering its draw once would buy."""

    item: Item
    words: str
    worth: str


@dataclass(frozen=True, kw_only=True)
class CellRecord:
    """Every figure of the page."""

    score: Score | None
    brier: tuple[float, float] | None  # its limits, 95 %, by the spread of its terms; none for fewer than ten
    covered: Covered | None
    swapped: int
    waiting: int
    cut: bool
    types: tuple[OfType, ...]


_OF_LINE = ("forecast__item", "forecast__bay", "forecast__show")
_OF_ROW = ("forecast__item__type", "forecast__chance", "forecast__low_h", "forecast__high_h", "how", "hours")
Row = tuple[int, float | None, float | None, float | None, str, float]


def cell_record() -> CellRecord:
    """Return what came of the newest forecasts, in three queries. A set swapped before it could tell is counted apart."""
    outcomes = CellForecastOutcome.objects.filter(forecast__chance__isnull=False).order_by("-forecast__made_at", "-pk")
    told = list(outcomes.values_list(*_OF_LINE, *_OF_ROW)[: MOST + 1])
    cut = len(told) > MOST
    newest: dict[Any, Row] = {}
    for line in told[:MOST]:
        newest.setdefault(line[:3], line[3:])  # a list made again: its last word counts, once
    rows = list(newest.values())
    by_type: dict[int, list[Row]] = defaultdict(list)
    for row in rows:
        by_type[row[0]].append(row)
    types = GearType.objects.in_bulk(by_type)
    return CellRecord(
        score=_score(rows),
        brier=_brier_limits(rows),
        covered=_covered(rows),
        swapped=sum(row[4] == SWAPPED for row in rows),
        waiting=CellForecast.objects.filter(outcome=None, chance__isnull=False).count(),
        cut=cut,
        types=tuple(
            OfType(
                name=types[pk].name,
                url=types[pk].get_absolute_url(),
                score=_score(mine),
                covered=_covered(mine),
                swapped=sum(row[4] == SWAPPED for row in mine),
            )
            for pk, mine in sorted(by_type.items(), key=lambda one: (-len(one[1]), types[one[0]].name))
        ),
    )


def _score(rows: list[Row]) -> Score | None:
    told = [(chance, how == DIED) for _type, chance, _low, _high, how, _hours in rows if how != SWAPPED and chance is not None]
    return score([chance for chance, _died in told], [died for _chance, died in told]) if told else None


def _brier_limits(rows: list[Row]) -> tuple[float, float] | None:
    """Return where the Brier score of as many like forecasts would lie 19 times in 20."""
    terms = [(chance - (how == DIED)) ** 2 for _t, chance, _l, _h, how, _hours in rows if how != SWAPPED and chance is not None]
    if len(terms) < LEAST_TERMS:
        return None
    off = 1.96 * stdev(terms) / sqrt(len(terms))
    return max(0.0, mean(terms) - off), min(1.0, mean(terms) + off)


def _covered(rows: list[Row]) -> Covered | None:
    """Count the deaths that fell in their band: what survived has told no more than that it was not above it."""
    told = [
        (low, high, hours) for _type, _c, low, high, how, hours in rows if how == DIED and low is not None and high is not None
    ]
    if not told:
        return None
    inside = sum(low <= hours <= high for low, high, hours in told)
    low_share, high_share = wilson(inside, len(told))
    return Covered(inside=inside, count=len(told), low=low_share, high=high_share)


def persistently_off_ones() -> list[OffOne]:
    """Return the devices whose own sets set them apart from their type, by name. A few queries."""
    rows = list(
        DeviceDraw.objects.filter(sets__gte=3, metered=None, item__retired_on=None, item__gone_home_on=None)
        .select_related("item__type")
        .order_by("item__type__name", "item__name", "item__code")
    )
    types = {row.item.type_id: row.item.type for row in rows}
    plans = plan_of(types.values())
    pools = {row.type_id: row for row in TypeDraw.objects.filter(type__in=list(types))}
    usual = {row.key: row for row in CellType.objects.filter(key__in={type_.cell_size for type_ in types.values()})}
    found = []
    for row in rows:
        guess = guess_of(plans[row.item.type_id])
        cell = usual.get(row.item.type.cell_size)
        if not isinstance(guess, Draw) or cell is None:
            continue
        pool = pools.get(row.item.type_id)
        kept = cell_pool.empty(guess)
        if pool is not None:
            kept = cell_pool.Pool(mean_ln=pool.mean_ln, var_ln=pool.var_ln, spread_ln=pool.spread_ln, devices=pool.devices)
        of_type = cell_pool.carried(None, guess, kept)
        own = Draw(**{**guess.__dict__, "mean_ln": row.mean_ln, "var_ln": row.var_ln})
        try:
            kind = kind_of(cell)
            off = persistently_off(own, of_type, sets=row.sets, kind=kind, name=str(row.item.label))
            if off is None:
                continue
            worth = metering_worth(kind, own, USUAL_NEED, LINE_LIMITS[Stakes.NORMAL])
        except CellError:
            continue
        found.append(OffOne(item=row.item, words=off.words, worth=worth.words if worth else MEASURE))
    return found


def saved_lately(at: datetime, day: date) -> Saved | None:
    """Return cells and money saved in a year against fresh every show; none where nothing ran on primary cells."""
    since = at - LATELY
    swaps = counting_swaps().filter(done_at__gte=since, done_at__lte=at, type__rechargeable=False)
    swaps = swaps.exclude(reason=SwapReason.FIRST, was_new=None)
    sums = swaps.aggregate(sets=Count("pk"), cells=Sum("cells"))
    runs = UseLedger.objects.filter(
        state="done", fed_by="cells", basis="line", day__gt=day - LATELY, day__lte=day, item__type__bays__gt=0
    ).exclude(item__fitted_sets__type__rechargeable=True)
    shows = runs.values("pk").distinct().count()
    if not shows:
        return None
    spent = [
        (cells, lot_price if lot_price is not None else type_price)
        for cells, lot_price, type_price in swaps.values_list("cells", "lot__price_cents", "type__price_cents")
    ]
    priced = [(cells, price) for cells, price in spent if price is not None]
    number = sum(cells for cells, _price in priced)
    price = round(sum(cells * price for cells, price in priced) / number) if number else None
    return saved(device_shows=shows, sets_used=sums["sets"] or 0, cells_used=sums["cells"] or 0, price_cents=price)
