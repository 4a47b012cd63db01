"""Wirings in a notation a technician reads and writes: the ends with their pins, and which pins are joined.

An end a line: `A: three-pin socket: 1 2 3 sh` (`1..25` counts up; `2.1` is pin 1 of the second of several plugs on that end).
Pieces of the nets are parted by `|` or by lines:

    A2=B2 hot               joined, with the part it plays; `hot 2` for a second pair
    A2~A3 120 ohm 10 %      a resistor between two pins, within so much
    A1?B1 over 1000 ohm     may be joined or not, but never below so much; `A1?B1` alone: anything may be read there
    A4                      stays open, said aloud

Every pair that is not named must be open; the whole matrix follows. `sh` is a plug's metal shell.
"""

import re
from dataclasses import dataclass, replace
from functools import lru_cache

from maintenance.calc.wiring_nets import (
    ANYTHING,
    JOINED,
    OPEN,
    PARTNERS,
    SCREENS,
    SHELL,
    End,
    Expect,
    Expected,
    Maybe,
    Net,
    Resistor,
    Role,
    Wiring,
    WiringError,
    channel_of,
    end_of,
    is_shell,
    local_of,
    pin_name,
    pin_words,
)

__all__ = [
    "ANYTHING",
    "JOINED",
    "MOST_CHANNELS",
    "MOST_PINS",
    "OPEN",
    "PARTNERS",
    "SCREENS",
    "SHELL",
    "End",
    "Expect",
    "Expected",
    "Maybe",
    "Net",
    "Resistor",
    "Role",
    "Wiring",
    "WiringError",
    "channel_of",
    "end_of",
    "is_shell",
    "local_of",
    "pin_name",
    "pin_words",
    "wiring_read",
    "wiring_write",
]

MOST_PINS, MOST_CHANNELS = 2_000, 256


@lru_cache(maxsize=512)
def wiring_read(
    *, ends: str, nets: str, channels: int | None = None, returns: int = 0, per_channel: bool | None = None
) -> Wiring:
    """Return the wiring two texts say; WiringError holds a sentence about the first contradiction.

    `channels` makes it per channel: ends and nets are those of one; `channels` sends are made of it, and `returns` more whose
    sexes are turned round. `per_channel` says that a count is due (True) or not allowed (False). To check such a wiring where
    no count is known, read it with one channel.
    """
    _channels_checked(channels, returns, per_channel)
    read_ends = _ends_read(ends, dotted=channels is None)
    pieces = _pieces_read(nets, read_ends)
    _pieces_checked(pieces)
    return _wiring_made(read_ends, pieces, channels, returns)


def wiring_write(wiring: Wiring) -> tuple[str, str]:
    """Return the texts of ends and nets that read back as the same wiring (of one channel, when it is per channel)."""
    return wiring.notation


@dataclass(frozen=True, kw_only=True)
class _Pieces:
    nets: tuple[Net, ...]
    resistors: tuple[Resistor, ...]
    maybes: tuple[Maybe, ...]
    alone: tuple[str, ...]


_PIN = re.compile(r"(?:(\d{1,3})\.)?(?!sh\.)([0-9A-Za-z]{1,6}[+-]?)")
_COUNT = re.compile(r"(\d{1,3})\.\.(\d{1,3})")
_RESISTOR = re.compile(r"(\d+(?:\.\d+)?)\s*(k)?\s*ohms?(?:\s+(\d+(?:\.\d+)?)\s*%)?", re.IGNORECASE)
_OVER = re.compile(r"over\s+(\d+(?:\.\d+)?)\s*(k|m)?\s*ohms?", re.IGNORECASE)


def _channels_checked(channels: int | None, returns: int, per_channel: bool | None) -> None:
    if per_channel and channels is None:
        raise WiringError("This wiring is that of one channel: say how many channels the multicore has.")
    if per_channel is False and channels is not None:
        raise WiringError("This wiring names every pin itself: it takes no number of channels.")
    if channels is not None and (channels < 0 or returns < 0 or channels + returns < 1):
        raise WiringError("A multicore has one channel at least.")
    if channels is not None and channels + returns > MOST_CHANNELS:
        raise WiringError(f"{channels + returns} channels are more than the {MOST_CHANNELS} a wiring can have.")


def _ends_read(text: str, *, dotted: bool) -> tuple[End, ...]:
    made: list[End] = []
    for line in text.splitlines():
        if not line.strip():
            continue
        parts = [part.strip() for part in line.split(":")]
        if len(parts) != 3 or not re.fullmatch(r"[A-Za-z]", parts[0]) or not parts[1]:
            raise WiringError(
                f"“{line.strip()}” is no end. Write a letter, the plug and its pins: A: three-pin socket: 1 2 3 sh"
            )
        name, plug = parts[0].upper(), parts[1]
        if any(end.name == name for end in made):
            raise WiringError(f"End {name} is named twice.")
        pins = _pins_read(name, parts[2], dotted=dotted)
        made.append(End(name=name, plug=plug, pins=pins, plug_back=_turned(plug)))
    if not made:
        raise WiringError("No end is named. Write an end a line: A: three-pin socket: 1 2 3 sh")
    return tuple(made)


def _pins_read(end: str, text: str, *, dotted: bool) -> tuple[str, ...]:
    made: list[str] = []
    for word in text.replace(",", " ").split():
        counted = _COUNT.fullmatch(word)
        if counted:
            low, high = int(counted[1]), int(counted[2])
            if low >= high:
                raise WiringError(f"End {end}: {word} counts nothing; the greater number comes second.")
            made.extend(str(n) for n in range(low, high + 1))
            continue
        spelt = _PIN.fullmatch(word)
        if not spelt:
            raise WiringError(f"End {end}: “{word}” is no pin. A pin is a few letters or digits, such as 1, T, 2+ or sh.")
        if spelt[1] and not dotted:
            raise WiringError(
                f"End {end}: pin {word} names a channel, but channels are counted for it: leave “{spelt[1]}.” out."
            )
        made.append(SHELL if word.lower() == SHELL else word)
    if not made:
        raise WiringError(f"End {end} has no pins.")
    seen: set[str] = set()
    for pin in made:
        if pin.lower() in seen:
            raise WiringError(f"End {end} has pin {pin} twice.")
        seen.add(pin.lower())
    return tuple(made)


def _turned(plug: str) -> str:
    swapped = {"socket": "plug", "plug": "socket", "sockets": "plugs", "plugs": "sockets"}
    return re.sub(r"\b(sockets?|plugs?)\b", lambda m: swapped[m[1]], plug)


def _pieces_read(text: str, ends: tuple[End, ...]) -> _Pieces:
    spoken = {f"{end.name}{pin}".lower(): f"{end.name}{pin}" for end in ends for pin in end.pins}
    nets: list[Net] = []
    resistors: list[Resistor] = []
    maybes: list[Maybe] = []
    alone: list[str] = []

    def pin(word: str, piece: str) -> str:
        found = spoken.get(word.strip().lower())
        if found is None:
            letters = ", ".join(e.name for e in ends)
            where = next((e for e in ends if e.name == word.strip()[:1].upper()), None)
            has = f"End {where.name} has {' '.join(where.pins)}." if where else f"The ends are {letters}."
            raise WiringError(f"“{piece}” names pin {word.strip() or '(nothing)'}, which does not exist. {has}")
        return found

    for piece in (p.strip() for p in re.split(r"[|\n]", text)):
        if not piece:
            continue
        kind = next((c for c in "=~?" if c in piece), "")
        if len({c for c in piece if c in "=~?"}) > 1:
            raise WiringError(f"“{piece}” says two things at once. Write = for joined, ~ for a resistor, ? for may be joined.")
        head, _, tail = _tail_parted(piece)
        words = head.split(kind) if kind else [head]
        found = tuple(pin(w, piece) for w in words)
        twice = next((p for n, p in enumerate(found) if p in found[:n]), None)
        if twice:
            raise WiringError(f"“{piece}” joins pin {twice} to itself.")
        if kind == "=":
            role, pair = _role_read(tail, piece)
            nets.append(Net(pins=found, role=role, pair=pair))
        elif kind and len(found) != 2:
            raise WiringError(f"“{piece}” names {len(found)} pins; a {kind} stands between two.")
        elif kind == "~":
            resistors.append(_resistor_read(found, tail, piece))
        elif kind == "?":
            maybes.append(_maybe_read(found, tail, piece))
        elif tail and tail.lower() != "open":
            raise WiringError(f"“{piece}” joins {found[0]} to nothing. Say to what, as A1=B1, or leave “{tail}” out.")
        else:
            alone.append(found[0])
    return _Pieces(nets=tuple(nets), resistors=tuple(resistors), maybes=tuple(maybes), alone=tuple(alone))


def _tail_parted(piece: str) -> tuple[str, str, str]:
    """Part the pins from the words after them; spaces round the signs are nothing."""
    tight = re.sub(r"\s*([=~?])\s*", r"\1", piece)
    return tight.partition(" ")


def _role_read(tail: str, piece: str) -> tuple[Role, int | None]:
    if not tail.strip():
        return Role.CORE, None
    spelt = re.fullmatch(r"([a-z]+[+-]?)(?:\s+(\d{1,3}))?", tail.strip().lower())
    if not spelt or spelt[1] not in set(Role):
        raise WiringError(f"“{piece}”: “{tail.strip()}” is no part a net plays. Write one of {', '.join(Role)}, or nothing.")
    return Role(spelt[1]), int(spelt[2]) if spelt[2] else None


def _resistor_read(pins: tuple[str, ...], tail: str, piece: str) -> Resistor:
    spelt = _RESISTOR.fullmatch(tail.strip())
    if not spelt:
        raise WiringError(f"“{piece}”: write how many ohms and how far off they may be, as A2~A3 120 ohm 10 %")
    ohm, percent = float(spelt[1]) * (1000 if spelt[2] else 1), float(spelt[3] or 5)
    if ohm <= 0 or not 0 < percent < 100:
        raise WiringError(f"“{piece}”: a resistor has more than 0 ohm, and a tolerance between 0 and 100 %.")
    return Resistor(a=pins[0], b=pins[1], ohm=ohm, percent=percent)


def _maybe_read(pins: tuple[str, ...], tail: str, piece: str) -> Maybe:
    if not tail.strip():
        return Maybe(a=pins[0], b=pins[1])
    spelt = _OVER.fullmatch(tail.strip())
    if not spelt:
        raise WiringError(f"“{piece}”: write the least it may read, as A1?B1 over 1000 ohm, or nothing after the pins.")
    over = float(spelt[1]) * {"": 1, "k": 1e3, "m": 1e6}[(spelt[2] or "").lower()]
    return Maybe(a=pins[0], b=pins[1], over_ohm=over)


def _pieces_checked(pieces: _Pieces) -> None:
    home: dict[str, Net] = {}
    for net in pieces.nets:
        for pin in net.pins:
            if pin in home:
                raise WiringError(f"Pin {pin} is in two nets: {_joined(home[pin])} and {_joined(net)}. Write them as one.")
            home[pin] = net
    for pin in pieces.alone:
        if pin in home:
            raise WiringError(f"Pin {pin} is said to stay open, and joined in {_joined(home[pin])}.")
    taken: dict[tuple[Role, int | None, int | None], Net] = {}
    for net in pieces.nets:
        key = (net.role, net.pair, channel_of(net.pins))
        if net.role is not Role.CORE and key in taken:
            both = f"{_joined(taken[key])} and {_joined(net)}"
            raise WiringError(f"Two nets are both “{net.role}”: {both}. Number them: {net.role} 1, {net.role} 2.")
        taken[key] = net
    between: dict[frozenset[object], str] = {}
    for kind, a, b in [("a resistor", r.a, r.b) for r in pieces.resistors] + [("a ?", m.a, m.b) for m in pieces.maybes]:
        if a in home and home.get(b) is home[a]:
            raise WiringError(f"{a} and {b} are joined in {_joined(home[a])}; {kind} between them says otherwise.")
        key_of = frozenset(id(home[p]) if p in home else p for p in (a, b))
        if key_of in between:
            raise WiringError(f"{a} and {b} are spoken of twice: {between[key_of]}, and {kind}.")
        between[key_of] = kind
    if not (pieces.nets or pieces.resistors or pieces.maybes):
        raise WiringError("Nothing is joined. Write which pins are, as A1=B1 | A2=B2 | A3=B3")


def _joined(net: Net) -> str:
    return "=".join(net.pins)


def _wiring_made(ends: tuple[End, ...], base: _Pieces, sends: int | None, returns: int) -> Wiring:
    numbers: tuple[int | None, ...] = (None,) if sends is None else tuple(range(1, sends + returns + 1))
    if len(numbers) * sum(len(end.pins) for end in ends) > MOST_PINS:
        raise WiringError(f"That is more than the {MOST_PINS:,} pins a wiring can have.")

    def at(pin: str, channel: int | None) -> str:
        return pin if channel is None else f"{pin[0]}{channel}.{pin[1:]}"

    pins = [at(end.name + pin, k) for end in ends for k in numbers for pin in end.pins]
    nets = [
        Net(pins=tuple(at(p, k) for p in net.pins), role=net.role, pair=net.pair, channel=k)
        for k in numbers
        for net in base.nets
    ]
    nets = _named([n if n.channel is not None else replace(n, channel=channel_of(n.pins)) for n in nets])
    joined = len(nets)
    taken = {p for net in nets for p in net.pins}
    nets += [Net(pins=(p,), channel=channel_of((p,)), name=f"pin {p}") for p in pins if p not in taken]
    index = {p: n for n, p in enumerate(pins)}
    net_index = [0] * len(pins)
    for n, net in enumerate(nets):
        for p in net.pins:
            net_index[index[p]] = n
    resistors = tuple(replace(r, a=at(r.a, k), b=at(r.b, k)) for k in numbers for r in base.resistors)
    maybes = tuple(replace(m, a=at(m.a, k), b=at(m.b, k)) for k in numbers for m in base.maybes)
    special: dict[tuple[int, int], Expected] = {}
    for m in maybes:
        first, second = sorted((net_index[index[m.a]], net_index[index[m.b]]))
        special[first, second] = Expected(kind=Expect.MAYBE, low=m.over_ohm)
    for r in resistors:
        first, second = sorted((net_index[index[r.a]], net_index[index[r.b]]))
        share = r.percent / 100
        special[first, second] = Expected(kind=Expect.RESISTOR, low=r.ohm * (1 - share), high=r.ohm * (1 + share), ohm=r.ohm)
    spoken = {p.lower(): p for p in pins}
    for k in range(1, returns + 1):
        spoken.update({f"{p[0]}r{k}.{pin_name(p)}".lower(): p for p in pins if channel_of((p,)) == (sends or 0) + k})
    letters = [end.name for end in ends]
    return Wiring(
        ends=ends,
        nets=tuple(nets),
        resistors=resistors,
        maybes=maybes,
        pins=tuple(pins),
        sends=sends,
        returns=returns,
        notation=_written(ends, base),
        index=index,
        net_index=tuple(net_index),
        net_pins=tuple(tuple(index[p] for p in net.pins) for net in nets),
        end_index=tuple(letters.index(p[0]) for p in pins),
        channel_index=tuple(channel_of((p,)) for p in pins),
        special=special,
        joined_nets=joined,
        spoken=spoken,
    )


def _named(nets: list[Net]) -> list[Net]:
    """Give every net the name a chart has for it: screen, core 2, ch 14 core 3; never two alike."""
    made: list[Net] = []
    seen: set[str] = set()
    for net in nets:
        dotted = next((p for p in net.pins if "." in p), net.pins[0])
        part = net.role.value if net.is_screen else f"core {pin_name(dotted)}"
        if net.is_screen and net.pair:
            part += f" {net.pair}"
        name = f"ch {net.channel} {part}" if net.channel is not None else part
        if name in seen:
            name += f" ({_joined(net)})"
        seen.add(name)
        made.append(replace(net, name=name))
    return made


def _written(ends: tuple[End, ...], base: _Pieces) -> tuple[str, str]:
    lines = "\n".join(f"{end.name}: {end.plug}: {' '.join(end.pins)}" for end in ends)
    parts = []
    for net in base.nets:
        number = f" {net.pair}" if net.pair is not None else ""
        parts.append(_joined(net) + ("" if net.role is Role.CORE and not number else f" {net.role}{number}"))
    parts += [f"{r.a}~{r.b} {r.ohm:g} ohm {r.percent:g} %" for r in base.resistors]
    parts += [f"{m.a}?{m.b}" + (f" over {m.over_ohm:.12g} ohm" if m.over_ohm is not None else "") for m in base.maybes]
    parts += list(base.alone)
    return lines, " | ".join(parts)
