"""Readings sorted by what they were meant to be, and which pairs a verdict needs."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from math import inf

from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.wiring_nets import Expect, Expected, Wiring, is_shell
from maintenance.calc.wiring_readings import BEEP, Book


@dataclass(frozen=True, slots=True)
class Plan:
    """What is worked out once a wiring: nets by channel, legs that belong together, pairs that must be read."""

    by_channel: dict[int, list[int]]
    group: list[int | None]  # the channel (or, in a wiring of many, the pair) a net is read in
    needed: frozenset[int]  # pairs of nets, first * nets + second
    across: frozenset[int]  # the same between channels
    same_end: int  # how many pairs of pins at one end must be open, shells left out
    shells: frozenset[int]
    is_shell_net: list[bool]


@lru_cache(maxsize=256)
def plan_of(wiring: Wiring) -> Plan:
    """Return what is worked out once a wiring."""
    count = len(wiring.nets)
    by_channel: dict[int, list[int]] = defaultdict(list)
    for n, net in enumerate(wiring.nets):
        if net.channel is not None:
            by_channel[net.channel].append(n)
    many = wiring.joined_nets > 12
    group = [net.channel if net.channel is not None else net.pair if many else None for net in wiring.nets]
    shell_net = [all(is_shell(p) for p in net.pins) for net in wiring.nets]
    ends = [{wiring.end_index[wiring.index[p]] for p in net.pins} for net in wiring.nets]
    needed, across = set(), set()
    for a in range(count):
        for b in range(a + 1, count):
            special = wiring.special.get((a, b))
            if shell_net[a] or shell_net[b] or (special and special.kind is Expect.MAYBE and special.low is None):
                continue
            if len(wiring.ends) > 1 and len(ends[a] | ends[b]) < 2:
                continue
            (needed if group[a] == group[b] else across).add(a * count + b)
    shells = frozenset(n for n, p in enumerate(wiring.pins) if is_shell(p))
    same_end = sum(
        1
        for i in range(len(wiring.pins))
        for j in range(i + 1, len(wiring.pins))
        if wiring.end_index[i] == wiring.end_index[j]
        and wiring.net_index[i] != wiring.net_index[j]
        and i not in shells
        and j not in shells
    )
    return Plan(
        by_channel=dict(by_channel),
        group=group,
        needed=frozenset(needed),
        across=frozenset(across),
        same_end=same_end,
        shells=shells,
        is_shell_net=shell_net,
    )


@dataclass(slots=True)
class Sorted:
    """Readings sorted by what they were meant to be, as (ohms, pin, pin)."""

    joined: list[tuple[float, int, int]] = field(default_factory=list)
    broken: list[tuple[float, int, int]] = field(default_factory=list)
    wrong: list[tuple[float, int, int]] = field(default_factory=list)
    special: list[tuple[float, int, int]] = field(default_factory=list)  # allowed ways between nets that carry something
    odd: list[tuple[float, int, int]] = field(default_factory=list)  # resistors out of their range
    untold: list[tuple[int, int]] = field(default_factory=list)  # resistors that only lamps have looked at
    covered: set[int] = field(default_factory=set)
    isolation: float = inf  # the lowest number between pins that must be open


def sort_readings(wiring: Wiring, book: Book, net_of: Sequence[int], limits: BenchLimits) -> Sorted:
    """Return the readings sorted by what their pins' nets must read."""
    got = Sorted()
    joined, covered = got.joined, got.covered
    count, pins = len(wiring.nets), book.pins
    open_ohm, leak_ohm, special = limits.open_ohm, limits.leak_ohm, wiring.special
    isolation = inf
    for key, value in book.seen.items():
        one, other = divmod(key, pins)
        a, b = net_of[one], net_of[other]
        if a == b:
            (joined if value <= open_ohm else got.broken).append((value, one, other))
            continue
        if a > b:
            a, b = b, a
        if special and (a, b) in special:
            _special_sorted(got, special[a, b], value, one, other, book, covered, a * count + b)
            continue
        covered.add(a * count + b)
        if value < isolation:
            isolation = value
        if value < leak_ohm:
            got.wrong.append((value, one, other))
    got.isolation = isolation
    return got


def _special_sorted(
    got: Sorted, expected: Expected, value: float, one: int, other: int, book: Book, covered: set[int], key: int
) -> None:
    if expected.kind is Expect.RESISTOR and expected.low is not None and expected.high is not None:
        by_lamp = value == BEEP or (value == inf and book.floor(one, other) < expected.high)
        if by_lamp:
            got.untold.append((one, other))
            return
        covered.add(key)
        if value < expected.low / 10:
            got.wrong.append((value, one, other))
        elif not expected.low <= value <= expected.high:
            got.odd.append((value, one, other))
            got.special.append((value, one, other))
        else:
            got.special.append((value, one, other))
        return
    covered.add(key)
    if expected.low is not None and value < expected.low:
        got.wrong.append((value, one, other))
    elif value < inf:
        got.special.append((max(value, 0.0), one, other))
