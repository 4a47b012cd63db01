"""What is left on the shelf each day, a type and length: rows read for shows/calc/tide.py and drawn as a line of water."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Sum

from company.templatetags.tape import day as day_words
from company.templatetags.tape import metres
from inventory.models import GearType
from shows.calc.shortage import Key, Stock, matches
from shows.calc.tide import Hold, shorts, tides
from shows.calc.words import ShowState
from shows.models import PullRow, Show
from shows.shortage import lapses_of, stock_of

MOST_DAYS = 366
USUAL_DAYS = 28
NO_SHOW = 0  # holds what passes its test-by date
HIGH = 96.0  # of the drawing, from the shelf line to all that is owned


@dataclass(frozen=True, kw_only=True)
class ShortTold:
    """A stretch of days on which a kind of thing is short, with the shows that hold it then."""

    first: date
    last: date
    size: int
    shows: tuple[Show, ...]


@dataclass(frozen=True, kw_only=True)
class Tide:
    """The water of a type, or of one of its lengths: what is owned and fit, what is left each day, where it is short."""

    name: str
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
    """Return the tide of each type and length over some days, the shortest first; a constant number of queries.

    Where a list asks for any length of a type, all its lengths together are one more line of water.
    """
    last = first + timedelta(days=min(max(1, days), MOST_DAYS) - 1)
    types = GearType.objects.order_by("name")
    if kind:
        types = types.filter(kind=kind)
    if word:
        types = types.filter(name__icontains=word)
    names = dict(types.values_list("pk", "name"))
    shows = {one.pk: one for one in Show.objects.filter(state=ShowState.PLANNED, hold_from__lte=last, hold_until__gte=first)}
    rows = [
        (show, (type_, length), total)
        for show, type_, length, total in PullRow.objects.filter(show__in=shows, type__in=names)
        .order_by("show", "type", "length_mm")
        .values_list("show", "type", "length_mm")
        .annotate(total=Sum("count"))
    ]
    lengths: dict[int, set[Key]] = defaultdict(set)
    for _show, key, _total in rows:
        lengths[key[0]].add(key)
    asked = list(lengths if moving else names)
    stocks: dict[int, dict[Key, Stock]] = defaultdict(dict)
    for key, one in stock_of(asked, first).items():
        stocks[key[0]][key] = one
    if not moving:
        for type_ in names:
            lengths[type_] |= set(stocks.get(type_, ())) or {(type_, 0)}
    owned = {
        key: sum(max(0, one.fit) for other, one in stocks[type_].items() if matches(key, other))
        for type_, keys in lengths.items()
        for key in keys
    }
    held = [(show, key, max(0, total - _bad_there(stocks[key[0]], key, show))) for show, key, total in rows]
    holds = [
        Hold(key=key, show=show, first=shows[show].hold_from.toordinal(), last=shows[show].hold_until.toordinal(), count=count)
        for show, wanted, count in held
        for key in lengths[wanted[0]]
        if matches(key, wanted)
    ]
    holds += [
        Hold(key=key, show=NO_SHOW, first=day.toordinal(), last=last.toordinal(), count=count)
        for other, day, count in lapses_of(asked, first, last)
        for key in lengths[other[0]]
        if matches(key, other)
    ]
    short: dict[Key, list[ShortTold]] = defaultdict(list)
    for found in shorts(holds, owned, first=first.toordinal(), last=last.toordinal()):
        short[found.key].append(
            ShortTold(
                first=date.fromordinal(found.first),
                last=date.fromordinal(found.last),
                size=found.size,
                shows=tuple(shows[show] for show in found.shows if show != NO_SHOW),
            )
        )
    told = [
        Tide(
            name=" ".join(part for part in (names[key[0]], metres(key[1])) if part),
            owned=owned[key],
            left=tuple(int(n) for n in line),
            first=first,
            shorts=tuple(short[key]),
        )
        for key, line in tides(holds, owned, first=first.toordinal(), last=last.toordinal()).items()
    ]
    return sorted(told, key=lambda one: (one.low >= 0, one.low / max(1, one.owned), one.name))


def _bad_there(stocks: Mapping[Key, Stock], key: Key, show: int) -> int:
    """Return how many that are not fit are out to the show that asks: they are with it, and not taken off the shelf again."""
    return sum(one.unfit_at.get(show, 0) for other, one in stocks.items() if matches(key, other))
