"""What a kind of list is (gear, counted lines, shows): its columns, how its rows are judged and written, how it goes out."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.http import QueryDict

from company.calc.roles import at_least
from company.models import Company, Person
from inventory.calc.typed import Odd, checked, unguard
from inventory.transfer.reading import Failed

NEW, CHANGED, UNCHANGED, BAD = "new", "changed", "unchanged", "bad"


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column of a list: what it means, which headings are taken for it, who may see and fill it.

    `shown_only` columns go out in an export and are left out on the way in: scans and tests write them, not a list.
    """

    key: str
    title: str
    says: str
    words: tuple[str, ...] = ()
    example: str = ""
    required: bool = False
    shown_only: bool = False
    import_only: bool = False
    role: str = "hand"


@dataclass(kw_only=True)
class Order:
    """What is to be brought in, by whom, and how: everything a run needs to give the same answer twice.

    `matching` is {column number in the file: key of the column}. `made` is {line: code} once codes were minted for new rows.
    """

    matching: dict[int, str]
    person: Person
    company: Company
    at: datetime
    empties_clear: bool = False
    alike_are_new: bool = False
    kinds: dict[str, str] = field(default_factory=dict)
    made: dict[int, str] = field(default_factory=dict)
    uid: str = ""

    @property
    def keys(self) -> set[str]:
        return set(self.matching.values())


@dataclass(kw_only=True)
class Row:
    """One row as judged: what would become of it, and why not."""

    line: int
    verdict: str = ""
    values: dict[str, Any] = field(default_factory=dict)
    reasons: list[tuple[str, str]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    target: int | None = None
    before: dict[str, Any] = field(default_factory=dict)
    code: str = ""
    cells: list[str] = field(default_factory=list)

    def bad(self, column: str, sentence: str) -> None:
        self.verdict = BAD
        self.reasons.append((column, sentence))

    @property
    def why(self) -> str:
        return " ".join(f"{column}: {sentence}" if column else sentence for column, sentence in self.reasons)


class Plan:
    """One run over a list. `judge` reads the database and writes nothing; `write` writes what was judged, in a transaction the
    caller opens. Rows come in the file's order and keep what earlier rows have claimed."""

    def __init__(self, order: Order) -> None:
        self.order = order
        self.fresh: dict[str, Fresh] = {}

    readers: dict[str, Callable[["Plan", str], Any]] = {}

    def read(self, line: int, cells: list[str], columns: dict[str, Column]) -> Row:
        """Read the cells of a row into values; what cannot be read makes it bad, every reason named."""
        row = Row(line=line, cells=cells)
        for place, key in self.order.matching.items():
            text = cells[place] if place < len(cells) else ""
            title = columns[key].title
            if isinstance(text, Failed):
                row.bad(title, f"The spreadsheet's own formula failed here ({text}).")
                continue
            try:
                tidied = unguard(checked(text))
                if tidied:
                    self.take(row, key, tidied)
                elif self.order.empties_clear:
                    self.clear(row, key)
            except Odd as odd:
                row.bad(title, str(odd))
        return row

    def take(self, row: Row, key: str, text: str) -> None:
        """Put one cell's value into the row; raise Odd with a sentence."""
        raise NotImplementedError

    def clear(self, row: Row, key: str) -> None:
        """An empty cell was said to clear what is there."""
        raise NotImplementedError

    def judge(self, rows: list[Row]) -> None:
        """Set every row's verdict and target, with a constant number of queries."""
        raise NotImplementedError

    def make_fresh(self) -> dict[str, list[int]]:
        """Make the types and places the rows name and nobody has yet; answer their keys by model name."""
        raise NotImplementedError

    def mint(self, rows: list[Row]) -> dict[int, str]:
        """Choose codes for new rows that have none: {line: code}."""
        return {}

    def write(self, rows: list[Row]) -> None:
        raise NotImplementedError

    def after(self, rows: list[Row]) -> None:
        """Do what follows once the rows are committed."""

    def take_back(self, unchanged: list[Row]) -> tuple[int, int]:
        """Take back rows this run has added and nobody has touched or used since: (taken back, kept)."""
        raise NotImplementedError


@dataclass(kw_only=True)
class Fresh:
    """Something named in the list that is not in the record yet and would be made: a gear type, a place, a venue."""

    what: str
    name: str
    kind: str = ""
    lines: int = 0


@dataclass(frozen=True, kw_only=True)
class Transfer:
    """A kind of list that can come in and go out."""

    key: str
    title: str
    one: str
    many: str
    says: str
    columns: tuple[Column, ...]
    plan: Callable[[Order], Plan]
    rows_out: Callable[[QueryDict, Person, Company, datetime], Iterator[dict[str, Any]]]
    count_out: Callable[[QueryDict, datetime], int]
    examples: tuple[dict[str, str], ...] = ()
    role: str = "technician"
    known_by: tuple[str, ...] = ()  # any of these names a row we have, so that nothing else must be there
    can_take_back: bool = True
    cannot_take_back: str = ""

    def columns_in(self, person: Person) -> dict[str, Column]:
        """Return the columns a person may fill, by key."""
        return {c.key: c for c in self.columns if not c.shown_only and at_least(person.role, c.role)}

    def columns_out(self, person: Person) -> list[Column]:
        """Return the columns a person may see, in order."""
        return [c for c in self.columns if not c.import_only and at_least(person.role, c.role)]


def in_chunks(rows: Iterable[Row], size: int) -> Iterator[list[Row]]:
    chunk: list[Row] = []
    for row in rows:
        chunk.append(row)
        if len(chunk) == size:
            yield chunk
            chunk = []
    if chunk:
        yield chunk
