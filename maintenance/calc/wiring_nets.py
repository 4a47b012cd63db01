"""What a wiring is once read: ends, pins, nets, and what every pair of pins must read."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

SHELL = "sh"


class WiringError(ValueError):
    """A wiring that contradicts itself or cannot be read. The words say where, for a person."""


class Role(StrEnum):
    """The part a net plays; it decides the limit it is held against and what a fault of it does."""

    HOT = "hot"
    COLD = "cold"
    SCREEN = "screen"
    COMMON = "common"  # the data common of a lighting line: screened like a screen, and never on a shell
    CORE = "core"
    SEND = "send"
    RETURN = "return"
    LEFT = "left"
    RIGHT = "right"
    PLUS = "plus"
    MINUS = "minus"
    DATA_PLUS = "data+"
    DATA_MINUS = "data-"


SCREENS = frozenset({Role.SCREEN, Role.COMMON})
PARTNERS = {Role.HOT: Role.COLD, Role.PLUS: Role.MINUS, Role.DATA_PLUS: Role.DATA_MINUS}
PIN_WORDS = {"T": "tip", "R": "ring", "S": "sleeve", SHELL: "shell", "c": "centre", "s": "outer"}


class Expect(StrEnum):
    JOINED = "joined"
    OPEN = "open"
    RESISTOR = "resistor"
    MAYBE = "may be joined"


@dataclass(frozen=True, kw_only=True)
class Expected:
    """What a pair must read: `low` and `high` in ohms bound a resistor; `low` alone bounds a pair that may be joined."""

    kind: Expect
    low: float | None = None
    high: float | None = None
    ohm: float | None = None


JOINED, OPEN = Expected(kind=Expect.JOINED), Expected(kind=Expect.OPEN)
ANYTHING = Expected(kind=Expect.MAYBE)


@dataclass(frozen=True, kw_only=True)
class End:
    """One end: its letter, what plugs are on it, its pins as printed there. `plug_back` is the plug of a return channel."""

    name: str
    plug: str
    pins: tuple[str, ...]
    plug_back: str = ""


@dataclass(frozen=True, kw_only=True)
class Net:
    """Pins that are joined, as "A1"; one pin alone is a net of its own that must stay open. `pair` numbers legs and screens."""

    pins: tuple[str, ...]
    role: Role = Role.CORE
    pair: int | None = None
    channel: int | None = None
    name: str = ""

    @property
    def is_screen(self) -> bool:
        return self.role in SCREENS


@dataclass(frozen=True, kw_only=True)
class Resistor:
    a: str
    b: str
    ohm: float
    percent: float


@dataclass(frozen=True, kw_only=True)
class Maybe:
    a: str
    b: str
    over_ohm: float | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Wiring:
    """A wiring read and found sound; the same words give the same object, so it may key a cache.

    `nets` first hold the joined pins, in the order written, then every pin left alone. `sends` and `returns` count channels of
    a wiring written per channel; a wiring of several plugs an end has its channels numbered by those plugs.
    """

    ends: tuple[End, ...]
    nets: tuple[Net, ...]
    resistors: tuple[Resistor, ...]
    maybes: tuple[Maybe, ...]
    pins: tuple[str, ...]
    sends: int | None = None
    returns: int = 0
    notation: tuple[str, str] = ("", "")
    index: Mapping[str, int] = field(default_factory=dict, repr=False)
    net_index: tuple[int, ...] = field(default=(), repr=False)  # which net each pin is of
    net_pins: tuple[tuple[int, ...], ...] = field(default=(), repr=False)  # the pins of each net
    end_index: tuple[int, ...] = field(default=(), repr=False)
    channel_index: tuple[int | None, ...] = field(default=(), repr=False)
    special: Mapping[tuple[int, int], Expected] = field(default_factory=dict, repr=False)  # by two nets, the smaller first
    joined_nets: int = 0  # how many nets join pins; the rest are pins alone
    spoken: Mapping[str, str] = field(default_factory=dict, repr=False)  # lower-case spellings

    def expected(self, a: str, b: str) -> Expected:
        """Return what a pair of pins must read; WiringError names a pin that does not exist."""
        one, other = self.index[self.pin(a)], self.index[self.pin(b)]
        return self.expected_at(one, other)

    def expected_at(self, one: int, other: int) -> Expected:
        first, second = self.net_index[one], self.net_index[other]
        if first == second:
            return JOINED
        return self.special.get((first, second) if first < second else (second, first), OPEN)

    def pin(self, spelt: str) -> str:
        """Return a pin as this wiring writes it (`a1`: A1; `AR2.1`: pin 1 of return 2); WiringError when there is none."""
        if spelt in self.index:
            return spelt
        found = self.spoken.get(spelt.strip().lower())
        if found is None:
            raise WiringError(f"There is no pin {spelt.strip() or '(nothing)'} in this wiring. {self._pins_told()}")
        return found

    def net_of(self, pin: str) -> Net:
        return self.nets[self.net_index[self.index[pin]]]

    def channel_words(self, channel: int) -> str:
        """Return how a channel is called: 14, or return 2."""
        if self.sends is not None and channel > self.sends:
            return f"return {channel - self.sends}"
        return str(channel)

    def plug_at(self, end: End, channel: int | None = None) -> str:
        """Return the plug of one channel at an end; sexes turn round on returns."""
        back = self.sends is not None and channel is not None and channel > self.sends
        return end.plug_back if back else end.plug

    @property
    def channels(self) -> tuple[int, ...]:
        return tuple(sorted({c for c in self.channel_index if c is not None}))

    def matrix(self) -> Iterator[tuple[str, str, Expected]]:
        """Yield every pair of pins once with what it must read."""
        for one, a in enumerate(self.pins):
            for other in range(one + 1, len(self.pins)):
                yield a, self.pins[other], self.expected_at(one, other)

    def _pins_told(self) -> str:
        parts = []
        for at, end in enumerate(self.ends):
            mine = [p for i, p in enumerate(self.pins) if self.end_index[i] == at]
            parts.append(f"{mine[0]} to {mine[-1]}" if len(mine) > 6 else ", ".join(mine))
            if not end.pins:
                parts.pop()
        return f"Its pins are {'; '.join(parts)}."


def end_of(pin: str) -> str:
    return pin[0]


def local_of(pin: str) -> str:
    """Return a pin without its end: A14.2 is 14.2."""
    return pin[1:]


def is_shell(pin: str) -> bool:
    return pin.endswith(SHELL)


def pin_name(pin: str) -> str:
    """Return the pin's own name at its plug: A14.2 is 2, BT is T."""
    return pin[1:].rpartition(".")[2]


def pin_words(pin: str) -> str:
    """Return a pin for a sentence: A2, A tip, A shell, A14.2."""
    name = pin_name(pin)
    return f"{pin[: len(pin) - len(name)]} {PIN_WORDS[name]}" if name in PIN_WORDS else pin


def channel_of(pins: tuple[str, ...]) -> int | None:
    """Return the one channel pins are of, or None."""
    told = {int(head) for p in pins if (head := local_of(p).rpartition(".")[0])}
    return told.pop() if len(told) == 1 else None
