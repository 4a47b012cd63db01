"""What is different between two states of an input list: which stored line a row is, what changed, does a promise hold."""

import hashlib
from collections.abc import Callable, Hashable, Sequence
from dataclasses import fields, replace

from shows.calc.input_list import grid_write, title_of
from shows.calc.line_judging import Line
from shows.calc.lines import LineWay

# A thing promised to a line stays promised while these stay as they are: a line that only moves keeps its box.
NEEDS = ("way", "kind", "side", "pickup", "phantom", "feed", "whose")


def line_row(line: Line, kinds: dict[str, str] | None = None) -> dict[str, str]:
    """Return a line as a row of the grid, empty cells left out; `kinds` gives the name of a kind by its key."""
    row = {}
    for field in fields(line):
        value = getattr(line, field.name)
        if field.name == "kind" and kinds is not None:
            value = kinds.get(value, value)
        if value not in {None, ""}:
            row[field.name] = str(value)
    if row["whose"] == "ours":
        del row["whose"]
    if row["critical"] == "normal":
        del row["critical"]
    return row


def digest(lines: Sequence[Line]) -> str:
    """Return a short mark of a list's state: two lists that differ anywhere have different ones."""
    ordered = sorted(lines, key=lambda line: (line.way, line.number))
    return hashlib.sha256(grid_write(line_row(line) for line in ordered).encode()).hexdigest()[:16]


def lines_match(stored: Sequence[Line], fresh: Sequence[Line]) -> list[int | None]:
    """Return for every fresh line which stored one (its place) it is, each at most once.

    A line that has only moved is found by its name; what is left is matched by its number, then is new.
    """
    answer: list[int | None] = [None] * len(fresh)
    free = set(range(len(stored)))
    ways: tuple[Callable[[Line], Hashable], ...] = (
        lambda line: (line.way, line.number, line.source, line.side),
        lambda line: (line.way, line.source.casefold(), line.side, line.kind, line.player),
        lambda line: (line.way, line.source.casefold(), line.side),
        lambda line: (line.way, line.number),
    )
    for by in ways:
        waiting: dict[Hashable, list[int]] = {}
        for n in sorted(free):
            waiting.setdefault(by(stored[n]), []).append(n)
        for m, line in enumerate(fresh):
            found = waiting.get(by(line))
            if answer[m] is None and found:
                answer[m] = found.pop(0)
                free.discard(answer[m])  # type: ignore[arg-type]
    return answer


def needs_the_same(before: Line, after: Line) -> bool:
    """Say whether what was promised to a line still suits it."""
    return all(getattr(before, name) == getattr(after, name) for name in NEEDS)


def called(line: Line) -> str:
    """Return how a line is named in a sentence: 5 Bass, or out 2 Mix drums."""
    return f"{'' if line.way == LineWay.IN else 'out '}{line.number} {line.source}"


def changes_said(before: Sequence[Line], after: Sequence[Line], *, most: int = 6) -> list[str]:
    """Say what is different, a sentence a line, the first few by name."""
    matched = lines_match(before, after)
    said = []
    for m, n in enumerate(matched):
        if n is None:
            said.append(f"{called(after[m])} was added")
        elif before[n] != after[m]:
            what = [
                f"{title_of(field.name).lower()} {_from(getattr(before[n], field.name))} is now "
                f"{_from(getattr(after[m], field.name))}"
                for field in fields(Line)
                if getattr(before[n], field.name) != getattr(after[m], field.name)
            ]
            said.append(f"{called(before[n])}: {', '.join(what[:3])}{' and more' if len(what) > 3 else ''}")
    kept = {n for n in matched if n is not None}
    said += [f"{called(line)} was removed" for n, line in enumerate(before) if n not in kept]
    return said if len(said) <= most else [*said[:most], f"and {len(said) - most} more"]


def _from(value: object) -> str:
    return f"“{value}”" if value not in {None, ""} else "nothing"


def appended(there: Sequence[Line], more: Sequence[Line]) -> list[Line]:
    """Return a list with more lines after its own, numbered on; what they were plugged into is not carried along."""
    tops = {way: max((line.number for line in there if line.way == way), default=0) for way in LineWay}
    lows = {way: min((line.number for line in more if line.way == way), default=1) for way in LineWay}
    return [
        *there,
        *(
            replace(line, number=line.number + tops[line.way] - lows[line.way] + 1, desk=None, box="", box_input=None)
            for line in more
        ),
    ]
