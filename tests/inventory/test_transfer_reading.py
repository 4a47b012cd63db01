"""Opening somebody's list: encodings, separators, workbooks, and what is not a list at all."""

import io
import zipfile

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.transfer import reading
from inventory.transfer.base import Column
from inventory.transfer.reading import Failed, UnreadableError, list_open
from inventory.transfer.writing import csv_lines, xlsx_write


def opened(raw: bytes) -> tuple[list[str], list[list[str]]]:
    found = list_open(io.BytesIO(raw))
    return found.headers, [cells for _line, cells in found.rows()]


def workbook(*rows, **kw) -> bytes:
    book, file = openpyxl.Workbook(), io.BytesIO()
    for row in rows:
        book.active.append(row)
    book.save(file)
    return file.getvalue()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("sign", [",", ";", "\t"])
def test_every_usual_encoding_and_separator_is_guessed(encoding, sign):
    text = f"Gear type{sign}Notes{sign}Length\r\nCâble micro{sign}“à réparer”{sign}10 m\r\nÖse{sign}größe{sign}5 m\r\n"
    headers, rows = opened(text.encode(encoding))
    assert headers == ["Gear type", "Notes", "Length"]
    assert rows == [["Câble micro", "“à réparer”", "10 m"], ["Öse", "größe", "5 m"]]


def test_newlines_in_quotes_and_blank_lines_keep_the_spreadsheets_line_numbers():
    found = list_open(io.BytesIO(b'Gear type,Notes\n\nA,"two\nlines"\nB,x\n'))
    assert list(found.rows()) == [(3, ["A", "two\nlines"]), (4, ["B", "x"])]


def test_line_that_names_the_separator_is_obeyed():
    assert opened(b"sep=;\nGear type;Notes\nA, B;x\n") == (["Gear type", "Notes"], [["A, B", "x"]])


def test_damaged_sign_in_utf8_does_not_turn_the_whole_file_into_another_encoding():
    _headers, rows = opened("Gear type,Notes\nCâble,é\nÖse,".encode() + b"\xed\xa0\x80\n")
    assert rows[0] == ["Câble", "é"] and "\ufffd" in rows[1][1]


def test_workbook_cells_are_read_by_what_they_mean():
    from datetime import date, datetime

    headers, rows = opened(
        workbook(
            ["Gear type", "n", "price", "day", "moment", "yes"],
            ["A", 12.0, 12.5, date(2026, 3, 4), datetime(2026, 3, 4, 18, 30), True],
        )
    )
    assert rows == [["A", "12", "12.5", "2026-03-04", "2026-03-04 18:30:00", "yes"]]
    assert len(headers) == 6


def test_failed_formula_is_known_for_one():
    _headers, rows = opened(workbook(["Gear type"], ["#REF!"]))
    assert isinstance(rows[0][0], Failed)


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"\n\n\n",
        b"PK\x03\x04 and then nothing",
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 old workbook",
        b"%PDF-1.7 not a list",
        b"\x89PNG\r\n\x1a\n",
        bytes(range(256)) * 40 + b"\0" * 2000,
        b",".join(b"h%d" % n for n in range(200)) + b"\n",
    ],
)
def test_what_is_no_list_gets_a_sentence(raw):
    with pytest.raises(UnreadableError, match=r"\.$"):
        opened(raw)


def test_workbook_cut_short_gets_a_sentence():
    whole = workbook(["Gear type"], *[[f"A {n}"] for n in range(500)])
    for cut in (10, len(whole) // 2, len(whole) - 30):
        with pytest.raises(UnreadableError):
            opened(whole[:cut])


def test_workbook_with_a_broken_sheet_gets_a_sentence():
    source, target = zipfile.ZipFile(io.BytesIO(workbook(["Gear type"], ["A"]))), io.BytesIO()
    with zipfile.ZipFile(target, "w") as out:
        for name in source.namelist():
            out.writestr(name, source.read(name)[: 300 if "sheet1" in name else None])
    with pytest.raises(UnreadableError):
        opened(target.getvalue())


def packed(**members: bytes) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as out:
        for name, content in members.items():
            out.writestr(name.replace("__", "/"), content)
    return file.getvalue()


def test_decompression_bomb_is_refused_before_it_is_unpacked(monkeypatch):
    bomb = packed(**{"xl__workbook.xml": b"<a/>", "xl__worksheets__sheet1.xml": b"0" * 60_000_000})
    monkeypatch.setattr(reading.openpyxl, "load_workbook", lambda *a, **k: pytest.fail("it was opened"))
    assert len(bomb) < 100_000
    with pytest.raises(UnreadableError, match="would unpack"):
        opened(bomb)


def test_bomb_of_entities_gets_a_sentence():
    laughs = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;">]><workbook>&b;</workbook>'
    source, target = zipfile.ZipFile(io.BytesIO(workbook(["Gear type"], ["A"]))), io.BytesIO()
    with zipfile.ZipFile(target, "w") as out:
        for name in source.namelist():
            out.writestr(name, laughs if name == "xl/workbook.xml" else source.read(name))
    with pytest.raises(UnreadableError):
        opened(target.getvalue())


def test_packed_file_that_is_no_workbook_gets_a_sentence():
    with pytest.raises(UnreadableError, match="no XLSX"):
        opened(packed(**{"hello.txt": b"hello"}))


def test_sheet_that_lies_about_its_size_is_read_by_its_rows():
    source, target = zipfile.ZipFile(io.BytesIO(workbook(["Gear type"], ["A"]))), io.BytesIO()
    with zipfile.ZipFile(target, "w") as out:
        for name in source.namelist():
            out.writestr(name, source.read(name).replace(b'ref="A1:A2"', b'ref="A1:XFD1048576"'))
    assert opened(target.getvalue()) == (["Gear type"], [["A"]])


def test_too_many_rows_are_refused_with_a_sentence(monkeypatch):
    monkeypatch.setattr(reading, "MOST_ROWS", 3)
    with pytest.raises(UnreadableError, match="more than 3 rows"):
        opened(b"Gear type\nA\nB\nC\nD\n")


COLUMNS = [Column(key="a", title="A", says=""), Column(key="b", title="B", says="")]
# everything the database can hold: no surrogates, no NUL
KEPT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=30)
TRICKY = st.text(st.sampled_from("'=+-@\t\r\n\"_x05FD;,\x0b\ufffe #N/Aé"), max_size=12)


@settings(deadline=None)
@given(st.lists(st.tuples(KEPT | TRICKY, KEPT | TRICKY), min_size=1, max_size=5))
def test_export_then_import_then_export_is_unchanged_for_any_text(pairs):
    from inventory.calc.typed import tidy, unguard

    rows = [{"a": a or "x", "b": b} for a, b in pairs]
    first = "".join(csv_lines(COLUMNS, rows))
    _headers, cells = opened(first.encode())
    back = [{"a": unguard(tidy(row[0])), "b": unguard(tidy(row[1]))} for row in cells]
    kept = [row for row in rows if tidy(row["a"]) or tidy(row["b"])]
    assert back == [{key: tidy(value) for key, value in row.items()} for row in kept]
    assert "".join(csv_lines(COLUMNS, back)) == "".join(csv_lines(COLUMNS, kept))

    book = io.BytesIO()
    xlsx_write(COLUMNS, kept, title="A", target=book)
    if kept:
        found = list_open(book)
        assert [{"a": unguard(tidy(c[0])), "b": unguard(tidy(c[1]))} for _line, c in found.rows()] == back
