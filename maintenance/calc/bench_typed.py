"""Readings as people type them at a bench: 0.81, 1.2 k, > 20 M, OL, beep. One field, one answer, or a sentence."""

import math
import re
from dataclasses import dataclass

RANGE_TOP_OHM = 2e7  # what "over range" is taken for where the meter does not say: 20 Mohm, common practice
MOST_OHM = 1e12
_TIMES = {"": 1.0, "m": 1e-3, "k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9}
_NUMBER = re.compile(r"(?P<over>>?)\s*(?P<number>\d+(?:[.,]\d*)?|[.,]\d+)\s*(?P<times>[mkKMG]?)\s*(?:Ω|ohms?|Ohms?|OHMS?|R|r)?")
# a letter in the place of the point, as on resistors: 1k2, 4M7, 0R5
_LETTERED = re.compile(r"(?P<whole>\d{1,9})(?P<times>[kKMGRr])(?P<part>\d{1,6})(?:\s*(?:Ω|ohms?|Ohms?|OHMS?))?")
_OVER = frozenset(
    {"o", "ol", "over", "over range", "out of range", "open", "0l", "0.l", "o.l", "o.l.", "inf", "infinite", "infinity"}
    | {"\u221e", "1 ."}
)
_BEEP = frozenset({"s", "b", "beep", "beeps", "y", "yes"})
_SILENT = frozenset({"n", "no", "no beep", "silent", "-"})


@dataclass(frozen=True, kw_only=True)
class Typed:
    """What one field says: exactly one of ohms, beep, above_ohms; all None when nothing was typed."""

    ohms: float | None = None
    beep: bool | None = None
    above_ohms: float | None = None

    @property
    def is_empty(self) -> bool:
        return self.ohms is None and self.beep is None and self.above_ohms is None


class TypedError(ValueError):
    """What was typed is no reading; the words say what one looks like."""


def reading_typed(text: str) -> Typed:
    """Make sense of what was typed for a pair of pins. Raises TypedError with a sentence."""
    clean = " ".join(text.replace("\u2009", " ").replace("\u00a0", " ").split())
    low = clean.lower()
    if not clean:
        return Typed()
    if low in _OVER:
        return Typed(above_ohms=RANGE_TOP_OHM)
    if low in _BEEP:
        return Typed(beep=True)
    if low in _SILENT:
        return Typed(beep=False)
    if clean.startswith(("-", "\u2212")):
        raise TypedError(f"{_short(clean)}: a resistance is never below nothing. Null the meter's leads and read it again.")
    if lettered := _LETTERED.fullmatch(clean):
        times = "" if lettered["times"] in "rR" else lettered["times"]
        clean = f"{lettered['whole']}.{lettered['part']}{times}"
    found = _NUMBER.fullmatch(clean)
    if not found:
        raise TypedError(f"{_short(clean)} is no reading. Write ohms, as 0.81 or 1.2k; o for over range; s for a beep.")
    value = float(found["number"].replace(",", ".")) * _TIMES[found["times"]]
    if not math.isfinite(value) or value > MOST_OHM:
        raise TypedError(f"{_short(clean)} is more than any meter shows. Write o for over range.")
    if found["over"]:
        if value <= 0:
            raise TypedError("Over range is above some figure, as > 20M.")
        return Typed(above_ohms=value)
    return Typed(ohms=value)


def is_over(text: str) -> bool:
    """Say whether a text means over the meter's range: OL, open, \u221e."""
    return " ".join(text.split()).lower() in _OVER


def _short(text: str) -> str:
    return f"“{text[:24]}…”" if len(text) > 24 else f"“{text}”"


def channels_typed(text: str, *, sends: int, returns: int = 0) -> dict[int, str]:
    """Make sense of a list of channels that failed: 14, 3-5, r2 for a return, 7.2 for pin 2 of a channel alone.

    Answers with the pin by channel, an empty one where nothing of it beeps. Raises TypedError with a sentence.
    """
    found: dict[int, str] = {}
    for part in re.split(r"[,;\s]+", re.sub(r"\s*(?:-|\u2013|\bto\b)\s*", "-", text.strip().lower())):
        if not part:
            continue
        read = _CHANNELS.fullmatch(part)
        if not read:
            raise TypedError(
                f"{_short(part)} is no channel. Write them as 3, 14, or 3-5; r2 for a return; 7.2 for pin 2 alone."
            )
        first, last = (_channel(read[back], read[number], sends, returns) for back, number in (("r", "first"), ("s", "last")))
        if last and (last < first or read["pin"]):
            raise TypedError(f"{_short(part)}: write the lower channel first, and a pin with one channel alone.")
        for channel in range(first, (last or first) + 1):
            if found.get(channel, read["pin"] or "") != (read["pin"] or ""):
                raise TypedError(
                    f"Channel {channel} stands there twice. Write a channel of which several pins failed as a whole."
                )
            found[channel] = read["pin"] or ""
    return found


_CHANNELS = re.compile(r"(?P<r>r?)(?P<first>\d{1,4})(?:\.(?P<pin>[0-9a-z]{1,4}[+-]?))?(?:-(?P<s>r?)(?P<last>\d{1,4}))?")


def _channel(back: str | None, number: str | None, sends: int, returns: int) -> int:
    if number is None:
        return 0
    channel = int(number) + (sends if back else 0)
    if not 1 <= channel <= sends + returns or int(number) < 1:
        has = f"{sends} channels" + (f" and {returns} returns" if returns else "")
        raise TypedError(f"There is no {'return' if back else 'channel'} {number}: it has {has}.")
    return channel


def written(*, ohms: float | None = None, beep: bool | None = None, above_ohms: float | None = None) -> str:
    """Write a reading so that the field takes it again: 0.81, beep, OL, > 2M."""
    if beep is not None:
        return "beep" if beep else "no beep"
    if above_ohms is not None:
        return "OL" if above_ohms == RANGE_TOP_OHM else f"> {_plain(above_ohms)}"
    return "" if ohms is None else _plain(ohms)


def shown(*, ohms: float | None = None, beep: bool | None = None, above_ohms: float | None = None) -> str:
    """Write a reading as it stands in the grid: 0.81, > 20\u2009M, beep."""
    if beep is not None:
        return "beep" if beep else "silent"
    value = above_ohms if above_ohms is not None else ohms
    if value is None:
        return ""
    over = "> " if above_ohms is not None else ""
    for least, letter in ((1e9, "G"), (1e6, "M"), (1e3, "k")):
        if value >= least:
            return f"{over}{value / least:.3g}\u2009{letter}"
    return f"{over}{value:.3g}" if value >= 100 else f"{over}{value:.2f}"


def _plain(value: float) -> str:
    for least, letter in ((1e9, "G"), (1e6, "M"), (1e3, "k")):
        if value >= least:
            return f"{value / least:.6g}{letter}"
    return f"{value:.6g}"
