"""Phantom power on a show: what reaches each device after its lead, what the desk or stage box can give, whom it would harm.

The feed's arithmetic and the supplies' figures are the bench's (maintenance/calc/phantom_out.py, IEC 61938 as published).
"""

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from inventory.calc.kinds import PhantomKind
from maintenance.calc.phantom_out import FEED_TOLERANCE, Supply, volts_at_device


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A device that lives on phantom: milliamps of both legs together, the volts it needs; None where nobody knows."""

    draw_ma: float | None
    least_v: float | None = None


@dataclass(frozen=True, kw_only=True)
class Fed:
    """Volts at a device: as the supply should be, and the least over its tolerance. `enough` None: cannot be told."""

    volts: float
    least_volts: float
    draw_ma: float
    enough: bool | None
    says: str


@dataclass(frozen=True, kw_only=True)
class OnInput:
    """What stands on an input: its number, its line's name, whether it is given phantom, and whether phantom would harm it.

    `harm` says what in words ("a ribbon microphone"); empty: nothing. `draw_ma` None: it draws, nobody knows how much.
    """

    number: int
    line: str
    wants: bool = False
    draw_ma: float | None = None
    harm: str = ""
    key: int = 0


@dataclass(frozen=True, kw_only=True)
class Budget:
    """What a desk or stage box gives against what is asked of it. `unknown`: lines whose draw nobody knows.

    `live`: the numbers of the inputs that have phantom; `harms`: (key, sentence) of every input it would harm.
    """

    asked_ma: float
    budget_ma: float | None
    lines: int
    unknown: tuple[str, ...]
    over: bool
    warnings: tuple[str, ...]
    live: frozenset[int] = frozenset()
    harms: tuple[tuple[int, str], ...] = ()


def feed(supply: Supply, device: Drawn, *, core_ohm: float = 0.0, shield_ohm: float = 0.0) -> Fed | None:
    """Return what reaches a device after a lead; None where the supply's feed or the device's draw is not known.

    Both legs share the current: V = Vs - I (Rf + Rcore) / 2 - I Rshield. The least takes the supply's volts at the low end and
    its feed resistors at the high end of their tolerance.
    """
    if supply.feed_ohm is None or device.draw_ma is None:
        return None
    for value in (device.draw_ma, core_ohm, shield_ohm):
        if not (math.isfinite(value) and value >= 0):
            raise ValueError("A draw and a lead's resistance are not below nothing.")
    drop = device.draw_ma / 1000 * (core_ohm / 2 + shield_ohm)
    volts = volts_at_device(supply_v=supply.volts, feed_ohm=supply.feed_ohm, current_ma=device.draw_ma) - drop
    low = volts_at_device(
        supply_v=supply.volts - supply.tolerance_v, feed_ohm=supply.feed_ohm * (1 + FEED_TOLERANCE), current_ma=device.draw_ma
    )
    least = low - drop
    within = supply.most_ma is None or device.draw_ma <= supply.most_ma
    return Fed(
        volts=max(0.0, volts),
        least_volts=max(0.0, least),
        draw_ma=device.draw_ma,
        enough=_enough(device, volts=volts, least=least, within=within),
        says=_fed_words(supply, device, volts=volts, least=least, within=within),
    )


def budget(inputs: Iterable[OnInput], *, kind: PhantomKind, budget_ma: float | None, bank: int = 8) -> Budget:
    """Return what phantom costs a desk or stage box, and a sentence for every device that the way it switches would harm.

    Per channel: only what wants it has it. Per bank: the `bank` inputs beside it have it too. Global: all have it.
    """
    held = sorted(inputs, key=lambda one: one.number)
    if bank < 1:
        raise ValueError("A bank has at least one input.")
    wanting = [one for one in held if one.wants]
    live = _live(held, wanting, kind, bank)
    warnings = []
    if kind is PhantomKind.NONE and wanting:
        warnings.append(f"There is no phantom here: {_lines(wanting)} need cells, mains or a supply of their own.")
    harms = [(one.key, _harm_words(one, kind, wanting, bank)) for one in held if one.harm and one.number in live]
    warnings += [said for _key, said in harms]
    fed = [one for one in wanting if one.number in live]
    asked = sum(one.draw_ma or 0.0 for one in fed)
    over = budget_ma is not None and asked > budget_ma
    if over:
        warnings.append(
            f"{_lines(fed)} ask for {asked:.0f} mA together, more than the {budget_ma:.0f} mA it gives: "
            "feed some from cells or a supply of their own."
        )
    return Budget(
        asked_ma=asked,
        budget_ma=budget_ma,
        lines=len(fed),
        unknown=tuple(one.line for one in fed if one.draw_ma is None),
        over=over,
        warnings=tuple(warnings),
        live=frozenset(live),
        harms=tuple(harms),
    )


def _enough(device: Drawn, *, volts: float, least: float, within: bool) -> bool | None:
    if not within or volts <= 0:
        return False
    if device.least_v is None:
        return None
    if least >= device.least_v:
        return True
    return False if volts < device.least_v else None


def _fed_words(supply: Supply, device: Drawn, *, volts: float, least: float, within: bool) -> str:
    told = f"{max(0.0, volts):.0f} V reach it at {device.draw_ma:g} mA"
    if not within:
        return f"It draws {device.draw_ma:g} mA, more than the {supply.most_ma:g} mA {supply.name} allows."
    if device.least_v is None:
        return f"{told}; the least it needs is not on record."
    if volts < device.least_v:
        return f"{told}, and it needs {device.least_v:g} V."
    if least < device.least_v:
        weak = f"with a supply at the weak end of its tolerance {max(0.0, least):.0f} V"
        return f"{told}; {weak}, and it needs {device.least_v:g} V."
    return f"{told}; it needs {device.least_v:g} V."


def _live(held: list[OnInput], wanting: list[OnInput], kind: PhantomKind, bank: int) -> set[int]:
    if kind is PhantomKind.NONE or not wanting:
        return set()
    if kind is PhantomKind.GLOBAL:
        return {one.number for one in held}
    if kind is PhantomKind.PER_BANK:
        banks = {(one.number - 1) // bank for one in wanting}
        return {one.number for one in held if (one.number - 1) // bank in banks}
    return {one.number for one in wanting}


def _harm_words(one: OnInput, kind: PhantomKind, wanting: list[OnInput], bank: int) -> str:
    if kind is PhantomKind.PER_CHANNEL or one.wants:
        return f"{one.line} is {one.harm}: no phantom on input {one.number}."
    cause = _lines([w for w in wanting if kind is PhantomKind.GLOBAL or (w.number - 1) // bank == (one.number - 1) // bank])
    reach = "every input" if kind is PhantomKind.GLOBAL else f"its whole bank of {bank}"
    return (
        f"{one.line} is {one.harm} and stands where phantom is switched on for {cause}, which feeds {reach}: "
        "isolate it with a transformer, or move it."
    )


def _lines(ones: list[OnInput]) -> str:
    names: dict[str, int] = defaultdict(int)
    for one in ones:
        names[one.line] += 1
    told = list(names)
    if len(told) > 3:
        return f"{', '.join(told[:3])} and {len(told) - 3} more"
    return " and ".join([", ".join(told[:-1]), told[-1]] if len(told) > 1 else told)
