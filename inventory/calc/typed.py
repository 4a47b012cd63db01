"""What people type into lists: lengths, days, prices, counts, yes and no; and text that a spreadsheet would take for a formula.

Every reader takes the text of one cell and answers a value, or raises `Odd` with one sentence. Where a text can be read in two
ways the reading chosen is told in the answer's note.
"""

import re
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import Generic, TypeVar

T = TypeVar("T")

LONGEST_CELL = 20_000
MOST_MM = 1_000_000
MOST_CENTS = 2_000_000_000
FIRST_YEAR, LAST_YEAR = 1900, 2200
MM_PER_FOOT = Decimal("304.8")  # exact by definition since 1959
MONTH_FIRST = frozenset({"US"})

_SIGNS = "=+\\-@\t\r\n"
_LOOKS_LIKE_FORMULA = re.compile(f"'*[{_SIGNS}]")
_WAS_GUARDED = re.compile(f"'+[{_SIGNS}]")
_MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]
_YES = frozenset({"yes", "y", "true", "1", "x", "ja", "oui", "si", "sí"})
_NO = frozenset({"no", "n", "false", "0", "-", "nein", "non", ""})


class Odd(ValueError):  # noqa: N818 (a word of the house)
    """A cell that cannot be read; its message is one sentence."""


@dataclass(frozen=True, kw_only=True)
class Typed(Generic[T]):
    """What a cell means, and a sentence where it could have meant something else."""

    value: T
    note: str = ""


def guard(text: str) -> str:
    """Put one ' before text that a spreadsheet would take for a formula, and before text that looks as if that had been done:
    so `unguard` takes off exactly what was put on."""
    return f"'{text}" if _LOOKS_LIKE_FORMULA.match(text) else text


def unguard(text: str) -> str:
    """Take off the ' that `guard` put on, once."""
    return text[1:] if _WAS_GUARDED.match(text) else text


def tidy(text: str) -> str:
    """Return text as lists carry it: newlines as one sign, no blanks around it."""
    return text.replace("\r\n", "\n").replace("\r", "\n").strip()


def checked(text: str) -> str:
    """Return the tidied text of a cell, or say which sign in it cannot be kept."""
    if len(text) > LONGEST_CELL:
        raise Odd(f"The cell holds {len(text)} characters: is a quotation mark left open?")
    if "\0" in text:
        raise Odd("The cell holds a NUL, which no text has: the file was damaged or is not text.")
    if "\ufffd" in text or any("\ud800" <= c <= "\udfff" for c in text):
        raise Odd("The cell holds a sign that could not be read: save the list as UTF-8 and try again.")
    return tidy(text)


def read_text(text: str, *, longest: int) -> str:
    """Return a text that fits its column."""
    if len(text) > longest:
        raise Odd(f"“{shown(text)}” has {len(text)} characters; {longest} fit.")
    return text


_LENGTH = re.compile(r"^(\d{1,12}(?:[.,]\d{1,6})?)\s*(.*)$")
_UNITS = {
    "m": Decimal(1000), "metre": Decimal(1000), "metres": Decimal(1000), "meter": Decimal(1000), "meters": Decimal(1000),
    "mtr": Decimal(1000), "cm": Decimal(10), "mm": Decimal(1), "km": Decimal(1_000_000),
    "ft": MM_PER_FOOT, "foot": MM_PER_FOOT, "feet": MM_PER_FOOT, "'": MM_PER_FOOT, "’": MM_PER_FOOT, "′": MM_PER_FOOT,
    "in": MM_PER_FOOT / 12, "inch": MM_PER_FOOT / 12, "inches": MM_PER_FOOT / 12, '"': MM_PER_FOOT / 12, "″": MM_PER_FOOT / 12,
}  # fmt: skip


def read_length(text: str, *, units: str = "metric") -> Typed[int]:
    """Return millimetres: 10 m, 33ft, 0.5m, 50 cm; a bare number is in the company's own unit."""
    found = _LENGTH.match(text)
    if not found:
        raise Odd(f"“{shown(text)}” is no length. Write 10 m or 33 ft.")
    unit = found[2].strip().rstrip(".").casefold()
    per = _UNITS.get(unit) if unit else (MM_PER_FOOT if units == "imperial" else Decimal(1000))
    if per is None:
        raise Odd(f"“{shown(found[2].strip())}” is no unit of length. Write 10 m or 33 ft.")
    mm = int((Decimal(found[1].replace(",", ".")) * per).to_integral_value())
    if mm > MOST_MM:
        raise Odd(f"“{shown(text)}” is longer than 1000 m.")
    return Typed(value=mm)


def write_length(mm: int, *, units: str = "metric") -> str:
    """Write millimetres so that `read_length` reads the same again: feet where they come out even, metres else."""
    if not mm:
        return ""
    feet = round(Decimal(mm) / MM_PER_FOOT, 2).normalize()
    if units == "imperial" and read_length(f"{feet:f} ft").value == mm:
        return f"{feet:f} ft"
    return f"{(Decimal(mm) / 1000).normalize():f} m"


_ISO_DAY = re.compile(r"^(\d{1,4})-(\d{1,2})-(\d{1,2})(?:[T ]00:00(?::00)?)?$")
_LOCAL_DAY = re.compile(r"^(\d{1,2})\s*([./-])\s*(\d{1,2})\s*\2\s*(\d{2,4})$")
_WORDY_DAY = re.compile(r"^(?:[a-z]{3,9},?\s+)?(\d{1,2})(?:st|nd|rd|th)?[\s./-]+([a-z]{3,9})[.,]?[\s/-]+(\d{4})$")
_WORDY_US = re.compile(r"^(?:[a-z]{3,9},?\s+)?([a-z]{3,9})\.?\s+(\d{1,2})(?:st|nd|rd|th)?,?\s+(\d{4})$")


def read_day(text: str, *, country: str = "GB") -> Typed[date]:
    """Return a day: 2026-03-04, 4.3.2026, 04/03/26, 4 Mar 2026. Figures that could be either are read as the country does."""
    if iso := _ISO_DAY.match(text):
        return Typed(value=_day(int(iso[1]), int(iso[2]), int(iso[3]), text))
    if local := _LOCAL_DAY.match(text):
        return _local_day(local, text, country)
    low = text.casefold()
    if wordy := _WORDY_DAY.match(low):
        return Typed(value=_day(int(wordy[3]), _month(wordy[2], text), int(wordy[1]), text))
    if wordy := _WORDY_US.match(low):
        return Typed(value=_day(int(wordy[3]), _month(wordy[1], text), int(wordy[2]), text))
    raise Odd(f"“{shown(text)}” is no day. Write it as 2026-03-04.")


def _local_day(found: re.Match[str], text: str, country: str) -> Typed[date]:
    one, sign, two = int(found[1]), found[2], int(found[3])
    year = int(found[4]) if len(found[4]) > 2 else 2000 + int(found[4])
    month_first = country in MONTH_FIRST and sign != "."
    if one > 12 or two > 12 or one == two:
        month_first = two > 12
        note = ""
    else:
        note = "either"
    month, day = (one, two) if month_first else (two, one)
    value = _day(year, month, day, text)
    if note:
        other = "the month" if month_first else "the day"
        note = f"“{text}” was read as {day} {_MONTHS[month - 1].capitalize()} {year}, with {other} first."
    return Typed(value=value, note=note)


def _month(word: str, text: str) -> int:
    if word[:3] not in _MONTHS:
        raise Odd(f"“{shown(text)}” names no month. Write it as 2026-03-04.")
    return _MONTHS.index(word[:3]) + 1


def _day(year: int, month: int, day: int, text: str) -> date:
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise Odd(f"“{shown(text)}” lies in the year {year}; days run from {FIRST_YEAR} to {LAST_YEAR}.")
    try:
        return date(year, month, day)
    except ValueError:
        raise Odd(f"“{shown(text)}” is not in the calendar.") from None


_MOMENT = re.compile(
    r"^(.+?)[T,\s]+(?:at\s+)?(\d{1,2})[:.h](\d{2})(?::(\d{2})(?:\.0+)?)?\s*(am|pm)?\s*(Z|[+-]\d{2}:?\d{2})?$", re.I
)


def read_moment(text: str, *, country: str = "GB") -> Typed[datetime]:
    """Return a day and time: naive as on the wall, or aware where the text carries an offset (2026-10-25 01:30+01:00)."""
    found = _MOMENT.match(text)
    if not found:
        raise Odd(f"“{shown(text)}” is no day and time. Write it as 2026-03-04 18:30.")
    day = read_day(found[1].strip(), country=country)
    hour = int(found[2])
    if half := (found[5] or "").casefold():
        if not 1 <= hour <= 12:
            raise Odd(f"“{shown(text)}” has no such hour.")
        hour = hour % 12 + (12 if half == "pm" else 0)
    zone = (found[6] or "").upper().replace("Z", "+00:00")
    try:
        value = datetime.fromisoformat(f"{day.value.isoformat()}T{hour:02d}:{found[3]}:{found[4] or '00'}{zone}")
    except ValueError:
        raise Odd(f"“{shown(text)}” has no such hour or minute.") from None
    return Typed(value=value, note=day.note)


def read_money(text: str) -> Typed[int]:
    """Return whole cents: 12,50, £12.50, 1.234,50, EUR 12. One sign before three figures is taken for thousands, and said."""
    figures = re.sub(r"[^\d.,\-]", "", text)
    if "-" in figures.rstrip("-"):
        raise Odd(f"“{shown(text)}” is below nothing; a price is not.")
    figures = figures.rstrip("-.,")
    if not figures or len(figures) > 24 or re.search(r"\d\s*[a-zA-Z]\s*[+\-]?\d", text):
        raise Odd(f"“{shown(text)}” is no price. Write 12.50.")
    note, plain = "", figures
    signs = [c for c in figures if c in ".,"]
    if len(set(signs)) == 2:
        last = signs[-1]
        plain = figures.replace("." if last == "," else ",", "").replace(last, ".")
        if plain.count(".") > 1:
            raise Odd(f"“{shown(text)}” is no price. Write 12.50.")
    elif len(signs) > 1:
        plain = figures.replace(signs[0], "")
    elif signs:
        behind = len(figures) - figures.index(signs[0]) - 1
        plain = figures.replace(signs[0], "" if behind == 3 else ".")
        note = f"“{text}” was read as {plain} whole." if behind == 3 else ""
    try:
        cents = (Decimal(plain) * 100).quantize(Decimal(1))
    except InvalidOperation:
        raise Odd(f"“{shown(text)}” is no price. Write 12.50.") from None
    if cents > MOST_CENTS:
        raise Odd(f"“{shown(text)}” is more than a piece of gear costs.")
    return Typed(value=int(cents), note=note)


def read_count(text: str, *, most: int = 100_000) -> Typed[int]:
    """Return a whole number from 0."""
    plain = text.replace("\u2009", "").replace("\u00a0", "").replace(" ", "")
    if plain.endswith((".0", ",0")):
        plain = plain[:-2]
    if not (plain.isascii() and plain.isdigit()):
        raise Odd(f"“{shown(text)}” is no count. Write a whole number, 0 or more.")
    if len(plain) > 12 or int(plain) > most:
        raise Odd(f"“{shown(text)}” is more than {most}.")
    return Typed(value=int(plain))


def read_yes(text: str) -> bool:
    """Return yes or no."""
    word = text.casefold().strip()
    if word in _YES:
        return True
    if word in _NO:
        return False
    raise Odd(f"“{shown(text)}” is neither yes nor no.")


def shown(text: str) -> str:
    """Shorten a text for a sentence."""
    flat = " ".join(text.split())
    return flat if len(flat) <= 40 else f"{flat[:39]}…"
