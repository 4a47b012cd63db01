"""The wirings that ship, against published pinouts, each named beside its check; and the judge against a graph library."""

import itertools

import numpy as np
import pytest
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from maintenance.calc.bench import PairReading, Verdict
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.wiring import Lead, judge
from maintenance.calc.wirings import Expect
from tests.calc.wiring_lab import SHIPPED, wiring_of

# AES59, 25-pin D-sub, analogue audio: hot, cold, screen of channels 1 to 8; three published tables agree.
AES59 = [(24, 12, 25), (10, 23, 11), (21, 9, 22), (7, 20, 8), (18, 6, 19), (4, 17, 5), (15, 3, 16), (1, 14, 2)]


def nets_of(key):
    wiring = wiring_of(key)
    return {frozenset(net.pins): net.role.value for net in wiring.nets if len(net.pins) > 1}


@pytest.mark.parametrize("key", ["dsub-8", "dsub-8-sockets"])
def test_d_sub_against_aes59(key):
    wanted = {}
    for k, (hot, cold, screen) in enumerate(AES59, 1):
        wanted |= {
            frozenset({f"A{screen}", f"B{k}.1"}): "screen",
            frozenset({f"A{hot}", f"B{k}.2"}): "hot",
            frozenset({f"A{cold}", f"B{k}.3"}): "cold",
        }
    assert nets_of(key) == wanted
    used = {pin for row in AES59 for pin in row}
    assert set(range(1, 26)) - used == {13}
    assert all(wiring_of(key).expected("A13", p).kind is Expect.OPEN for p in wiring_of(key).pins if p != "A13")


def test_straight_d_sub_numbers_its_channels_as_aes59():
    wiring = wiring_of("dsub-8-straight")
    for k, (hot, cold, screen) in enumerate(AES59, 1):
        for pin, role in ((hot, "hot"), (cold, "cold"), (screen, "screen")):
            net = wiring.net_of(f"A{pin}")
            assert (set(net.pins), net.role, net.pair) == ({f"A{pin}", f"B{pin}"}, role, k)


def test_three_pin_against_aes14():
    """AES14-1992 and IEC 61076-2-103: 1 screen, 2 hot, 3 cold; pin 2 through to pin 2, the shell apart."""
    wanted = {frozenset({"A1", "B1"}): "screen", frozenset({"A2", "B2"}): "hot", frozenset({"A3", "B3"}): "cold"}
    assert nets_of("three-pin") == wanted == nets_of("hybrid")
    assert wiring_of("three-pin").expected("A1", "Ash").kind is Expect.OPEN


def test_dmx_against_ansi_e1_11():
    """ANSI E1.11 (DMX512-A): 1 common, 2 data 1 -, 3 data 1 +, 4 data 2 -, 5 data 2 +; the common not on the shell."""
    roles = {1: ("common", None), 2: ("data-", 1), 3: ("data+", 1), 4: ("data-", 2), 5: ("data+", 2)}
    wiring = wiring_of("dmx-5")
    for pin, (role, pair) in roles.items():
        net = wiring.net_of(f"A{pin}")
        assert (set(net.pins), net.role, net.pair) == ({f"A{pin}", f"B{pin}"}, role, pair)
    assert wiring.expected("A1", "Ash").kind is wiring.expected("B1", "Bsh").kind is Expect.OPEN
    end = wiring_of("dmx-terminator").expected("A2", "A3")
    assert (end.ohm, end.low, end.high) == (120, pytest.approx(108), pytest.approx(132))
    assert wiring_of("dmx-terminator").expected("A4", "A5").kind is Expect.OPEN


def test_midi_against_the_midi_1_0_electrical_specification():
    """MIDI 1.0: 4 and 5 carry the loop, 2 the screen, 1 and 3 are not used."""
    joined = nets_of("midi")
    assert set(joined) == {frozenset({f"A{p}", f"B{p}"}) for p in (2, 4, 5)}
    assert joined[frozenset({"A2", "B2"})] == "screen"


def test_network_pairs_against_ansi_tia_568():
    """ANSI/TIA-568: pairs on 4-5, 1-2, 3-6 and 7-8, straight through."""
    wiring = wiring_of("network-straight")
    pairs = {}
    for pin in range(1, 9):
        net = wiring.net_of(f"A{pin}")
        assert f"B{pin}" in net.pins
        pairs.setdefault(net.pair, set()).add(pin)
    assert pairs == {1: {4, 5}, 2: {1, 2}, 3: {3, 6}, 4: {7, 8}}
    assert "split pairs" in SHIPPED["network-straight"]["notes"]


def test_6_35_mm_plugs_against_makers_manuals():
    """Tip hot, ring cold, sleeve screen (mixer manuals; IEC 60603-11 for the plug): T to 2, R to 3, S to 1."""
    assert nets_of("trs-three-pin") == {
        frozenset({"AT", "B2"}): "hot",
        frozenset({"AR", "B3"}): "cold",
        frozenset({"AS", "B1"}): "screen",
    }


def test_inserts_against_mixer_manuals():
    """Tip sends, ring returns, sleeve in common; the reverse insert turns the first two round."""
    usual = {frozenset({"AT", "BT"}): "send", frozenset({"AR", "CT"}): "return", frozenset({"AS", "BS", "CS"}): "screen"}
    assert nets_of("insert-y") == usual
    turned = {frozenset({"AR", "BT"}): "send", frozenset({"AT", "CT"}): "return", frozenset({"AS", "BS", "CS"}): "screen"}
    assert nets_of("insert-y-reverse") == turned


def test_unbalanced_adapters_against_notes_on_joining_gear():
    """Unbalanced source: tip to 2, sleeve to 1 and 3. Balanced source: pin 3 grounded or left open, two different adapters."""
    assert set(nets_of("ts-three-pin")) == {frozenset({"AT", "B2"}), frozenset({"AS", "B1", "B3"})}
    assert set(nets_of("three-pin-ts-grounded")) == {frozenset({"A2", "BT"}), frozenset({"A1", "A3", "BS"})}
    assert set(nets_of("three-pin-ts-open")) == {frozenset({"A2", "BT"}), frozenset({"A1", "BS"})}


def test_loudspeaker_leads_against_the_connectors_own_pages():
    """1+ to 1+, 1- to 1-; two cores in 4-pole shells leave 2+ and 2- open; the cross-over lead turns the pairs round."""
    assert set(nets_of("loudspeaker-4-two-core")) == {frozenset({"A1+", "B1+"}), frozenset({"A1-", "B1-"})}
    assert wiring_of("loudspeaker-4-two-core").expected("A2+", "B2+").kind is Expect.OPEN
    cross = {("A1+", "B2+"), ("A1-", "B2-"), ("A2+", "B1+"), ("A2-", "B1-")}
    assert set(nets_of("loudspeaker-4-cross")) == {frozenset(p) for p in cross}


@pytest.mark.parametrize("key", sorted(SHIPPED))
def test_clean_continuity_is_judged_as_a_graph_library_sees_it(key):
    """A lamp tester's picture of any grouping of pins passes if and only if its components are those of the wiring."""
    wiring, dice = wiring_of(key), np.random.default_rng(59)
    if wiring.resistors or wiring.maybes:
        pytest.skip("lamps do not settle resistors, gaps and windings")
    index, count = wiring.index, len(wiring.pins)
    meant = [(index[net.pins[0]], index[p]) for net in wiring.nets for p in net.pins[1:]]
    _, good = connected_components(_matrix(meant, count), directed=False)
    for turn in range(12):
        edges = list(meant)
        if turn % 3 == 1:
            edges.pop(dice.integers(len(edges)))
        if turn % 3 == 2:
            edges.append(tuple(dice.choice(count, 2, replace=False)))
        _, parts = connected_components(_matrix(edges, count), directed=False)
        readings = [
            PairReading(a=wiring.pins[i], b=wiring.pins[j], beep=bool(parts[i] == parts[j]))
            for i, j in itertools.combinations(range(count), 2)
        ]
        verdict = judge(lead=Lead(wiring=wiring), readings=readings, limits=BenchLimits()).verdict
        same = bool(np.array_equal(parts[:, None] == parts, good[:, None] == good))
        assert (verdict is Verdict.PASS) == same


def _matrix(edges, count):
    rows, columns = zip(*edges, strict=True)
    return csr_matrix((np.ones(len(edges)), (rows, columns)), shape=(count, count))
