"""Build a lead out of resistors, put faults into it, and measure it between its pins by solving the network.

Nothing here knows what the verdict will say: readings come from Kirchhoff's laws alone.
"""

import itertools
import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from inventory.calc.conductors import core_of
from maintenance.calc.bench import PairReading
from maintenance.calc.wiring import Lead
from maintenance.calc.wirings import Wiring, is_shell, wiring_read

FIXTURE = json.loads((Path(__file__).resolve().parents[2] / "fixtures" / "wirings.json").read_text())
SHIPPED = {row["key"]: row for row in FIXTURE}
RANGE_OHM = 2e7
LENGTH_M, AWG, LOUDSPEAKER_MM2 = 10.0, 24, 2.5
CONTACT_OHM = 0.01
WINDINGS = {
    "passive-box": [("AT", "AS", 1200.0), ("C2", "C3", 50.0), ("AS", "C1", 0.05)],
    "active-box": [("AT", "AS", 1e6), ("C2", "C3", 300.0), ("AS", "C1", 0.05), ("C1", "C2", 5e4), ("C1", "C3", 5e4)],
    "active-box-isolated": [("AT", "AS", 2e4), ("C2", "C3", 50.0), ("AS", "C1", 0.05), ("C1", "C2", 1e5)],
}


@cache
def wiring_of(key: str) -> Wiring:
    row = SHIPPED[key]
    counted = {"channels": 2, "returns": 1} if row["per_channel"] else {}
    return wiring_read(ends=row["ends"], nets=row["nets"], per_channel=row["per_channel"], **counted)


@cache
def lead_of(key: str) -> Lead:
    wiring = wiring_of(key)
    if "loudspeaker" in key:
        return Lead(wiring=wiring, length_m=LENGTH_M, core_mm2=LOUDSPEAKER_MM2, loudspeaker=True)
    return Lead(wiring=wiring, length_m=LENGTH_M, core_awg=AWG)


@dataclass(frozen=True)
class Fault:
    """open, high, uneven, flex at a pin; short, leak, swap between two; cable: two nets touch in the cable; channels; drift."""

    kind: str
    one: str = ""
    other: str = ""
    ohm: float = 0.0


def faults_of(key: str) -> list[Fault]:
    """Return every single fault a lead of this wiring can have."""
    wiring = wiring_of(key)
    made: list[Fault] = []
    joined = [net for net in wiring.nets if len(net.pins) > 1]
    for net in joined:
        made += [Fault("open", p) for p in net.pins] + [Fault("high", p, ohm=8.0) for p in net.pins]
        made += [Fault("flex", p) for p in net.pins]
    for end in {p[0] for p in wiring.pins}:
        pins = [p for p in wiring.pins if p[0] == end]
        for a, b in itertools.combinations(pins, 2):
            if wiring.net_of(a) is wiring.net_of(b):
                continue
            expected = wiring.expected(a, b)
            if expected.kind.value != "may be joined" or expected.low is not None:
                made += [Fault("short", a, b, 0.2)]
                if expected.kind.value == "open":
                    made += [Fault("leak", a, b, 2e4)]
            both = (wiring.net_of(a), wiring.net_of(b))
            told_apart = expected.kind.value != "may be joined"  # where anything may be read, nobody sees a swap
            if told_apart and not (is_shell(a) or is_shell(b)) and max(len(n.pins) for n in both) > 1:
                made.append(Fault("swap", a, b))
    for a, b in itertools.combinations(joined, 2):
        if wiring.expected(a.pins[0], b.pins[0]).kind.value == "open":
            made.append(Fault("cable", a.pins[0], b.pins[0], 0.2))
    for hot, _ in partners(wiring):
        made.append(Fault("uneven", hot, ohm=0.2))
    channels = wiring.channels
    if channels and len(wiring.ends) == 2:
        made += [Fault("channels", str(a), str(b)) for a, b in itertools.combinations(channels, 2)]
    made += [Fault("drift", r.a, r.b, r.ohm / 2) for r in wiring.resistors]
    return made


def partners(wiring: Wiring) -> list[tuple[str, str]]:
    """Return the first pins of legs that belong together."""
    found = []
    for net in wiring.nets:
        for other in wiring.nets:
            if (net.role, other.role) in {("hot", "cold"), ("data+", "data-")} and (net.pair, net.channel) == (
                other.pair,
                other.channel,
            ):
                found.append((net.pins[0], other.pins[0]))
    return found


def seats(wiring: Wiring, faults: tuple[Fault, ...]) -> dict[str, str]:
    """Return which core's end each pin is soldered to."""
    seat = {p: p for p in wiring.pins}
    for f in faults:
        if f.kind == "swap":
            seat[f.one], seat[f.other] = seat[f.other], seat[f.one]
        if f.kind == "channels":
            last = wiring.ends[-1].name
            mine = [[p for p in wiring.pins if p[0] == last and wiring.net_of(p).channel == int(c)] for c in (f.one, f.other)]
            for a, b in zip(*mine, strict=True):
                seat[a], seat[b] = seat[b], seat[a]
    return seat


def measured(key: str, faults: tuple[Fault, ...], *, flexed: bool = False) -> np.ndarray:
    """Return the true ohms between all pins, inf where nothing joins them."""
    wiring, lead = wiring_of(key), lead_of(key)
    copper = core_of(mm2=lead.core_mm2, awg=lead.core_awg).ohm(LENGTH_M)
    contact = 0.003 if lead.loudspeaker else CONTACT_OHM
    names: dict[object, int] = {}

    def node(name: object) -> int:
        return names.setdefault(name, len(names))

    for p in wiring.pins:
        node(p)
    seat = seats(wiring, faults)
    cut = {f.one for f in faults if f.kind == "open" or (flexed and f.kind == "flex")}
    extra = {}
    for f in faults:
        if f.kind in ("high", "uneven"):
            extra[f.one] = extra.get(f.one, 0.0) + f.ohm
    edges: list[tuple[int, int, float]] = []
    for p in wiring.pins:
        edges.append((node(p), node(("core", seat[p])), contact))
    for net in wiring.nets:
        if len(net.pins) > 1:
            for p in net.pins:
                if p not in cut:
                    hub = node(("hub", net.name))
                    edges.append((node(("core", p)), hub, copper / 2 + extra.get(p, 0.0)))
    for f in faults:
        if f.kind in ("short", "leak"):
            edges.append((node(f.one), node(f.other), f.ohm))
        if f.kind == "cable":
            hubs = [node(("hub", wiring.net_of(p).name)) for p in (f.one, f.other)]
            edges.append((hubs[0], hubs[1], f.ohm))
    drift = {frozenset((f.one, f.other)): f.ohm for f in faults if f.kind == "drift"}
    for r in wiring.resistors:
        edges.append((node(("core", r.a)), node(("core", r.b)), drift.get(frozenset((r.a, r.b)), r.ohm)))
    for a, b, ohm in WINDINGS.get(key, []):
        edges.append((node(a), node(b), ohm))
    return _solved(len(names), edges)[: len(wiring.pins), : len(wiring.pins)]


def _solved(count: int, edges: list[tuple[int, int, float]]) -> np.ndarray:
    laplacian = np.zeros((count, count))
    joined = np.eye(count, dtype=bool)
    for a, b, ohm in edges:
        g = 1.0 / ohm
        laplacian[a, a] += g
        laplacian[b, b] += g
        laplacian[a, b] -= g
        laplacian[b, a] -= g
        rows = joined[a] | joined[b]
        joined[rows] |= rows
    ohms = np.full((count, count), np.inf)
    done = np.zeros(count, dtype=bool)
    for a in range(count):
        if done[a]:
            continue
        part = np.flatnonzero(joined[a])
        done[part] = True
        # Grounding one node leaves a system that is well conditioned even with 20 kohm beside 10 milliohms.
        inner = np.zeros((len(part), len(part)))
        if len(part) > 1:
            inner[1:, 1:] = np.linalg.inv(laplacian[np.ix_(part[1:], part[1:])])
        diagonal = np.diag(inner)
        ohms[np.ix_(part, part)] = diagonal[:, None] + diagonal[None, :] - 2 * inner
    np.fill_diagonal(ohms, 0.0)
    return ohms


def readings_of(
    key: str, ohms: np.ndarray, dice: np.random.Generator | None, *, flexed: np.ndarray | None = None
) -> list[PairReading]:
    """Return every pair as a meter shows it, with its unrest; the flexed reading too where one is given."""
    pins, made = wiring_of(key).pins, []
    small = 0.001 if lead_of(key).loudspeaker else 0.004
    unrest = np.zeros((2, *ohms.shape)) if dice is None else dice.normal(0, 1, (2, *ohms.shape))
    for i, j in itertools.combinations(range(len(pins)), 2):
        for table, bent in ((ohms, False), (flexed, True)):
            if table is None or (bent and table[i, j] == ohms[i, j]):
                continue
            value = float(table[i, j])
            if value > RANGE_OHM:
                made.append(PairReading(a=pins[i], b=pins[j], above_ohms=RANGE_OHM, flexed=bent))
            else:
                shown = value * (1 + 0.003 * unrest[0, i, j]) + small * unrest[1, i, j]
                made.append(PairReading(a=pins[i], b=pins[j], ohms=max(0.0, float(shown)), flexed=bent))
    return made
