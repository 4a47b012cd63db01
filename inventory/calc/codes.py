"""Codes: mint them, check them, and make sense of whatever was typed or scanned.

A code is seven Crockford letters and one check character: the 35-bit number modulo 37 (Crockford's base 32, 2002,
crockford.com/base32). Crockford's own check set has five extra signs, which a QR code's alphanumeric set lacks in part;
here numbers whose check would be one of them are never minted, so every code stays in 32 letters and keeps the full
detection of single wrong characters and swapped neighbours.
"""

import re
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
BODY_LENGTH = 7
CODE_LENGTH = BODY_LENGTH + 1
MODULUS = 37
LONGEST_TEXT = 4096
LONGEST_TYPED = 16  # nobody types so much for a code: it is another label's text

_VALUE = {letter: value for value, letter in enumerate(ALPHABET)}
_LOOK_ALIKE = {"I": "1", "L": "1", "O": "0"}
# Hyphens of every length, spaces and marks nobody sees: passed over wherever they stand.
_PASSED_OVER = frozenset("-\u2010\u2011\u2012\u2013\u2014\u2015\u2212\u00ad \t\r\n\u00a0\u2009\u200a\u202f\u200b\u200d\ufeff")
_FRENCH_FIGURES = frozenset("&é\"'(-è_çà")  # what the figures' keys type there without Shift
_TRAPPED_ADDRESS = re.compile(r"HTTPS?[^A-Z0-9:/]--(?P<rest>.+)\Z", re.DOTALL)
_OTHER_LAYOUT = "The scanner types for another keyboard: set it to this machine's layout, or type the code by hand."
_NOT_OURS = "That is not a label of ours."


class Read(StrEnum):
    """What a text turned out to be."""

    CODE = "code"
    COMMAND = "command"
    SHOW_CARD = "show card"
    COUNTED = "counted"
    CHANNEL = "channel"
    NOTHING = "nothing"


COMMANDS = ("OUT", "TRUCK", "BACK", "SUSPECT", "BAG", "UNDO", "CLOSE")


@dataclass(frozen=True, kw_only=True)
class Parsed:
    """What was read. `code` for CODE; `word` for COMMAND and the direction of SHOW_CARD; `number` for a show or counted
    line; `channel` for CHANNEL; `why` is a sentence when it is NOTHING."""

    read: Read
    code: str = ""
    word: str = ""
    number: int = 0
    channel: str = ""
    why: str = ""


def check_character(body: str) -> str:
    """Return the check letter of a seven-letter body, or an empty string where it would be an extra sign."""
    number = 0
    for letter in body:
        number = number * 32 + _VALUE[letter]
    rest = number % MODULUS
    return ALPHABET[rest] if rest < 32 else ""


def mint(random_below: Callable[[int], int] = secrets.randbelow) -> str:
    """Make a new code at random: 35 bits, so that codes can be printed beforehand and a mistyped one hits no neighbour."""
    while True:
        number = random_below(32**BODY_LENGTH)
        body = ""
        for _ in range(BODY_LENGTH):
            number, digit = divmod(number, 32)
            body = ALPHABET[digit] + body
        check = check_character(body)
        if check:
            return body + check


def is_code(text: str) -> bool:
    """Say whether a text is exactly a code in its stored form."""
    return len(text) == CODE_LENGTH and all(c in _VALUE for c in text) and check_character(text[:BODY_LENGTH]) == text[-1]


def spell(code: str) -> str:
    """Write a code as it is printed: XXXX-XXXX."""
    return f"{code[:4]}-{code[4:]}"


def parse(text: str) -> Parsed:
    """Make sense of what was typed or scanned: a bare code with or without hyphens, or an address of any host whose last
    path segment is a code; look-alikes (I, L, O) are read as the figures they look like. Never raises."""
    if len(text) > LONGEST_TEXT:
        return _nothing("That is far longer than any label of ours.")
    if text and set(text) <= _FRENCH_FIGURES:
        return _nothing(_OTHER_LAYOUT)
    segment = _last_segment(text)
    if not segment:
        return _nothing("Nothing was read.")
    trapped = _TRAPPED_ADDRESS.match(segment)
    if trapped:
        return _trapped(trapped["rest"])
    if "." in segment:
        return _dotted(segment)
    folded = "".join(_LOOK_ALIKE.get(c, c) for c in segment if c not in _PASSED_OVER)
    foreign = len(folded) > LONGEST_TYPED or "/" in text or "\\" in text
    if len(folded) != CODE_LENGTH:
        if any(c in _FRENCH_FIGURES for c in segment.lower() if c != "-"):
            return _nothing(_OTHER_LAYOUT)
        return _nothing(_NOT_OURS if foreign else f"A code has eight characters; this has {len(folded)}.")
    wrong = [c for c in folded if c not in _VALUE]
    if wrong:
        if foreign:
            return _nothing(_NOT_OURS)
        shown = f"“{wrong[0]}”" if wrong[0].isascii() or wrong[0].isalpha() else "One of these characters"
        return _nothing(f"{shown} is never part of a code.")
    if check_character(folded[:BODY_LENGTH]) != folded[-1]:
        return _nothing("One character is wrong or two are swapped: read the code again.")
    return Parsed(read=Read.CODE, code=folded)


def _last_segment(text: str) -> str:
    """Return the last path segment in capitals; the host of an address is never taken for one."""
    for end in ("?", "#"):
        text = text.split(end, 1)[0]
    text = text.replace("\\", "/")
    scheme, mark, after = text.partition("://")
    if mark and scheme.strip().lower() in {"http", "https"}:
        _host, _slash, text = after.partition("/")
    parts = [part for part in text.split("/") if part.strip()]
    return parts[-1].strip().strip(",;").upper() if parts else ""


def _trapped(rest: str) -> Parsed:
    """Read an address that a scanner typed for a US keyboard on a machine with another one, where the slash came out as a
    hyphen: the code is what follows the last. German and Swiss keyboards have swapped Y and Z as well, Nordic ones have
    not; only a QR code's own correction stands behind an address, so trying both here gives nothing away."""
    last = rest.rstrip("-").rpartition("-")[2]
    swapped = last.translate({ord("Y"): "Z", ord("Z"): "Y"})
    for tried in (last, swapped):
        if is_code(tried):
            return Parsed(read=Read.CODE, code=tried)
    return _nothing(_OTHER_LAYOUT)


def _dotted(segment: str) -> Parsed:
    """Read the printed cards that are not codes: DO.OUT, GO.17.OUT, COUNT.17, CH.7."""
    first, *rest = segment.split(".")
    if first == "DO" and len(rest) == 1 and rest[0] in COMMANDS:
        return Parsed(read=Read.COMMAND, word=rest[0])
    if first == "GO" and len(rest) == 2 and _whole(rest[0]) and rest[1] in {"OUT", "TRUCK", "BACK"}:
        return Parsed(read=Read.SHOW_CARD, number=int(rest[0]), word=rest[1])
    if first == "COUNT" and len(rest) == 1 and _whole(rest[0]):
        return Parsed(read=Read.COUNTED, number=int(rest[0]))
    if first == "CH" and len(rest) == 1 and 0 < len(rest[0]) <= 40:
        return Parsed(read=Read.CHANNEL, channel=rest[0])
    return _nothing("That is not a label or a card of ours.")


def _whole(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= 15


def _nothing(why: str) -> Parsed:
    return Parsed(read=Read.NOTHING, why=why)
