"""One lead on the bench while it is judged: its readings, what they show, and what each net resists."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import inf

from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.wiring_graph import Shape
from maintenance.calc.wiring_limits import Lead, LeadLimits, Limit
from maintenance.calc.wiring_nets import Net, Wiring, pin_words
from maintenance.calc.wiring_readings import BEEP, Book
from maintenance.calc.wiring_sorting import Sorted
from maintenance.calc.wiring_words import ohms_words, pins_words


@dataclass(frozen=True, slots=True)
class Resistance:
    """Ohms between two joined pins, with the limit they are held against (None: nothing is known to hold)."""

    ohm: float
    one: int
    other: int
    limit: Limit | None


@dataclass(slots=True)
class Case:
    """What the finders look at. `allowance` is what of each reading may be the test leads' own."""

    lead: Lead
    wiring: Wiring
    book: Book
    got: Sorted
    shape: Shape | None
    held: LeadLimits
    limits: BenchLimits
    allowance: float
    resistances: dict[int, list[Resistance]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        wiring, book = self.wiring, self.book
        if not book.numbers:
            return
        seen, pins, open_ohm = book.seen, book.pins, self.limits.open_ohm
        core, screen = self.held.core, self.held.screen
        judged = dict(self.shape.judged) if self.shape is not None else {}
        if self.shape is not None and self.shape.moved:
            for pin, net in enumerate(self.shape.net_of):
                if net not in self.shape.judged:
                    judged.setdefault(net, []).append(pin)
        for n in range(wiring.joined_nets):
            mine = sorted(judged[n]) if n in judged else wiring.net_pins[n]
            if len(mine) == 2:
                one, other = mine
                value = seen.get(one * pins + other if one < other else other * pins + one)
                if value is None or not 0 <= value <= open_ohm:
                    continue
                if n in judged or wiring.end_index[one] or not wiring.end_index[other]:
                    limit = self.limit_of(n, one, other)
                else:
                    limit = screen if wiring.nets[n].is_screen else core
                self.resistances[n] = [Resistance(value, one, other, limit)]
            else:
                self._many(n, mine)

    def _many(self, net: int, mine: list[int] | tuple[int, ...]) -> None:
        found = []
        for n, one in enumerate(mine):
            for other in mine[n + 1 :]:
                value = self.book.get(one, other)
                if value is not None and 0 <= value <= self.limits.open_ohm:
                    found.append(Resistance(value, one, other, self.limit_of(net, one, other)))
        if found:
            self.resistances[net] = found

    def limit_of(self, net: int, one: int, other: int) -> Limit | None:
        """Return the limit of a pair: out and back between two tails, the milder one where core and screen meet."""
        wiring = self.wiring
        twice = (wiring.end_index[one] == 0) == (wiring.end_index[other] == 0)
        kinds = {wiring.nets[net].is_screen, *(wiring.nets[wiring.net_index[p]].is_screen for p in (one, other))}
        if True in kinds and len(wiring.nets[net].pins) > 2:
            kinds.add(False)
        known = [limit for kind in kinds if (limit := self.held.of(is_screen=kind, twice=twice)) is not None]
        return max(known, key=lambda limit: limit.pass_ohm) if len(known) == len(kinds) else None

    def is_doubtful(self, *pins: int) -> bool:
        shape = self.shape
        return shape is not None and any(shape.clump_of[p] in shape.doubtful for p in pins)

    def reading(self, one: int, other: int) -> float:
        """Return the reading of a pair, inf where it was not read."""
        value = self.book.get(one, other)
        return inf if value is None else value


def pin_said(case: Case, pin: int) -> str:
    return pin_words(case.wiring.pins[pin])


def pins_said(case: Case, pins: Iterable[int]) -> str:
    """Name pins in the order of the ends, as they are probed: A before B."""
    return pins_words(case.wiring.pins[p] for p in sorted(set(pins)))


def pair_said(case: Case, one: int, other: int, joint: str = "to") -> str:
    """Name a pair of pins, end A first: A3 to B3."""
    return f" {joint} ".join(pin_said(case, p) for p in sorted((one, other)))


def names_of(case: Case, pins: Iterable[int]) -> tuple[str, ...]:
    return tuple(case.wiring.pins[p] for p in dict.fromkeys(pins))


def reading_said(value: float) -> str:
    return "a beep" if value == BEEP else "no connection" if value == inf else ohms_words(value)


def net_at(case: Case, n: int) -> Net:
    return case.wiring.nets[n]


def channel_at(case: Case, pins: Iterable[int]) -> int | None:
    return next((c for p in pins if (c := net_at(case, case.wiring.net_index[p]).channel) is not None), None)
