"""How long a set lasts: what is believed before it was ever read, and after. One set; `cell_arrays` does many."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, log, sqrt

import numpy as np

from maintenance.calc import cell_wear, cells
from maintenance.calc.cell_reading import life_given_reading, on_true_clock
from maintenance.calc.cell_wear import LEAST_SD
from maintenance.calc.cell_words import CellError, CellKind, Draw, Life, Load, Seen, System
from maintenance.calc.cells import LEAST_H, WARM, Table

CLASS_GUESS, MAKERS_FIGURE, METERED = 0.45, 0.15, 0.08  # spread of ln draw
UNKNOWN_SHARE, UNKNOWN_SPREAD = 0.5, 0.5  # of what a set of unknown history had left
LOW, HIGH = 0.05, 0.95
STEEPEST = 4.0


@dataclass(frozen=True, kw_only=True)
class Prior:
    """What is believed of a fresh set: ln hours ~ N(mean, var); `slope` = d ln hours / d ln draw; depth at which it stops."""

    mean: float
    var: float
    slope: float
    end_depth: float
    ma: float


def draw_of(
    *,
    load: Load,
    draw: float | None,
    sigma: float = CLASS_GUESS,
    standby_ma: float = 0.0,
    stops_below_v: float = 0.0,
    in_series: int = 1,
) -> Draw:
    """Return what is believed of a draw from its median and the spread of its ln. CellError for a device without a draw."""
    if not sigma > 0:
        raise CellError("The spread of a draw is above 0: .45 a guess by class, .15 the maker's figure, .08 metered.")
    return Draw(
        load=load,
        mean_ln=log(cells.checked_draw(draw)),
        var_ln=sigma * sigma,
        standby_ma=standby_ma,
        stops_below_v=stops_below_v,
        in_series=in_series,
    )


def capacity_sigma(kind: CellKind, *, same_make: bool = False, fresh: bool = True) -> float:
    """Return the spread of ln capacity: .10 one make, .15 any fresh alkaline, .25 used, .30 zinc-carbon, .08 lithium."""
    if not fresh:
        return 0.25
    if kind.system is System.ZINC_CARBON:
        return 0.30
    if kind.system in (System.LITHIUM_IRON, System.LITHIUM_MANGANESE, System.LITHIUM_ION):
        return 0.08
    return 0.10 if same_make or kind.system is System.NIMH else 0.15


def usual_ma(table: Table, draw: float, load: Load, in_series: int) -> float:
    """Return mA that a device draws from a set half used, for what depends on current only weakly."""
    if load is Load.CURRENT:
        return draw
    middle = in_series * table.open_volts(0.5)
    return 1000 * middle / draw if load is Load.RESISTOR else draw / middle


def fresh_life(
    kind: CellKind,
    draw: Draw,
    *,
    age_years: float = 0.0,
    celsius: float = WARM,
    sigma_capacity: float | None = None,
    n_cells: int | None = None,
    same_batch: bool = True,
    same_make: bool = False,
) -> Prior:
    """Return what is believed of a fresh set in a device, before a reading. CellError for what cannot be reckoned."""
    table = cells.table_of(kind)
    n = checked_series(draw)
    share = cells.aged(kind, age_years) * cells.weakest(separate(kind, draw, n_cells), same_batch=same_batch)

    def ln_hours(ln_draw: float) -> tuple[float, float]:
        value = exp(ln_draw)
        ma = usual_ma(table, value, draw.load, n)
        cold = cells.cold_factor(kind, celsius, ma)
        hours, depth = cells.hours_and_depth(table, value, draw.load, n, draw.stops_below_v, share * cold)
        return log(hours), depth

    spread = max(sqrt(draw.var_ln), LEAST_SD)
    middle, depth = ln_hours(draw.mean_ln)
    slope = (ln_hours(draw.mean_ln + spread)[0] - ln_hours(draw.mean_ln - spread)[0]) / (2 * spread)
    slope = min(max(slope, -STEEPEST), STEEPEST)
    sigma = capacity_sigma(kind, same_make=same_make) if sigma_capacity is None else sigma_capacity
    return Prior(
        mean=middle,
        var=max(slope * slope * draw.var_ln + sigma * sigma, LEAST_SD**2),
        slope=slope,
        end_depth=max(depth, 1e-3),
        ma=usual_ma(table, exp(draw.mean_ln), draw.load, n),
    )


def checked_series(draw: Draw) -> int:
    if draw.in_series < 1:
        raise CellError("A set has at least one cell.")
    return draw.in_series


def separate(kind: CellKind, draw: Draw, n_cells: int | None) -> int:
    """Return how many separate cells share the work: a 9 V block's six are in its figures already."""
    if kind.units > 1:
        return 1
    return draw.in_series if n_cells is None else n_cells


def newest(seen: Sequence[Seen]) -> Seen | None:
    """Return the reading to go by: readings on one set share the error of the curve, so the newest says what all of them do.

    Of two at the same hours the lower counts.
    """
    return max(seen, key=lambda one: (one.hours, -one.volts), default=None)


def reading_ma(one: Seen, own_ma: float) -> float:
    """Return mA at which a reading was taken: the device's own, the test load's, or none."""
    if one.own_load:
        return own_ma
    if one.load_ohm is not None:
        if not one.load_ohm > 0:
            raise CellError("A test load is above 0 ohm: at 0 it is a short circuit.")
        return 1000 * one.volts / one.load_ohm
    return 0.0


def life(
    kind: CellKind,
    draw: Draw,
    *,
    hours: float = 0.0,
    hours_share: float = 0.25,
    seen: Sequence[Seen] = (),
    age_years: float = 0.0,
    celsius: float = WARM,
    sigma_capacity: float | None = None,
    n_cells: int | None = None,
    same_batch: bool = True,
    same_make: bool = False,
    was_new: bool | None = True,
) -> Life:
    """Return what is believed of a set's life after `hours` on, from the device's draw and the newest reading.

    `hours_share` is the spread of ln hours: .05 by a timer, .25 by scans. A part-used set (`was_new` not true) is reckoned from
    its reading alone. CellError in plain words for what cannot be.
    """
    if not hours >= 0:
        raise CellError("Hours used are not below nothing.")
    prior = fresh_life(
        kind,
        draw,
        age_years=age_years,
        celsius=celsius,
        sigma_capacity=sigma_capacity,
        n_cells=n_cells,
        same_batch=same_batch,
        same_make=same_make,
    )
    reasons = _reasons(kind, draw, prior)
    one = newest(seen)
    if one is not None and kind.regulated:
        reasons.append(f"{kind.name} holds its volts until it cuts off: the reading says nothing.")
        one = None
    mean, var = prior.mean, prior.var
    if was_new is not True:
        mean, var = _part_used(kind, draw, prior, one, reasons)
    elif one is not None:
        share = one.hours_share
        checked = _checked(kind, draw, prior, one, reasons)
        middle, spread = life_given_reading(
            cells.table_of(kind),
            mean=np.array([mean]),
            var=np.array([var]),
            hours_var=np.array([share * share]),
            end_depth=np.array([prior.end_depth]),
            hours=np.array([one.hours]),
            seen_v=np.array([checked[0]]),
            ma=np.array([checked[1]]),
            n=np.array([draw.in_series]),
            sigma_v=np.array([checked[2]]),
        )
        told, told_var = on_true_clock(
            mean=np.array([mean]),
            var=np.array([var]),
            hours_var=np.array([share * share]),
            hours=np.array([one.hours]),
            middle=middle,
            spread=spread,
        )
        mean, var = float(told[0]), float(told_var[0])
    since = max(hours - one.hours, 0.0) if one is not None else hours
    return life_of(mean_ln_h=mean, var_ln_h=var, hours=hours, hours_sigma=since * hours_share, reasons=tuple(reasons))


def life_of(
    *, mean_ln_h: float, var_ln_h: float, hours: float, hours_sigma: float = 0.0, reasons: tuple[str, ...] = ()
) -> Life:
    """Return the life with hours left worked out: from what was stored and the hours used, give or take `hours_sigma`."""
    used, sd = max(hours, 0.0), sqrt(max(var_ln_h, LEAST_SD**2))
    law, at, off = cell_wear.law_of(np.array([mean_ln_h]), np.array([sd])), np.array([used]), np.array([max(hours_sigma, 0.0)])
    low, median, high = (float(cell_wear.left(share, at, off, law)[0]) for share in (LOW, 0.5, HIGH))
    return Life(
        mean_ln_h=mean_ln_h,
        var_ln_h=sd * sd,
        hours=used,
        low_h=low,
        median_h=median,
        high_h=high,
        reasons=reasons,
        hours_sigma=max(hours_sigma, 0.0),
    )


def life_from_full(full_charge_h: float | None, *, hours: float = 0.0, sigma: float = 0.3, factor: float = 1.0) -> Life:
    """Return the life of a pack known only by its hours from a full charge. CellError without that figure."""
    if full_charge_h is None or not full_charge_h > 0:
        raise CellError("How long this pack lasts from a full charge is not known: put the maker's hours on its type.")
    return life_of(mean_ln_h=log(full_charge_h * factor), var_ln_h=sigma * sigma, hours=hours)


def chance_of_dying(life: Life, need_h: float) -> float:
    """Return the chance that a set alive now dies within `need_h` hours more."""
    law = cell_wear.law_of(np.array([life.mean_ln_h]), np.array([max(sqrt(life.var_ln_h), LEAST_SD)]))
    return float(cell_wear.chance(np.array([need_h]), np.array([life.hours]), np.array([life.hours_sigma]), law)[0])


def at_temperature(life: Life, kind: CellKind, draw: Draw, celsius: float) -> Life:
    """Return the life as a night at `celsius` would have it: what is left shrinks, what was used stays used."""
    ma = usual_ma(cells.table_of(kind), exp(draw.mean_ln), draw.load, draw.in_series)
    factor = cells.cold_factor(kind, celsius, ma)
    return replace(
        life,
        mean_ln_h=life.mean_ln_h + log(factor),
        hours=life.hours * factor,
        hours_sigma=life.hours_sigma * factor,
        low_h=life.low_h * factor,
        median_h=life.median_h * factor,
        high_h=life.high_h * factor,
    )


def standby_hours(kind: CellKind, draw: Draw, off_hours: float) -> float:
    """Return the on-hours that so many hours switched off but connected cost."""
    ma = usual_ma(cells.table_of(kind), exp(draw.mean_ln), draw.load, draw.in_series)
    return max(0.0, off_hours) * draw.standby_ma / ma


def _reasons(kind: CellKind, draw: Draw, prior: Prior) -> list[str]:
    found = []
    if prior.mean <= log(LEAST_H) + 1e-9:
        found.append(
            f"Fresh {kind.name} is already below {draw.stops_below_v:g} V under this load: it will not run this device."
        )
    if kind.valid_to_ma is not None and prior.ma > kind.valid_to_ma:
        found.append(f"{prior.ma:.0f} mA is beyond the {kind.valid_to_ma:g} mA its figures go to: {kind.name} is reckoned low.")
    return found


def _checked(kind: CellKind, draw: Draw, prior: Prior, one: Seen, reasons: list[str]) -> tuple[float, float, float]:
    """Return the reading put right for rest, the mA it was taken at and its spread, and say what it means."""
    n = draw.in_series
    cells.checked_volts(kind, one.volts, n)
    ma = reading_ma(one, prior.ma)
    loaded = ma > 0
    minutes = None if one.own_load else one.minutes_off
    seen = one.volts - cells.rest_rise(kind, n, loaded=loaded, minutes_off=minutes)
    depth, spread = cells.depth_from_reading(kind, one.volts, ma, n, minutes)
    how = "under load" if loaded else "without a load, which flatters"
    reasons.append(f"{one.volts:.3g} V {how}: about {100 * depth:.0f} % used, give or take {100 * spread:.0f}.")
    if n > 1 and one.volts <= kind.fresh_most_v and depth >= prior.end_depth:
        reasons.append(f"{one.volts:.3g} V is what one cell reads: was it read across all {n}?")
    return seen, ma, cells.reading_sigma(kind, n, loaded=loaded, minutes_off=minutes)


def _part_used(kind: CellKind, draw: Draw, prior: Prior, one: Seen | None, reasons: list[str]) -> tuple[float, float]:
    """Return the life of a set that was not new: what its reading leaves, counted from the hours it was read at."""
    if one is None:
        reasons.append("Nobody knows what it had left when it was fitted: test it, and keep it to rehearsals.")
        return prior.mean + log(UNKNOWN_SHARE), prior.var + UNKNOWN_SPREAD**2
    _checked(kind, draw, prior, one, reasons)
    minutes = None if one.own_load else one.minutes_off
    depth, spread = cells.depth_from_reading(kind, one.volts, reading_ma(one, prior.ma), draw.in_series, minutes)
    unused = max(prior.end_depth - depth, 0.01)
    remains = exp(prior.mean) * unused / prior.end_depth
    total = one.hours + remains
    var = (remains / total) ** 2 * (prior.var + min(spread / unused, 1.0) ** 2)
    return log(total), max(var, LEAST_SD**2)
