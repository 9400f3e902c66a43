"""Logger files read a second time, line by line and cell by cell, by nothing of ours."""

from __future__ import annotations

import csv
import gzip
import io
import re
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from openpyxl import load_workbook

TEXTS = (".csv", ".txt", ".tsv", ".tab", ".dat", ".log", ".asc")


@dataclass(frozen=True)
class PlainFile:
    """The lines of a file; `header` is the place of the line that names all that is declared."""

    lines: list[str]
    header: int
    delimiter: str

    def cells(self, line: int) -> list[str]:
        """Return the cells of a line, the first being 1."""
        return _cells(self.lines[line - 1], self.delimiter)

    def cell(self, line: int, name: str) -> str:
        """Return the cell of a line below a name of the header."""
        return self.cells(line)[self.cells(self.header + 1).index(name)]

    def filled_lines(self) -> int:
        """Return how many lines below the header hold something else than the header again."""
        header = self.lines[self.header]
        return sum(1 for line in self.lines[self.header + 1 :] if line.strip() and line != header)


def read_plainly(path: Path, declared: Sequence[str], delimiter: str, encoding: str) -> PlainFile:
    """Read a file of which the names of some columns are known."""
    content = path.read_bytes()
    if "xl/workbook.xml" in _members(content):
        lines, delimiter = _sheet_lines(path), "\t"
    else:
        text = _unpacked(content).decode(encoding, "replace").lstrip("\ufeff")
        lines = [line.lstrip("\0") or line for line in re.split("\r\n|\r|\n", text)]
    header = next(
        place for place, line in enumerate(lines) if set(declared) <= set(_cells(line, delimiter))
    )
    return PlainFile(lines, header, delimiter)


def to_celsius(text: str, decimal: str, unit: str) -> float:
    """Return the temperature [degC] that a cell writes; ValueError where it is no number."""
    if not re.fullmatch(
        rf"[+-]?(\d+[{decimal}]?\d*|[{decimal}]\d+)([eE][+-]?\d+)?", text, re.ASCII
    ):
        raise ValueError(text)
    number = Fraction(text.replace(decimal, ".").removesuffix("."))
    return float((number - 32) * Fraction(5, 9) if unit == "F" else number)


def _cells(line: str, delimiter: str) -> list[str]:
    if delimiter == "spaces":
        return line.split()
    return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter), [])]


def _members(content: bytes) -> list[str]:
    if not content.startswith(b"PK\3\4"):
        return []
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return archive.namelist()


def _unpacked(content: bytes) -> bytes:
    if content.startswith(b"\x1f\x8b"):
        return gzip.decompress(content)
    if content.startswith(b"PK\3\4"):
        names = _members(content)
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return archive.read(next((n for n in names if n.endswith(TEXTS)), names[0]))
    return content


def _sheet_lines(path: Path) -> list[str]:
    with path.open("rb") as stream:
        try:
            book = load_workbook(stream, data_only=True)
        except IndexError:  # its styles are lost, which only a reader of rows can do without
            book = load_workbook(stream, data_only=True, read_only=True)
        return [
            "\t".join("" if cell is None else str(cell) for cell in row)
            for row in book["Data"].iter_rows(values_only=True)
        ]
