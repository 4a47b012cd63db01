"""When even a fresh set fails the limit: what would do, each worked out; and what cells and measuring a draw are worth."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from maintenance.calc.cell_advice import hours_down, said_chance
from maintenance.calc.cell_learn import swap_point
from maintenance.calc.cell_life import MAKERS_FIGURE, METERED, chance_of_dying, life
from maintenance.calc.cell_words import CellError, CellKind, Draw, System
from maintenance.calc.cells import WARM


@dataclass(frozen=True, kw_only=True)
class Remedy:
    """Something to do in place of one fresh set: the chance that the line still dies, whether that is enough, and the words."""

    key: str  # interval, cells, charge, maker's figure, metering, both
    chance: float
    enough: bool
    words: str
    kind: CellKind | None = None
    set_key: str = ""  # the labelled set it is about


def fresh_chance(kind: CellKind, draw: Draw, need_h: float, *, age_years: float = 0.0, celsius: float = WARM) -> float:
    """Return the chance that a fresh set of the kind dies within `need_h`."""
    return chance_of_dying(life(kind, draw, age_years=age_years, celsius=celsius), need_h)


def what_would_do(
    kind: CellKind,
    draw: Draw,
    need_h: float,
    limit: float,
    *,
    others: Sequence[CellKind] = (),
    sets: Sequence[tuple[str, str, CellKind, bool]] = (),
    interval_after_h: float | None = None,
    celsius: float = WARM,
) -> tuple[Remedy, ...]:
    """Return what to do when a fresh set dies too often, what suffices first; nothing when a fresh set will do.

    `others`: kinds of the same size. `sets`: labelled sets as (key, name, what it is when full, charged). `interval_after_h`:
    when a set can be changed; none: half way. Left out is what is hardly better. A better figure for the draw is taken to come
    out as guessed: it may come out worse.
    """
    before = fresh_chance(kind, draw, need_h, celsius=celsius)
    if before <= limit:
        return ()
    first = need_h / 2 if interval_after_h is None else min(max(interval_after_h, 0.0), need_h)
    found: list[Remedy] = []

    def offer(key: str, chance: float, words: str, other: CellKind | None = None, set_key: str = "") -> None:
        enough = chance <= limit
        if enough or chance < before / 2:
            said = f"{words}: {said_chance(chance)} it dies"
            ending = "." if enough else ", still too often."
            found.append(Remedy(key=key, chance=chance, enough=enough, words=said + ending, kind=other, set_key=set_key))

    def changed(one: CellKind) -> float:
        halves = [fresh_chance(one, draw, part, celsius=celsius) for part in (first, need_h - first)]
        return 1 - (1 - halves[0]) * (1 - halves[1])

    offer("interval", changed(kind), "Change the set at the interval")
    usable = []
    for other in others:
        if other.key == kind.key or other.system is System.ZINC_CARBON:
            continue
        try:
            chance = fresh_chance(other, draw, need_h, celsius=celsius)
        except CellError:
            continue
        usable.append(other)
        verb, key = ("Charge and fit", "charge") if other.rechargeable else ("Fit", "cells")
        offer(key, chance, f"{verb} {other.name}", other)
    for set_key, name, full, charged in sets:
        try:
            chance = fresh_chance(full, draw, need_h, celsius=celsius)
        except CellError:
            continue
        offer("charge", chance, f"Fit {name}, charged" if charged else f"Charge {name} and fit it", full, set_key)
    for key, sigma, words in (
        ("maker's figure", MAKERS_FIGURE, "Put the maker's figure for its draw in; if it is as guessed"),
        ("metering", METERED, "Measure its draw once, meter in series with the clip; if it is as guessed"),
    ):
        if draw.var_ln > sigma * sigma:
            offer(key, fresh_chance(kind, replace(draw, var_ln=sigma * sigma), need_h, celsius=celsius), words)
    if not any(one.enough for one in found):
        for other in usable:
            offer("both", changed(other), f"Fit {other.name}, and change it at the interval", other)
    return tuple(sorted(found, key=lambda one: (not one.enough, one.chance if not one.enough else 0)))


@dataclass(frozen=True, kw_only=True)
class Worth:
    """What measuring a draw buys: the hours used at which a set is swapped, as things are and with the draw measured."""

    now_h: float
    metered_h: float
    words: str


def metering_worth(
    kind: CellKind, draw: Draw, need_h: float, limit: float, *, sigma: float = METERED, celsius: float = WARM
) -> Worth | None:
    """Return what measuring the draw once buys, were it as believed; none where it is as well known already."""
    if draw.var_ln <= sigma * sigma:
        return None
    now = swap_point(life(kind, draw, celsius=celsius), need_h, limit)
    then = swap_point(life(kind, replace(draw, var_ln=sigma * sigma), celsius=celsius), need_h, limit)
    if then < now + 1:
        return None
    return Worth(
        now_h=now,
        metered_h=then,
        words=(
            "Measure its draw once, meter in series with the clip: if it draws what is thought, the swap point moves from "
            f"about {hours_down(now)} to {hours_down(then)} h."
        ),
    )


@dataclass(frozen=True, kw_only=True)
class Saved:
    """Cells and money not spent, against a fresh set in every device at every show; below 0 where more were used."""

    sets: int
    cells: int
    cents: int | None
    words: str


def saved(*, device_shows: int, sets_used: int, cells_used: int, price_cents: int | None = None) -> Saved:
    """Return what was saved against fresh every show: `device_shows` a device at a show on primary cells, each a set.

    `cells_used` cells in `sets_used` sets; `price_cents` for one cell.
    """
    if min(device_shows, sets_used, cells_used) < 0:
        raise ValueError("Counts are not below nothing.")
    each = cells_used / sets_used if sets_used else 1.0
    sets = device_shows - sets_used
    cells = round(device_shows * each) - cells_used
    fitted = "1 set was fitted" if sets_used == 1 else f"{sets_used} sets were fitted"
    used = f"{fitted}; fresh cells for every show would have been {device_shows} sets"
    if sets > 0:
        words = f"{used}: {cells} {'cell' if cells == 1 else 'cells'} saved."
    else:
        words = f"{used}: none saved." if sets == 0 else f"{used}: {-cells} more than that."
    return Saved(sets=sets, cells=cells, cents=None if price_cents is None else cells * price_cents, words=words)
