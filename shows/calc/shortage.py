"""What is left on the shelf for a show, day by day, after what other shows hold; and the sentence that says so."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

Key = tuple[int, int]  # a gear type's key and a length in millimetres; 0 is any length
LONGEST_HOLD_DAYS = 366  # a hold typed a century long is looked at for its first year


@dataclass(frozen=True, kw_only=True)
class Demand:
    """So many of a type and length promised to a show from a day to a day."""

    show: int
    name: str
    key: Key
    count: int
    first: date
    last: date


@dataclass(frozen=True, kw_only=True)
class Stock:
    """What we own of a type and length, how many of those are not fit to go, and how many of the unfit are out to a show."""

    owned: int
    unfit: int = 0
    unfit_at: Mapping[int, int] = field(default_factory=dict)

    @property
    def fit(self) -> int:
        return self.owned - self.unfit


@dataclass(frozen=True, kw_only=True)
class Left:
    """What is left of one type and length on the worst day: `left` may be negative, `short` is what is lacking.

    `rivals` are the other shows and their counts that day, in the order of their names.
    """

    key: Key
    day: date
    wanted: int
    owned: int
    unfit: int
    promised: int
    rivals: tuple[tuple[int, str, int], ...] = field(default=())

    @property
    def left(self) -> int:
        return self.owned - self.unfit - self.promised

    @property
    def short(self) -> int:
        """Return how many this list itself lacks: what the others lack besides is not its own."""
        return min(self.wanted, max(0, self.wanted - self.left))

    @property
    def why(self) -> str:
        """Say it with its numbers: we own 8, 5 promised to Harvest supper: short 2 on Sat 3 Oct."""
        said = [f"we own {self.owned}" if self.owned else "we own none"]
        if self.unfit:
            said.append(f"{self.unfit} not fit to go")
        said.extend(f"{count} promised to {name}" for _show, name, count in self.rivals)
        ends = f"short {self.short}" if self.short else f"{self.left - self.wanted} left"
        return f"{', '.join(said)}: {ends} on {self.day:%a} {self.day.day} {self.day:%b}"

    @property
    def told(self) -> str:
        """Say it from the list's side: This list wants 13; we own 12, 1 not fit to go: short 2 on Sat 3 Oct."""
        return f"This list wants {self.wanted}; {self.why}"


def lacking_words(count: int, left: Left | None) -> str:
    """Say on paper why `count` cannot be taken from anywhere now, in the shortage's own numbers where the two differ."""
    if left is not None and not left.owned:
        return "we own none: hire or borrow"
    if left is None or not left.short:
        return f"{count} not on the shelf today: still out, or named elsewhere; there are enough on the show's days"
    parts = ("promised" if left.promised else "", "not fit to go" if left.unfit else "")
    rest = " or ".join(part for part in parts if part)
    why = f"all others are {rest}" if rest else f"we own {left.owned}"
    if left.short > count:
        return f"the list is short {left.short} on {left.day:%a} {left.day.day} {left.day:%b}: {why}"
    later = f"; {count - left.short} still out or named elsewhere today" if left.short < count else ""
    return f"short {left.short}: {why}{later}"


def matches(wanted: Key, other: Key) -> bool:
    """Say whether gear under one key could serve another: the same type, and the same or any length."""
    return wanted[0] == other[0] and (wanted[1] == other[1] or wanted[1] == 0)


def shortages(
    *, wanted: Mapping[Key, int], first: date, last: date, stock: Mapping[Key, Stock], others: Iterable[Demand]
) -> dict[Key, Left]:
    """Return for each key wanted from `first` to `last` the first day on which least is left."""
    rivals: dict[int, list[Demand]] = defaultdict(list)
    for demand in others:
        rivals[demand.key[0]].append(demand)
    last = min(last, first + timedelta(days=LONGEST_HOLD_DAYS))
    answer: dict[Key, Left] = {}
    for key, count in wanted.items():
        mine = [s for k, s in stock.items() if matches(key, k)]
        owned, unfit = sum(s.owned for s in mine), sum(s.unfit for s in mine)
        against = [d for d in rivals[key[0]] if matches(key, d.key)]
        # what is promised changes only where a hold begins, so those days and the first are enough
        days = sorted({first, *(d.first for d in against if first <= d.first <= last)})
        away: dict[int, int] = defaultdict(int)
        for one in mine:
            for show, number in one.unfit_at.items():
                away[show] += number
        worst: Left | None = None
        for day in days:
            there: dict[tuple[str, int], int] = defaultdict(int)
            for d in against:
                if d.first <= day <= d.last:
                    there[d.name, d.show] += d.count
            # what is out to another show and not fit is one thing: it is counted as promised there
            held: dict[int, int] = defaultdict(int)
            for (_name, show), number in there.items():
                held[show] += number
            twice = sum(min(number, away.get(show, 0)) for show, number in held.items())
            found = Left(
                key=key,
                day=day,
                wanted=count,
                owned=owned,
                unfit=max(0, unfit - twice),
                promised=sum(there.values()),
                rivals=tuple((show, name, n) for (name, show), n in sorted(there.items())),
            )
            if worst is None or found.left < worst.left:
                worst = found
        assert worst is not None  # noqa: S101 (there is always the first day)
        answer[key] = worst
    return answer
