"""Lists going out: CSV row by row as it is sent, XLSX row by row into a file. What looks like a formula is guarded, once."""

import csv
import io
import re
from collections.abc import Iterable, Iterator
from datetime import date
from decimal import Decimal
from typing import IO, Any

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell

from inventory.calc.typed import guard, tidy
from inventory.transfer.base import Column

_MONEY = frozenset({"price"})
# What XML cannot carry or would change, written as a workbook writes it: _x000D_.
_UNSAFE = re.compile("[\x00-\x08\x0b-\x1f\x7f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")


def csv_lines(columns: list[Column], rows: Iterable[dict[str, Any]]) -> Iterator[str]:
    """Yield a CSV file in UTF-8 with a byte order mark, which spreadsheets ask for."""
    yield "\ufeff"
    yield _line([column.title for column in columns])
    for row in rows:
        yield _line([_text(row.get(column.key), column) for column in columns])


def _line(cells: list[str]) -> str:
    line = io.StringIO()
    csv.writer(line).writerow(cells)
    return line.getvalue()


def _text(value: Any, column: Column) -> str:
    if value is None:
        return ""
    if column.key in _MONEY and isinstance(value, int):
        return f"{value // 100}.{value % 100:02d}"
    if isinstance(value, str):
        return guard(tidy(value))
    return value.isoformat() if isinstance(value, date) else str(value)


def xlsx_write(columns: list[Column], rows: Iterable[dict[str, Any]], *, title: str, target: IO[bytes]) -> int:
    """Write a workbook of one sheet; answer how many rows it has."""
    book = Workbook(write_only=True)
    sheet = book.create_sheet(title)
    sheet.freeze_panes = "A2"
    sheet.append([_cell(sheet, column.title, column) for column in columns])
    count = 0
    for row in rows:
        sheet.append([_cell(sheet, row.get(column.key), column) for column in columns])
        count += 1
    book.save(target)
    return count


def _cell(sheet: Any, value: Any, column: Column) -> Any:
    if value is None or value == "":
        return None
    if column.key in _MONEY and isinstance(value, int):
        return Decimal(value) / 100
    if not isinstance(value, str):
        return value
    cell = WriteOnlyCell(sheet, _UNSAFE.sub(lambda found: f"_x{ord(found[0]):04X}_", guard(tidy(value))))
    cell.data_type = "s"  # never a formula, never an error, whatever it looks like
    return cell
