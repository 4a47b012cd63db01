"""An input list as text: the columns of its grid, reading what was typed or pasted, writing it back for a spreadsheet.

Reading asks nothing of the record: it finds the separator, the headings and the cells. What they mean is line_judging.py's.
"""

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from inventory.calc.typed import guard, shown, tidy, unguard

MOST_LINES = 300
MOST_CHARACTERS = 2_000_000
MOST_COLUMNS = 60
_HEADINGS_WITHIN = 8  # a sheet's title, date and venue may stand above its headings

Row = dict[str, str]


class GridError(ValueError):
    """A text that cannot be taken as an input list; its message is one sentence."""


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column of the grid: its key everywhere, its heading, what other people's sheets call it, how much text fits."""

    key: str
    title: str
    words: tuple[str, ...] = ()
    longest: int = 40


COLUMNS = (
    Column(
        key="number",
        title="Number",
        words=("no", "nr", "#", "ch", "ch no", "ch #", "chan", "channel", "channel no", "channel number", "line", "line no"),
    ),
    Column(key="way", title="In or out", words=("way", "in/out", "i/o", "io", "direction")),
    Column(
        key="source",
        title="Source",
        words=(
            "instrument",
            "name",
            "what",
            "input",
            "inputs",
            "signal",
            "description",
            "channel name",
            "input name",
            "output",
        ),
        longest=60,
    ),
    Column(key="kind", title="Kind", words=("type", "kind of source", "source type", "category"), longest=80),
    Column(key="side", title="Side", words=("l/r", "left/right", "left or right", "stereo")),
    Column(
        key="player",
        title="Player",
        words=("who", "musician", "person", "artist", "performer", "played by", "singer"),
        longest=60,
    ),
    Column(
        key="where",
        title="Where",
        words=("place", "position", "location", "where on stage", "stage position", "stage location", "on stage"),
    ),
    Column(
        key="pickup",
        title="Mic/DI",
        words=("mic", "mics", "microphone", "di", "mic or di", "mic / di", "mic di", "mic/line", "pickup", "mic/di/line"),
        longest=80,
    ),
    Column(key="stand", title="Stand", words=("stands", "mic stand", "microphone stand"), longest=80),
    Column(
        key="desk",
        title="Desk input",
        words=("desk", "console", "console input", "desk ch", "desk channel", "mixer", "mixer input", "local input", "preamp"),
    ),
    Column(key="box", title="Stage box", words=("box", "stagebox", "snake", "sub snake", "subsnake", "sub box", "multicore")),
    Column(
        key="box_input",
        title="Box input",
        words=("stage box input", "stagebox input", "snake input", "snake ch", "snake channel", "box no", "box ch", "socket"),
    ),
    Column(key="phantom", title="Phantom", words=("48v", "+48v", "48 v", "+48", "p48", "phantom power", "48")),
    Column(key="feed", title="Fed by", words=("feed", "fed from", "power", "powered by")),
    Column(key="whose", title="Whose", words=("owner", "own", "belongs to", "provided by", "supplied by", "brought by")),
    Column(key="critical", title="Critical", words=("how critical", "priority", "importance")),
    Column(key="notes", title="Notes", words=("note", "remarks", "remark", "comment", "comments", "info"), longest=200),
)
BY_KEY = {column.key: column for column in COLUMNS}
KEYS = tuple(BY_KEY)
_ONLY_SHOWN = frozenset({"advised"})  # we write it, and read past it


def _plain(text: str) -> str:
    """Return a heading as it is compared: small, one blank between words, no full stop or colon at its end."""
    return " ".join(text.replace("_", " ").split()).casefold().rstrip(".:*")


_MEANT = {
    **{word: column.key for column in COLUMNS for word in column.words},
    **{_plain(column.title): column.key for column in COLUMNS},
    **{_plain(column.key): column.key for column in COLUMNS},
}


_NAMED = frozenset({"source", "instrument", "channel name", "input name"})  # nobody's source is called so


@dataclass(frozen=True, kw_only=True)
class Grid:
    """What a text holds: rows by the keys of their columns, and sentences about how it was read."""

    rows: tuple[Row, ...] = ()
    keys: tuple[str, ...] = ()
    said: tuple[str, ...] = ()


@dataclass(kw_only=True)
class _Sheet:
    cells: list[list[str]]
    said: list[str] = field(default_factory=list)


def grid_read(text: str) -> Grid:
    """Read a typed or pasted list: tabs, commas, semicolons or bars; quoted cells; with headings or none.

    Raises GridError where it is too long to be one show's list.
    """
    text = text.lstrip("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    if len(text) > MOST_CHARACTERS:
        raise GridError("That is far more than an input list: paste the lines of one show alone.")
    count = sum(1 for line in text.split("\n") if line.strip())
    if count > MOST_LINES * 4:  # quoted cells may run over lines; nothing honest runs over this many
        raise GridError(_too_many(count))
    sheet = _sheet(text)
    if not sheet.cells:
        return Grid(said=tuple(sheet.said))
    headings = _headings_at(sheet.cells)
    if headings is None:
        keys = _keys_without_headings(sheet)
        body = sheet.cells
    else:
        keys = _keys_by_headings(sheet, headings)
        body = sheet.cells[headings + 1 :]
    rows = tuple(row for cells in body if (row := _row(cells, keys)))
    lines = len(rows) - sum(1 for row in rows if part_of(row))
    if lines > MOST_LINES:
        raise GridError(_too_many(lines))
    return Grid(rows=rows, keys=tuple(key for key in keys if key), said=tuple(sheet.said))


def _too_many(count: int) -> str:
    return f"That is {count:,} lines; an input list holds at most {MOST_LINES}. Paste the lines of one show alone."


def _row(cells: list[str], keys: list[str]) -> Row:
    """Return the cells that say something, by key; an empty row is nothing."""
    row: Row = {}
    for key, cell in zip(keys, cells, strict=False):
        if key and (said := " ".join(unguard(tidy(cell)).split())):
            row[key] = said
    return row


_PARTS = {
    "inputs": "in",
    "input": "in",
    "input list": "in",
    "outputs": "out",
    "output": "out",
    "mixes": "out",
    "output list": "out",
}


def part_of(row: Row) -> str:
    """Return in or out where a row is only the heading of a part (Outputs), else nothing."""
    return _PARTS.get(_plain(next(iter(row.values()))), "") if len(row) == 1 else ""


# The cells of a text


def _sheet(text: str) -> _Sheet:
    first, _, rest = text.partition("\n")
    if hint := re.fullmatch(r"sep=(.)", first.strip()):
        return _Sheet(cells=_kept(_split(rest, hint[1])))
    sign = _separator(text)
    cells = _kept(_split(text, sign)) if sign else [_numbered(line) for line in text.split("\n") if line.strip()]
    sheet = _Sheet(cells=cells)
    widest = max(map(len, cells), default=0)
    if widest > MOST_COLUMNS:
        raise GridError(f"That has {widest} columns; {MOST_COLUMNS} is the most. Is it an input list?")
    return sheet


def _kept(rows: list[list[str]]) -> list[list[str]]:
    return [row for row in rows if any(cell.strip() for cell in row)]


def _separator(text: str) -> str:
    """Choose the sign between cells: a tab where there is one; a comma, semicolon or bar only where it parts the rows alike,
    so that a list of names with a comma in one of them stays a list of names."""
    if "\t" in text:
        return "\t"
    best, most = "", 0.0
    for sign in ",;|":
        rows = _kept(_split(text, sign))[:60]
        widths = Counter(len(row) for row in rows)
        if not widths or max(widths) < 2:
            continue
        width, alike = max(widths.items(), key=lambda pair: (pair[1], pair[0]))
        headed = _headings_at(rows) is not None
        score = (alike / len(rows)) + width / 100 + headed
        if (headed or (width > 1 and alike >= len(rows) * 0.8)) and score > most:
            best, most = sign, score
    return best


def _split(text: str, sign: str) -> list[list[str]]:
    """Split a text into rows of cells. A quotation mark opens a quoted cell only where one closes it before a separator or a
    line's end: a lone one (12" tom, "Big" Dave) is a sign like another and swallows nothing."""
    quoted = re.compile(rf'"((?:[^"]|"")*)"[ ]*(?=[{re.escape(sign)}\n]|\Z)')
    plain = re.compile(rf"[^{re.escape(sign)}\n]*")
    rows: list[list[str]] = [[]]
    at, end = 0, len(text)
    while True:
        found = quoted.match(text, at) if at < end and text[at] == '"' else None
        if found:
            rows[-1].append(found[1].replace('""', '"'))
        else:
            found = plain.match(text, at)
            rows[-1].append(found[0] if found else "")
        at = found.end() if found else at
        if at >= end:
            return rows
        if text[at] == "\n":
            rows.append([])
        at += 1


_LEADING = re.compile(
    r"^\s*((?:ch(?:annel)?\.?\s*|#\s*)?\d{1,3}(?:\s*[/+&-]\s*\d{1,3})?)(?:[.):]\s*|\s+-\s+|\s+)(\S.*)$", re.IGNORECASE
)


def _numbered(line: str) -> list[str]:
    """Part a line without separators into its number and its source: 1. Kick, CH 2 Snare, 5/6 Keys L/R."""
    found = _LEADING.match(line)
    return [found[1], found[2]] if found else ["", line]


# Which column is which


def _headings_at(rows: list[list[str]]) -> int | None:
    """Return which of the first rows holds headings: one calls a column the source outright, or half of its cells or more,
    two at least, are words we know."""
    for place, cells in enumerate(rows[:_HEADINGS_WITHIN]):
        said = [_plain(unguard(tidy(cell))) for cell in cells if cell.strip()]
        known = {_MEANT[word] for word in said if word in _MEANT}
        if (len(known) >= 2 and len(known) * 2 >= len(said)) or _NAMED & set(said):
            return place
    return None


def _keys_by_headings(sheet: _Sheet, at: int) -> list[str]:
    keys: list[str] = []
    unknown, doubled = [], []
    headings = sheet.cells[at]
    for place, cell in enumerate(headings):
        word = _plain(unguard(tidy(cell)))
        key = _MEANT.get(word, "")
        filled = any(len(row) > place and row[place].strip() for row in sheet.cells[at + 1 :])
        if key and key in keys:
            doubled.append(f"“{shown(cell.strip())}”")
            key = ""
        elif word and not key and filled and word not in _ONLY_SHOWN:
            unknown.append(f"“{shown(cell.strip())}”")
        keys.append(key)
    if at:
        above = "; ".join(" ".join(" ".join(row).split()) for row in sheet.cells[:at])
        sheet.said.append(f"Left out what stands above the headings: “{above[:120]}”.")
    if unknown:
        many = len(unknown) > 1
        sheet.said.append(f"Not read, because no column of ours is called so: {', '.join(unknown)}.{_say_words(many)}")
    if doubled:
        sheet.said.append(f"Read once only: {', '.join(doubled)} means a column that is there already.")
    if "source" not in keys and "kind" not in keys:
        sheet.said.append("No column is called Source: nothing can be read without one.")
    return keys


def _say_words(many: bool) -> str:
    return f" Rename {'them' if many else 'it'} if {'they hold' if many else 'it holds'} something we need."


_NUMBER = re.compile(r"^(?:[a-z]{1,8}\.?\s*)?#?\d{1,3}(?:\s*[/+&-]\s*\d{1,3})?[.):]?$", re.IGNORECASE)
_LEFT_OVER = ("pickup", "stand", "notes", "player", "where")


def _keys_without_headings(sheet: _Sheet) -> list[str]:
    """Guess the columns of a list that has no headings, and say how they were read."""
    width = max(map(len, sheet.cells))
    if width == len(KEYS):
        return list(KEYS)
    columns = [[row[n].strip() for row in sheet.cells if len(row) > n and row[n].strip()] for n in range(width)]
    keys = [""] * width
    filled = [n for n in range(width) if columns[n]]
    for n in filled:
        if sum(1 for cell in columns[n] if _NUMBER.match(cell)) * 2 > len(columns[n]):
            keys[n] = "number"
            break
        if n > 1:
            break
    spare = iter(("source", *_LEFT_OVER))
    for n in filled:
        if not keys[n]:
            keys[n] = next(spare, "")
    if width > 2 or (width == 2 and "number" not in keys):
        named = [BY_KEY[key].title for key in keys if key]
        sheet.said.append(f"No headings: read as {', '.join(named)}. Put a line of headings above if that is wrong.")
    return keys


# Writing


def grid_write(rows: Iterable[Mapping[str, str]], *, keys: Iterable[str] = KEYS, sign: str = "\t", headed: bool = True) -> str:
    """Write rows so that a spreadsheet takes no cell for a formula and `grid_read` reads the same again."""
    chosen = list(keys)
    lines = [sign.join(_cell(title_of(key), sign) for key in chosen)] if headed else []
    lines += [sign.join(_cell(guard(tidy(row.get(key, ""))), sign) for key in chosen) for row in rows]
    end = "\r\n" if sign != "\t" else "\n"
    return "".join(line + end for line in lines)


def title_of(key: str) -> str:
    """Return the heading of a column."""
    return BY_KEY[key].title if key in BY_KEY else key.capitalize()


def _cell(text: str, sign: str) -> str:
    if '"' in text or sign in text or "\n" in text:
        return '"' + text.replace('"', '""') + '"'
    return text
