"""What a cell does: capacity at a drain, volts at a depth, hours to a cut-off, depth from a reading. One set at a time.

Depth is the used share: 0 new, 1 empty. Capacity is piecewise log-log in the current and never grows below the lowest node: an
exponent fitted at 100 mA foretells twice what an AA cell holds at 5 mA. Volts are U(s) - I R(s) with R(s) = R0 + (R1 - R0) s^2,
times the blocks in series. `cell_arrays` does the same for many sets at once.
"""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from math import exp, inf, isfinite, log, sqrt
from statistics import NormalDist
from typing import Any

from maintenance.calc.cell_words import CellError, CellKind, Load, System

LEAST_H = 0.01  # a set that cannot start a device at all lasts this long
WARM = 20.0
COLDEST, HOTTEST = -40.0, 60.0
METER_SHARE = 0.005  # of the reading: a hand meter
LOOSE_V = 0.03  # a cell: more spread when read with no load, or soon after one was taken off
REST_MIN, REST_V = 60.0, 0.03  # a zinc cell recovers about so much when left alone; from memory
HEAVY_FROM, HEAVY_AT = 60.0, 20.0  # hours' rate: from capacity / 60 on cold tells more, at capacity / 20 fully
BATCH_SPREAD, MIXED_SPREAD = 0.03, 0.10
_WEAKEST = {1: 0.0, 2: 0.56, 3: 0.85, 4: 1.03, 5: 1.16, 6: 1.27, 7: 1.35, 8: 1.42}  # normal order statistics
_GAUSS = ((-sqrt(0.6), 5 / 9), (0.0, 8 / 9), (sqrt(0.6), 5 / 9))  # Gauss-Legendre, three points
ZINC = frozenset({System.ALKALINE, System.ZINC_CARBON})


@dataclass(frozen=True, kw_only=True)
class Table:
    """A kind's numbers as the sums want them: depths, volts and slopes of the curve, ln mA and ln mAh of the nodes."""

    depths: tuple[float, ...]
    volts: tuple[float, ...]
    slopes: tuple[float, ...]
    ln_ma: tuple[float, ...]
    ln_mah: tuple[float, ...]
    r_fresh: float
    r_more: float
    light: tuple[tuple[float, float], ...]
    heavy: tuple[tuple[float, float], ...]

    def ln_capacity(self, ln_ma: float) -> float:
        nodes = self.ln_ma
        if ln_ma <= nodes[0] or len(nodes) == 1:
            return self.ln_mah[0]
        k = min(bisect_right(nodes, ln_ma), len(nodes) - 1)
        slope = (self.ln_mah[k] - self.ln_mah[k - 1]) / (nodes[k] - nodes[k - 1])
        return self.ln_mah[k - 1] + slope * (ln_ma - nodes[k - 1])

    def open_volts(self, depth: float) -> float:
        k = min(max(bisect_right(self.depths, depth), 1), len(self.depths) - 1)
        return self.volts[k - 1] + self.slopes[k - 1] * (depth - self.depths[k - 1])

    def ohm(self, depth: float) -> float:
        return self.r_fresh + self.r_more * depth * depth

    def depth_where(self, ma: float, volts: float) -> float:
        """Return the depth at which one block under `ma` falls to `volts`: 0 when it starts below, 1 when it never does."""
        amps = ma / 1000
        for k in range(1, len(self.depths)):
            end = self.depths[k]
            if self.volts[k] - amps * self.ohm(end) > volts:
                continue
            start, down = self.depths[k - 1], -self.slopes[k - 1]
            over = self.volts[k - 1] + down * start - amps * self.r_fresh - volts
            if over <= 0:
                return 0.0 if k == 1 else start
            bend = amps * self.r_more
            return min(max(2 * over / (down + sqrt(down * down + 4 * bend * over)), start), end)
        return 1.0


@lru_cache(maxsize=256)
def table_of(kind: CellKind) -> Table:
    """Return the kind's table. CellError for a type without a curve or capacities, or with ones that cannot be."""
    if len(kind.curve) < 2:
        raise CellError(f"{kind.name} has no curve of volts yet: put one on its page, or go by hours from full.")
    if not kind.capacity:
        raise CellError(f"{kind.name} has no capacities yet: put them on its page, or go by hours from full.")
    depths, volts = zip(*kind.curve, strict=True)
    if depths[0] != 0 or depths[-1] != 1 or any(b <= a for a, b in pairwise(depths)):
        raise CellError(f"The curve of {kind.name} must run from depth 0 to depth 1, each depth once.")
    if any(b > a for a, b in pairwise(volts)) or volts[-1] <= 0:
        raise CellError(f"The curve of {kind.name} must fall: volts never rise as a cell empties.")
    ma, mah = zip(*kind.capacity, strict=True)
    if min(ma) <= 0 or min(mah) <= 0 or any(b <= a for a, b in pairwise(ma)):
        raise CellError(f"The capacities of {kind.name} must be above nothing, by rising current.")
    if any(b > a for a, b in pairwise(mah)):
        raise CellError(f"The capacities of {kind.name} must not grow with the current.")
    return Table(
        depths=tuple(map(float, depths)),
        volts=tuple(map(float, volts)),
        slopes=tuple((volts[k + 1] - volts[k]) / (depths[k + 1] - depths[k]) for k in range(len(depths) - 1)),
        ln_ma=tuple(map(log, ma)),
        ln_mah=tuple(map(log, mah)),
        r_fresh=kind.r_fresh_ohm,
        r_more=max(0.0, kind.r_empty_ohm - kind.r_fresh_ohm),
        light=_cold(kind.cold_light),
        heavy=_cold(kind.cold_heavy or kind.cold_light),
    )


def _cold(nodes: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Return the nodes by rising temperature, closed with 1 at 20 degrees, so that cold never helps."""
    found, least = [(WARM, 1.0)], 1.0
    for celsius, factor in sorted(((c, f) for c, f in nodes if c < WARM), reverse=True):
        least = min(least, factor)
        found.append((celsius, least))
    return tuple(reversed(found))


def kind_of(row: Mapping[str, Any]) -> CellKind:
    """Return the kind from a row of `fixtures/cells.json` or the like-named columns of a cell type."""
    cold = row.get("cold") or {}

    def nodes(name: str) -> tuple[tuple[float, float], ...]:
        return tuple(sorted((float(celsius), float(factor)) for celsius, factor in (cold.get(name) or {}).items()))

    def pairs(name: str) -> tuple[tuple[float, float], ...]:
        return tuple((float(a), float(b)) for a, b in row.get(name) or ())

    floor, valid = row.get("floor_v"), row.get("valid_to_ma")
    return CellKind(
        key=row["key"],
        name=row["name"],
        system=System(row["system"]),
        units=row.get("units", 1),
        nominal_v=row["nominal_v"],
        fresh_most_v=row["fresh_most_v"],
        curve=pairs("curve"),
        capacity=pairs("capacity"),
        r_fresh_ohm=row.get("r_fresh_ohm", 0.0),
        r_empty_ohm=row.get("r_empty_ohm", 0.0),
        end_v=row.get("end_v", 0.0),
        loss_per_year=row.get("loss_per_year", 0.03),
        sigma_v=row.get("sigma_v", 0.03),
        cold_light=nodes("light"),
        cold_heavy=nodes("heavy"),
        floor_v=None if floor is None else float(floor),
        valid_to_ma=None if valid is None else float(valid),
        rechargeable=row.get("rechargeable", False),
        flat=row.get("flat", False),
        regulated=row.get("regulated", False),
    )


def rated(kind: CellKind, mah: float) -> CellKind:
    """Return the kind with its capacities scaled so that the largest is `mah`: a labelled set's printed or measured figure."""
    if not (isfinite(mah) and mah > 0):
        raise CellError("A capacity is above 0 mAh.")
    most = max((one for _, one in kind.capacity), default=mah)
    return replace(kind, capacity=tuple((ma, one * mah / most) for ma, one in kind.capacity) or ((1.0, mah),))


def capacity_mah(kind: CellKind, ma: float) -> float:
    """Return mAh of a fresh block at 20 degrees at a steady current in mA; constant below the lowest node."""
    table = table_of(kind)
    return exp(table.ln_capacity(log(ma)) if ma > 0 else table.ln_mah[0])


def volts(kind: CellKind, depth: float, ma: float, in_series: int = 1) -> float:
    """Return the loaded volts of the whole set at a depth (0 to 1) under `ma`."""
    table = table_of(kind)
    return in_series * (table.open_volts(min(max(depth, 0.0), 1.0)) - ma / 1000 * table.ohm(min(max(depth, 0.0), 1.0)))


def current_ma(kind: CellKind, draw: float, depth: float, load: Load, in_series: int = 1) -> float:
    """Return mA that a device draws at a depth; infinite when the set can no longer give the power it wants."""
    return _current(table_of(kind), checked_draw(draw), min(max(depth, 0.0), 1.0), load, in_series)


def checked_draw(draw: float | None) -> float:
    """Return the draw. CellError for a device without one."""
    if draw is None or not isfinite(draw) or draw <= 0:
        raise CellError("What this device draws is not known: put the maker's figure on its type, or measure it once.")
    return draw


def _current(table: Table, draw: float, depth: float, load: Load, n: int) -> float:
    if load is Load.CURRENT:
        return draw
    open_v, ohm = n * table.open_volts(depth), n * table.ohm(depth)
    if load is Load.RESISTOR:
        return 1000 * open_v / (draw + ohm)
    watts = draw / 1000
    if ohm <= 0:
        return 1000 * watts / open_v
    left = open_v * open_v - 4 * ohm * watts
    return 1000 * (open_v - sqrt(left)) / (2 * ohm) if left >= 0 else inf


def hours_and_depth(
    table: Table, draw: float, load: Load, in_series: int, stops_below_v: float, factor: float
) -> tuple[float, float]:
    """Return hours until the set falls to `stops_below_v`, and its depth then. With a steady current in closed form.

    A resistor or a constant power falls to V at the depth where V / ohm or mW / V does: the same root; hours to it are the
    integral of Q(I) / I over depth, by three points of Gauss in each piece of the curve.
    """
    n = in_series
    if load is Load.CURRENT:
        depth = table.depth_where(draw, stops_below_v / n)
        return max(LEAST_H, depth * exp(table.ln_capacity(log(draw))) * factor / draw), depth
    depth = _end_depth(table, draw, load, n, stops_below_v)
    total = 0.0
    for k in range(len(table.depths) - 1):
        start, end = table.depths[k], min(table.depths[k + 1], depth)
        if end <= start:
            break
        half, middle = (end - start) / 2, (end + start) / 2
        for at, weight in _GAUSS:
            ln_ma = log(_current(table, draw, middle + half * at, load, n))
            total += half * weight * exp(table.ln_capacity(ln_ma) - ln_ma)
    return max(LEAST_H, total * factor), depth


def _end_depth(table: Table, draw: float, load: Load, n: int, stops_below_v: float) -> float:
    least = max(stops_below_v, 0.02 * n * table.volts[-1])
    if load is Load.RESISTOR:
        return table.depth_where(1000 * least / draw, least / n)
    depth = table.depth_where(draw / least, least / n)
    if isfinite(_current(table, draw, depth, load, n)) and draw / least / 1000 * table.ohm(depth) <= least / n:
        return depth
    low, high = 0.0, 1.0  # the set gives in before the device does: where the most it can give is what is wanted
    for _ in range(50):
        middle = (low + high) / 2
        if n * table.open_volts(middle) ** 2 > 4 * table.ohm(middle) * draw / 1000:
            low = middle
        else:
            high = middle
    return min(low, 1 - 1e-12)


def hours_to(
    kind: CellKind, draw_value: float, load: Load, in_series: int = 1, stops_below_v: float = 0.0, factors: float = 1.0
) -> float:
    """Return hours from fresh until the set's loaded volts fall to `stops_below_v`; draw in mA, ohm or mW by `load`."""
    return hours_and_depth(table_of(kind), checked_draw(draw_value), load, in_series, stops_below_v, factors)[0]


def weakest(n_cells: int, *, same_batch: bool) -> float:
    """Return what the weakest of n separate cells holds, as a share of the usual: it empties first and ends the set."""
    if n_cells <= 1:
        return 1.0
    below = _WEAKEST.get(n_cells) or -NormalDist().inv_cdf(0.625 / (n_cells + 0.25))
    return 1 - (BATCH_SPREAD if same_batch else MIXED_SPREAD) * below


def cold_factor(kind: CellKind, celsius: float, ma: float, heavy: bool | None = None) -> float:
    """Return the share of its capacity a cell gives in the cold. `heavy` none: judged by the current against the capacity."""
    if not (COLDEST <= celsius <= HOTTEST):
        raise CellError(f"{celsius:g} °C is not a night for cells: between {COLDEST:g} and {HOTTEST:g} °C.")
    if celsius >= WARM:
        return 1.0
    table = table_of(kind)
    light, hard = at_celsius(table.light, celsius), at_celsius(table.heavy, celsius)
    if heavy is None:
        most = exp(table.ln_mah[0])
        share = log(max(ma, 1e-9) * HEAVY_FROM / most) / log(HEAVY_FROM / HEAVY_AT)
        share = min(max(share, 0.0), 1.0)
    else:
        share = float(heavy)
    return light + share * (hard - light)


def at_celsius(nodes: tuple[tuple[float, float], ...], celsius: float) -> float:
    """Return the factor between nodes (degrees C, factor) by rising temperature; below the lowest, along its slope."""
    if len(nodes) == 1 or celsius >= WARM:
        return 1.0
    for (c0, f0), (c1, f1) in pairwise(nodes):
        if celsius <= c1:
            return max(0.02, f0 + (f1 - f0) * (celsius - c0) / (c1 - c0))
    return 1.0


def factors(
    kind: CellKind,
    age_years: float = 0.0,
    celsius: float = WARM,
    ma: float = 1.0,
    n_cells: int = 1,
    same_batch: bool = True,
    heavy: bool | None = None,
    continuous: bool = False,
) -> float:
    """Return what age, cold, the weakest of n separate cells and, in zinc-carbon, never resting leave of a capacity."""
    rest = 0.8 if continuous and kind.system is System.ZINC_CARBON else 1.0
    return aged(kind, age_years) * cold_factor(kind, celsius, ma, heavy) * weakest(n_cells, same_batch=same_batch) * rest


def aged(kind: CellKind, age_years: float) -> float:
    """Return the share of capacity left after so many years on the shelf."""
    return exp(-kind.loss_per_year * max(0.0, age_years))


def checked_volts(kind: CellKind, volts_read: float, in_series: int = 1) -> float:
    """Return the reading. CellError in plain words for what no such set can read."""
    name = kind.name if in_series == 1 else f"{in_series} × {kind.name}"
    if not isfinite(volts_read):
        raise CellError("A reading is a number of volts.")
    if volts_read < 0:
        raise CellError("A reading below 0 V: turn the probes round, or look whether a cell is in the wrong way.")
    most = kind.fresh_most_v * in_series
    if volts_read > most * 1.01:
        if 0.3 * most <= volts_read / 1000 <= most * 1.01:
            raise CellError(
                f"{volts_read:g} V looks like millivolts: {volts_read:g} mV is {volts_read / 1000:.3g} V. Type it in volts."
            )
        tenth = volts_read / 10
        point = f" Was it {tenth:g} V, the point left out?" if 0.5 * most <= tenth <= most * 1.01 else ""
        raise CellError(f"{volts_read:g} V cannot come from {name}: a fresh one reads {most:.4g} V at most.{point}")
    return volts_read


def reads_nothing(kind: CellKind, volts_read: float, in_series: int = 1) -> bool:
    """Say whether a reading is as good as none: under a fiftieth of a set's nominal volts."""
    return volts_read < kind.nominal_v * in_series / 50


def reading_sigma(kind: CellKind, in_series: int, *, loaded: bool, minutes_off: float | None) -> float:
    """Return the spread of a reading about the curve, V: the meter's, each cell's own, and more without a load."""
    cells = kind.units * in_series
    loose = not loaded or (minutes_off is not None and 0 < minutes_off < 10)
    spread = (METER_SHARE * kind.nominal_v * in_series) ** 2 + (cells * kind.sigma_v) ** 2
    return sqrt(spread + ((cells * LOOSE_V) ** 2 if loose else 0.0))


def rest_rise(kind: CellKind, in_series: int, *, loaded: bool, minutes_off: float | None) -> float:
    """Return volts that a zinc set read without a load has recovered by; from memory. Nobody said how long: all of it."""
    if loaded or kind.system not in ZINC:
        return 0.0
    rested = 1.0 if minutes_off is None else 1 - exp(-max(0.0, minutes_off) / REST_MIN)
    return REST_V * kind.units * in_series * rested


def depth_from_reading(
    kind: CellKind, volts: float, ma: float = 0.0, in_series: int = 1, minutes_off: float | None = None
) -> tuple[float, float]:
    """Return depth and its spread from one reading of the whole set under `ma` (0: no load). CellError for impossible ones."""
    if kind.regulated:
        raise CellError(f"{kind.name} holds its volts until it cuts off: the reading says nothing. Go by hours since full.")
    table = table_of(kind)
    checked_volts(kind, volts, in_series)
    loaded = ma > 0
    seen = volts - rest_rise(kind, in_series, loaded=loaded, minutes_off=minutes_off)
    spread = reading_sigma(kind, in_series, loaded=loaded, minutes_off=minutes_off)
    depth = table.depth_where(ma, seen / in_series)
    low = table.depth_where(ma, (seen + spread) / in_series)
    high = table.depth_where(ma, (seen - spread) / in_series)
    return depth, max(0.01, (high - low) / 2)
