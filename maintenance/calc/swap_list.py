"""What to do about the cells of every device at one show, and what to carry: rules first, then chances against its limit.

The limit is the whole show's ("at most 1 show in 50 loses a channel to a cell"), shared out over its lines by what hangs on
them. Hours are hours left; a chance is that of dying between line check and the end of need.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from maintenance.calc.cell_advice import (
    SHOW_LIMIT,
    Ruling,
    advise,
    behind_phantom,
    chance_of_losing_one,
    hours_down,
    hours_up,
    said_chance,
    said_left,
    shares,
)
from maintenance.calc.cell_life import chance_of_dying
from maintenance.calc.cell_remedies import Remedy, fresh_chance, what_would_do
from maintenance.calc.cell_words import Advice, CellError, CellKind, Draw, Life, Stakes

CELLS, PHANTOM, MAINS = "cells", "phantom", "mains"
NO_BETTER = 0.9  # a fresh set that leaves more of the chance than this is not worth fitting
LONGEST_WHY = 400


@dataclass(frozen=True, kw_only=True)
class DeviceAtShow:
    """One bay of one device, or so many of a type nobody has chosen yet (`chosen` false).

    `cells`: of one set; `kind`, `life`: of what sits in it, none where nothing does; `fresh`: what would be fitted. `trouble`:
    why nothing can be reckoned. `known`: whether a swap was ever written down for it. `pack`: it is charged, never swapped;
    `charged`: on charge since it was last used. `unused`: what sits in it is new and has not run.
    """

    key: str
    name: str
    code: str = ""
    bay: int = 1
    line: str = ""
    chosen: bool = True
    count: int = 1
    need_h: float
    interval_after_h: float | None = None
    feed: str = CELLS
    assumed: bool = False
    phantom_seen: bool = False
    stakes: Stakes = Stakes.NORMAL
    size: str = ""
    cells: int = 1
    kind: CellKind | None = None
    life: Life | None = None
    draw: Draw | None = None
    fresh: CellKind | None = None
    others: tuple[CellKind, ...] = ()
    rulings: tuple[Ruling, ...] = ()
    trouble: str = ""
    known: bool = True
    pack: bool = False
    charged: bool = False
    unused: bool = False


@dataclass(frozen=True, kw_only=True)
class Advised:
    """What the list says of one device: advice and its sentence; chances as it is and once the list is worked, its limit."""

    device: DeviceAtShow
    advice: Advice
    why: str
    limit: float
    chance: float | None = None
    worked: float | None = None
    carry: int = 0  # cells to take along for it
    remedies: tuple[Remedy, ...] = ()
    short: bool = False  # even what is advised leaves it above its limit

    @property
    def counts(self) -> bool:
        """Say whether a channel is lost when it dies."""
        return self.device.stakes is not Stakes.REHEARSAL


@dataclass(frozen=True, kw_only=True)
class Carry:
    """Cells of one size to take along: for sets that are swapped or spare, against the stock, and what is left to buy."""

    size: str
    fit: int
    spare: int
    unchosen: int
    stock: int

    @property
    def total(self) -> int:
        return self.fit + self.spare + self.unchosen

    @property
    def buy(self) -> int:
        return max(0, self.total - self.stock)


@dataclass(frozen=True, kw_only=True)
class SwapList:
    """The list of a show: devices in its order, cells to carry by size, and the chance that the show loses a channel."""

    advised: tuple[Advised, ...]
    carry: tuple[Carry, ...]
    limit: float
    worked: float
    left: float
    untold: int  # devices whose chance nobody can tell as they are
    words: str


def swap_list(
    devices: Sequence[DeviceAtShow],
    *,
    what: str,
    limit: float = SHOW_LIMIT,
    stock: Mapping[str, int] | None = None,
    done: Iterable[str] = (),
) -> SwapList:
    """Return what to do about each device at a show called `what` ("the ceilidh"). `done`: keys swapped for this show already,
    which need no cells carried. CellError for a limit that is no chance."""
    seen = set(done)
    running = [one for one in devices if one.chosen and one.feed == CELLS]
    share = dict(zip([(d.key, d.bay) for d in running], shares(limit, [d.stakes for d in running]), strict=True))
    usual = shares(limit, [Stakes.NORMAL])[0]
    advised = [advised_of(one, what=what, limit=share.get((one.key, one.bay), usual)) for one in devices]
    advised = [replace(one, carry=0) if one.device.key in seen and one.advice is not Advice.SPARE else one for one in advised]
    counting = [one for one in advised if one.counts and one.device.chosen and one.device.feed == CELLS]
    worked = chance_of_losing_one([one.worked for one in counting if one.worked is not None])
    left = chance_of_losing_one([one.chance for one in counting if one.chance is not None])
    untold = sum(one.chance is None for one in counting)
    return SwapList(
        advised=tuple(advised),
        carry=_carry(advised, stock or {}),
        limit=limit,
        worked=worked,
        left=left,
        untold=untold,
        words=_chances_said(counting, worked, left, untold, limit),
    )


def advised_of(device: DeviceAtShow, *, what: str, limit: float) -> Advised:
    """Return the advice for one device and the sentence that says why, in hours left."""
    if device.feed == MAINS:
        return _said(device, Advice.NOTHING, "On mains here: its cells are not asked for.", limit, chance=0.0, worked=0.0)
    if device.feed == PHANTOM:
        return _phantom(device, limit)
    if not device.chosen:
        sets = f"{device.count} sets" if device.count > 1 else "a set"
        why = f"{device.count} of them {'are' if device.count > 1 else 'is'} not chosen yet: carry {sets}."
        return _said(
            device, Advice.CHARGE if device.pack else Advice.SPARE, why, limit, carry=0 if device.pack else device.count
        )
    if device.pack:
        return _pack(device, what, limit)
    return _cells(device, what, limit)


def _said(device: DeviceAtShow, advice: Advice, why: str, limit: float, *, carry: int = 0, **more) -> Advised:  # type: ignore[no-untyped-def]
    """Close a device's row: `carry` is in sets here."""
    worked = more.get("worked")
    return Advised(
        device=device,
        advice=advice,
        why=why[:LONGEST_WHY],
        limit=limit,
        carry=carry * device.cells,
        short=worked is not None and worked > limit,
        **more,
    )


def _phantom(device: DeviceAtShow, limit: float) -> Advised:
    without = behind_phantom(device.life)
    if device.trouble and device.life is None and device.kind is not None:
        without = f"behind phantom; how long its cell lasts alone nobody can tell: {device.trouble}"
    said = f"{without[0].upper()}{without[1:]}."
    if not device.chosen:
        said = f"{device.count} not chosen yet, behind phantom: dead if phantom is off and no cell is in."
    elif device.phantom_seen:
        said += " Phantom was seen at this box."
    elif device.assumed:
        said += " Nobody said what feeds this line: phantom first, as you work. Look for it at line check."
    else:
        said += " Look for it at line check."
    return _said(device, Advice.NOTHING, said, limit, chance=0.0, worked=0.0)


def _pack(device: DeviceAtShow, what: str, limit: float) -> Advised:
    """A pack is charged, whatever is left in it: what a full charge leaves to chance is said."""
    need = f"{what} needs {hours_up(device.need_h)}"
    if device.life is None:
        why = f"How long it lasts from full nobody has said; {need}. {'It is charged' if device.charged else 'Charge it'}."
        return _said(device, Advice.KEEP if device.charged else Advice.CHARGE, why, limit)
    chance = chance_of_dying(device.life, device.need_h)
    full = replace(device.life, hours=0.0)
    worked = chance_of_dying(full, device.need_h)
    if device.charged:
        why = f"Charged: {said_left(device.life)}; {need}; {_dies(chance)}"
        return _said(device, Advice.KEEP, why, limit, chance=chance, worked=chance)
    why = f"{said_left(device.life)}; {need}: charge it the night before"
    if worked > limit:
        why += f". Even full, {_dies(worked)}: carry another, or charge it at the interval"
    return _said(device, Advice.CHARGE, why, limit, chance=chance, worked=worked)


def _rechargeable(device: DeviceAtShow, what: str, limit: float) -> Advised:
    """Cells that are charged, not swapped: kept where they last, or are charged already; else charged the night before."""
    lasts_it = not device.rulings and device.life is not None and advise(device.life, device.need_h, limit) is Advice.KEEP
    if not lasts_it or device.charged:
        return _pack(device, what, limit)
    chance = chance_of_dying(device.life, device.need_h)  # type: ignore[arg-type]
    why = f"{said_left(device.life)}; {what} needs {hours_up(device.need_h)}; {_dies(chance)}: keep"  # type: ignore[arg-type]
    return _said(device, Advice.KEEP, why, limit, chance=chance, worked=chance)


def _cells(device: DeviceAtShow, what: str, limit: float) -> Advised:
    need = f"{what} needs {hours_up(device.need_h)}"
    fresh, remedies = _fresh(device, limit)
    if device.kind is None:
        if device.known:
            why = f"No cells are in it; {need}: fit a set"
        else:
            why = f"What is in it was never written down; {need}: fit a fresh set, or read what is in it"
        advice = Advice.SWAP if device.known else Advice.ASK
        chance = 1.0 if device.known else None
        return _swapped(device, advice, why, limit, chance=chance, fresh=fresh, remedies=remedies)
    chance = None if device.life is None else chance_of_dying(device.life, device.need_h)
    left = "" if device.life is None else f"{said_left(device.life)}; {need}"
    if device.kind.rechargeable and all(one.advice is Advice.CHARGE for one in device.rulings):
        return _rechargeable(device, what, limit)
    if device.rulings:
        first = device.rulings[0]
        why = f"{first.words} {left[:1].upper()}{left[1:]}".strip()
        return _swapped(device, first.advice, why, limit, chance=chance, fresh=fresh, remedies=remedies)
    if device.life is None or chance is None:
        why = f"{device.trouble or 'How long it lasts nobody can tell.'} {need[0].upper()}{need[1:]}."
        return _swapped(device, Advice.ASK, why, limit, chance=None, fresh=fresh, remedies=remedies)
    advice = advise(device.life, device.need_h, limit)
    why = f"{left}; {_dies(chance)}"
    if advice is Advice.SWAP and (device.unused or (fresh is not None and fresh > NO_BETTER * chance)):
        # what sits in it is as good as anything that would go in
        why = f"{why}: a fresh set is no better, so keep it and carry a spare{_would_do(remedies)}"
        return _said(device, Advice.SPARE, why, limit, chance=chance, worked=chance, carry=1, remedies=remedies)
    if advice is Advice.SWAP:
        return _swapped(device, advice, f"{why}: swap", limit, chance=chance, fresh=fresh, remedies=remedies)
    does = "keep, and carry a spare" if advice is Advice.SPARE else "keep"
    carry = 1 if advice is Advice.SPARE else 0
    return _said(device, advice, f"{why}: {does}", limit, chance=chance, worked=chance, carry=carry)


def _swapped(
    device: DeviceAtShow,
    advice: Advice,
    why: str,
    limit: float,
    *,
    chance: float | None,
    fresh: float | None,
    remedies: tuple[Remedy, ...],
) -> Advised:
    """A set goes in: say so, and what else to do where even a fresh one dies too often."""
    if fresh is not None and fresh > limit:
        why = f"{why.rstrip('.')}. Even a fresh set: {_dies(fresh)}{_would_do(remedies)}"
    carry = 0 if advice is Advice.CHARGE else 1
    # a fresh set that fails is not enough alone: another goes along
    if carry and fresh is not None and fresh > limit:
        carry = 2
    return _said(device, advice, why, limit, chance=chance, worked=fresh, carry=carry, remedies=remedies)


def _fresh(device: DeviceAtShow, limit: float) -> tuple[float | None, tuple[Remedy, ...]]:
    """Return the chance that a fresh set dies too, and what would do then; none where that cannot be reckoned."""
    if device.fresh is None or device.draw is None:
        return None, ()
    try:
        chance = fresh_chance(device.fresh, device.draw, device.need_h)
        if chance <= limit:
            return chance, ()
        return chance, what_would_do(
            device.fresh,
            device.draw,
            device.need_h,
            limit,
            others=device.others,
            interval_after_h=device.interval_after_h,
        )
    except CellError:
        return None, ()


def _would_do(remedies: Sequence[Remedy]) -> str:
    if not remedies:
        return ""
    enough = [one for one in remedies if one.enough and one.key in {"interval", "cells", "charge"}]
    first = enough[0] if enough else remedies[0]
    return f". What would do: {first.words[0].lower()}{first.words[1:].rstrip('.')}"


def _dies(chance: float) -> str:
    return "it all but certainly dies" if chance >= 0.95 else f"{said_chance(chance)} it dies"


def _carry(advised: Iterable[Advised], stock: Mapping[str, int]) -> tuple[Carry, ...]:
    fit: dict[str, int] = defaultdict(int)
    spare: dict[str, int] = defaultdict(int)
    unchosen: dict[str, int] = defaultdict(int)
    for one in advised:
        if not one.carry or not one.device.size:
            continue
        part = unchosen if not one.device.chosen else spare if one.advice is Advice.SPARE else fit
        part[one.device.size] += one.carry
    return tuple(
        Carry(size=size, fit=fit[size], spare=spare[size], unchosen=unchosen[size], stock=stock.get(size, 0))
        for size in sorted({*fit, *spare, *unchosen})
    )


def _chances_said(counting: Sequence[Advised], worked: float, left: float, untold: int, limit: float) -> str:
    """Say what the list buys: with it worked 1 in 400 that the show loses a channel to a cell, left alone 1 in 3."""
    if not counting:
        return "No channel of this show hangs on a cell."
    unsaid = sum(one.worked is None for one in counting)
    said = f"With this list worked, {said_chance(worked)} that the show loses a channel to a cell"
    if untold < len(counting):
        said += f"; left as it is, {_at_least(left, untold)}"
    said += "."
    if unsaid:
        said += f" {'One' if unsaid == 1 else unsaid} of them nobody can tell: not counted in that."
    if worked > limit:
        said += f" That is above the limit of {said_chance(limit)}: see what would do."
    return said


def _at_least(left: float, untold: int) -> str:
    return f"{said_chance(left)} at least" if untold and left < 0.95 else said_chance(left)


def lasts(life: Life | None) -> str:
    """Say the hours left of a strip: 24 h, 3 at worst; empty where nobody can tell."""
    return "" if life is None else f"{hours_down(life.median_h)} h, {hours_down(life.low_h)} at worst"
