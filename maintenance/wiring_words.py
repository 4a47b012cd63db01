"""A wiring as a page shows it: drawn as it should be, and each net in words."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.safestring import SafeString

from inventory.calc.kinds import Kind
from maintenance.calc.wirings import Wiring, WiringError, pin_words, wiring_read
from maintenance.drawings import wiring_drawing
from maintenance.models import Wiring as Row

MOST_DRAWN = 12  # pins an end that stand in a list at once; more are drawn behind a fold


@dataclass(frozen=True, kw_only=True)
class AsWired:
    """Two pins that belong together, for the drawing."""

    a: str
    b: str
    kind: str = "ok"


def read(*, ends: str, nets: str) -> Wiring:
    """Return the wiring two texts say; one of a multicore is read as its one channel. WiringError names what contradicts."""
    return wiring_read(ends=ends, nets=nets)


def drawn(wiring: Wiring) -> SafeString:
    """Draw a wiring as it should be: every net as wired, what sits between two pins named."""
    joined = [AsWired(a=net.pins[0], b=pin) for net in wiring.nets for pin in net.pins[1:]]
    between = [AsWired(a=r.a, b=r.b) for r in wiring.resistors]
    maybe = [AsWired(a=m.a, b=m.b, kind="unread") for m in wiring.maybes]
    roles = {pin: str(net.role) for net in wiring.nets if len(net.pins) > 1 and net.role != "core" for pin in net.pins}
    resistors = {(r.a, r.b): f"{r.ohm:g} Ω" for r in wiring.resistors}
    return wiring_drawing([*joined, *between, *maybe], wiring.ends, roles=roles, resistors=resistors, key=False)


def nets_told(wiring: Wiring) -> list[tuple[str, str]]:
    """Return each net as (pins, what it is): A2 to B2, hot."""
    told = [
        (_and(pin_words(pin) for pin in net.pins), "" if net.role == "core" else str(net.role))
        for net in wiring.nets
        if len(net.pins) > 1
    ]
    told += [
        (f"{pin_words(r.a)} and {pin_words(r.b)}", f"{r.ohm:g} Ω in between, within {r.percent:g} in 100")
        for r in wiring.resistors
    ]
    for maybe in wiring.maybes:
        least = f", but never below {maybe.over_ohm:g} Ω" if maybe.over_ohm else ""
        told.append((f"{pin_words(maybe.a)} and {pin_words(maybe.b)}", f"may be joined or not{least}"))
    alone = [pin_words(net.pins[0]) for net in wiring.nets if len(net.pins) == 1]
    if alone and len(alone) <= MOST_DRAWN:
        told.append((_and(alone), "joined to nothing"))
    return told


def _and(words: Iterable[str]) -> str:
    listed = list(words)
    return " and ".join(listed) if len(listed) < 3 else f"{', '.join(listed[:-1])} and {listed[-1]}"


@dataclass(frozen=True, kw_only=True)
class Shown:
    """One wiring of the list: its row, its plugs in words, its drawing; `pins` of its biggest end where that is folded away."""

    row: Row
    plugs: str
    drawing: SafeString | str = ""
    trouble: str = ""
    types: int = 0
    pins: int = 0


def shown(row: Row, *, types: int = 0) -> Shown:
    """Return a wiring for the list; one that cannot be read says so instead of breaking the page."""
    try:
        wiring = read(ends=row.ends, nets=row.nets)
    except WiringError as wrong:
        return Shown(row=row, plugs="", trouble=str(wrong), types=types)
    most = max(len(end.pins) for end in wiring.ends)
    plugs = " to ".join(end.plug for end in wiring.ends)
    return Shown(row=row, plugs=plugs, drawing=drawn(wiring), types=types, pins=most if most > MOST_DRAWN else 0)


def choices_of(kind: str) -> list[tuple[str, str]]:
    """Return the wirings a thing of a kind may have: those of one channel for a multicore, the others for leads."""
    rows = Row.objects.order_by("name").values_list("key", "name", "per_channel")
    # a multicore may as well have all its pins written out
    return [(key, name) for key, name, per_channel in rows if kind == Kind.MULTICORE or not per_channel]
