"""What to do about the cells of every device at one show, and what to carry: rules first, then chances against its limit.

The limit is the whole show's ("at most 1 show in 50 loses a channel to a cell"), shared out over its lines by what hangs on
them. Hours are hours left; a chance is that of dying between line check and the end of need.
"""

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
from maintenance.calc.cell_fits import Carry, Choice, Fit, House, Labelled, Wanted, carried, choose
from maintenance.calc.cell_life import chance_of_dying
from maintenance.calc.cell_remedies import Remedy
from maintenance.calc.cell_words import Advice, CellKind, Draw, Life, Stakes

__all__ = ["CELLS", "MAINS", "PHANTOM", "Advised", "Carry", "DeviceAtShow", "SwapList", "advised_of", "lasts", "swap_list"]

CELLS, PHANTOM, MAINS = "cells", "phantom", "mains"
_ORDER = {Stakes.CRITICAL: 0, Stakes.NORMAL: 1, Stakes.REHEARSAL: 2}
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
    fit: Fit | None = None  # what goes in, or goes along
    remedies: tuple[Remedy, ...] = ()
    short: bool = False  # even what is advised leaves it above its limit

    @property
    def counts(self) -> bool:
        """Say whether a channel is lost when it dies."""
        return self.device.stakes is not Stakes.REHEARSAL


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
    sets: Iterable[Labelled] = (),
    done: Iterable[str] = (),
) -> SwapList:
    """Return what to do about each device at a show called `what` ("the ceilidh"). CellError for a limit that is no chance.

    `stock`: cells on the shelf by kind; `sets`: labelled sets that sit in nothing. What hangs on most is served first. `done`:
    keys swapped for this show already, which need no cells carried.
    """
    seen, house = set(done), House.of(stock, sets)
    running = [one for one in devices if one.chosen and one.feed == CELLS]
    share = dict(zip([(d.key, d.bay) for d in running], shares(limit, [d.stakes for d in running]), strict=True))
    usual = shares(limit, [Stakes.NORMAL])[0]
    said: dict[int, Advised] = {}
    bays: dict[str, Fit] = {}  # kinds are not mixed in one device: its other bays take what its first takes
    for n in sorted(range(len(devices)), key=lambda n: _ORDER[devices[n].stakes]):
        one = devices[n]
        got = advised_of(
            one,
            what=what,
            limit=share.get((one.key, one.bay), usual),
            house=house,
            same=bays.get(one.key) if one.chosen else None,
        )
        if one.key in seen and got.advice is not Advice.SPARE:
            # nothing more is done about it: it stays as likely to die as it is now
            got = replace(got, carry=0, worked=got.chance, short=got.chance is not None and got.chance > got.limit)
        if got.fit is not None and got.carry:
            bays.setdefault(one.key, got.fit)
            house.take(got.fit, got.device.cells * (one.count if not one.chosen else 1))
        said[n] = got
    advised = [said[n] for n in range(len(devices))]
    waiting = sum(
        d.count for d in devices if not d.chosen and d.feed == CELLS and not d.pack and d.stakes is not Stakes.REHEARSAL
    )
    counting = [one for one in advised if one.counts and one.device.chosen and one.device.feed == CELLS]
    worked = chance_of_losing_one([one.worked for one in counting if one.worked is not None])
    left = chance_of_losing_one([one.chance for one in counting if one.chance is not None])
    untold = sum(one.chance is None for one in counting)
    return SwapList(
        advised=tuple(advised),
        carry=carried(_wanted(advised), stock or {}),
        limit=limit,
        worked=worked,
        left=left,
        untold=untold,
        words=_chances_said(counting, worked, left, untold, limit, waiting),
    )


def advised_of(
    device: DeviceAtShow, *, what: str, limit: float, house: House | None = None, same: Fit | None = None
) -> Advised:
    """Return the advice for one device and the sentence that says why, in hours left.

    `house`: what could be fitted, none: nothing is known of it. `same`: what its other bays take.
    """
    if device.feed == MAINS:
        return _said(device, Advice.NOTHING, "On mains here: its cells are not asked for.", limit, chance=0.0, worked=0.0)
    if device.feed == PHANTOM:
        return _phantom(device, limit)
    if not device.chosen:
        return _unchosen(device, limit, house or House())
    if device.pack:
        return _pack(device, what, limit)
    return _cells(device, what, limit, house or House(), same)


def _unchosen(device: DeviceAtShow, limit: float, house: House) -> Advised:
    of = "are" if device.count > 1 else "is"
    if device.pack:
        why = f"{device.count} of them {of} not chosen yet: charge {'as many' if device.count > 1 else 'one'} the night before."
        return _said(device, Advice.CHARGE, why, limit)
    choice = _choice(device, limit, house, many=device.count)
    each = choice.fit.sets if choice.fit is not None else 1
    if choice.fit is not None and choice.fit.labelled is not None and device.count > 1:
        choice = replace(choice, fit=Fit(kind=device.fresh, chance=choice.usual))  # type: ignore[arg-type]
        each = 1
    sets = f"{device.count * each} sets" if device.count * each > 1 else "a set"
    of_what = f" of {choice.fit.kind.name}" if choice.fit is not None and choice.fit.kind is not device.fresh else ""
    why = f"{device.count} of them {of} not chosen yet: carry {sets}{of_what}."
    if choice.words and choice.fit is not None:
        why += f" {choice.words}."
    return _said(device, Advice.SPARE, why, limit, carry=device.count * each, fit=choice.fit, remedies=choice.remedies)


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
    without = behind_phantom(device.life, known=device.known)
    if device.trouble and device.life is None and device.kind is not None:
        without = f"behind phantom; how long its cell lasts alone nobody can tell: {device.trouble}"
    said = f"{without[0].upper()}{without[1:]}."
    if not device.chosen:
        said = f"{device.count} not chosen yet, behind phantom: dead if phantom is off and no good cell is in."
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


def _choice(device: DeviceAtShow, limit: float, house: House, same: Fit | None = None, many: int = 1) -> Choice:
    """Return what would go in, of what its other bays take where they take something."""
    found = choose(
        device.fresh,
        device.draw,
        device.need_h,
        limit,
        cells=device.cells * many,
        size=device.size,
        others=device.others,
        house=house,
        interval_after_h=device.interval_after_h,
    )
    return found if same is None or same.labelled is not None else replace(found, fit=same)


def _cells(device: DeviceAtShow, what: str, limit: float, house: House, same: Fit | None) -> Advised:
    need = f"{what} needs {hours_up(device.need_h)}"
    if device.kind is None:
        choice = _choice(device, limit, house, same)
        if device.known:
            why = f"No cells are in it; {need}: fit a set"
        else:
            why = f"What is in it was never written down; {need}: fit a fresh set, or read what is in it"
        advice = Advice.SWAP if device.known else Advice.ASK
        return _swapped(device, advice, why, limit, chance=1.0 if device.known else None, choice=choice)
    chance = None if device.life is None else chance_of_dying(device.life, device.need_h)
    left = "" if device.life is None else f"{said_left(device.life)}; {need}"
    if device.kind.rechargeable and all(one.advice is Advice.CHARGE for one in device.rulings):
        return _rechargeable(device, what, limit)
    if device.rulings:
        first = device.rulings[0]
        why = f"{first.words} {left[:1].upper()}{left[1:]}".strip()
        return _swapped(device, first.advice, why, limit, chance=chance, choice=_choice(device, limit, house, same))
    if device.life is None or chance is None:
        why = f"{device.trouble or 'How long it lasts nobody can tell.'} {need[0].upper()}{need[1:]}."
        return _swapped(device, Advice.ASK, why, limit, chance=None, choice=_choice(device, limit, house, same))
    advice = advise(device.life, device.need_h, limit)
    why = f"{left}; {_dies(chance)}"
    if advice is not Advice.SWAP:
        spare = Fit(kind=device.fresh or device.kind) if advice is Advice.SPARE else None
        does = "keep, and carry a spare" if spare else "keep"
        return _said(device, advice, f"{why}: {does}", limit, chance=chance, worked=chance, carry=bool(spare), fit=spare)
    choice = _choice(device, limit, house, same)
    fit = choice.fit
    better = fit is not None and fit.chance is not None and fit.chance <= limit and not fit.interval
    if not better and (device.unused or (choice.usual is not None and choice.usual > NO_BETTER * chance)):
        # what sits in it is as good as anything that would go in: another goes along, for the interval or for when it dies
        why = f"{why}: a fresh set is no better, so keep it and carry a spare{_would_do(choice.remedies)}"
        halved = fit is not None and fit.interval and fit.kind is device.fresh
        worked = fit.chance if halved and fit is not None else chance
        spare = Fit(kind=device.fresh or device.kind)
        return _said(
            device, Advice.SPARE, why, limit, chance=chance, worked=worked, carry=1, fit=spare, remedies=choice.remedies
        )
    return _swapped(device, advice, f"{why}: swap", limit, chance=chance, choice=choice)


def _swapped(device: DeviceAtShow, advice: Advice, why: str, limit: float, *, chance: float | None, choice: Choice) -> Advised:
    """A set goes in: say so, and what else to do where even a fresh one dies too often."""
    if choice.words:
        why = f"{why.rstrip('.')}. {choice.words}"
    fit = choice.fit
    carry = 0 if advice is Advice.CHARGE else fit.sets if fit is not None else 1
    return _said(
        device,
        advice,
        why,
        limit,
        chance=chance,
        worked=fit.chance if fit is not None else None,
        carry=carry,
        fit=fit,
        remedies=choice.remedies,
    )


def _would_do(remedies: Sequence[Remedy]) -> str:
    if not remedies:
        return ""
    enough = [one for one in remedies if one.enough and one.key in {"interval", "cells", "charge", "both"}]
    first = enough[0] if enough else remedies[0]
    return f". What would do: {first.words[0].lower()}{first.words[1:].rstrip('.')}"


def _dies(chance: float) -> str:
    return "it all but certainly dies" if chance >= 0.95 else f"{said_chance(chance)} it dies"


def _wanted(advised: Iterable[Advised]) -> list[Wanted]:
    found = []
    for one in advised:
        if one.carry and one.device.size and one.fit is not None:
            what = "unchosen" if not one.device.chosen else "spare" if one.advice is Advice.SPARE else "fit"
            found.append(Wanted(size=one.device.size, fit=one.fit, cells=one.carry, what=what))
    return found


def _chances_said(counting: Sequence[Advised], worked: float, left: float, untold: int, limit: float, waiting: int) -> str:
    """Say what the list buys: with it worked 1 in 400 that the show loses a channel to a cell, left alone 1 in 3."""
    many = "One device that runs on cells is" if waiting == 1 else f"{waiting} devices that run on cells are"
    if not counting and waiting:
        return f"{many} not chosen yet: nobody can tell what hangs on them until they are."
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
    if waiting:
        said += f" {many} not chosen yet, and not counted in that."
    return said


def _at_least(left: float, untold: int) -> str:
    return f"{said_chance(left)} at least" if untold and left < 0.95 else said_chance(left)


def lasts(life: Life | None) -> str:
    """Say the hours left of a strip: 24 h, 3 at worst; empty where nobody can tell."""
    return "" if life is None else f"{hours_down(life.median_h)} h, {hours_down(life.low_h)} at worst"
