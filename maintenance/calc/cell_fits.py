"""What goes in where a set goes in: the usual cells, or what lasts where fresh usual ones would not, by what the house has."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from maintenance.calc.cell_advice import said_chance
from maintenance.calc.cell_remedies import Remedy, fresh_chance, what_would_do
from maintenance.calc.cell_words import CellError, CellKind, Draw, System

WORTH = 0.5  # of the usual cells' chance: what is not this much better is not worth fitting instead


@dataclass(frozen=True, kw_only=True)
class Labelled:
    """A labelled set that sits in nothing: what it is when full, how many cells, whether it was charged since it last ran."""

    key: str
    name: str
    size: str
    cells: int
    kind: CellKind
    charged: bool


@dataclass(frozen=True, kw_only=True)
class Fit:
    """What goes in: cells of a kind, or a labelled set; how many sets are taken along, the chance that the line still dies.

    `here`: it lies on the shelf, or is charged. `interval`: it is changed at the interval.
    """

    kind: CellKind
    chance: float | None = None
    sets: int = 1
    labelled: Labelled | None = None
    interval: bool = False
    here: bool = True


@dataclass(frozen=True, kw_only=True)
class Choice:
    """What goes in, the chance with fresh usual cells, everything that would do, and the sentence where the usual would not."""

    fit: Fit | None = None
    usual: float | None = None
    remedies: tuple[Remedy, ...] = ()
    words: str = ""


@dataclass
class House:
    """What is in the house while a list is made: cells on the shelf by kind, labelled sets. What one device takes is gone."""

    shelf: dict[str, int] = field(default_factory=dict)
    sets: list[Labelled] = field(default_factory=list)

    @classmethod
    def of(cls, shelf: Mapping[str, int] | None = None, sets: Iterable[Labelled] = ()) -> "House":
        return cls(shelf=dict(shelf or {}), sets=list(sets))

    def take(self, fit: Fit | None, cells: int) -> None:
        """Set aside what goes in."""
        if fit is None:
            return
        if fit.labelled is not None:
            self.sets = [one for one in self.sets if one.key != fit.labelled.key]
        else:
            self.shelf[fit.kind.key] = max(0, self.shelf.get(fit.kind.key, 0) - cells * fit.sets)


def choose(
    usual: CellKind | None,
    draw: Draw | None,
    need_h: float,
    limit: float,
    *,
    cells: int,
    size: str,
    others: Sequence[CellKind],
    house: House,
    interval_after_h: float | None = None,
) -> Choice:
    """Return what to fit: the usual cells where they do; else, of what does, what is in the house before what must be bought.

    First other cells on the shelf, then a labelled set that is charged, then the usual cells changed at the interval, then
    cells to buy. Where nothing does, what is much better, and two sets of it. Rechargeables count as labelled sets alone.
    """
    if usual is None:
        return Choice()
    if draw is None:
        return Choice(fit=Fit(kind=usual))
    try:
        chance = fresh_chance(usual, draw, need_h)
    except CellError:
        return Choice(fit=Fit(kind=usual))
    if chance <= limit:
        return Choice(fit=Fit(kind=usual, chance=chance), usual=chance)
    primaries = [one for one in others if not one.rechargeable and one.system is not System.ZINC_CARBON]
    mine = [one for one in house.sets if one.size == size and one.cells == cells]
    offered = {one.key: one for one in _plainest(mine)}
    remedies = what_would_do(
        usual,
        draw,
        need_h,
        limit,
        others=primaries,
        sets=[(one.key, one.name, one.kind, one.charged) for one in offered.values()],
        interval_after_h=interval_after_h,
    )
    found: list[tuple[tuple[int, int, float], Fit, Remedy]] = []
    for one in remedies:
        fit, rank = _fit_of(one, usual, offered, house, cells)
        if fit is not None and (one.enough or one.chance < WORTH * chance):
            found.append(((0 if one.enough else 1, rank, one.chance), fit, one))
    found.sort(key=lambda three: three[0])
    said = f"Even a fresh set of {usual.name}: {_dies(chance)}"
    if not found:
        # one fresh set is not enough: another goes along
        return Choice(fit=Fit(kind=usual, chance=chance, sets=2), usual=chance, remedies=remedies, words=said + _last(remedies))
    _turn, fit, first = found[0]
    said += f". What would do: {_lower(first.words)}" if first.enough else f". Better: {_lower(first.words)}"
    if fit.labelled is None and not fit.here:
        said += " (to buy)"
    spare = next((r for _t, f, r in found[1:] if r.enough and f.labelled is not None and fit.labelled is None), None)
    waits = next((r for r in remedies if r.enough and r.key == "charge" and r.set_key), None)
    more = spare or (waits if fit.labelled is None else None)
    if more is not None:
        said += f"; or {_lower(more.words)}"
    return Choice(fit=fit, usual=chance, remedies=remedies, words=said)


def _plainest(sets: Sequence[Labelled]) -> list[Labelled]:
    """Return one charged and one empty set of each make-up, the fullest: twenty that do the same help nobody."""
    best: dict[tuple[str, bool], Labelled] = {}
    for one in sets:
        before = best.get((one.kind.key, one.charged))
        if before is None or _holds(one) > _holds(before):
            best[one.kind.key, one.charged] = one
    return list(best.values())


def _holds(one: Labelled) -> float:
    return one.kind.capacity[0][1] if one.kind.capacity else 0.0


def _fit_of(one: Remedy, usual: CellKind, sets: Mapping[str, Labelled], house: House, cells: int) -> tuple[Fit | None, int]:
    """Return what a remedy has fitted and its rank; None for what fits nothing now: a set to charge, a draw to measure."""
    if one.key == "interval":
        return Fit(kind=usual, chance=one.chance, sets=2, interval=True), 2
    if one.key == "charge":
        mine = sets.get(one.set_key)
        return (Fit(kind=mine.kind, chance=one.chance, labelled=mine), 1) if mine is not None and mine.charged else (None, 9)
    if one.kind is None or one.key not in {"cells", "both"}:
        return None, 9
    wanted = 2 if one.key == "both" or not one.enough else 1
    here = house.shelf.get(one.kind.key, 0) >= cells * (2 if one.key == "both" else 1)
    fit = Fit(kind=one.kind, chance=one.chance, sets=wanted, interval=one.key == "both", here=here)
    return fit, (0 if here else 3) + (1 if one.key == "both" else 0)


def _last(remedies: Sequence[Remedy]) -> str:
    """Say what else would help where no cells do: the maker's figure, a meter, a set to charge."""
    return f". What would help: {_lower(remedies[0].words)}" if remedies else ""


def _lower(words: str) -> str:
    return f"{words[0].lower()}{words[1:].rstrip('.')}"


def _dies(chance: float) -> str:
    return "it all but certainly dies" if chance >= 0.95 else f"{said_chance(chance)} it dies"


# what is taken along


@dataclass(frozen=True, kw_only=True)
class Carry:
    """Cells of one kind to take along: for sets that are swapped or spare, against the stock, and what is left to buy.

    `labelled`: a labelled set, which is charged and never bought.
    """

    size: str
    key: str
    name: str
    fit: int = 0
    spare: int = 0
    unchosen: int = 0
    stock: int = 0
    labelled: bool = False

    @property
    def total(self) -> int:
        return self.fit + self.spare + self.unchosen

    @property
    def buy(self) -> int:
        return 0 if self.labelled else max(0, self.total - self.stock)


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """So many cells for one device, and what for: fit, spare, unchosen."""

    size: str
    fit: Fit
    cells: int
    what: str


def carried(wanted: Iterable[Wanted], stock: Mapping[str, int]) -> tuple[Carry, ...]:
    """Add up what to take along, by kind of cell: alkaline and lithium do not stand in for one another."""
    counts: dict[tuple[str, str], dict[str, int]] = defaultdict(lambda: defaultdict(int))
    first: dict[tuple[str, str], Fit] = {}
    for one in wanted:
        which = (one.size, one.fit.labelled.key if one.fit.labelled else one.fit.kind.key)
        counts[which][one.what] += one.cells
        first.setdefault(which, one.fit)
    found = []
    for (size, key), parts in sorted(counts.items()):
        mine = first[size, key]
        name = mine.labelled.name if mine.labelled else mine.kind.name
        have = sum(parts.values()) if mine.labelled else stock.get(key, 0)
        found.append(Carry(size=size, key=key, name=name, stock=have, labelled=mine.labelled is not None, **parts))
    return tuple(found)
