"""What the cells of other people's input lists mean: numbers, sides, yes and no in their many spellings, stereo sources."""

import re
from collections.abc import Mapping

from shows.calc.input_list import Row

OUT_WORDS = frozenset({"out", "output", "mix", "aux", "mon", "monitor", "send", "group", "grp", "bus", "matrix", "mtx"})
NUMBER = re.compile(
    r"^(?:(ch|chan|channel|in|input|line|no|nr|out|output|mix|aux|mon|monitor|send|group|grp|bus|matrix|mtx)\b\.?\s*)?"
    r"#?\s*(\d{1,9})(?:\s*[/+&-]\s*(\d{1,9}))?\s*[.):]?$",
    re.IGNORECASE,
)
NUMBER_GLUED = re.compile(r"^(ch|in|out|mix|aux)(\d{1,9})()$", re.IGNORECASE)
_STEREO = re.compile(r"^(.*?)[\s(\-,:]*(?<![^\W_])(?:l\s*[/+&\-]\s*r|lr|stereo|st\.)\s*\)?$", re.IGNORECASE)
_STEREO_FIRST = re.compile(r"^stereo\s+(\S.*)$", re.IGNORECASE)
SIDE_AT_END = re.compile(r"^(.+?)[\s(\-]+(l|r|left|right)\)?$", re.IGNORECASE)
_TWO = re.compile(r"^(\d{1,9})\s*[/+&-]\s*(\d{1,9})$")

WAYS = {
    "in": "in",
    "input": "in",
    "inputs": "in",
    "i": "in",
    "out": "out",
    "output": "out",
    "outputs": "out",
    "o": "out",
} | dict.fromkeys(("mix", "send", "return", "monitor"), "out")
_SIDES = {"left": "left", "l": "left", "right": "right", "r": "right"} | dict.fromkeys(("whole", "mono", "m", "-"), "")
_PHANTOMS = dict.fromkeys(("on", "yes", "y", "x", "1", "true", "48", "48v", "+48", "+48v", "48 v", "p48", "phantom"), "on") | {
    **dict.fromkeys(("off", "no", "n", "false", "never"), "off"),
    **dict.fromkeys(("-", "0", "as needed", "auto"), ""),
}
_FEEDS = {
    **dict.fromkeys(("nothing", "none", "-", "passive"), ""),
    **dict.fromkeys(("cells", "cell", "battery", "batteries", "9v", "9 v"), "cells"),
    **dict.fromkeys(("phantom", "48v", "+48v"), "phantom"),
    **dict.fromkeys(("mains", "power", "ac", "230v", "120v"), "mains"),
}
_WHOSE = {
    **dict.fromkeys(("ours", "our", "us", "we", "company"), "ours"),
    **dict.fromkeys(("player", "player's", "own", "his", "hers", "theirs", "band", "artist", "musician", "yes"), "player"),
    **dict.fromkeys(("house", "venue", "hall", "in-house"), "house"),
}
_CRITICALS = {
    **dict.fromkeys(("critical", "yes", "x", "must", "high"), "critical"),
    **dict.fromkeys(("normal", "no", "-", "medium"), "normal"),
    **dict.fromkeys(("spare", "low", "nice to have"), "spare"),
}
GENERIC = frozenset(
    {"di", "di box", "d.i.", "direct", "direct box", "mic", "microphone", "a mic", "box", "xlr", "line", "own", "any"}
)
WORDS: dict[str, tuple[Mapping[str, str], str]] = {
    "way": (WAYS, "in or out"),
    "side": (_SIDES, "left, right, or nothing"),
    "phantom": (_PHANTOMS, "on, off, or nothing for as needed"),
    "feed": (_FEEDS, "cells, phantom, mains, or nothing"),
    "whose": (_WHOSE, "ours, player or house"),
    "critical": (_CRITICALS, "critical, normal or spare"),
}


def way_word(row: Row) -> str:
    """Return the way a row's cell says, in where it says none we know."""
    return WAYS.get(row.get("way", "").casefold(), "in")


def part_word(word: str | None) -> str:
    """Return which part a number's word puts a line in: Mix 2 is out, CH 2 and 2 are in."""
    return "out" if word and word.casefold() in OUT_WORDS else "in"


def number_of(row: Row) -> re.Match[str] | None:
    text = row.get("number", "")
    return NUMBER.match(text) or NUMBER_GLUED.match(text)


def stereo_of(row: Row) -> str | None:
    """Return a stereo source's name without its L/R, or None where it is one line."""
    source = row.get("source", "")
    if row.get("side", "").casefold() in _SIDES:
        return None
    if found := _STEREO.match(source):
        return found[1].strip()
    if row.get("side", "").casefold() in {"l/r", "lr", "l+r", "stereo", "st", "both", "yes", "x"}:
        return source
    if found := _STEREO_FIRST.match(source):
        return found[1][:1].upper() + found[1][1:]
    return None


def halves(text: str) -> tuple[str, str]:
    """Return the two numbers of a pair's cell: 5/6 as written, 5 as 5 and 6, other text as it is, twice."""
    if found := _TWO.match(text):
        return found[1], found[2]
    return (text, str(int(text) + 1)) if text.isascii() and text.isdigit() and len(text) < 5 else (text, text)


def or_words(near: tuple[str, ...]) -> str:
    if not near:
        return "."
    listed = near[0] if len(near) == 1 else f"{', '.join(near[:-1])} or {near[-1]}"
    return f". Is it {listed}?"


CELL_WORDS: dict[str, tuple[str, ...]] = {
    "side": ("left", "right"),
    "phantom": ("on", "off"),
    "feed": ("cells", "phantom", "mains"),
    "whose": ("ours", "player", "house"),
    "critical": ("critical", "normal", "spare"),
}
