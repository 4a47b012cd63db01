"""Readings of pairs of pins, checked and laid out for judging. What cannot be is refused with a sentence."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import inf, isfinite

from maintenance.calc.bench import PairReading, ReadingError
from maintenance.calc.wiring_nets import Wiring, WiringError, pin_words
from maintenance.calc.wiring_words import ohms_words

BEEP = -1.0  # joined, how well is unknown
BEEP_FLOOR_OHM = 100.0  # a meter that stays silent says no more than about this much; from memory
MOST_OHM = 1e12
MOST_NULL_OHM = 10.0
NULL_SLACK_OHM = 0.05  # a reading so far below the null is the meter's own unrest


@dataclass(slots=True)
class Book:
    """Readings by pair: key `one * pins + other`, the lower pin first; ohms after the null, BEEP, or inf for not joined.

    `floors` says how little an inf may be, where the instrument could not see far; `shallow_ohm` is the least of these.
    """

    pins: int
    still: dict[int, float] = field(default_factory=dict)
    flexed: dict[int, float] = field(default_factory=dict)
    seen: dict[int, float] = field(default_factory=dict)  # still, or flexed where nothing else was read
    floors: dict[int, float] = field(default_factory=dict)
    shallow_ohm: float = inf
    least_top_ohm: float = inf  # the least range that any reading went above
    lamps: int = 0
    numbers: int = 0

    def get(self, one: int, other: int) -> float | None:
        return self.seen.get(one * self.pins + other if one < other else other * self.pins + one)

    def floor(self, one: int, other: int) -> float:
        """Return the least a reading can stand for, in ohms."""
        key = one * self.pins + other if one < other else other * self.pins + one
        value = self.seen[key]
        return self.floors.get(key, value) if value == inf else value


def book_of(*, wiring: Wiring, readings: Sequence[PairReading], null_ohms: float | None, leak_ohm: float) -> Book:
    """Return readings laid out; ReadingError tells of the first that cannot be, `where` being its place."""
    null = _null_checked(null_ohms)
    index, pins = wiring.index, len(wiring.pins)
    book = Book(pins=pins)
    still, flexed, floors = book.still, book.flexed, book.floors
    for at, reading in enumerate(readings):
        one, other = index.get(reading.a), index.get(reading.b)
        if one is None or other is None:
            one, other = _pin(wiring, reading.a, at), _pin(wiring, reading.b, at)
        if one == other:
            raise ReadingError(f"{pin_words(wiring.pins[one])} is measured against itself: give two pins.", at)
        key = one * pins + other if one < other else other * pins + one
        ohms = reading.ohms
        if ohms is not None and reading.beep is None and reading.above_ohms is None:
            if not 0 <= ohms <= MOST_OHM:
                raise ReadingError(_ohms_wrong(reading, ohms), at)
            value = ohms - null
            if value < 0:
                if value < -NULL_SLACK_OHM:
                    raise ReadingError(
                        f"{_pair(reading)} reads {ohms_words(ohms)}, less than the test leads alone ({ohms_words(null)}): "
                        "null the meter again.",
                        at,
                    )
                value = 0.0
            book.numbers += 1
        elif ohms is None and reading.beep is not None and reading.above_ohms is None:
            value = BEEP if reading.beep else inf
            book.lamps += 1
            if not reading.beep:
                floors[key] = BEEP_FLOOR_OHM
        elif ohms is None and reading.beep is None and reading.above_ohms is not None:
            top = reading.above_ohms
            if not (isfinite(top) and 0 < top <= MOST_OHM):
                raise ReadingError(f"{_pair(reading)} is said to be above a range of {top:g} Ω, which no meter has.", at)
            value = inf
            book.least_top_ohm = min(book.least_top_ohm, top)
            if top < leak_ohm:
                floors[key] = top
                book.shallow_ohm = min(book.shallow_ohm, top)
            book.numbers += 1
        else:
            raise ReadingError(f"{_pair(reading)} needs one reading: ohms, a beep or none, or above the meter's range.", at)
        shelf = flexed if reading.flexed else still
        if shelf.get(key, value) != value:
            bent = " while bent" if reading.flexed else ""
            raise ReadingError(f"{_pair(reading)} was read twice{bent}, {_said(shelf[key])} and {_said(value)}: keep one.", at)
        shelf[key] = value
    book.seen = {**flexed, **still} if flexed else still
    return book


def _null_checked(null_ohms: float | None) -> float:
    if null_ohms is None:
        return 0.0
    if not (isfinite(null_ohms) and 0 <= null_ohms <= MOST_NULL_OHM):
        raise ReadingError(f"A null of {null_ohms:g} Ω is not one test leads have: give 0 to {MOST_NULL_OHM:g} Ω.")
    return null_ohms


def _pin(wiring: Wiring, spelt: str, at: int) -> int:
    try:
        return wiring.index[wiring.pin(spelt)]
    except WiringError as wrong:
        raise ReadingError(str(wrong), at) from wrong


def _pair(reading: PairReading) -> str:
    return f"{reading.a} to {reading.b}"


def _ohms_wrong(reading: PairReading, ohms: float) -> str:
    if ohms < 0:
        return f"{_pair(reading)} reads {ohms:g} Ω; ohms are never below nothing."
    if isfinite(ohms):
        return f"{_pair(reading)} reads {ohms:g} Ω, more than any meter shows: say “above the meter's range” instead."
    return f"{_pair(reading)} has no number of ohms. When the meter shows “over”, say “above the meter's range”."


def _said(value: float) -> str:
    return "a beep" if value == BEEP else "not joined" if value == inf else ohms_words(value)
