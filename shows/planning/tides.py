"""What is left on the shelf each day, a type: rows read for shows/calc/tide.py and drawn as a line of water."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Sum

from company.templatetags.tape import day as day_words
from inventory.models import GearType
from shows.calc.tide import Hold, shorts, tides
from shows.calc.words import ShowState
from shows.models import PullRow, Show
from shows.shortage import stock_of

MOST_DAYS = 366
USUAL_DAYS = 28
HIGH = 96.0  # of the drawing, from the shelf line to all that is owned


@dataclass(frozen=True, kw_only=True)
class ShortTold:
    """A stretch of days on which a type is short, with the shows that hold it then."""

    first: date
    last: date
    size: int
    shows: tuple[Show, ...]


@dataclass(frozen=True, kw_only=True)
class Tide:
    """One type's water over the days: what is owned and fit, what is left each day, its lowest, where it is short."""

    type: GearType
    owned: int
    left: tuple[int, ...]
    first: date
    shorts: tuple[ShortTold, ...]

    @property
    def low(self) -> int:
        return min(self.left)

    @property
    def low_at(self) -> int:
        return self.left.index(self.low)

    @property
    def low_day(self) -> date:
        return self.first + timedelta(days=self.low_at)

    @property
    def low_percent(self) -> float:
        return 100 * (self.low_at + 0.5) / len(self.left)

    @property
    def top(self) -> str:
        """Return the water's edge as a path, 100 wide and HIGH high, the shelf line at the bottom."""
        step, parts = 100 / len(self.left), []
        for n, left in enumerate(self.left):
            y = HIGH - HIGH * max(0, left) / max(1, self.owned)
            parts.append(f"{'M0 ' if not n else 'V'}{y:.1f}H{step * (n + 1):.3f}")
        return "".join(parts)

    @property
    def under(self) -> str:
        return f"M0 {HIGH:.0f}V{self.top[3:]}V{HIGH:.0f}Z"

    @property
    def below(self) -> tuple[tuple[float, float, float], ...]:
        """Return (left, width, height) in the drawing's own units of each stretch below the shelf line."""
        step = 100 / len(self.left)
        return tuple(
            (step * n, step, min(44.0, HIGH * -left / max(1, self.owned))) for n, left in enumerate(self.left) if left < 0
        )

    @property
    def words(self) -> str:
        """Say the days for those who do not look: Fri 25 Sep 3; ..."""
        days = ((self.first + timedelta(days=n), left) for n, left in enumerate(self.left))
        said = (f"{day_words(day)} {left if left >= 0 else f'short {-left}'}" for day, left in days)
        return "Left on the shelf: " + "; ".join(said)


def tides_of(*, first: date, days: int, kind: str = "", word: str = "", moving: bool = True) -> list[Tide]:
    """Return the tide of each type over some days, the shortest first; a constant number of queries."""
    last = first + timedelta(days=min(max(1, days), MOST_DAYS) - 1)
    types = GearType.objects.order_by("name")
    if kind:
        types = types.filter(kind=kind)
    if word:
        types = types.filter(name__icontains=word)
    by_key = {one.pk: one for one in types}
    shows = {one.pk: one for one in Show.objects.filter(state=ShowState.PLANNED, hold_from__lte=last, hold_until__gte=first)}
    rows = (
        PullRow.objects.filter(show__in=shows, type__in=by_key)
        .order_by("show", "type")
        .values_list("show", "type")
        .annotate(total=Sum("count"))
    )
    holds = [
        Hold(
            type=type_,
            show=show,
            first=shows[show].hold_from.toordinal(),
            last=shows[show].hold_until.toordinal(),
            count=total,
        )
        for show, type_, total in rows
    ]
    moved = {hold.type for hold in holds}
    wanted = moved if moving else set(by_key)
    owned: dict[int, int] = defaultdict(int)
    for (key, _mm), stock in stock_of(wanted, first).items():
        owned[key] += max(0, stock.fit)
    held = {key: owned.get(key, 0) for key in wanted}
    left = tides(holds, held, first=first.toordinal(), last=last.toordinal())
    short: dict[int, list[ShortTold]] = defaultdict(list)
    for one in shorts(holds, held, first=first.toordinal(), last=last.toordinal()):
        short[one.type].append(
            ShortTold(
                first=date.fromordinal(one.first),
                last=date.fromordinal(one.last),
                size=one.size,
                shows=tuple(shows[key] for key in one.shows),
            )
        )
    told = [
        Tide(type=by_key[key], owned=held[key], left=tuple(int(n) for n in line), first=first, shorts=tuple(short[key]))
        for key, line in left.items()
        if key in by_key
    ]
    return sorted(told, key=lambda one: (one.low >= 0, one.low / max(1, one.owned), one.type.name))
