"""How the pins of a lead are joined as read, for its drawing."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from maintenance.calc.bench import PairReading
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.wiring_graph import shape_of
from maintenance.calc.wiring_limits import Lead, Limit, core_limits
from maintenance.calc.wiring_nets import Expected, Wiring
from maintenance.calc.wiring_readings import book_of
from maintenance.calc.wiring_sorting import sort_readings


@dataclass(frozen=True, kw_only=True)
class Link:
    """Two pins and what joins them: ok, wrong, open, short, high or unread."""

    a: str
    b: str
    kind: str


def links(
    *,
    wiring: Wiring,
    readings: Sequence[PairReading] = (),
    limits: BenchLimits,
    lead: Lead | None = None,
    null_ohms: float | None = None,
    temperature_c: float | None = None,
) -> tuple[Link, ...]:
    """Return every way the wiring wants, as read, and every way it does not want. `lead` is needed to tell what is high.

    ReadingError as `judge` raises it.
    """
    book = book_of(wiring=wiring, readings=readings, null_ohms=null_ohms, leak_ohm=limits.leak_ohm)
    got = sort_readings(wiring, book, wiring.net_index, limits)
    held = core_limits(lead=lead, limits=limits, temperature_c=temperature_c) if lead is not None else None
    made: dict[tuple[int, int], str] = {}
    for net in wiring.nets[: wiring.joined_nets]:
        first = wiring.index[net.pins[0]]
        for name in net.pins[1:]:
            other = wiring.index[name]
            made[first, other] = _kind(book.get(first, other), limits, held.of(is_screen=net.is_screen) if held else None)
    for resistor in wiring.resistors:
        one, other = wiring.index[resistor.a], wiring.index[resistor.b]
        made[one, other] = _resistor_kind(book.get(one, other), wiring.expected(resistor.a, resistor.b))
    if got.broken or got.wrong:
        shape = shape_of(wiring, book, got, limits)
        for placed in shape.astray:
            for pin, clump, place in placed:
                for rest in shape.clumps[clump]:
                    if rest != pin and shape.net_of[rest] == shape.net_of[place]:
                        made[min(rest, pin), max(rest, pin)] = "wrong"
        for near in shape.moved:
            for n, net in enumerate(wiring.nets[: wiring.joined_nets]):
                if net.channel == near:
                    pins = [p for p, m in enumerate(shape.net_of) if m == n]
                    for one, other in pairwise(pins):
                        if book.get(one, other) is not None and shape.clump_of[one] == shape.clump_of[other]:
                            made[one, other] = "wrong"
        for clump, group in shape.shorts:
            heads: list[int] = [next(p for p in shape.clumps[clump] if shape.net_of[p] == n) for n in group]
            for one, other in pairwise(sorted(heads)):
                made[one, other] = "short"
        for _, one, other in shape.leaks:
            made.setdefault((min(one, other), max(one, other)), "short")
    return tuple(Link(a=wiring.pins[one], b=wiring.pins[other], kind=kind) for (one, other), kind in sorted(made.items()))


def _kind(value: float | None, limits: BenchLimits, limit: Limit | None) -> str:
    if value is None:
        return "unread"
    if value > limits.open_ohm:
        return "open"
    return "high" if limit is not None and value > limit.pass_ohm else "ok"


def _resistor_kind(value: float | None, expected: Expected) -> str:
    if value is None or value < 0 or expected.low is None or expected.high is None:
        return "unread"
    if value < expected.low / 10:
        return "short"
    return "ok" if expected.low <= value <= expected.high else "open" if value > expected.high * 10 else "high"
