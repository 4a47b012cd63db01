"""Open somebody's list: text with commas, semicolons or tabs in any usual encoding, or a workbook. Nothing is believed."""

import csv
import io
import re
import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import IO, Any

import openpyxl

MOST_BYTES = 20 * 1024 * 1024
MOST_ROWS = 50_000
MOST_COLUMNS = 100
MOST_UNPACKED = 150 * 1024 * 1024
MOST_STRINGS = 32 * 1024 * 1024
MOST_RATIO = 150
MOST_PARTS = 2000
_GAP_ROWS = 5000  # blank rows in a row after which a sheet has ended

csv.field_size_limit(MOST_BYTES + 1)  # a cell too long makes a bad row, named; csv's own limit would lose the rest of the file


class UnreadableError(Exception):
    """A file that cannot be opened as a list; its message is one sentence for the person who chose it."""


class Failed(str):
    """What a spreadsheet shows where its formula failed (#REF!)."""

    __slots__ = ()


@dataclass(kw_only=True)
class OpenedList:
    """A list: its headings, its rows as (line, cells), and sentences about how it was read."""

    headers: list[str]
    lines: Iterator[tuple[int, list[str]]]
    said: list[str] = field(default_factory=list)

    def rows(self) -> Iterator[tuple[int, list[str]]]:
        """Yield (line, cells), blank rows left out; lines count as a spreadsheet counts its rows, headings included."""
        width = len(self.headers)
        for count, (line, cells) in enumerate(self.lines, 1):
            if count > MOST_ROWS:
                raise UnreadableError(f"That list has more than {MOST_ROWS} rows. Bring it in parts.")
            yield line, (cells + [""] * width)[: max(width, len(cells))]


def list_open(file: IO[bytes]) -> OpenedList:
    """Open a list, or raise UnreadableError. `file` must stay open while rows are read."""
    file.seek(0, io.SEEK_END)
    size = file.tell()
    file.seek(0)
    if size == 0:
        raise UnreadableError("That file is empty.")
    if size > MOST_BYTES:
        raise UnreadableError(
            f"That file has {size // 1024 // 1024} MB; {MOST_BYTES // 1024 // 1024} MB is the most. Bring it in parts."
        )
    head = file.read(8)
    file.seek(0)
    if head.startswith(b"PK"):
        return _workbook(file)
    if head.startswith(b"\xd0\xcf\x11\xe0"):
        raise UnreadableError("That is an old workbook (.xls) or one with a password. Save it as .xlsx or CSV and try again.")
    if head.startswith((b"%PDF", b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"\x1f\x8b", b"Rar!", b"7z")):
        raise UnreadableError("That is not a list. Choose a CSV or XLSX file.")
    return _text(file.read())


def decoded(raw: bytes) -> tuple[str, str]:
    """Return (text, name of the encoding), guessed: byte order marks, UTF-16 by its zeros, UTF-8, Windows-1252 else."""
    for mark, name in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if raw.startswith(mark):
            return raw.decode(name, "replace"), "UTF-16" if name == "utf-16" else "UTF-8"
    probe = raw[:4096]
    if len(probe) > 3:
        even, odd = probe[0::2].count(0), probe[1::2].count(0)
        half = len(probe) / 2
        if odd > half * 0.4 and even < half * 0.1:
            return raw.decode("utf-16-le", "replace"), "UTF-16"
        if even > half * 0.4 and odd < half * 0.1:
            return raw.decode("utf-16-be", "replace"), "UTF-16"
    try:
        return raw.decode("utf-8"), "UTF-8"
    except UnicodeDecodeError:
        text = raw.decode("utf-8", "replace")
    wrong = text.count("\ufffd")
    right = sum(1 for c in text if c > "\x7f") - wrong
    if right and right * 3 >= wrong:  # UTF-8 with a damaged sign or two: those rows will be named
        return text, "UTF-8"
    return raw.decode("cp1252", "replace"), "Windows-1252"


def _text(raw: bytes) -> OpenedList:
    text, encoding = decoded(raw)
    if text.count("\0") > max(20, len(text) // 50):
        raise UnreadableError("That is not a list. Choose a CSV or XLSX file.")
    first, _, rest = text.partition("\n")
    hint = re.fullmatch(r"sep=(.)\r?", first)
    skip = 1 if hint else 0
    if hint:
        text = rest
    sign = hint[1] if hint else _separator(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=sign)
    lines = ((line + skip, cells) for line, cells in _numbered(reader))
    headers = _headers(lines)
    name = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}.get(sign, f"“{sign}”")
    return OpenedList(headers=headers, lines=lines, said=[f"Read as {encoding} text, columns parted by {name}."])


def _separator(text: str) -> str:
    """Choose the sign that parts the first rows into the same number of columns most often."""
    sample = text[:20_000]
    best, best_score = ",", (0, 0)
    for sign in (",", ";", "\t", "|"):
        widths: list[int] = []
        try:
            for row in csv.reader(io.StringIO(sample, newline=""), delimiter=sign):
                if any(cell.strip() for cell in row):
                    widths.append(len(row))
                if len(widths) == 20:
                    break
        except csv.Error:
            continue
        if widths and widths[0] > 1:
            score = (widths.count(widths[0]) * 20 // len(widths), widths[0])
            if score > best_score:
                best, best_score = sign, score
    return best


def _numbered(reader: Any) -> Iterator[tuple[int, list[str]]]:
    line = 0
    while True:
        line += 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise UnreadableError(f"Line {line} cannot be read ({error}).") from error
        if any(cell.strip() for cell in cells):
            yield line, cells


def _headers(lines: Iterator[tuple[int, list[str]]]) -> list[str]:
    try:
        _line, cells = next(lines)
    except StopIteration:
        raise UnreadableError("That list has no rows.") from None
    while cells and not cells[-1].strip():
        cells = cells[:-1]
    if len(cells) > MOST_COLUMNS:
        raise UnreadableError(f"That list has {len(cells)} columns; {MOST_COLUMNS} is the most.")
    return [" ".join(cell.replace("\0", "").split())[:80] for cell in cells]


def _workbook(file: IO[bytes]) -> OpenedList:
    _weigh(file)
    if not openpyxl.DEFUSEDXML:  # pragma: no cover
        raise UnreadableError("This machine lacks the guard for workbooks (defusedxml). Save the list as CSV.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles and rules we do not read
            book = openpyxl.load_workbook(file, read_only=True, data_only=True, keep_links=False)
        sheets = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"] or book.worksheets
    except Exception as error:
        raise UnreadableError("That workbook is broken and cannot be opened. Save it again, or as CSV.") from error
    if not sheets:
        raise UnreadableError("That workbook has no sheet with rows.")
    sheet = sheets[0]
    lines = _sheet_lines(sheet)
    said = [f"Read the sheet “{sheet.title}”."]
    if len(sheets) > 1:
        said.append(f"The workbook has {len(sheets) - 1} more; bring them one by one.")
    return OpenedList(headers=_headers(lines), lines=lines, said=said)


def _weigh(file: IO[bytes]) -> None:
    """Refuse a workbook that would unpack to far more than it is, before a byte of it is unpacked. Zip members never yield more
    than the size their directory names, so the names can be believed."""
    try:
        parts = zipfile.ZipFile(file).infolist()
    except Exception as error:
        raise UnreadableError("That workbook is broken and cannot be opened. Save it again, or as CSV.") from error
    names = {part.filename for part in parts}
    if "xl/workbook.xml" not in names:
        raise UnreadableError("That is a packed file, but no XLSX workbook. Choose a CSV or XLSX file.")
    whole = sum(part.file_size for part in parts)
    strings = sum(part.file_size for part in parts if part.filename.endswith("sharedStrings.xml"))
    bomb = any(part.file_size > 1_000_000 and part.file_size > MOST_RATIO * max(part.compress_size, 1) for part in parts)
    if bomb or whole > MOST_UNPACKED or strings > MOST_STRINGS or len(parts) > MOST_PARTS:
        raise UnreadableError(
            f"That workbook would unpack to {whole // 1024 // 1024} MB and is not opened. Save the list alone, or as CSV."
        )
    file.seek(0)


_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")


def _sheet_lines(sheet: Any) -> Iterator[tuple[int, list[str]]]:
    sheet.reset_dimensions()  # the file's own word on its size is not believed
    blank = 0
    try:
        for line, row in enumerate(sheet.iter_rows(max_col=MOST_COLUMNS + 1), 1):
            cells = [_cell_text(cell) for cell in row]
            while cells and not cells[-1]:
                cells.pop()
            if any(cell.strip() for cell in cells):
                blank = 0
                yield line, cells
            else:
                blank += 1
                if blank > _GAP_ROWS:
                    return
    except Exception as error:
        raise UnreadableError("That workbook is broken and cannot be read to its end. Save it again, or as CSV.") from error


def _cell_text(cell: Any) -> str:
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, str):
        if cell.data_type == "e":
            return Failed(value)
        return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), value) if "_x" in value else value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat(sep=" ")
    if isinstance(value, date | time):
        return value.isoformat()
    return str(value)
