"""The same forecasts for many devices at once: columns in, columns out, equal to `cell_life.life` one by one.

Devices are taken kind by kind and load by load, in blocks that keep memory small.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace
from math import log

import numpy as np

from maintenance.calc import cell_wear, cells
from maintenance.calc.cell_life import HIGH, LOW, STEEPEST, UNKNOWN_SHARE, UNKNOWN_SPREAD, capacity_sigma
from maintenance.calc.cell_reading import life_given_reading, on_true_clock, open_volts
from maintenance.calc.cell_wear import LEAST_SD, Floats
from maintenance.calc.cell_words import CellKind, Load
from maintenance.calc.cells import LEAST_H, Table

BLOCK = 8_192
LOADS = tuple(Load)
_GAUSS_AT = np.array([at for at, _ in cells._GAUSS])
_GAUSS_WEIGHT = np.array([weight for _, weight in cells._GAUSS])


@dataclass(frozen=True, kw_only=True)
class Fleet:
    """Devices as columns of one length, in the units of Draw and Seen. NaN in `seen_volts`: no reading.

    `kind` counts in the `kinds` given beside, `load` in LOADS. `seen_load_ohm` NaN: no test load; `minutes_off` NaN: not told;
    `sigma_capacity` NaN: the kind's own; `n_cells` 0: as many as are in series.
    """

    kind: np.ndarray
    load: np.ndarray
    mean_ln: Floats
    var_ln: Floats
    stops_below_v: Floats
    in_series: np.ndarray
    hours: Floats
    hours_share: Floats
    age_years: Floats
    celsius: Floats
    sigma_capacity: Floats
    n_cells: np.ndarray
    same_batch: np.ndarray
    was_new: np.ndarray
    seen_volts: Floats
    seen_hours: Floats
    seen_share: Floats
    seen_load_ohm: Floats
    seen_own_load: np.ndarray
    seen_minutes_off: Floats

    def rows(self, at: np.ndarray) -> "Fleet":
        return replace(self, **{one.name: getattr(self, one.name)[at] for one in fields(self)})

    def __len__(self) -> int:
        return len(self.kind)


@dataclass(frozen=True, kw_only=True)
class Lives:
    """What is believed of each device's set, as Life has it, in columns; NaN where it cannot be told (`faults` says why)."""

    mean_ln_h: Floats
    var_ln_h: Floats
    hours: Floats
    hours_sigma: Floats
    low_h: Floats
    median_h: Floats
    high_h: Floats
    faults: dict[int, str]  # by the kind's place: a type without a curve

    def chances(self, need_h: Floats) -> Floats:
        """Return each set's chance of dying within `need_h` hours more."""
        found = np.empty_like(self.hours)
        for rows in _blocks(np.arange(len(found))):
            law = cell_wear.law_of(self.mean_ln_h[rows], np.sqrt(self.var_ln_h[rows]))
            found[rows] = cell_wear.chance(need_h[rows], self.hours[rows], self.hours_sigma[rows], law)
        return found


def fleet_of(count: int, **columns: object) -> Fleet:
    """Return a fleet of `count` with the columns given, single values spread, and what was left out as for a fresh set."""
    usual: dict[str, object] = {
        "kind": 0,
        "load": 0,
        "stops_below_v": 0.0,
        "in_series": 1,
        "hours": 0.0,
        "hours_share": 0.25,
        "age_years": 0.0,
        "celsius": cells.WARM,
        "sigma_capacity": np.nan,
        "n_cells": 0,
        "same_batch": True,
        "was_new": True,
        "seen_volts": np.nan,
        "seen_hours": 0.0,
        "seen_share": 0.25,
        "seen_load_ohm": np.nan,
        "seen_own_load": False,
        "seen_minutes_off": np.nan,
    }
    return Fleet(**{name: np.broadcast_to(np.asarray(value), (count,)).copy() for name, value in (usual | columns).items()})


def lives_of(kinds: Sequence[CellKind], fleet: Fleet) -> Lives:
    """Return what is believed of every device's set. A kind that cannot be reckoned leaves NaN and a sentence in `faults`."""
    count = len(fleet)
    mean, var = np.full(count, np.nan), np.full(count, np.nan)
    faults: dict[int, str] = {}
    for place, kind in enumerate(kinds):
        mine = fleet.kind == place
        if not mine.any():
            continue
        try:
            table = cells.table_of(kind)
        except cells.CellError as error:
            faults[place] = str(error)
            continue
        for number, load in enumerate(LOADS):
            for rows in _blocks(np.flatnonzero(mine & (fleet.load == number))):
                mean[rows], var[rows] = _lives(kind, table, load, fleet.rows(rows))
    used = np.maximum(fleet.hours, 0.0)
    regulated = np.array([kind.regulated for kind in kinds], bool)[fleet.kind]
    since = np.where(np.isnan(fleet.seen_volts) | regulated, used, np.maximum(used - fleet.seen_hours, 0.0))
    off = since * fleet.hours_share
    low, median, high = np.empty(count), np.empty(count), np.empty(count)
    for rows in _blocks(np.arange(count)):
        law = cell_wear.law_of(mean[rows], np.sqrt(var[rows]))
        for share, into in ((LOW, low), (0.5, median), (HIGH, high)):
            into[rows] = cell_wear.left(share, used[rows], off[rows], law)
    return Lives(
        mean_ln_h=mean,
        var_ln_h=var,
        hours=used,
        hours_sigma=off,
        low_h=low,
        median_h=median,
        high_h=high,
        faults=faults,
    )


def _blocks(rows: np.ndarray) -> Iterator[np.ndarray]:
    for start in range(0, len(rows), BLOCK):
        yield rows[start : start + BLOCK]


def _lives(kind: CellKind, table: Table, load: Load, some: Fleet) -> tuple[Floats, Floats]:
    prior_mean, prior_var, end_depth, own_ma = _fresh(kind, table, load, some)
    read = ~np.isnan(some.seen_volts) & (not kind.regulated)
    ma, seen_v, sigma_v = _readings(kind, some, own_ma)
    mean, var = prior_mean.copy(), prior_var.copy()
    both = read & some.was_new
    if both.any():
        hours_var, hours = some.seen_share[both] ** 2, some.seen_hours[both]
        middle, spread = life_given_reading(
            table,
            mean=prior_mean[both],
            var=prior_var[both],
            hours_var=hours_var,
            end_depth=end_depth[both],
            hours=hours,
            seen_v=seen_v[both],
            ma=ma[both],
            n=some.in_series[both],
            sigma_v=sigma_v[both],
        )
        mean[both], var[both] = on_true_clock(
            mean=prior_mean[both], var=prior_var[both], hours_var=hours_var, hours=hours, middle=middle, spread=spread
        )
    used = ~some.was_new
    if used.any():
        unknown = used & ~read
        mean = np.where(unknown, prior_mean + log(UNKNOWN_SHARE), mean)
        var = np.where(unknown, prior_var + UNKNOWN_SPREAD**2, var)
        n = some.in_series
        depth = _depth_where(table, ma, seen_v / n)
        low, high = _depth_where(table, ma, (seen_v + sigma_v) / n), _depth_where(table, ma, (seen_v - sigma_v) / n)
        off = np.maximum(0.01, (high - low) / 2)
        unused = np.maximum(end_depth - depth, 0.01)
        remains = np.exp(prior_mean) * unused / end_depth
        total = some.seen_hours + remains
        told = (remains / total) ** 2 * (prior_var + np.minimum(off / unused, 1.0) ** 2)
        known = used & read
        mean = np.where(known, np.log(total), mean)
        var = np.where(known, np.maximum(told, LEAST_SD**2), var)
    return mean, np.maximum(var, LEAST_SD**2)


def _readings(kind: CellKind, some: Fleet, own_ma: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the mA at which each was read, its volts put right for rest, and their spread."""
    n, volts = some.in_series, some.seen_volts
    ma = np.where(some.seen_own_load, own_ma, np.where(np.isnan(some.seen_load_ohm), 0.0, 1000 * volts / some.seen_load_ohm))
    loaded = ma > 0
    minutes = np.where(some.seen_own_load, np.nan, some.seen_minutes_off)
    told = np.where(np.isnan(minutes), np.inf, np.maximum(minutes, 0.0))
    rise = cells.REST_V * kind.units * n * -np.expm1(-told / cells.REST_MIN) if kind.system in cells.ZINC else 0.0
    loose = ~loaded | ((minutes > 0) & (minutes < 10))
    blocks = kind.units * n
    spread = (cells.METER_SHARE * kind.nominal_v * n) ** 2 + (blocks * kind.sigma_v) ** 2
    sigma_v = np.sqrt(spread + np.where(loose, (blocks * cells.LOOSE_V) ** 2, 0.0))
    return ma, volts - np.where(loaded, 0.0, rise), sigma_v


def _fresh(kind: CellKind, table: Table, load: Load, some: Fleet) -> tuple[Floats, Floats, Floats, Floats]:
    n = some.in_series.astype(np.float64)
    share = np.exp(-kind.loss_per_year * np.maximum(some.age_years, 0.0))
    separate = np.ones(len(some), int) if kind.units > 1 else np.where(some.n_cells > 0, some.n_cells, some.in_series)
    for many in np.unique(separate):
        for same in (True, False):
            mine = (separate == many) & (some.same_batch == same)
            share[mine] *= cells.weakest(int(many), same_batch=same)
    light, heavy = _cold(table.light, some.celsius), _cold(table.heavy, some.celsius)

    def ln_hours(ln_draw: Floats) -> tuple[Floats, Floats]:
        return ln_hours_of(table, ln_draw, load, n, some.stops_below_v, share, light, heavy)

    step = np.maximum(np.sqrt(some.var_ln), LEAST_SD)
    mean, depth = ln_hours(some.mean_ln)
    slope = (ln_hours(some.mean_ln + step)[0] - ln_hours(some.mean_ln - step)[0]) / (2 * step)
    slope = np.clip(slope, -STEEPEST, STEEPEST)
    sigma = np.where(np.isnan(some.sigma_capacity), capacity_sigma(kind), some.sigma_capacity)
    var = np.maximum(slope * slope * some.var_ln + sigma * sigma, LEAST_SD**2)
    return mean, var, np.maximum(depth, 1e-3), _usual_ma(table, np.exp(some.mean_ln), load, n)


def ln_hours_of(
    table: Table, ln_draw: Floats, load: Load, n: Floats, stops: Floats, share: Floats, light: Floats, heavy: Floats
) -> tuple[Floats, Floats]:
    """Return ln of hours from fresh and the depth at the end, with `share` of the capacity, in the cold by the current."""
    draw = np.exp(ln_draw)
    ma = _usual_ma(table, draw, load, n)
    rate = np.clip(np.log(ma * cells.HEAVY_FROM / np.exp(table.ln_mah[0])) / log(cells.HEAVY_FROM / cells.HEAVY_AT), 0, 1)
    hours, depth = _hours(table, draw, load, n, stops, share * (light + rate * (heavy - light)))
    return np.log(hours), depth


def _cold(nodes: tuple[tuple[float, float], ...], celsius: Floats) -> Floats:
    found = np.ones_like(celsius)
    for at in np.unique(celsius[celsius < cells.WARM]):
        found[celsius == at] = cells.at_celsius(nodes, float(at))
    return found


def _usual_ma(table: Table, draw: Floats, load: Load, n: Floats) -> Floats:
    if load is Load.CURRENT:
        return draw
    middle = n * table.open_volts(0.5)
    return 1000 * middle / draw if load is Load.RESISTOR else draw / middle


def _depth_where(table: Table, ma: Floats, volts: Floats) -> Floats:
    """Return for each the depth at which one block under `ma` falls to `volts`, as `Table.depth_where`."""
    depths, nodes = np.array(table.depths), np.array(table.volts)
    ohm = table.r_fresh + table.r_more * depths * depths
    amps = ma / 1000
    below = nodes[None, 1:] - amps[:, None] * ohm[None, 1:] <= volts[:, None]
    never = ~below.any(axis=1)
    k = below.argmax(axis=1)
    start, end, down = depths[k], depths[k + 1], -np.array(table.slopes)[k]
    over = nodes[k] + down * start - amps * table.r_fresh - volts
    bend = amps * table.r_more
    with np.errstate(invalid="ignore", divide="ignore"):
        root = 2 * over / (down + np.sqrt(down * down + 4 * bend * np.maximum(over, 0.0)))
    found = np.where(over <= 0, start, np.clip(root, start, end))
    return np.where(never, 1.0, found)


def _hours(table: Table, draw: Floats, load: Load, n: Floats, stops: Floats, factor: Floats) -> tuple[Floats, Floats]:
    """Return hours from fresh to the cut-off and the depth then, as `cells.hours_and_depth`."""
    if load is Load.CURRENT:
        depth = _depth_where(table, draw, stops / n)
        return np.maximum(LEAST_H, depth * np.exp(_ln_capacity(table, np.log(draw))) * factor / draw), depth
    least = np.maximum(stops, 0.02 * n * table.volts[-1])
    ma = 1000 * least / draw if load is Load.RESISTOR else draw / least
    depth = _depth_where(table, ma, least / n)
    if load is Load.POWER:
        depth = _given_in(table, draw, n, depth, least)
    total = np.zeros_like(draw)
    watts = draw / 1000
    for k in range(len(table.depths) - 1):
        start = table.depths[k]
        half = np.maximum(np.minimum(table.depths[k + 1], depth) - start, 0.0) / 2
        if not half.any():
            break
        at = (start + half)[:, None] + half[:, None] * _GAUSS_AT
        open_v = n[:, None] * (table.volts[k] + table.slopes[k] * (at - start))
        ohm = n[:, None] * (table.r_fresh + table.r_more * at * at)
        if load is Load.RESISTOR:
            ln_ma = np.log(1000 * open_v / (draw[:, None] + ohm))
        elif table.r_fresh <= 0:
            ln_ma = np.log(1000 * watts[:, None] / open_v)
        else:
            root = np.sqrt(np.maximum(open_v * open_v - 4 * ohm * watts[:, None], 0.0))
            ln_ma = np.log(1000 * (open_v - root) / (2 * ohm))
        total += half * (np.exp(_ln_capacity(table, ln_ma) - ln_ma) @ _GAUSS_WEIGHT)
    return np.maximum(LEAST_H, total * factor), depth


def _given_in(table: Table, draw: Floats, n: Floats, depth: Floats, least: Floats) -> Floats:
    """Return the depths, less where a set gives in before the device does: it cannot give that power from there on."""
    watts = draw / 1000

    def can(at: Floats) -> np.ndarray:
        return (n * open_volts(table, at)) ** 2 >= 4 * n * (table.r_fresh + table.r_more * at * at) * watts

    ohm = table.r_fresh + table.r_more * depth * depth
    weak = ~(can(depth) & (watts / least * ohm <= least / n))
    if not weak.any():
        return depth
    low, high = np.zeros_like(depth), np.ones_like(depth)
    for _ in range(50):
        middle = (low + high) / 2
        fine = (n * open_volts(table, middle)) ** 2 > 4 * n * (table.r_fresh + table.r_more * middle * middle) * watts
        low, high = np.where(fine, middle, low), np.where(fine, high, middle)
    return np.where(weak, np.minimum(low, 1 - 1e-12), depth)


def _ln_capacity(table: Table, ln_ma: Floats) -> Floats:
    nodes, values = np.array(table.ln_ma), np.array(table.ln_mah)
    found = np.interp(ln_ma, nodes, values)
    if len(nodes) > 1:
        slope = (values[-1] - values[-2]) / (nodes[-1] - nodes[-2])
        found = found + slope * np.maximum(ln_ma - nodes[-1], 0.0)
    return found
