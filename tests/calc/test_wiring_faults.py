"""Every fault, and every pair of faults, in every wiring that ships: found, named, and named once.

Faults are put into a network of resistors which is solved, so that two faults that hide one another hide as they really do.
What must be named is then this: the findings must be exactly those of a set of faults that has these readings, and of no more
faults than were put in. Sets with the same readings no tester can tell apart; a fault that changes no reading none can find.
"""

import itertools
import os
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from maintenance.calc.bench import Depth, Finding, Verdict
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.wiring import core_limits, judge
from maintenance.calc.wirings import end_of
from tests.calc.wiring_lab import SHIPPED, Fault, faults_of, lead_of, measured, partners, readings_of, seats, wiring_of

LIMITS = BenchLimits()
# All of a small wiring; so many, drawn with a fixed seed, of a large one. KNOWNGOOD_ALL_FAULTS=1 takes them all: hours.
EVERY = bool(os.environ.get("KNOWNGOOD_ALL_FAULTS"))
MOST_SINGLES, MOST_PAIRS = (10**9, 10**9) if EVERY else (160, 60)
CUT, TIED = {"open", "shield-open"}, {"short", "shell"}


def judged(key, faults, seed=7):
    still, bent = measured(key, faults), None
    if any(f.kind == "flex" for f in faults):
        bent = measured(key, faults, flexed=True)
    readings = readings_of(key, still, np.random.default_rng(seed), flexed=bent)
    return judge(lead=lead_of(key), readings=readings, limits=LIMITS, null_ohms=0.0, depth=Depth.OHMS_FLEXED)


@cache
def print_of(key, faults):
    """Return what readings of a lead can show at all, coarse enough that noise does not change it."""
    still = measured(key, faults)
    parts = [_graded(key, still)]
    parts.append(_graded(key, measured(key, faults, flexed=True)) if any(f.kind == "flex" for f in faults) else parts[0])
    uneven = []
    wiring = wiring_of(key)
    for hot, cold in partners(wiring):
        rows = [[wiring.index[p] for p in wiring.net_of(pin).pins] for pin in (hot, cold)]
        a, b = (still[row[0], row[1]] for row in rows)
        # A leg that is tied to anything else reads through that as well.
        tied = any(np.sum(still[row[0]] < 1_000) > len(row) for row in rows)
        uneven.append(bool(not tied and max(a, b) < 1.17 and abs(a - b) > 0.1 * max(a, b) + 0.05))
    return (*(p.tobytes() for p in parts), tuple(uneven))


def _graded(key, ohms):
    limit = core_limits(lead=lead_of(key), limits=LIMITS, temperature_c=20).core.pass_ohm
    grades = np.zeros(ohms.shape, dtype=np.int8)
    wiring = wiring_of(key)
    # A resistor that is meant to be there has grades of its own: what hides in its tolerance is hidden.
    for edge, grade in ((3 * limit, 1), (13.0, 2), (1_000.0, 3), (15_000.0, 4), (1e6, 5)):
        grades[ohms > edge] = grade
    for m in wiring.maybes:
        if m.over_ohm is None:  # where anything may be read, nothing is told
            for i, j in itertools.product(*([wiring.index[p] for p in wiring.net_of(pin).pins] for pin in (m.a, m.b))):
                grades[i, j] = grades[j, i] = 0
    for r in wiring.resistors:
        i, j = wiring.index[r.a], wiring.index[r.b]
        grades[i, j] = grades[j, i] = 20 + int(ohms[i, j] > 0.9 * r.ohm) + int(ohms[i, j] < r.ohm / 10) * 5
    return grades


def claims(key: str, fault: Fault, finding: Finding, ohms: np.ndarray, faults: tuple[Fault, ...]) -> bool:
    """Say whether a finding names a fault. A fault of a core is told by the pin that core is soldered to."""
    wiring, pins = wiring_of(key), set(finding.pins)
    if fault.kind in {"open", "high", "uneven", "flex"}:
        seat = seats(wiring, faults)
        fault = replace(fault, one=next(p for p in wiring.pins if seat[p] == fault.one))

    def net(pin):
        return set(wiring.net_of(pin).pins)

    def near(pin):
        row = ohms[wiring.index[pin]]
        return {wiring.pins[n] for n in np.flatnonzero(row < 1_000)}

    match fault.kind:
        case "open":
            return finding.name in CUT and bool(pins & {fault.one, *net(fault.one)})
        case "high":
            return finding.name == "high-resistance" and fault.one in pins
        case "uneven":
            return finding.name == "uneven-legs"
        case "flex":
            return finding.name == "intermittent" and bool(pins & (near(fault.one) | net(fault.one)))
        case "short":
            return finding.name in TIED and {fault.one, fault.other} <= pins
        case "cable":
            return finding.name in TIED and bool(pins & net(fault.one)) and bool(pins & net(fault.other))
        case "swap":
            return finding.name in {"legs-swapped", "miswired"} and {fault.one, fault.other} <= pins
        case "leak":
            return finding.name == "leak" and bool(pins & near(fault.one)) and bool(pins & near(fault.other))
        case "channels":
            channels = {str(wiring.net_of(p).channel) for p in pins}
            return finding.name == "channels-swapped" and {fault.one, fault.other} <= channels
        case "drift":
            return finding.name == "resistor" and {fault.one, fault.other} <= pins
    raise AssertionError(fault.kind)


def explained(key, faults, findings):
    """Say whether findings are exactly those of a set of faults: each fault named, each finding owed to a fault."""
    ohms = measured(key, faults)
    faults = tuple(f for f in faults if not in_an_allowed_gap(key, f, ohms))
    return (
        len(findings) <= len(faults)
        and all(any(claims(key, f, finding, ohms, faults) for finding in findings) for f in faults)
        and all(any(claims(key, f, finding, ohms, faults) for f in faults) for finding in findings)
    )


def in_an_allowed_gap(key, fault, ohms):
    """Say whether a leak ends where the wiring lets a resistor be, because something else ties it there: nobody can tell."""
    if fault.kind != "leak":
        return False
    wiring = wiring_of(key)
    row, other = ohms[wiring.index[fault.one]] < 1_000, ohms[wiring.index[fault.other]] < 1_000
    ways = [(wiring.index[m.a], wiring.index[m.b]) for m in wiring.maybes]
    return any((row[a] and other[b]) or (row[b] and other[a]) for a, b in ways)


def accepted(key, faults, findings):
    """Say whether findings explain the readings of these faults, by these or by others that read the same."""
    if explained(key, faults, findings):
        return True
    wiring = wiring_of(key)
    shown = print_of(key, faults)
    if shown == print_of(key, ()):
        return not findings
    near = [f for f in faults_of(key) if touching(wiring, f, faults)]
    alike = [(f,) for f in near if print_of(key, (f,)) == shown]
    if alike and len(faults) > 1:
        return any(explained(key, other, findings) for other in alike)
    # Two swaps at both ends can read like one core tied across: those are tried as well.
    mine = [p for p in wiring.pins if touching(wiring, Fault("open", p), faults)]
    near += [Fault("short", a, b, 0.2) for a, b in itertools.combinations(mine, 2) if end_of(a) != end_of(b)]
    pairs = itertools.combinations(near, 2) if len(faults) > 1 else ()
    return any(explained(key, pair, findings) and print_of(key, pair) == shown for pair in pairs)


def touching(wiring, fault, faults):
    if fault.kind in {"channels", "drift"}:
        return True
    mine = {id(wiring.net_of(p)) for p in (fault.one, fault.other) if p}
    theirs = set()
    for f in faults:
        if f.kind == "channels":
            theirs |= {id(n) for n in wiring.nets if str(n.channel) in (f.one, f.other)}
        else:
            theirs |= {id(wiring.net_of(p)) for p in (f.one, f.other) if p}
    return mine <= theirs


def drawn(everything, most):
    if len(everything) <= most:
        return everything
    return [everything[n] for n in sorted(np.random.default_rng(20).choice(len(everything), most, replace=False))]


def told(judgement):
    return [(f.name, f.pins, f.text) for f in judgement.findings], judgement.reasons


@pytest.mark.parametrize("key", sorted(SHIPPED))
def test_a_good_lead_raises_nothing(key):
    judgement = judged(key, ())
    assert judgement.verdict is Verdict.PASS, told(judgement)
    assert not judgement.findings


@pytest.mark.parametrize("key", sorted(SHIPPED))
def test_every_single_fault_is_found_and_named(key):
    wrong = []
    for fault in drawn(faults_of(key), MOST_SINGLES):
        judgement = judged(key, (fault,))
        hidden = print_of(key, (fault,)) == print_of(key, ())
        if hidden != (judgement.verdict is Verdict.PASS) or not accepted(key, (fault,), judgement.findings):
            wrong.append((fault, told(judgement)))
    assert not wrong, wrong[:3]


@pytest.mark.parametrize("key", sorted(SHIPPED))
def test_every_pair_of_faults_is_found_and_named(key):
    wrong, pairs = [], drawn(list(itertools.combinations(faults_of(key), 2)), MOST_PAIRS)
    for pair in pairs:
        judgement = judged(key, pair)
        if judgement.verdict is Verdict.CANNOT_TELL or not accepted(key, pair, judgement.findings):
            wrong.append((pair, told(judgement)))
    assert not wrong, (len(wrong), len(pairs), wrong[:3])


def test_faults_are_put_at_every_end_and_of_every_kind():
    faults = faults_of("three-pin")
    assert {f.kind for f in faults} == {"open", "high", "flex", "short", "leak", "swap", "cable", "uneven"}
    assert {end_of(f.one) for f in faults if f.kind == "short"} == {"A", "B"}
    assert {f.kind for f in faults_of("multicore")} >= {"channels"}
    assert {f.kind for f in faults_of("dmx-terminator")} >= {"drift"}
