"""What the limits of the bench come to, worked out on things everybody has: one sentence a group."""

from collections.abc import Mapping

from maintenance.calc.bench import DEPTH_WORDS, Depth
from maintenance.calc.bench_limits import BenchLimits

LENGTH_M, CORE_MM2, TEMPERATURE_C, CONTACTS = 10, 0.22, 20, 2
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


def pass_limit_ohm(*, limits: BenchLimits, copper_ohm: float, contacts: int = CONTACTS) -> float:
    """Return what a core may read at most: its copper with the spread, its contacts, and the guard."""
    return limits.core_factor * copper_ohm + limits.contact_ohm * contacts + limits.guard_ohm


def examples(*, limits: BenchLimits, sees: Mapping[Depth, float], sees_show: float, copper_ohm: float) -> dict[str, str]:
    """Return one worked example for each group of limits, by the group's key.

    `copper_ohm` is that of one core of 10 m at 0.22 mm2 and 20 degrees; `sees` the share of what is bad each depth finds.
    """
    passes = pass_limit_ohm(limits=limits, copper_ohm=copper_ohm)
    fails = copper_ohm + limits.watch_extra_ohm
    watched = f"is watched up to {ohms(fails)} and fails above" if fails > passes else "fails above"
    lead = f"{LENGTH_M}{THIN}m lead of {CORE_MM2}{THIN}mm² at {TEMPERATURE_C}{THIN}°C"
    core = f"A {lead} holds {ohms(copper_ohm)} of copper: it passes up to {ohms(passes)}, {watched}."
    joined = (
        f"Pins that belong together and read over {ohms(limits.open_ohm)} are open. Pins that do not and read under "
        f"{ohms(limits.short_ohm)} are shorted, under {ohms(limits.leak_ohm)} they leak."
    )
    apart = max(limits.legs_factor * copper_ohm, limits.legs_ohm)
    legs = f"Where one leg reads {ohms(copper_ohm)}, the other may read up to {ohms(copper_ohm + apart)}."
    drift = limits.golden_share * WINDING_OHM
    winding = f"{WINDING_OHM - drift:.0f} to {WINDING_OHM + drift:.0f}{THIN}Ω"
    pad = f"{20 - limits.pad_db:g} to {20 + limits.pad_db:g}{THIN}dB"
    boxes = (
        f"A winding first read at {WINDING_OHM:.0f}{THIN}Ω is as it was from {winding}. "
        f"A pad labelled 20{THIN}dB may take {pad}."
    )
    # the round trip swallows 20 log(1 + R / load)
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
    return {"core": core, "joined": joined, "legs": legs, "boxes": boxes, "loudspeaker": loudspeaker, "sees": seen}


def left_bad(before: float, sees: float) -> float:
    """Return the chance of still being bad after a pass of a test that finds this share of what is bad (Bayes' rule)."""
    return (1 - sees) * before / (1 - sees * before)


def one_in(chance: float) -> str:
    """Say a chance as 1 in so many."""
    return "none" if chance <= 0 else f"1 in {1 / chance:.0f}"
