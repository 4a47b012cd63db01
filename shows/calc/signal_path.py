"""What a lead and an input do to a source: loading, top end, level at the mixer, pad. Linear, passive, one chain.

A source is an electromotive force behind an impedance; the lead is its capacitance (at audio frequencies a lead is far shorter
than a wave, and its series resistance far below any source's); the input is a resistance, behind a passive box what its
transformer shows (maintenance/calc/box_gain.py). Formulas: textbook circuit theory; decibels to 0.775 V are dBu.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from shows.calc.lines import Sort

ZERO_DBU_V = math.sqrt(0.6)  # 1 mW in 600 ohm
DBV_TO_DBU = 20 * math.log10(1 / ZERO_DBU_V)
HEARD_HZ = (20.0, 20_000.0)
LEVEL_AT_HZ = 200.0  # where a level is told: below any resonance or corner worth speaking of
PIEZO_LEVEL_HZ = 1_000.0  # a piezo's bass falls: its level is told above that
PAD_BELOW_DB = 0.0  # headroom under which a pad is needed
HARMFUL_PAD_DBU = -50.0  # a typical level below which a pad costs noise. Our proposal.
MOST_HENRY, MOST_OHM, MOST_PF = 100.0, 1e9, 1e7


class PathError(ValueError):
    """A source, lead or input that cannot be, in words for a person."""


@dataclass(frozen=True, kw_only=True)
class Source:
    """One source. `ohm`: of the output, or of a pickup's winding; `farad`: across a pickup's coil, or a piezo's own.

    `across_ohm`: what a pickup's volume and tone controls put across it. Levels are dBu with nothing connected.
    """

    sort: Sort = Sort.RESISTIVE
    ohm: float
    henry: float = 0.0
    farad: float = 0.0
    across_ohm: float = math.inf
    typical_dbu: float = 0.0
    peak_dbu: float = 0.0

    def __post_init__(self) -> None:
        _sane("A source's resistance", self.ohm, MOST_OHM)
        _sane("An inductance", self.henry, MOST_HENRY, "H")
        if not (self.across_ohm > 0):
            raise PathError("What stands across a pickup has more than no resistance.")
        if self.sort is Sort.PICKUP and self.henry <= 0:
            raise PathError("A pickup has an inductance: without it its resonance cannot be told.")
        if self.sort is Sort.PIEZO and self.farad <= 0:
            raise PathError("A piezo is a capacitor: without its capacitance its bass cannot be told.")
        if self.peak_dbu < self.typical_dbu:
            raise PathError("A peak is not below the typical level.")


@dataclass(frozen=True, kw_only=True)
class Lead:
    """A lead by its metres and its picofarads a metre."""

    metres: float
    pf_per_m: float

    def __post_init__(self) -> None:
        _sane("A length", self.metres, 10_000, "m")
        _sane("A capacitance", self.pf_per_m, 5_000, "pF a metre")

    @property
    def farad(self) -> float:
        return self.metres * self.pf_per_m * 1e-12


@dataclass(frozen=True, kw_only=True)
class Peak:
    """A resonance: where it stands in Hz and how far over the level below it in dB."""

    hz: float
    db: float


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What is left of a source behind its lead and into an input.

    `loss_db`: lost to loading at `level_at_hz` (positive); `corner_hz`: where the top has fallen 3 dB below that, `bass_hz`
    where the bottom has; None where that is outside 20 Hz to 20 kHz; `top_db`: at 20 kHz against the level (negative: lost).
    """

    loss_db: float
    level_at_hz: float
    top_db: float
    corner_hz: float | None
    bass_hz: float | None
    peak: Peak | None


@dataclass(frozen=True, kw_only=True)
class Level:
    """A level at an input: typical and peak dBu, what is left below the input's maximum, and whether a pad helps or harms.

    `pad`: "needed", "harmful", "" (neither); `headroom_db` None where the maximum is not known.
    """

    typical_dbu: float
    peak_dbu: float
    headroom_db: float | None
    pad: str


def decibels(ratio: float) -> float:
    """Return 20 log10 of a ratio of volts; minus infinity for none."""
    return 20 * math.log10(ratio) if ratio > 0 else -math.inf


def dbu_of_volts(volts: float) -> float:
    """Return dBu of volts rms: 0 dBu is sqrt(0.6) V."""
    return decibels(volts / ZERO_DBU_V)


def volts_of_dbu(dbu: float) -> float:
    """Return volts rms of dBu."""
    return float(ZERO_DBU_V * 10 ** (dbu / 20))


def loudspeaker_dbu(*, watts: float, ohm: float) -> float:
    """Return dBu across a loudspeaker of `ohm` that takes `watts`: sqrt(P R) volts."""
    if not (watts > 0 and ohm > 0):
        raise PathError("A loudspeaker's power and impedance are more than nothing.")
    return dbu_of_volts(math.sqrt(watts * ohm))


def corner_hz(ohm: float, farad: float) -> float:
    """Return where a resistance into a capacitance has lost 3 dB: 1 / (2 pi R C); infinite where either is nothing."""
    return 1 / (2 * math.pi * ohm * farad) if ohm > 0 and farad > 0 else math.inf


def metres_to_loss(*, source_ohm: float, pf_per_m: float, loss_db: float, hz: float = 20_000.0) -> float:
    """Return the metres of lead at which a resistive source has lost `loss_db` (positive) at `hz`, the load far above it.

    From 10 log10(1 + (f / fc)^2) solved for the length.
    """
    if loss_db <= 0:
        raise PathError("A loss is more than nothing.")
    share = math.sqrt(10 ** (loss_db / 10) - 1)
    return share / (2 * math.pi * source_ohm * pf_per_m * 1e-12 * hz) if source_ohm > 0 and pf_per_m > 0 else math.inf


def resonance_hz(henry: float, farad: float) -> float:
    """Return where a coil and the capacitance across it resonate, undamped: 1 / (2 pi sqrt(L C))."""
    if henry <= 0 or farad <= 0:
        raise PathError("A resonance takes an inductance and a capacitance.")
    return 1 / (2 * math.pi * math.sqrt(henry * farad))


def transfer(source: Source, *, lead: Lead, input_ohm: float, hz: Sequence[float] | Any) -> Any:
    """Return volts at the input over the source's open volts: complex, as long as `hz`.

    Resistive: R against C of the lead and the input. Pickup: R + jwL against its own C, its controls, the lead and the input.
    Piezo: its own C in series with R, against the lead and the input: a divider of capacitors above a corner in the bass.
    """
    if not input_ohm > 0:
        raise PathError("An input's impedance is more than nothing.")
    w = 2 * np.pi * np.asarray(hz, dtype=float)
    across: Any = 1j * w * lead.farad + 1 / input_ohm
    series: Any = source.ohm + 0j * w
    if source.sort is Sort.PICKUP:
        across = across + 1j * w * source.farad + 1 / source.across_ohm
        series = source.ohm + 1j * w * source.henry
    elif source.sort is Sort.PIEZO:
        series = source.ohm + 1 / (1j * w * source.farad)
    return 1 / (1 + series * across)


def response_db(source: Source, *, lead: Lead, input_ohm: float, hz: Sequence[float] | Any) -> Any:
    """Return the response in dB against the source's open volts, as long as `hz`."""
    return 20 * np.log10(np.abs(transfer(source, lead=lead, input_ohm=input_ohm, hz=hz)))


@lru_cache(maxsize=16)
def grid_hz(low: float = HEARD_HZ[0], high: float = HEARD_HZ[1], points: int = 241) -> Any:
    """Return frequencies evenly spaced by ear; one array for all who ask, not to be written to."""
    grid = np.geomspace(low, high, points)
    grid.flags.writeable = False
    return grid


def answer(source: Source, *, lead: Lead, input_ohm: float) -> Answer:
    """Return what a lead and an input leave of a source, in figures a person can compare."""
    at = PIEZO_LEVEL_HZ if source.sort is Sort.PIEZO else LEVEL_AT_HZ
    hz = grid_hz(points=2401)
    db = response_db(source, lead=lead, input_ohm=input_ohm, hz=hz)
    level = float(response_db(source, lead=lead, input_ohm=input_ohm, hz=[at])[0])
    return Answer(
        loss_db=-level,
        level_at_hz=at,
        top_db=float(db[-1]) - level,
        corner_hz=_falls(hz, db, level - 3.0103, at),
        bass_hz=_rises(hz, db, level - 3.0103, at),
        peak=_peak(hz, db, level) if source.sort is Sort.PICKUP else None,
    )


def level_at(source: Source, *, gain_db: float, most_dbu: float | None) -> Level:
    """Return a source's level behind a gain (dB, negative: a loss) against the most an input takes before it clips."""
    typical, peak = source.typical_dbu + gain_db, source.peak_dbu + gain_db
    headroom = None if most_dbu is None else most_dbu - peak
    if headroom is not None and headroom < PAD_BELOW_DB:
        return Level(typical_dbu=typical, peak_dbu=peak, headroom_db=headroom, pad="needed")
    return Level(typical_dbu=typical, peak_dbu=peak, headroom_db=headroom, pad="harmful" if typical < HARMFUL_PAD_DBU else "")


def common_mode_db(*, common_ohm: float, source_ohm: float, uneven_ohm: float) -> float:
    """Return how far an input rejects what is common to both legs, in dB, when the source's legs differ by `uneven_ohm`.

    1 / |Zc / (Zc + Zs) - Zc / (Zc + Zs + dZ)|, about Zc / dZ: Whitlock's model as published by Elliott. Infinite for even legs.
    """
    if common_ohm <= 0 or source_ohm < 0 or uneven_ohm < 0:
        raise PathError("Impedances are more than nothing.")
    left = common_ohm / (common_ohm + source_ohm)
    right = common_ohm / (common_ohm + source_ohm + uneven_ohm)
    return math.inf if left == right else decibels(1 / abs(left - right))


def loudspeaker_lead(*, loudspeaker_ohm: float, loop_ohm: float) -> tuple[float, float]:
    """Return what a loudspeaker lead loses in dB (negative) and the damping factor it leaves: Z / (Z + R) and Z / R."""
    if not (loudspeaker_ohm > 0 and loop_ohm >= 0):
        raise PathError("A loudspeaker's impedance is more than nothing.")
    return decibels(loudspeaker_ohm / (loudspeaker_ohm + loop_ohm)), loudspeaker_ohm / loop_ohm if loop_ohm else math.inf


def _sane(what: str, value: float, most: float, unit: str = "Ω") -> None:
    if not (math.isfinite(value) and 0 <= value <= most):
        raise PathError(f"{what} of {value:g} {unit} cannot be.")


def _peak(hz: Any, db: Any, level: float) -> Peak | None:
    at = int(np.argmax(db))
    over = float(db[at]) - level
    return Peak(hz=float(hz[at]), db=over) if 0 < at < len(hz) - 1 and over > 0.05 else None


def _falls(hz: Any, db: Any, line: float, since: float) -> float | None:
    """Return the frequency from `since` up where the curve first goes under a line, between two points of the grid."""
    start = int(np.searchsorted(hz, since))
    under = np.nonzero(db[start:] < line)[0]
    if not len(under):
        return None
    return _between(hz, db, start + int(under[0]) - 1, line)


def _rises(hz: Any, db: Any, line: float, since: float) -> float | None:
    end = int(np.searchsorted(hz, since))
    under = np.nonzero(db[:end] < line)[0]
    return _between(hz, db, int(under[-1]), line) if len(under) else None


def _between(hz: Any, db: Any, low: int, line: float) -> float:
    low = max(0, min(low, len(hz) - 2))
    share = (line - db[low]) / (db[low + 1] - db[low]) if db[low + 1] != db[low] else 0.0
    return float(hz[low] * (hz[low + 1] / hz[low]) ** float(np.clip(share, 0, 1)))
