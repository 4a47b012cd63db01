"""Figures of a line in words: rounded so that nobody reads 8.7e-06 dB, a range where its two ends read differently."""

import math

from shows.calc.lines import Sort
from shows.calc.signal_path import Answer, Level

THIN = "\u2009"
NOTHING_DB = 0.005  # less is no figure
WHOLE_FROM_DB = 9.95
NOTHING = "next to nothing"


def decibels(db: float) -> str:
    """Return the size of a loss or a peak: 0.02, 0.6, 6, 18; empty where it is no figure."""
    size = abs(db)
    if size < NOTHING_DB:
        return ""
    if size < 0.095:
        return f"{size:.2f}"
    return f"{size:.0f}" if size >= WHOLE_FROM_DB else f"{size:.1f}".removesuffix(".0")


def loss(low_db: float, high_db: float | None = None) -> str:
    """Return a loss: "0.6 dB", "0.4 to 0.6 dB", "up to 0.02 dB", "next to nothing"."""
    ends = sorted((abs(low_db), abs(low_db if high_db is None else high_db)))
    least, most = (decibels(one) for one in ends)
    if not most:
        return NOTHING
    if least == most:
        return f"{most}{THIN}dB"
    return f"{least} to {most}{THIN}dB" if least else f"up to {most}{THIN}dB"


def frequency(hz: float) -> str:
    """Return a frequency: 85 Hz, 3.5 kHz, 13 kHz."""
    return f"{hz:.0f}{THIN}Hz" if hz < 995 else f"{_kilo(hz)}{THIN}kHz"


def frequencies(low_hz: float, high_hz: float) -> str:
    """Return a range of frequencies, or one where its ends read the same."""
    low, high = sorted((low_hz, high_hz))
    if frequency(low) == frequency(high):
        return frequency(low)
    if low >= 995:
        return f"{_kilo(low)} to {_kilo(high)}{THIN}kHz"
    return f"{frequency(low)} to {frequency(high)}"


def dbu(value: float) -> str:
    """Return a level without its unit, with a true minus: −22."""
    told = round(value)
    return f"\u2212{-told}" if told < 0 else f"{told}"


def ohms(value: float) -> str:
    """Return a resistance: 150 Ω, 10 kΩ, 1 MΩ."""
    for unit, size in (("MΩ", 1e6), ("kΩ", 1e3)):
        if value >= size:
            return f"{value / size:.3g}{THIN}{unit}"
    return f"{value:.3g}{THIN}Ω"


def metres(value: float) -> str:
    """Return a length in metres."""
    return f"{value:.1f}".removesuffix(".0") + f"{THIN}m" if value < 9.95 else f"{value:.0f}{THIN}m"


def at_mixer(level: Level, pad_db: float) -> str:
    """Return a level at the mixer, typical and peak, and the pad it is behind."""
    behind = f" behind its {pad_db:.0f}{THIN}dB pad" if pad_db else ""
    return f"{dbu(level.typical_dbu)}{THIN}dBu at the mixer{behind}, peaks {dbu(level.peak_dbu)}"


def left_of(sort: Sort, told: Answer, *, best: Answer | None, ends: tuple[Answer, Answer] | None) -> str:
    """Return what is left of a source: its loss and its peak, its bass or its top. `best`: into what its maker meant."""
    lost = f"it loses {loss(*(one.loss_db for one in ends)) if ends else loss(told.loss_db)}"
    if sort is Sort.PICKUP:
        return f"{lost} and {_peak(told, best)}"
    if sort is Sort.PIEZO:
        if told.bass_hz is None:
            return f"{lost} and its bass is whole"
        return f"{lost} and its bass falls below {frequency(told.bass_hz)}"
    corners = [one.corner_hz for one in (ends or (told,)) if one.corner_hz is not None]
    if not corners:
        return lost
    return f"{lost} and its top falls from {frequencies(min(corners), max(corners))} on"


def _peak(told: Answer, best: Answer | None) -> str:
    was = best.peak if best else None
    if was is None:
        return f"peaks {decibels(told.peak.db)}{THIN}dB at {frequency(told.peak.hz)}" if told.peak else "has no peak"
    if told.peak is None or math.isclose(told.peak.db, 0, abs_tol=0.3):
        return f"its peak of {was.db:.0f}{THIN}dB at {frequency(was.hz)} is gone"
    if was.db - told.peak.db < 1:
        return f"keeps its peak of {told.peak.db:.0f}{THIN}dB at {frequency(told.peak.hz)}"
    return f"its peak at {frequency(was.hz)} falls from {was.db:.0f}{THIN}dB to {told.peak.db:.0f}{THIN}dB"


def _kilo(hz: float) -> str:
    return f"{hz / 1000:.0f}" if hz >= 9_950 else f"{hz / 1000:.1f}".removesuffix(".0")
