"""Where plugs, pins and wires of a wiring fall on a drawing: plain numbers, so that pages and paper draw the same picture.

Heights are pixels from the top; across, everything is on the left or on the right side. A multicore is drawn channel by
channel: those that are as wired are named in words, those that are not are drawn together with whatever they reach.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

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


def picture(
    *,
    ends: Sequence[End],
    links: Iterable[Link],
    roles: Mapping[str, str] | None = None,
    resistors: Mapping[tuple[str, str], str] | None = None,
) -> Picture:
    """Lay a wiring out; `roles` names what a pin carries (hot), `resistors` what sits between two pins on purpose (120 ohm)."""
    all_links = [_known(link) for link in links]
    names = [end.name for end in ends]
    pins = {key: _pin(key, names) for link in all_links for key in (link[0], link[1])}
    channels = sorted({pin.channel for pin in pins.values() if pin.channel is not None})
    roles, resistors = dict(roles or {}), _both_ways(resistors or {})
    if not channels:
        return Picture(boards=(_board(ends, None, all_links, title="", roles=roles, resistors=resistors),))
    groups = _groups(pins, all_links)
    bad = [group for group in groups if any(kind in TROUBLE for _a, _b, kind in group[1])]
    fine = sorted(channel for group in groups if group not in bad for channel in group[0])
    loose = [link for link in all_links if pins[link[0]].channel is None and pins[link[1]].channel is None]
    boards = [_board(ends, group, links_, title=_title(group), roles=roles, resistors=resistors) for group, links_ in bad]
    if not bad and fine:
        one = next(group for group in groups if group[0][0] == fine[0])
        boards = [_board(ends, one[0], one[1], title=f"channel {fine[0]}", roles=roles, resistors=resistors)]
    if loose:
        boards.append(_board(ends, (), loose, title="shells", roles=roles, resistors=resistors))
    return Picture(boards=tuple(boards), folded=_folded(groups, fine, bool(bad)))


def _known(link: Link) -> tuple[str, str, str]:
    return (link.a, link.b, str(link.kind))


def _both_ways(resistors: Mapping[tuple[str, str], str]) -> dict[tuple[str, str], str]:
    return {pair: words for (a, b), words in resistors.items() for pair in ((a, b), (b, a))}


def _pin(key: str, names: Sequence[str]) -> _Pin:
    """Take a pin's full name apart: the longest end's name that begins it, a channel if there is one, the pin."""
    end = max((name for name in names if key.startswith(name)), key=len, default=key[:1])
    rest = key[len(end) :]
    channel = _CHANNEL.fullmatch(rest)
    label = channel["pin"] if channel else rest
    return _Pin(key=key, end=end, channel=int(channel["channel"]) if channel else None, label=label)


def _groups(
    pins: Mapping[str, _Pin], links: Sequence[tuple[str, str, str]]
) -> list[tuple[tuple[int, ...], list[tuple[str, str, str]]]]:
    """Put channels together that reach each other; each group with the joins of its channels."""
    leader: dict[int, int] = {}

    def top(channel: int) -> int:
        leader.setdefault(channel, channel)
        while leader[channel] != channel:
            channel = leader[channel]
        return channel

    for a, b, kind in links:
        one, other = pins[a].channel, pins[b].channel
        if one is not None:
            top(one)
        if one is not None and other is not None and kind not in {"open", "unread"}:
            leader[max(top(one), top(other))] = min(top(one), top(other))
    gathered: dict[int, tuple[set[int], list[tuple[str, str, str]]]] = {}
    for channel in leader:
        gathered.setdefault(top(channel), (set(), []))[0].add(channel)
    for link in links:
        of = [number for key in link[:2] if (number := pins[key].channel) is not None]
        if of:
            gathered[top(of[0])][1].append(link)
    return [(tuple(sorted(channels)), links_) for _leader, (channels, links_) in sorted(gathered.items())]


def _title(channels: Sequence[int]) -> str:
    return f"channel{'s' if len(channels) > 1 else ''} {spans(channels)}"


def spans(numbers: Iterable[int]) -> str:
    """Write whole numbers as people do: 1 to 6, 8 and 10."""
    runs: list[list[int]] = []
    for number in sorted(set(numbers)):
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    parts = [str(a) if a == b else f"{a} and {b}" if b == a + 1 else f"{a} to {b}" for a, b in runs]
    return " and ".join([", ".join(parts[:-1]), parts[-1]]) if len(parts) > 1 else "".join(parts)


def _folded(groups: Sequence[tuple[tuple[int, ...], list[tuple[str, str, str]]]], fine: Sequence[int], drawn: bool) -> str:
    if not fine:
        return ""
    unread = {c for channels, links in groups for c in channels if all(kind == "unread" for _a, _b, kind in links)}
    read = [channel for channel in fine if channel not in unread]
    if not drawn and len(fine) > 1 and len(unread) == len(fine):
        return f"Channels {spans(fine)} are each wired like this."
    said = []
    if read:
        said.append(f"Channel{'s' if len(read) > 1 else ''} {spans(read)}: as wired.")
    left = [channel for channel in fine if channel in unread]
    if left:
        said.append(f"Channel{'s' if len(left) > 1 else ''} {spans(left)}: not measured.")
    return " ".join(said)


def _board(
    ends: Sequence[End],
    channels: Sequence[int] | None,
    links: Sequence[tuple[str, str, str]],
    *,
    title: str,
    roles: Mapping[str, str],
    resistors: Mapping[tuple[str, str], str],
) -> Board:
    sides = [_pins_of(end, channels, links, [e.name for e in ends]) for end in ends]
    most = max((sum(len(pins) for _end, pins in sides[:1]), sum(len(pins) for _end, pins in sides[1:])), default=1)
    close = most > FEW_PINS
    step = 26 if close else 72 if most <= 4 else 56 if most <= 6 else 46
    heights = [2 * TOP + step * max(0, len(pins) - 1) for _end, pins in sides]
    right = sum(heights[1:]) + GAP * max(0, len(heights) - 2)
    height = max(heights[0] if heights else 0, right)
    plugs: list[PlugAt] = []
    top = (height - right) / 2
    for place, (end, pins) in enumerate(sides):
        at = (height - heights[0]) / 2 if place == 0 else top
        plugs.append(
            PlugAt(
                name=end.name,
                plug=end.plug,
                right=place > 0,
                top=at,
                height=heights[place],
                pins=tuple(
                    PinAt(key=pin.key, label=_written(pin, channels), y=at + TOP + step * n) for n, pin in enumerate(pins)
                ),
            )
        )
        top += heights[place] + GAP if place else 0
    across, beside = _joins(plugs, links, resistors)
    return Board(
        title=title,
        told=told([end.name for end in ends], links, resistors=resistors),
        height=height,
        close=close,
        plugs=tuple(plugs),
        across=across,
        beside=beside,
        roles=roles,
    )


def _pins_of(
    end: End, channels: Sequence[int] | None, links: Sequence[tuple[str, str, str]], names: Sequence[str]
) -> tuple[End, list[_Pin]]:
    """Return an end's pins: its own, or those of the channels asked for, in the end's order; a shell once, at the foot."""
    if channels is None:
        return end, [_pin(f"{end.name}{pin}", names) for pin in end.pins]
    drawn = {key for a, b, _kind in links for key in (a, b)}
    keys = [f"{end.name}{channel}.{pin}" for channel in channels for pin in end.pins]
    keys += [f"{end.name}{pin}" for pin in end.pins]
    return end, [_pin(key, names) for key in keys if key in drawn]


def _written(pin: _Pin, channels: Sequence[int] | None) -> str:
    label = "shell" if pin.label == "sh" else pin.label
    return f"{pin.channel}.{label}" if pin.channel is not None and channels and len(channels) > 1 else label


def _joins(
    plugs: Sequence[PlugAt], links: Sequence[tuple[str, str, str]], resistors: Mapping[tuple[str, str], str]
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
            note = {"open": "open", "short": "short", "high": "high"}.get(kind, "swapped" if swapped else "")
            if note == "swapped" and any(one.note == "swapped" for one in across):
                note = ""
            across.append(
                Across(a=left, b=right, kind=kind, left=at[left][1], right=at[right][1], note=note, resistor=resistor)
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


def told(
    names: Sequence[str], links: Sequence[tuple[str, str, str]], *, resistors: Mapping[tuple[str, str], str] | None = None
) -> str:
    """Say what reaches what: A1 reaches nothing. A2 reaches B3. Many pins are told by what is wrong alone."""
    resistors = resistors or {}
    pins = {key: _pin(key, names) for a, b, _kind in links for key in (a, b)}
    said: list[str] = []
    fine: dict[str, list[str]] = {}
    unread: dict[str, list[str]] = {}
    for a, b, kind in links:
        one, other = sorted((a, b), key=lambda key: names.index(pins[key].end) if pins[key].end in names else 0)
        first, second = spoken(one, names), spoken(other, names)
        if resistor := resistors.get((a, b)):
            sentence = {
                "ok": f"Between {first} and {second}: {resistor}.",
                "unread": f"Between {first} and {second} belongs {resistor}.",
            }
            said.append(sentence.get(kind, f"Between {first} and {second}: {_trouble(kind)}, where {resistor} belongs."))
        elif kind == "ok":
            fine.setdefault(first, []).append(second)
        elif kind == "unread":
            unread.setdefault(first, []).append(second)
        elif kind == "open":
            said.append(f"{first} does not reach {second}.")
        elif kind == "high":
            said.append(f"{first} reaches {second} through too much resistance.")
        elif kind == "short":
            said.append(f"{first} and {second} are shorted.")
        else:
            said.append(f"{first} reaches {second}, which is the wrong pin.")
    few = len(pins) <= 2 * FEW_PINS
    for joined, verb, rest in ((fine, "reaches", "All else is as wired."), (unread, "belongs to", "The rest is not measured.")):
        if joined and few:
            said += [f"{pin} {verb} {_listed(others)}." for pin, others in joined.items()]
        elif joined:
            said.append(rest if said else rest.replace("All else is", "All of it is").replace("The rest is", "It is"))
    return " ".join(said)


def _trouble(kind: str) -> str:
    return {"open": "nothing", "short": "a short", "high": "too much", "wrong": "another figure"}.get(kind, kind)


def _listed(parts: Sequence[str]) -> str:
    return " and ".join([", ".join(parts[:-1]), parts[-1]]) if len(parts) > 1 else parts[0]


def spoken(key: str, names: Sequence[str]) -> str:
    """Write a pin as it is said: A2, A shell, A channel 14 pin 2."""
    pin = _pin(key, names)
    label = "shell" if pin.label == "sh" else pin.label
    if pin.channel is not None:
        return f"{pin.end} channel {pin.channel} {label if label == 'shell' else f'pin {label}'}"
    return f"{pin.end} shell" if label == "shell" else f"{pin.end}{label}"
