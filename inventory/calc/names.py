"""What tells one thing from its kind: A, B, C or 1, 2, 3, going on after the highest there is."""

from collections.abc import Iterable
from enum import StrEnum

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
LONGEST_RUN = 9  # figures of a number that is still a name, not a serial


class NameStyle(StrEnum):
    LETTERS = "letters"
    NUMBERS = "numbers"
    NONE = "none"


def letters_of(number: int) -> str:
    """Return the name of the n-th thing: 1 is A, 26 is Z, 27 is AA."""
    name = ""
    while number > 0:
        number, digit = divmod(number - 1, 26)
        name = LETTERS[digit] + name
    return name


def number_of(name: str) -> int:
    """Return which thing a letter name is: A is 1, AA is 27; 0 for what is no such name."""
    if not name or len(name) > 2 or any(c not in LETTERS for c in name):
        return 0
    number = 0
    for c in name:
        number = number * 26 + LETTERS.index(c) + 1
    return number


def style_of(names: Iterable[str]) -> NameStyle:
    """Guess how a type's things are told apart, from the names they have."""
    kept = [name.strip().upper() for name in names if name.strip()]
    numbers = sum(_is_number(name) for name in kept)
    letters = sum(number_of(name) > 0 for name in kept)
    if numbers or letters:
        return NameStyle.NUMBERS if numbers > letters else NameStyle.LETTERS
    return NameStyle.NONE


def names_after(names: Iterable[str], count: int, style: NameStyle) -> list[str]:
    """Return the next `count` names after the highest there is."""
    if style is NameStyle.NONE:
        return [""] * count
    kept = [name.strip().upper() for name in names]
    if style is NameStyle.NUMBERS:
        highest = max((int(name) for name in kept if _is_number(name)), default=0)
        return [str(highest + n) for n in range(1, count + 1)]
    highest = max((number_of(name) for name in kept), default=0)
    return [letters_of(highest + n) for n in range(1, count + 1)]


def _is_number(name: str) -> bool:
    return name.isascii() and name.isdigit() and len(name) <= LONGEST_RUN
