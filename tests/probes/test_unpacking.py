"""Bounds of packed files: each is refused at once, with a reason of its own."""

from __future__ import annotations

import io
import tracemalloc
import zipfile
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import pytest
from openpyxl import Workbook

from probes.logger_files import FileRefused
from probes.sheet_parts import check_parts
from probes.spreadsheets import read_sheet
from probes.unpacking import MAX_EXPANDED_BYTES, MAX_PACKED_BYTES, find_packing
from tests.logger_texts import layout, read

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
ROWS = [["Time", "10 cm", "30 cm"], ["2025-04-01 01:00", 7.5, 9]]


def archive(**members: bytes) -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, text in members.items():
            packed.writestr(name, text)
    return content.getvalue()


def workbook(rows: Sequence[Sequence[object]], edit: tuple[bytes, bytes] = (b"", b"")) -> bytes:
    """Return a spreadsheet, its sheet's XML with one text in place of another."""
    book = Workbook()
    for row in rows:
        book.worksheets[0].append([*row])
    content = io.BytesIO()
    book.save(content)
    with zipfile.ZipFile(content) as packed:
        members = {name: packed.read(name) for name in packed.namelist()}
    name = "xl/worksheets/sheet1.xml"
    members[name] = members[name].replace(*edit) if edit[0] else members[name]
    return archive(**members)


def refusal(folder: Path, content: bytes) -> str:
    with pytest.raises(FileRefused) as caught:
        read(folder, content)
    return str(caught.value)


def test_a_packed_file_of_any_size_is_not_looked_into(tmp_path: Path) -> None:
    path = tmp_path / "log.gz"
    with path.open("wb") as stream:
        stream.write(b"\x1f\x8b\x08\x00")
        stream.truncate(MAX_PACKED_BYTES + 1)
    with pytest.raises(FileRefused, match="more than 104,857,600; unpack it first"):
        find_packing(path)


def test_an_archive_that_declares_too_much_is_refused_by_its_word(tmp_path: Path) -> None:
    content = archive(**{"log.csv": b"x"})
    entry = content.index(b"PK\1\2")
    declared = (MAX_EXPANDED_BYTES + 1).to_bytes(4, "little")
    content = content[: entry + 24] + declared + content[entry + 28 :]
    assert "more than 536,870,912 bytes when unpacked" in refusal(tmp_path, content)


def test_an_archive_that_declares_too_little_gives_no_more(tmp_path: Path) -> None:
    content = archive(**{"log.csv": b"Time,10 cm,30 cm\n" * 1000})
    entry = content.index(b"PK\1\2")
    content = content[: entry + 24] + (20).to_bytes(4, "little") + content[entry + 28 :]
    assert "damaged, cut off or locked" in refusal(tmp_path, content)


def test_a_locked_archive_is_refused(tmp_path: Path) -> None:
    content = archive(**{"log.csv": b"Time,10 cm,30 cm\n"})
    entry = content.index(b"PK\1\2")
    content = content[: entry + 8] + b"\1\0" + content[entry + 10 :]
    assert "is encrypted" in refusal(tmp_path, content)


def test_an_archive_of_no_text_is_refused(tmp_path: Path) -> None:
    content = archive(**{"a.pdf": b"%PDF", "b.pdf": b"%PDF"})
    assert "2 files in it, 0 of them named as text" in refusal(tmp_path, content)


def test_a_sheet_with_a_row_far_below_is_refused(tmp_path: Path) -> None:
    content = workbook(ROWS, (b'<row r="2"', b'<row r="999999999"'))
    assert "more than 1,048,576 rows" in refusal(tmp_path, content)


def test_a_sheet_that_is_no_xml_is_refused(tmp_path: Path) -> None:
    content = workbook(ROWS, (b"</sheetData>", b""))
    assert "cannot be read as a spreadsheet" in refusal(tmp_path, content)


def test_a_sheet_whose_words_grow_without_end_is_refused(tmp_path: Path) -> None:
    # source: "billion laughs", as the expat of Python and defusedxml refuse it
    grown = "".join(f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in pairwise("abcdefghij"))
    doctype = f'<!DOCTYPE x [<!ENTITY a "ha">{grown}]><worksheet a="&j;"'.encode()
    content = workbook(ROWS, (b"<worksheet", doctype))
    assert "cannot be read as a spreadsheet" in refusal(tmp_path, content)


def shared(text: str, cells: int) -> bytes:
    """Return a spreadsheet of one row, each cell of which refers to the same text."""
    row = '<c t="s"><v>0</v></c>' * cells
    content = workbook([], (b"<sheetData>", f"<sheetData><row>{row}</row>".encode()))
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        members = {name: packed.read(name) for name in packed.namelist()}
    members["xl/sharedStrings.xml"] = f'<sst xmlns="{MAIN}"><si><t>{text}</t></si></sst>'.encode()
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
    part = f'<Override PartName="/xl/sharedStrings.xml" ContentType="{kind}"/></Types>'
    kinds = members["[Content_Types].xml"].replace(b"</Types>", part.encode())
    return archive(**members | {"[Content_Types].xml": kinds})


@pytest.mark.parametrize(
    "content",
    [
        pytest.param(shared("ha" * 10_000, 2_000), id="one long text in each cell of a row"),
        pytest.param(shared(" " * 20_000, 2_000), id="blanks that come to nothing"),
        pytest.param(workbook([["x"]] * 500 + [["x"] * 2_000]), id="one row makes all wide"),
    ],
)
def test_a_small_sheet_that_grows_is_refused_before_memory_does(
    tmp_path: Path, content: bytes
) -> None:
    path = tmp_path / "log.xlsx"
    path.write_bytes(content)
    with pytest.raises(FileRefused, match="100,000 bytes"):  # whatever else is loaded once
        read_sheet(path, layout(), max_bytes=100_000)
    tracemalloc.start()
    try:
        with pytest.raises(FileRefused):
            read_sheet(path, layout(), max_bytes=100_000)
        _, peak_bytes = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert len(content) < 20_000
    assert peak_bytes < 4_000_000  # the XML of the row comes apart in 2 MB


MANY = b"<a/>" * 2_000
ATTRIBUTES = b"<a " + b" ".join(b'a%d=""' % number for number in range(2_000)) + b"/>"


@pytest.mark.parametrize(
    ("before", "more"),
    [
        pytest.param(b"<sheetData>", MANY, id="beside its rows"),
        pytest.param(b"<sheetData>", b"<row>" + MANY + b"</row>", id="in one row"),
        pytest.param(b"<sheetData>", b"<row/>" * 2_000, id="empty rows"),
        pytest.param(b"<sheetData>", b"<b:row>" * 2_000, id="rows that are none"),
        pytest.param(b"<sheetData>", ATTRIBUTES, id="attributes"),
    ],
)
def test_a_sheet_of_many_elements_is_refused_before_they_are_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, before: bytes, more: bytes
) -> None:
    monkeypatch.setattr("probes.sheet_parts.MAX_KEPT", 1_000)
    monkeypatch.setattr("probes.sheet_parts.MAX_TOGETHER", 1_000)
    more = more.replace(b"<b:row>", b'<row xmlns="b"></row>')
    content = workbook(ROWS, (before, before + more))
    assert "holds more than any sheet of readings" in refusal(tmp_path, content)


def test_a_sheet_with_a_tag_of_many_bytes_is_refused(tmp_path: Path) -> None:
    tag = b'<a b="' + b" " * 2**21 + b'"/>'
    content = workbook(ROWS, (b"<sheetData>", b"<sheetData>" + tag))
    packed = tmp_path / "log.xlsx"
    packed.write_bytes(content)
    with pytest.raises(FileRefused, match="holds more than any sheet of readings"):
        check_parts(packed)


def test_a_full_row_and_many_rows_are_read(tmp_path: Path) -> None:
    content = workbook([["Time", *map(str, range(2**14 - 1))], *ROWS[1:] * 1_000])
    path = tmp_path / "log.xlsx"
    path.write_bytes(content)
    assert find_packing(path) == "spreadsheet"


def test_a_sheet_is_read_whatever_it_says_of_its_size(tmp_path: Path) -> None:
    content = workbook(ROWS, (b'<dimension ref="A1:C2"', b'<dimension ref="A1:A1"'))
    assert read(tmp_path, content).soil_temp_c.tolist() == [[7.5, 9.0]]


def test_numbers_of_a_sheet_know_no_decimal_mark(tmp_path: Path) -> None:
    assert read(tmp_path, workbook(ROWS), decimal=",").soil_temp_c.tolist() == [[7.5, 9.0]]


def test_a_line_break_in_a_cell_is_a_blank(tmp_path: Path) -> None:
    rows = [["Time", "10\ncm", "30 cm"], *ROWS[1:]]
    assert read(tmp_path, workbook(rows)).soil_temp_c.tolist() == [[7.5, 9.0]]
