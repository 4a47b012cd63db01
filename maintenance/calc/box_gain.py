"""What a box's gain should be, from ratio, resistances and load; and the least phantom it must run from."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from maintenance.calc.phantom_out import SUPPLIES, device_range
from maintenance.calc.steps import figure_of

BENCH_SOURCE_OHM = 100.0  # a generator's or desk's output: common practice, no source
MIC_LOAD_OHM = 1500.0  # a microphone input: published pages give 1.5 to 3 kohm
LINE_LOAD_OHM = 10_000.0  # what a line isolator is built for: from memory
RATED_SOURCE_OHM = 10_000.0  # a passive instrument, from which a box's output impedance is told (derived)
ISOLATOR_RATIO = 3.0  # below: an isolator between line sockets, with no instrument input and no through
MOST_DRAW_MA = 10.0  # P48: IEC 61938 figures as summarised in published pages
LEAST_PHANTOM_V = 30.0  # where a box's draw is not known: one maker's data sheet guarantees a device down to here


@dataclass(frozen=True, kw_only=True)
class Transformer:
    """What a passive box's gain hangs on; resistances in ohms, the ratio primary to secondary."""

    turns_ratio: float
    primary_ohm: float = 0.0
    secondary_ohm: float = 0.0


def gain_db(box: Transformer, *, source_ohm: float, load_ohm: float) -> float:
    """Return the level at the load over that of the unloaded source.

    An ideal transformer between winding resistances: n RL / (Rs + Rp + n2 (Rsec + RL)); core losses are left out.
    """
    n = box.turns_ratio
    share = n * load_ohm / (source_ohm + box.primary_ohm + n * n * (box.secondary_ohm + load_ohm))
    return 20 * math.log10(share)


def reflected_ohm(box: Transformer, *, load_ohm: float) -> float:
    """Return the resistance a source sees: primary plus the secondary's circuit times the ratio squared."""
    return box.primary_ohm + box.turns_ratio**2 * (box.secondary_ohm + load_ohm)


def output_ohm(box: Transformer, *, source_ohm: float) -> float:
    """Return the resistance the load sees: source and primary over the ratio squared, plus secondary."""
    return (source_ohm + box.primary_ohm) / box.turns_ratio**2 + box.secondary_ohm


def loading_db(*, source_ohm: float, load_ohm: float) -> float:
    """Return what is lost by a load on a source."""
    return 20 * math.log10(load_ohm / (source_ohm + load_ohm))


def least_phantom_v(draw_ma: float | None) -> float:
    """Return the lowest volts a box must run from: a P48 input at the low end of all its tolerances under the box's draw."""
    span = device_range(SUPPLIES["P48"], min(draw_ma, MOST_DRAW_MA)) if draw_ma else None
    return LEAST_PHANTOM_V if span is None else math.floor(span[0] * 2) / 2


def is_isolator(facts: Mapping[str, object]) -> bool:
    """Say whether a passive box stands between line sockets: ratio near one, no pads."""
    ratio = figure_of(facts, "turns_ratio")
    return not facts.get("active") and ratio is not None and ratio < ISOLATOR_RATIO


def loads(facts: Mapping[str, object]) -> tuple[float, float]:
    """Return the bench's source and load in ohms for a type."""
    source = figure_of(facts, "bench_source_ohm") or BENCH_SOURCE_OHM
    return source, figure_of(facts, "bench_load_ohm") or (LINE_LOAD_OHM if is_isolator(facts) else MIC_LOAD_OHM)


def granted(facts: Mapping[str, object]) -> dict[str, float | str]:
    """Return what a gain is worked out with, to be stored with the test."""
    source, load = loads(facts)
    return {"source_ohm": source, "load_ohm": load}


def expected_gain(
    facts: Mapping[str, object], *, primary_ohm: float | None = None, secondary_ohm: float | None = None
) -> tuple[float, float] | None:
    """Return the least and most gain a type's ratio predicts, without guard; None where its ratio is not known.

    With both windings known they are one figure. Without, the windings lie between nothing and what the output impedance
    leaves for them.
    """
    ratio = figure_of(facts, "turns_ratio")
    if ratio is None:
        return None
    source, load = loads(facts)
    if primary_ohm is not None and secondary_ohm is not None:
        box = Transformer(turns_ratio=ratio, primary_ohm=primary_ohm, secondary_ohm=secondary_ohm)
        one = gain_db(box, source_ohm=source, load_ohm=load)
        return one, one
    best = gain_db(Transformer(turns_ratio=ratio), source_ohm=source, load_ohm=load)
    told = figure_of(facts, "output_ohm") or 0.0
    windings = max(0.0, told - (0.0 if is_isolator(facts) else RATED_SOURCE_OHM / ratio**2))
    worst = gain_db(Transformer(turns_ratio=ratio, secondary_ohm=windings), source_ohm=source, load_ohm=load)
    return worst, best
