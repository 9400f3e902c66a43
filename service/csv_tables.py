"""A table that someone made in a spreadsheet, as CSV: its names, and its lines of cells."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from io import StringIO

_DELIMITERS = "\t;,"


class TableError(ValueError):
    """A table that cannot be read as a whole."""


@dataclass(frozen=True)
class CsvTable:
    """A table being read.

    header : its first line as it stands there
    names : those in it, in lower case
    lines : where each line begins, the first being 1, with its cells; empty ones are left out.
        TableError where it cannot be read on
    """

    header: str
    names: list[str]
    delimiter: str
    lines: Iterator[tuple[int, list[str]]]


def open_table(content: bytes) -> CsvTable:
    """Begin to read a table in UTF-8 with comma, semicolon or tab between cells.

    Raises
    ------
    TableError
        Where it is not UTF-8, or its first line cannot be read.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise TableError(f"byte {error.start} is not UTF-8; save it as CSV in UTF-8") from None
    if "\0" in text:
        raise TableError("it holds bytes of zero, so that it is no text; save it as CSV in UTF-8")
    header, _, _ = text.partition("\n")
    delimiter = max(_DELIMITERS, key=header.count)
    lines = _read(text, delimiter)
    _, first = next(lines, (1, []))
    return CsvTable(header.strip(), [name.strip().lower() for name in first], delimiter, lines)


def _read(text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(StringIO(text, newline=""), delimiter=delimiter)
    start = 1
    try:
        for cells in reader:
            if start == 1 or any(one.strip() for one in cells):
                yield start, cells
            start = reader.line_num + 1
    except csv.Error as error:
        raise TableError(f"line {start} cannot be read: {error}; look for a stray quote") from None
