"""What the limits of the bench come to, worked out on things everybody has: one sentence a group."""

from collections.abc import Mapping
from typing import Any

from maintenance.calc.bench import DEPTH_WORDS, Depth
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.wiring_limits import Lead, Limit, core_limits
from maintenance.calc.wirings import wiring_read

LENGTH_M, CORE_MM2, CORE_AWG, TEMPERATURE_C = 10, 0.22, 24, 20
WINDING_OHM = 200.0
LOAD_OHM = 8.0
BAD_BEFORE = 0.05
THIN = "\u2009"


def ohms(value: float) -> str:
    """Write a resistance with its unit: 0.78 Ω, 4.7 kΩ, 20 MΩ."""
    for least, unit in ((1e9, "GΩ"), (1e6, "MΩ"), (1e3, "kΩ")):
        if value >= least:
            return f"{value / least:.3g}{THIN}{unit}"
    return f"{value:.2f}{THIN}Ω" if value < 10 else f"{value:.3g}{THIN}Ω"


def examples(*, limits: BenchLimits, sees: Mapping[Depth, float], sees_show: float) -> dict[str, str]:
    """Return one worked example for each group of limits, by the group's key; `sees` is the share of what is bad each finds."""
    at = f"at {TEMPERATURE_C}{THIN}°C"
    thin, gauge = _core(limits, core_mm2=CORE_MM2), _core(limits, core_awg=CORE_AWG)
    core = (
        f"A {LENGTH_M}{THIN}m lead of {CORE_MM2}{THIN}mm² {at} holds {ohms(thin.copper_ohm)} of copper at most: "
        f"it passes up to {ohms(thin.pass_ohm)} and fails above {ohms(thin.fail_ohm)}. One of {CORE_AWG} gauge holds "
        f"{ohms(gauge.copper_ohm)} by the table: it passes up to {ohms(gauge.pass_ohm)}."
    )
    joined = (
        f"Pins that belong together and read over {ohms(limits.open_ohm)} are open. Pins that do not and read under "
        f"{ohms(limits.short_ohm)} are shorted, under {ohms(limits.leak_ohm)} they leak."
    )
    drift = limits.golden_share * WINDING_OHM
    winding = f"{WINDING_OHM - drift:.0f} to {WINDING_OHM + drift:.0f}{THIN}Ω"
    pad = f"{20 - limits.pad_db:g} to {20 + limits.pad_db:g}{THIN}dB"
    boxes = (
        f"A winding first read at {WINDING_OHM:.0f}{THIN}Ω is as it was from {winding}. "
        f"A pad labelled 20{THIN}dB may take {pad}."
    )
    # what a loop swallows is 20 lg((load + loop) / load)
    swallowed = LOAD_OHM * (10 ** (limits.loudspeaker_loss_db / 20) - 1)
    loudspeaker = (
        f"Into a load of {LOAD_OHM:.0f}{THIN}Ω a lead may have {ohms(swallowed)} there and back: more costs over "
        f"{limits.loudspeaker_loss_db:g}{THIN}dB."
    )
    told = [
        f"{one_in(left_bad(BAD_BEFORE, sees[depth]))} after a pass with {DEPTH_WORDS[depth]}"
        for depth in (Depth.LAMPS, Depth.OHMS_FLEXED)
    ]
    told.append(f"{one_in(left_bad(BAD_BEFORE, sees_show))} after a show where nothing happened")
    seen = f"A lead that is bad with a chance of 1 in 20 still is with {', '.join(told)}."
    return {
        "core": core,
        "joined": joined,
        "legs": _legs(limits, gauge.copper_ohm),
        "boxes": boxes,
        "loudspeaker": loudspeaker,
        "sees": seen,
    }


def _core(limits: BenchLimits, **gauge: Any) -> Limit:
    wiring = wiring_read(ends="A: socket: 1 2 3\nB: plug: 1 2 3", nets="A1=B1 screen | A2=B2 hot | A3=B3 cold")
    held = core_limits(lead=Lead(wiring=wiring, length_m=LENGTH_M, **gauge), limits=limits, temperature_c=TEMPERATURE_C).core
    assert held is not None  # noqa: S101 (the lead has a length and a gauge)
    return held


def _legs(limits: BenchLimits, copper_ohm: float) -> str:
    apart = max(limits.legs_factor * copper_ohm, limits.legs_ohm)
    return f"Where one leg reads {ohms(copper_ohm)}, the other may read up to {ohms(copper_ohm + apart)}."


def left_bad(before: float, sees: float) -> float:
    """Return the chance of still being bad after a pass of a test that finds this share of what is bad (Bayes' rule)."""
    return (1 - sees) * before / (1 - sees * before)


def one_in(chance: float) -> str:
    """Say a chance as 1 in so many."""
    return "none" if chance <= 0 else f"1 in {1 / chance:.0f}"
