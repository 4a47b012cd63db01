"""What the readings of a lead show: which pins hang together, and the fewest faults that explain it.

Pins below `open_ohm` of each other hang together in clumps. A good lead has one clump a net. Where clumps and nets differ, each
net is given to one clump so that the faults it takes are fewest: a short where a clump holds two nets, a pin astray where a
plug's pin sits in another's place (two of them make a swap), an open where a pin reaches nothing.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import product
from math import inf, prod

from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.wiring_nets import Wiring
from maintenance.calc.wiring_readings import BEEP, Book
from maintenance.calc.wiring_sorting import Sorted, plan_of, sort_readings

MOST_WAYS = 4_096  # ways of giving nets to clumps that are tried; beyond, each net goes where most of its pins are
MOST_CHECKED = 40  # pins of one clump whose readings are checked against each other
# A reading cannot exceed the way round by other readings; slack for contacts that were pressed harder.
ROUND_SHARE, ROUND_OHM = 1.5, 2.0
LEAK_UNREST = 5.0  # leaks of the same two clumps that differ more cannot both be
PATH_SHARE = 0.85  # a leak as high as the way over other leaks is those leaks, not one more


@dataclass(slots=True)
class Shape:
    """What hangs together, and what explains it. Pins and nets by their numbers.

    `astray` are (pin, clump, pin whose place it has); `opens` (net, pins cut off); `shorts` (clump, nets); `leaks` (ohms, pin,
    pin); `moved` says which channel of the far end each channel reaches.
    """

    clump_of: list[int]
    clumps: dict[int, list[int]]
    owners: dict[int, list[int]] = field(default_factory=dict)
    astray: list[list[tuple[int, int, int]]] = field(default_factory=list)
    opens: list[tuple[int, tuple[int, ...]]] = field(default_factory=list)
    shorts: list[tuple[int, tuple[int, ...]]] = field(default_factory=list)
    leaks: list[tuple[float, int, int]] = field(default_factory=list)
    moved: dict[int, int] = field(default_factory=dict)
    impossible: list[tuple[int, int, float]] = field(default_factory=list)
    doubtful: set[int] = field(default_factory=set)  # clumps whose readings contradict each other
    judged: dict[int, list[int]] = field(default_factory=dict)  # pins whose resistance is that of a net
    unread: list[tuple[int, int]] = field(default_factory=list)  # pairs that would tell a swap from a break
    net_of: Sequence[int] = ()


class _Clumps:
    def __init__(self, count: int) -> None:
        self.up = list(range(count))

    def find(self, pin: int) -> int:
        up = self.up
        while up[pin] != pin:
            up[pin] = up[up[pin]]
            pin = up[pin]
        return pin

    def join(self, a: int, b: int) -> bool:
        one, other = self.find(a), self.find(b)
        if one == other:
            return False
        self.up[max(one, other)] = min(one, other)
        return True


def shape_of(wiring: Wiring, book: Book, got: Sorted, limits: BenchLimits) -> Shape:
    """Return what the readings show, for a lead that has at least one reading out of place."""
    shape = _clumped(wiring, book, got, wiring.net_index, limits)
    moved = _channels_moved(wiring, shape)
    if moved:
        net_of = _nets_moved(wiring, moved)
        got = sort_readings(wiring, book, net_of, limits)
        shape = _clumped(wiring, book, got, net_of, limits)
        shape.moved = moved
    _doubts(book, shape, got)
    _explained(wiring, book, shape, got)
    _leaks(shape, got, book, limits)
    return shape


def _clumped(wiring: Wiring, book: Book, got: Sorted, net_of: Sequence[int], limits: BenchLimits) -> Shape:
    sets = _Clumps(book.pins)
    for _, one, other in got.joined:
        sets.join(one, other)
    for value, one, other in sorted(got.wrong):
        if value >= limits.short_ohm:
            break
        if sets.find(one) != sets.find(other) and not (got.special and _by_another_way(sets, got.special, value, one, other)):
            sets.join(one, other)
    _unread_assumed(wiring, book, sets, net_of)
    clump_of = [sets.find(n) for n in range(book.pins)]
    clumps: dict[int, list[int]] = defaultdict(list)
    for pin, clump in enumerate(clump_of):
        clumps[clump].append(pin)
    return Shape(clump_of=clump_of, clumps=dict(clumps), net_of=net_of)


def _by_another_way(sets: _Clumps, special: Iterable[tuple[float, int, int]], value: float, one: int, other: int) -> bool:
    """Say whether a low reading is explained by a resistor or winding beside what hangs together already."""
    edges = [(v, sets.find(a), sets.find(b)) for v, a, b in special]
    return value != BEEP and _way(edges, sets.find(one), sets.find(other)) * PATH_SHARE <= value


def _way(edges: Iterable[tuple[float, int, int]], start: int, goal: int) -> float:
    """Return the least sum of ohms from one clump to another, inf when there is no way."""
    edges = list(edges)
    far = {start: 0.0}
    for _ in range(len(edges)):
        changed = False
        for value, a, b in edges:
            for p, q in ((a, b), (b, a)):
                if p in far and far[p] + value < far.get(q, inf):
                    far[q] = far[p] + value
                    changed = True
        if not changed:
            break
    return far.get(goal, inf)


def _unread_assumed(wiring: Wiring, book: Book, sets: _Clumps, net_of: Sequence[int]) -> None:
    """Take pieces of a net that nobody measured against each other as one, where nothing else is in them."""
    members: dict[int, list[int]] = defaultdict(list)
    for pin, net in enumerate(net_of):
        members[net].append(pin)
    mixed = {sets.find(p) for p in range(book.pins) if net_of[sets.find(p)] != net_of[p]}
    for pins in members.values():
        for n, one in enumerate(pins):
            for other in pins[:n]:
                a, b = sets.find(one), sets.find(other)
                if a == b or a in mixed or b in mixed:
                    continue
                first = [p for p in pins if sets.find(p) == a]
                second = [p for p in pins if sets.find(p) == b]
                if all(book.get(p, q) is None for p in first for q in second):
                    sets.join(a, b)


def _channels_moved(wiring: Wiring, shape: Shape) -> dict[int, int]:
    channel = [wiring.nets[n].channel for n in wiring.net_index]
    by_channel = plan_of(wiring).by_channel
    votes: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for pins in shape.clumps.values():
        near = [p for p in pins if wiring.end_index[p] == 0]
        far = [p for p in pins if wiring.end_index[p] != 0]
        near_in, far_in = {channel[p] for p in near}, {channel[p] for p in far}
        if len(near_in) == len(far_in) == 1:
            (a,), (b,) = near_in, far_in
            if a is not None and b is not None:
                # Only a core that takes the same core's place in another channel speaks for swapped channels.
                places = [{by_channel[c].index(wiring.net_index[p]) for p in pins} for c, pins in ((a, near), (b, far))]
                votes[a][b] += len(places[0] & places[1])
    moved = {}
    for a, counted in votes.items():
        best = max(counted, key=lambda b: (counted[b], b == a))
        if best != a and counted[best] > counted.get(a, 0):
            moved[a] = best
    while moved and set(moved) != set(moved.values()):
        both = set(moved) & set(moved.values())
        moved = {a: b for a, b in moved.items() if a in both and b in both}
    return moved if len(set(moved.values())) == len(moved) else {}


def rings_of(moved: dict[int, int]) -> list[list[int]]:
    """Return who takes whose place, ring by ring."""
    left, rings = dict(moved), []
    while left:
        ring = [min(left)]
        while (following := left.pop(ring[-1])) != ring[0]:
            ring.append(following)
        rings.append(ring)
    return rings


def _nets_moved(wiring: Wiring, moved: dict[int, int]) -> list[int]:
    plan = plan_of(wiring)
    home = {far: near for near, far in moved.items()}
    net_of = list(wiring.net_index)
    for pin, net in enumerate(wiring.net_index):
        channel = wiring.nets[net].channel
        if wiring.end_index[pin] != 0 and channel in home:
            net_of[pin] = plan.by_channel[home[channel]][plan.by_channel[channel].index(net)]
    return net_of


def _doubts(book: Book, shape: Shape, got: Sorted) -> None:
    """Find readings inside one clump that are higher than the way round by others."""
    troubled = {shape.clump_of[p] for _, p, q in [*got.broken, *got.wrong] for p in (p, q)}
    troubled |= {c for c in shape.clumps if len(shape.clumps[c]) > 2 and len(shape.clumps[c]) <= 4}
    for clump in troubled:
        pins = shape.clumps[clump]
        if not 2 < len(pins) <= MOST_CHECKED:
            continue
        far = {(a, b): inf for a in pins for b in pins if a != b}
        read = []
        for n, a in enumerate(pins):
            for b in pins[:n]:
                value = book.get(a, b)
                if value is None:
                    continue
                read.append((a, b))
                if value < inf:
                    far[a, b] = far[b, a] = 1.0 if value == BEEP else value
        for via in pins:
            for a in pins:
                if a == via or far[a, via] == inf:
                    continue
                for b in pins:
                    if b not in (a, via) and far[a, via] + far[via, b] < far[a, b]:
                        far[a, b] = far[a, via] + far[via, b]
        for a, b in read:
            floor = book.floor(a, b)
            if floor > ROUND_SHARE * far[a, b] + ROUND_OHM:
                shape.impossible.append((min(a, b), max(a, b), far[a, b]))
                shape.doubtful.add(clump)


def _explained(wiring: Wiring, book: Book, shape: Shape, got: Sorted) -> None:
    net_of = shape.net_of
    clumps_of: dict[int, set[int]] = defaultdict(set)
    nets_in: dict[int, set[int]] = defaultdict(set)
    for pin, clump in enumerate(shape.clump_of):
        clumps_of[net_of[pin]].add(clump)
        nets_in[clump].add(net_of[pin])
    seen: set[int] = set()
    for clump in sorted(shape.clumps):
        if clump in seen:
            continue
        members, nets, todo = {clump}, set(), [clump]
        while todo:
            for net in nets_in[todo.pop()]:
                if net in nets:
                    continue
                nets.add(net)
                fresh = clumps_of[net] - members
                members |= fresh
                todo.extend(fresh)
        seen |= members
        if len(nets) == 1 and len(members) == 1:
            (net,) = nets
            shape.owners[clump] = [net]
            continue
        _cluster_explained(wiring, book, shape, sorted(members), sorted(nets))


def _cluster_explained(wiring: Wiring, book: Book, shape: Shape, clumps: list[int], nets: list[int]) -> None:
    net_of, ends = shape.net_of, wiring.end_index
    pins_of = {net: [p for c in clumps for p in shape.clumps[c] if net_of[p] == net] for net in nets}
    choices: list[list[int | None]] = []
    for net in nets:
        held: dict[int, int] = defaultdict(int)
        for pin in pins_of[net]:
            held[shape.clump_of[pin]] += 1
        near = {shape.clump_of[p] for p in pins_of[net] if ends[p] == 0}
        ordered: list[int | None] = [*sorted(held, key=lambda c: (-held[c], c not in near, c))]
        if len(pins_of[net]) == 1 and len(shape.clumps[shape.clump_of[pins_of[net][0]]]) > 1:
            ordered.append(None)
        choices.append(ordered)
    if prod(len(c) for c in choices) <= MOST_WAYS:
        best = min(product(*choices), key=lambda way: _cost(shape, wiring, clumps, nets, pins_of, way))
    else:
        best = tuple(c[0] for c in choices)  # a lead so badly made is rewired anyway
    _way_told(wiring, book, shape, clumps, nets, pins_of, best)


def _laid(shape: Shape, wiring: Wiring, clumps: list[int], nets: list[int], pins_of, way):
    """Lay one way out: owners of clumps, pins astray in another's place, pins astray beside, places left empty."""
    net_of, ends, shells = shape.net_of, wiring.end_index, plan_of(wiring).shells
    owners: dict[int, list[int]] = {c: [] for c in clumps}
    for net, clump in zip(nets, way, strict=True):
        if clump is not None:
            owners[clump].append(net)
    placed: list[tuple[int, int, int]] = []
    beside: list[tuple[int, int]] = []
    empty: list[tuple[int, int]] = []
    for clump in clumps:
        mine = owners[clump]
        inside = set(shape.clumps[clump])
        places = [q for net in mine for q in pins_of[net] if q not in inside]
        strangers = [p for p in shape.clumps[clump] if net_of[p] not in mine]
        if mine:
            for same_end in (True, False):
                for p in [s for s in strangers if s not in shells]:  # no core is soldered to a shell by mistake for a pin
                    place = next((q for q in places if (ends[q] == ends[p]) == same_end), None)
                    if place is not None and (same_end or len(pins_of[net_of[p]]) > 1):
                        placed.append((p, clump, place))
                        strangers.remove(p)
                        places.remove(place)
        beside += [(p, clump) for p in strangers]
        empty += [(net_of[q], q) for q in places]
    return owners, placed, beside, empty


def _cost(shape: Shape, wiring: Wiring, clumps: list[int], nets: list[int], pins_of, way) -> float:
    ends = wiring.end_index
    owners, placed, beside, empty = _laid(shape, wiring, clumps, nets, pins_of, way)
    cost = sum(max(0, len(mine) - 1) for mine in owners.values()) + float(len(empty))
    for p, _, place in placed:
        cost += 0.5 if ends[p] == ends[place] else 0.75
    for _, clump in beside:
        alone = len(shape.clumps[clump]) == 1
        cost += 0.0 if alone else 1.0 if owners[clump] else 2.0
    return cost


def _way_told(wiring: Wiring, book: Book, shape: Shape, clumps: list[int], nets: list[int], pins_of, way) -> None:
    ends, net_of = wiring.end_index, shape.net_of
    owners, placed, beside, empty = _laid(shape, wiring, clumps, nets, pins_of, way)
    shape.owners.update({c: mine for c, mine in owners.items() if mine})
    for clump in clumps:
        strangers = {net_of[p] for p, c in beside if c == clump and len(shape.clumps[c]) > 1}
        group = tuple(sorted(set(owners[clump]) | strangers))
        if len(group) > 1:
            shape.shorts.append((clump, group))
    for net, clump in zip(nets, way, strict=True):
        if clump is None:
            continue
        shape.judged[net] = [p for p in shape.clumps[clump] if net_of[p] == net]
        shape.judged[net] += [p for p, c, place in placed if c == clump and net_of[place] == net]
    moved_pins = {p for p, _, _ in placed}
    cut: dict[int, list[int]] = defaultdict(list)
    for net, pin in empty:
        if pin not in moved_pins:
            cut[net].append(pin)
    alone = [p for c in clumps if len(shape.clumps[c]) == 1 for p in shape.clumps[c] if len(pins_of[net_of[p]]) > 1]
    if placed:
        shape.astray.append(placed)
        # A pin that has no net of its own and sits in another's place sent that one off: one cause, told already.
        sent_off = set()
        place_of = {p: place for p, _, place in placed}
        for pin in (p for p in place_of if len(pins_of[net_of[p]]) == 1):
            last = place_of[pin]
            while last in place_of:
                last = place_of[last]
            sent_off.add(last)
        floating = sorted({*alone, *(p for pins in cut.values() for p in pins)} - sent_off)
        near, far = [p for p in floating if ends[p] == 0], [p for p in floating if ends[p] != 0]
        unread = [(a, b) for a in near for b in far if book.get(a, b) is None]
        shape.unread += unread
        told = {p for pair in unread for p in pair}
        left = tuple(p for p in floating if p not in told)
        if left:
            shape.opens.append((net_of[left[0]], left))
        return
    for net, pins in cut.items():
        rest = [p for p in pins_of[net] if p not in pins]
        if any((v := book.get(p, q)) is not None and v > 0 for p in pins for q in rest):
            shape.opens.append((net, tuple(pins)))


def _leaks(shape: Shape, got: Sorted, book: Book, limits: BenchLimits) -> None:
    clump_of = shape.clump_of
    least: dict[tuple[int, int], tuple[float, int, int]] = {}
    for value, one, other in got.wrong:
        a, b = sorted((clump_of[one], clump_of[other]))
        if a != b and value >= 0 and (value, one, other) < least.get((a, b), (inf, 0, 0)):
            least[a, b] = (value, one, other)
    edges = [(max(v, 0.0), clump_of[p], clump_of[q]) for v, p, q in got.special]
    for (a, b), (value, one, other) in sorted(least.items(), key=lambda item: item[1]):
        if set(shape.owners.get(a, ())) & set(shape.owners.get(b, ())):
            continue
        if _way(edges, a, b) * PATH_SHARE <= value:
            continue
        edges.append((value, a, b))
        if len(shape.clumps[a]) * len(shape.clumps[b]) <= MOST_CHECKED**2:
            floors = [book.floor(p, q) for p in shape.clumps[a] for q in shape.clumps[b] if book.get(p, q) is not None]
            if max(floors) > LEAK_UNREST * value and max(floors) > limits.leak_ohm / 2:
                shape.doubtful |= {a, b}
                shape.impossible.append((one, other, value))
                continue
        shape.leaks.append((value, one, other))
