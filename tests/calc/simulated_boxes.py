"""Circuits of boxes solved node by node, to seed faults in: a second opinion that shares no formula with the program."""

from dataclasses import dataclass, field, replace

import numpy as np

LEAK = 1e-12  # siemens to ground at every node, so that what floats has a voltage
OPEN = 1e12
METER_OVER = 4e7


class Circuit:
    """Modified nodal analysis of resistors, voltage sources and ideal transformers; node 0 is the reference."""

    def __init__(self):
        self.names = {"0": 0}
        self.resistors, self.sources, self.transformers = [], [], []

    def node(self, name):
        return self.names.setdefault(name, len(self.names))

    def resistor(self, a, b, ohms):
        self.resistors.append((self.node(a), self.node(b), max(ohms, 1e-3)))

    def source(self, plus, minus, volts):
        self.sources.append((self.node(plus), self.node(minus), volts))

    def transformer(self, p, q, s, t, ratio):
        """Add an ideal transformer: V(p, q) = ratio x V(s, t), ampere-turns balanced."""
        self.transformers.append((self.node(p), self.node(q), self.node(s), self.node(t), ratio))

    def solve(self):
        n = len(self.names)
        extra = len(self.sources) + len(self.transformers)
        matrix, right = np.zeros((n + extra, n + extra)), np.zeros(n + extra)
        for i in range(1, n):
            matrix[i, i] += LEAK
        for a, b, ohms in self.resistors:
            for i, j in ((a, b), (b, a)):
                matrix[i, i] += 1 / ohms
                matrix[i, j] -= 1 / ohms
        row = n
        for plus, minus, volts in self.sources:
            matrix[plus, row] += 1
            matrix[minus, row] -= 1
            matrix[row, plus] += 1
            matrix[row, minus] -= 1
            right[row] = volts
            row += 1
        for p, q, s, t, ratio in self.transformers:
            matrix[row, p] += 1
            matrix[row, q] -= 1
            matrix[row, s] -= ratio
            matrix[row, t] += ratio
            matrix[p, row] += 1
            matrix[q, row] -= 1
            matrix[s, row] -= ratio
            matrix[t, row] += ratio
            row += 1
        keep = [i for i in range(n + extra) if i != 0]
        answer = np.zeros(n + extra)
        answer[keep] = np.linalg.solve(matrix[np.ix_(keep, keep)], right[keep])
        self.answer = answer
        return self

    def volts(self, a, b="0"):
        return self.answer[self.names[a]] - self.answer[self.names[b]]

    def current(self, source=0):
        """Return the current a source drives out of its plus."""
        return -self.answer[len(self.names) + source]


def ohms_between(build, a, b):
    """Measure a circuit with an ohmmeter: one volt, and the current it drives; None above the meter's range."""
    circuit = Circuit()
    build(circuit)
    circuit.source(a, b, 1.0)
    amps = circuit.solve().current()
    ohms = 1 / amps if amps > 0 else OPEN
    return None if ohms > METER_OVER else ohms


@dataclass(frozen=True, kw_only=True)
class PassiveBox:
    """A passive direct box: joints in ohms, so that any can be opened, and what a fault may bridge."""

    ratio: float = 12.0
    primary: float = 1500.0
    secondary: float = 40.0
    pads: dict[str, float] = field(default_factory=lambda: {"pad": 20.0, "pad-2": 40.0})
    stuck: float = 0.0  # decibels that stay in
    pad_off: float = 0.0  # decibels a pressed pad gives besides its label
    joint_primary: float = 0.0
    joint_two: float = 0.0
    joint_three: float = 0.0
    across_primary: float = OPEN
    across_secondary: float = OPEN
    lift_off: float = 0.05
    lift_on: float = OPEN
    through_tip: float = 0.05
    through_sleeve: float = 0.05
    bridge: float = OPEN  # pin 3 to sleeve
    turned: bool = False

    def dc(self, lift):
        def build(c):
            c.resistor("tip", "p", self.joint_primary)
            c.resistor("p", "sleeve", self.primary)
            c.resistor("tip", "sleeve", self.across_primary)
            c.resistor("two", "s", self.joint_two)
            c.resistor("s", "t", self.secondary)
            c.resistor("t", "three", self.joint_three)
            c.resistor("two", "three", self.across_secondary)
            c.resistor("one", "sleeve", self.lift_on if lift else self.lift_off)
            c.resistor("tip", "through tip", self.through_tip)
            c.resistor("sleeve", "through sleeve", self.through_sleeve)
            c.resistor("three", "sleeve", self.bridge)

        return build

    def level(self, *, source, load, pad=0.0):
        """Return the output over the source in volts, signed."""
        c = Circuit()
        volts = 10 ** (-(pad + self.stuck) / 20)
        c.source("gen", "0", volts)
        c.resistor("gen", "tip", source)
        c.resistor("tip", "0", self.across_primary)
        c.resistor("tip", "a", self.joint_primary)
        c.resistor("a", "p", self.primary)
        c.transformer("p", "0", "s" if not self.turned else "t", "t" if not self.turned else "s", self.ratio)
        c.resistor("s", "two-in", self.secondary)
        c.resistor("two-in", "two", self.joint_two)
        c.resistor("t", "three", self.joint_three)
        c.resistor("two", "three", self.across_secondary)
        c.resistor("two", "three", load)
        return c.solve().volts("two", "three")

    def gain(self, *, source, load, pad=0.0):
        volts = abs(self.level(source=source, load=load, pad=pad))
        return max(20 * np.log10(max(volts, 1e-7)), -130.0)

    def joined(self, a, b, *, lift=False):
        ohms = ohms_between(self.dc(lift), a, b)
        return ohms is not None and ohms < 1000

    def answers(self, *, source, load):
        """Answer every step as the bench would read it."""
        plain = self.gain(source=source, load=load)
        return {
            "gain": plain,
            "winding-out": ohms_between(self.dc(True), "two", "three"),
            "winding-in": ohms_between(self.dc(True), "tip", "sleeve"),
            "isolation": any(self.joined(a, b, lift=True) for a in ("two", "three") for b in ("tip", "sleeve")),
            "lift-off": self.joined("one", "sleeve"),
            "lift-on": self.joined("one", "sleeve", lift=True),
            "through": self.joined("tip", "through tip") and self.joined("sleeve", "through sleeve"),
            **{key: plain - self.gain(source=source, load=load, pad=label + self.pad_off) for key, label in self.pads.items()},
            "polarity": self.level(source=source, load=load) > 0,
            "crackle": False,
        }

    def with_(self, **changes):
        return replace(self, **changes)


@dataclass(frozen=True, kw_only=True)
class PhantomInput:
    """A phantom-fed input: rail, converter, two feed resistors, pin 1, and leaks."""

    volts: float = 48.0
    converter: float = 10.0
    feed_two: float = 6800.0
    feed_three: float = 6800.0
    pin_one: float = 0.05
    leak_two: float = OPEN
    most_ma: float = 1e9

    def _circuit(self):
        c = Circuit()
        c.source("rail", "0", self.volts)
        c.resistor("rail", "feed", self.converter)
        c.resistor("feed", "two", self.feed_two)
        c.resistor("feed", "three", self.feed_three)
        c.resistor("one", "0", self.pin_one)
        c.resistor("two", "one", self.leak_two)
        return c

    def _solved(self, build):
        """Solve with a converter that gives no more than its most: then as a source of that current."""
        c = self._circuit()
        build(c)
        c.solve()
        if c.current() * 1000 <= self.most_ma:
            return c
        low, high = 0.0, self.volts
        for _ in range(60):
            middle = (low + high) / 2
            c = replace(self, volts=middle, most_ma=1e9)._circuit()
            build(c)
            c.solve()
            low, high = (middle, high) if c.current() * 1000 <= self.most_ma else (low, middle)
        return c

    def open(self, pin):
        return self._solved(lambda c: c.resistor(pin, "one", 1e7)).volts(pin, "one")

    def loaded(self, ohms):
        def build(c):
            c.resistor("two", "x", 0.01)
            c.resistor("three", "x", 0.01)
            c.resistor("x", "one", ohms)

        return self._solved(build).volts("x", "one")

    def short(self, *pins, burden=1.0):
        def build(c):
            for pin in pins:
                c.resistor(pin, "x", 0.001)
            c.resistor("x", "one", burden)

        return self._solved(build).volts("x", "one") / burden * 1000

    def answers(self):
        return {
            "open-2": self.open("two"),
            "open-3": self.open("three"),
            "load": self.loaded(1400),
            "short-2": self.short("two"),
            "short-3": self.short("three"),
        }
