"""Which kind of source a name on an input list means: Lead vox 2 is a voice. A guess, told as one."""

import difflib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from shows.calc.lines import Family, LineWay


@dataclass(frozen=True, kw_only=True)
class SourceWords:
    """A kind of source by its key and name, the other words it is written by, and how many lines it usually takes."""

    key: str
    name: str
    family: str
    also: tuple[str, ...] = ()
    lines: int = 1

    @property
    def way(self) -> LineWay:
        return LineWay.OUT if self.family == Family.OUTPUT else LineWay.IN


def words_of(text: str) -> tuple[str, ...]:
    """Return the words of a name as they are compared: small, no signs, figures apart from letters (vox2 is vox 2)."""
    return tuple(re.findall(r"[^\W\d_]+|\d+", text.casefold()))


@lru_cache(maxsize=16)
def _phrases(kinds: tuple[SourceWords, ...], way: LineWay) -> tuple[tuple[tuple[str, ...], SourceWords], ...]:
    """Return (words, kind), the longest words first; of two as long the kind that stands first."""
    found = [
        (words, kind)
        for kind in kinds
        if kind.way == way
        for text in (kind.name, kind.key.replace("-", " "), *kind.also)
        if (words := words_of(text))
    ]
    return tuple(sorted(found, key=lambda pair: (-len(pair[0]), -sum(map(len, pair[0])))))


def kind_guess(source: str, kinds: tuple[SourceWords, ...], way: LineWay = LineWay.IN) -> SourceWords | None:
    """Return the kind whose words stand in a source's name, the longest match first; None where none does."""
    said = words_of(source)
    for words, kind in _phrases(kinds, way):
        if any(said[at : at + len(words)] == words for at in range(len(said) - len(words) + 1)):
            return kind
    return None


def kind_named(text: str, kinds: Iterable[SourceWords]) -> SourceWords | None:
    """Return the kind a cell names outright: by its name, its key, or one of its other words."""
    kinds, said = list(kinds), text.casefold().strip()
    for kind in kinds:
        if said in {kind.name.casefold(), kind.key}:
            return kind
    words = words_of(text)
    return next((kind for kind in kinds if words and any(words_of(also) == words for also in kind.also)), None)


def kinds_near(text: str, kinds: Sequence[SourceWords]) -> tuple[str, ...]:
    """Return the names of the kinds most like what was written, the likeliest first, three at most."""
    named = {word.casefold(): kind.name for kind in kinds for word in (kind.name, *kind.also)}
    return _names(text, named)


def names_near(text: str, names: Iterable[str]) -> tuple[str, ...]:
    """Return the names most like what was written, the likeliest first, three at most: by spelling, then by words in common."""
    return _names(text, {name.casefold(): name for name in names})


def _names(text: str, named: dict[str, str]) -> tuple[str, ...]:
    said = text.casefold().strip()
    close = [named[word] for word in difflib.get_close_matches(said, named, n=4, cutoff=0.6)]
    words = set(words_of(said))
    shared = sorted(
        (-len(words & set(words_of(word))), name) for word, name in named.items() if words and words & set(words_of(word))
    )
    return tuple(dict.fromkeys([*close, *(name for _count, name in shared)]))[:3]
