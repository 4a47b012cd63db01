"""Where plugs, pins and wires of a wiring fall on a drawing: plain numbers, so that pages and paper draw the same picture.

Heights are pixels from the top; across, everything is on the left or on the right side. A multicore is drawn channel by
channel: those that are as wired are named in words, those that are not are drawn together with whatever they reach.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from maintenance.calc.wirings import pin_words

TROUBLE = frozenset({"wrong", "open", "short", "high"})
TOP = 44  # from a plug's upper edge to its first pin, and from its last pin to its lower edge
NOTE = 24  # the height of a word between the plugs
GAP = 20  # between two plugs of one side
FEW_PINS = 12  # more are drawn close together, and told in words by what is wrong alone
_CHANNEL = re.compile(r"(?P<channel>\d{1,4})\.(?P<pin>.+)")


class End(Protocol):
    """One end of a wiring: its letter, its plug in words, its pins in order."""

    @property
    def name(self) -> str: ...
    @property
    def plug(self) -> str: ...
    @property
    def pins(self) -> Sequence[str]: ...


class Link(Protocol):
    """Two pins and how they are joined: ok, wrong, open, short, high or unread."""

    @property
    def a(self) -> str: ...
    @property
    def b(self) -> str: ...
    @property
    def kind(self) -> str: ...


@dataclass(frozen=True, kw_only=True)
class PinAt:
    """One pin: its full name (A2, A14.2), what is written beside it, and its height."""

    key: str
    label: str
    y: float


@dataclass(frozen=True, kw_only=True)
class PlugAt:
    """One plug with its pins; `right` says which side."""

    name: str
    plug: str
    right: bool
    top: float
    height: float
    pins: tuple[PinAt, ...]


@dataclass(frozen=True, kw_only=True)
class Across:
    """A wire from the left side at `left` to the right side at `right`."""

    a: str
    b: str
    kind: str
    left: float
    right: float
    note: str = ""
    note_at: float = 0.0
    stub: str = ""  # of an open wire: the one side that is left loose, where the other pin reaches elsewhere
    resistor: str = ""


@dataclass(frozen=True, kw_only=True)
class Beside:
    """A join between two pins of one side, drawn as a bracket; `depth` 1 is the nearest to the plug."""

    a: str
    b: str
    kind: str
    right: bool
    top: float
    foot: float
    depth: int = 1
    note: str = ""
    resistor: str = ""


@dataclass(frozen=True, kw_only=True)
class Board:
    """One drawing: what it shows in words, its height, and everything on it."""

    title: str
    told: str
    height: float
    close: bool
    plugs: tuple[PlugAt, ...]
    across: tuple[Across, ...]
    beside: tuple[Beside, ...]
    roles: Mapping[str, str]

    @property
    def kinds(self) -> tuple[str, ...]:
        """Return the kinds of joins drawn, in the order of the key beneath."""
        drawn = {join.kind for join in (*self.across, *self.beside)}
        return tuple(kind for kind in ("ok", "wrong", "open", "short", "high", "unread") if kind in drawn)


@dataclass(frozen=True, kw_only=True)
class Picture:
    """All drawings of one wiring, and the sentence about what is not drawn."""

    boards: tuple[Board, ...]
    folded: str = ""

    @property
    def told(self) -> str:
        """Return the whole picture in words."""
        return " ".join(part for part in (*(board.told for board in self.boards), self.folded) if part)


@dataclass(frozen=True, kw_only=True)
class _Pin:
    key: str
    end: str
    channel: int | None
    label: str


Joined = tuple[str, str, str]
Group = tuple[tuple[int, ...], list[Joined]]


def picture(
    *,
    ends: Sequence[End],
    links: Iterable[Link],
    roles: Mapping[str, str] | None = None,
    resistors: Mapping[tuple[str, str], str] | None = None,
    sends: int | None = None,
) -> Picture:
    """Lay a wiring out; `roles` names what a pin carries (hot), `resistors` what sits between two pins on purpose (120 ohm),
    channels above `sends` are returns."""
    all_links = [(link.a, link.b, str(link.kind)) for link in links]
    roles, resistors = dict(roles or {}), _both_ways(resistors or {})
    pins = {key: _pin(key) for link in all_links for key in link[:2]}
    if not pins or any(pin.channel is None and pin.label != "sh" for pin in pins.values()):
        return Picture(boards=(_board(ends, None, all_links, title="", roles=roles, resistors=resistors),))
    groups = _groups(pins, all_links)
    bad = [group for group in groups if any(kind in TROUBLE for _a, _b, kind in group[1])]
    fine = sorted(channel for group in groups if group not in bad for channel in group[0])
    drawn = bad or [group for group in groups if group[0][0] == fine[0]][:1]
    boards = [
        _board(ends, group[0], group[1], title=named(group[0], sends), roles=roles, resistors=resistors) for group in drawn
    ]
    loose = [link for link in all_links if pins[link[0]].channel is None and pins[link[1]].channel is None]
    if loose:
        boards.append(_board(ends, (), loose, title="shells", roles=roles, resistors=resistors))
    return Picture(boards=tuple(boards), folded=_folded(groups, fine, bool(bad), sends))


def _both_ways(resistors: Mapping[tuple[str, str], str]) -> dict[tuple[str, str], str]:
    return {pair: words for (a, b), words in resistors.items() for pair in ((a, b), (b, a))}


def _pin(key: str) -> _Pin:
    """Take a pin's full name apart: its end's letter, a channel or plug if there is one, the pin as printed."""
    channel = _CHANNEL.fullmatch(key[1:])
    label = channel["pin"] if channel else key[1:]
    return _Pin(key=key, end=key[:1], channel=int(channel["channel"]) if channel else None, label=label)


def _groups(pins: Mapping[str, _Pin], links: Sequence[Joined]) -> list[Group]:
    """Put channels together that reach each other; each group with the joins of its channels."""
    leader: dict[int, int] = {}

    def top(channel: int) -> int:
        leader.setdefault(channel, channel)
        while leader[channel] != channel:
            channel = leader[channel]
        return channel

    def channels_of(link: Joined) -> list[int]:
        return [number for key in link[:2] if (number := pins[key].channel) is not None]

    for link in links:
        tops = [top(channel) for channel in channels_of(link)]
        if len(tops) == 2 and link[2] not in {"open", "unread"}:
            leader[max(tops)] = min(tops)
    gathered: dict[int, tuple[set[int], list[Joined]]] = {}
    for channel in leader:
        gathered.setdefault(top(channel), (set(), []))[0].add(channel)
    for link in links:
        if of := channels_of(link):
            gathered[top(of[0])][1].append(link)
    return [(tuple(sorted(channels)), links_) for _leader, (channels, links_) in sorted(gathered.items())]


def named(channels: Iterable[int], sends: int | None = None) -> str:
    """Write channels as they are called: channels 1 to 6 and 8, return 2."""
    numbers = sorted(channels)
    parts = []
    for word, some in (
        ("channel", [n for n in numbers if sends is None or n <= sends]),
        ("return", [n - sends for n in numbers if sends is not None and n > sends]),
    ):
        if some:
            parts.append(f"{word}{'s' if len(some) > 1 else ''} {spans(some)}")
    return ", ".join(parts)


def spans(numbers: Iterable[int]) -> str:
    """Write whole numbers as people do: 1 to 6, 8 and 10."""
    runs: list[list[int]] = []
    for number in sorted(set(numbers)):
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    parts = [part for a, b in runs for part in ([f"{a} to {b}"] if b > a + 1 else [str(n) for n in range(a, b + 1)])]
    return " and ".join([", ".join(parts[:-1]), parts[-1]]) if len(parts) > 1 else "".join(parts)


def _folded(groups: Sequence[Group], fine: Sequence[int], drawn: bool, sends: int | None) -> str:
    if not fine or (len(fine) == 1 and not drawn):
        return ""
    unread = {c for channels, links in groups for c in channels if all(kind == "unread" for _a, _b, kind in links)}
    if not drawn and unread >= set(fine):
        return f"{_capital(named(fine, sends))} are each wired like this."
    read, left = [c for c in fine if c not in unread], [c for c in fine if c in unread]
    said = [(read, "as wired"), (left, "not measured")]
    return " ".join(f"{_capital(named(some, sends))}: {what}." for some, what in said if some)


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _board(
    ends: Sequence[End],
    channels: Sequence[int] | None,
    links: Sequence[Joined],
    *,
    title: str,
    roles: Mapping[str, str],
    resistors: Mapping[tuple[str, str], str],
) -> Board:
    ranks = [[(end, name, pins) for name, pins in _plugs_of(end, channels, links)] for end in ends]
    left, right = ranks[0], [plug for rank in ranks[1:] for plug in rank]
    most = max(sum(len(pins) for _end, _name, pins in side) for side in (left, right))
    close = most > FEW_PINS
    step = 26 if close else 72 if most <= 4 else 56 if most <= 6 else 46

    def tall(side: Sequence[tuple[End, str, list[_Pin]]]) -> float:
        return sum(2 * TOP + step * max(0, len(pins) - 1) for _end, _name, pins in side) + GAP * max(0, len(side) - 1)

    height = max(tall(left), tall(right))
    plugs: list[PlugAt] = []
    for is_right, side in ((False, left), (True, right)):
        top = (height - tall(side)) / 2
        for end, name, pins in side:
            high = 2 * TOP + step * max(0, len(pins) - 1)
            placed = tuple(
                PinAt(key=pin.key, label=_written(pin, channels), y=top + TOP + step * n) for n, pin in enumerate(pins)
            )
            plugs.append(PlugAt(name=name, plug=end.plug, right=is_right, top=top, height=high, pins=placed))
            top += high + GAP
    across, beside = _joins(plugs, links, resistors)
    return Board(
        title=title,
        told=told(links, resistors=resistors),
        height=height,
        close=close,
        plugs=tuple(plugs),
        across=across,
        beside=beside,
        roles=roles,
    )


def _plugs_of(end: End, channels: Sequence[int] | None, links: Sequence[Joined]) -> list[tuple[str, list[_Pin]]]:
    """Return an end's plugs with their pins in order: a plug for each number of an end that carries several; of the channels
    asked for alone, in one plug."""
    if channels is None:
        plugs: dict[str, list[_Pin]] = {}
        for key in end.pins:
            pin = _pin(f"{end.name}{key}")
            plugs.setdefault(end.name if pin.channel is None else f"{end.name}{pin.channel}", []).append(pin)
        return list(plugs.items())
    drawn = {key for link in links for key in link[:2]}
    local = list(dict.fromkeys(_pin(f"{end.name}{key}").label for key in end.pins))
    keys = [f"{end.name}{channel}.{pin}" for channel in channels for pin in local] + [f"{end.name}{pin}" for pin in local]
    return [(end.name, [_pin(key) for key in keys if key in drawn])]


def _written(pin: _Pin, channels: Sequence[int] | None) -> str:
    label = {"sh": "shell", "c": "centre", "s": "outer"}.get(pin.label, pin.label)
    return f"{pin.channel}.{label}" if pin.channel is not None and channels and len(channels) > 1 else label


def _joins(
    plugs: Sequence[PlugAt], links: Sequence[Joined], resistors: Mapping[tuple[str, str], str]
) -> tuple[tuple[Across, ...], tuple[Beside, ...]]:
    at = {pin.key: (plug.right, pin.y) for plug in plugs for pin in plug.pins}
    reach: dict[str, set[str]] = {}
    for a, b, kind in links:
        if a in at and b in at and at[a][0] != at[b][0] and kind in {"ok", "unread"}:
            reach.setdefault(a, set()).add(b)
            reach.setdefault(b, set()).add(a)
    wrong = {frozenset((a, b)) for a, b, kind in links if kind == "wrong"}
    strayed = {key for pair in wrong for key in pair}
    across: list[Across] = []
    beside: list[Beside] = []
    for a, b, kind in links:
        if a not in at or b not in at or (kind == "open" and a in strayed and b in strayed):
            continue  # where both pins reach a wrong one, that is drawn and their own open pair is not
        resistor = resistors.get((a, b), "")
        if at[a][0] != at[b][0]:
            left, right = (a, b) if not at[a][0] else (b, a)
            swapped = kind == "wrong" and len(wrong) == 2 and _crossing(wrong, at)
            stub = ""
            if kind == "open" and (left in strayed or right in strayed):
                stub = "right" if left in strayed else "left"
            note = {"open": "" if stub else "open", "short": "short", "high": "high"}.get(kind, "swapped" if swapped else "")
            if note == "swapped" and any(one.note == "swapped" for one in across):
                note = ""
            across.append(
                Across(
                    a=left, b=right, kind=kind, left=at[left][1], right=at[right][1], note=note, stub=stub, resistor=resistor
                )
            )
            continue
        # two pins of one side that a third one joins already need no bracket of their own
        if kind in {"ok", "unread"} and not resistor and reach.get(a, set()) & reach.get(b, set()):
            continue
        top, foot = sorted((at[a][1], at[b][1]))
        note = {"short": "short", "high": "high", "open": "open", "wrong": "joined"}.get(kind, "")
        beside.append(Beside(a=a, b=b, kind=kind, right=at[a][0], top=top, foot=foot, depth=1, note=note, resistor=resistor))
    across = _noted(across)
    order = {"unread": 0, "ok": 1, "high": 2, "open": 3, "short": 4, "wrong": 5}
    return tuple(sorted(across, key=lambda wire: order.get(wire.kind, 0))), _nested(beside)


def _noted(across: Sequence[Across]) -> list[Across]:
    """Find each word in the middle a height of its own: in the gap of an open wire, else above its wire or below."""
    taken = [wire.left for wire in across if wire.kind == "open" and wire.left == wire.right]
    noted: list[Across] = []
    for wire in across:
        middle = (wire.left + wire.right) / 2
        if not (wire.note or wire.resistor) or wire.kind == "open":
            noted.append(replace(wire, note_at=wire.left))
            continue
        tried = [middle + off for off in (-22, 26, -46, 50, -70, 74)]
        at = next((y for y in tried if y > 0 and all(abs(y - other) >= NOTE for other in taken)), tried[0])
        taken.append(at)
        noted.append(replace(wire, note_at=at))
    return noted


def _crossing(wrong: Iterable[frozenset[str]], at: Mapping[str, tuple[bool, float]]) -> bool:
    """Say whether two wires swap: four different pins, left and right in opposite order."""
    one, other = [sorted(pair, key=lambda key: at[key][0]) if len(pair) == 2 else [] for pair in wrong]
    if not one or not other or set(one) & set(other) or any(key not in at for key in (*one, *other)):
        return False
    return (at[one[0]][1] - at[other[0]][1]) * (at[one[1]][1] - at[other[1]][1]) < 0


def _nested(beside: Sequence[Beside]) -> tuple[Beside, ...]:
    """Give brackets that overlap different depths, the shortest nearest to the plug."""
    placed: list[Beside] = []
    for one in sorted(beside, key=lambda join: (join.foot - join.top, join.top)):
        taken = {
            other.depth for other in placed if other.right == one.right and other.top <= one.foot and one.top <= other.foot
        }
        depth = next(depth for depth in range(1, len(beside) + 2) if depth not in taken)
        placed.append(replace(one, depth=depth))
    return tuple(placed)


def told(links: Sequence[Joined], *, resistors: Mapping[tuple[str, str], str] | None = None) -> str:
    """Say what reaches what: A1 does not reach B1. A2 reaches B3, which is the wrong pin. Many pins: what is wrong alone."""
    resistors = resistors or {}
    said: list[str] = []
    fine: dict[str, list[str]] = {}
    unread: dict[str, list[str]] = {}
    for a, b, kind in links:
        first, second = (pin_words(key) for key in sorted((a, b)))
        if resistor := resistors.get((a, b)):
            reads = {"ok": f"reads {resistor}", "unread": f"belongs {resistor}", "high": "reads too much", "open": "is nothing"}
            where = "" if kind in {"ok", "unread"} else f", where {resistor} belongs"
            said.append(f"Between {first} and {second} {reads.get(kind, 'is a short')}{where}.")
        elif kind in {"ok", "unread"}:
            (fine if kind == "ok" else unread).setdefault(first, []).append(second)
        else:
            says = {"open": "{} does not reach {}.", "high": "{} reaches {} through too much resistance."}
            says |= {"short": "{} and {} are shorted.", "wrong": "{} reaches {}, which is the wrong pin."}
            said.append(says[kind].format(first, second))
    few = len({key for link in links for key in link[:2]}) <= 2 * FEW_PINS
    for joined, verb, rest in ((fine, "reaches", "All else is as wired."), (unread, "belongs to", "The rest is not measured.")):
        if joined and few:
            said += [f"{pin} {verb} {_listed(others)}." for pin, others in joined.items()]
        elif joined:
            said.append(rest if said else rest.replace("All else is", "All of it is").replace("The rest is", "It is"))
    return " ".join(said)


def _listed(parts: Sequence[str]) -> str:
    return " and ".join([", ".join(parts[:-1]), parts[-1]]) if len(parts) > 1 else parts[0]
