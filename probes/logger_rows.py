"""Logger files, second stage: lines -> header -> rows of cells, none of them interpreted."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain, compress, repeat

import numpy as np
from numpy.typing import NDArray

from probes.frames import Reject
from probes.layouts import BLANKS, Layout
from probes.logger_lines import Block, FileRefused, shown

HEADER_LINES = 200


@dataclass(frozen=True)
class Header:
    """The line that names the columns; where none does, its text is empty and its names numbers."""

    line: int
    text: str
    names: list[str]


@dataclass(frozen=True)
class Rows:
    """Lines that hold as many cells as a row has, and the cells of each column."""

    line: NDArray[np.int64]
    text: list[str]
    columns: list[list[str]]

    def where(self, keep: NDArray[np.bool_]) -> Rows:
        """Return some of the rows."""
        if keep.all():
            return self
        return Rows(
            self.line[keep],
            list(compress(self.text, keep)),
            [list(compress(cells, keep)) for cells in self.columns],
        )


def find_header(lines: list[str], layout: Layout, file_name: str) -> Header:
    """Return the header among a file's first lines.

    Parameters
    ----------
    lines : list of str
    layout : Layout
        With `skip`, the header stands behind so many lines; without, it is the first of the first
        200 lines that holds every declared column.
    file_name : str
        For the messages.

    Raises
    ------
    FileRefused
        When the header lacks a declared column or holds it twice, or a row lacks a numbered one.
    """
    declared = list(layout.headers)
    if not layout.header:
        return _count_columns(lines[layout.skip or 0 :], declared, layout, file_name)
    first, last = (0, HEADER_LINES) if layout.skip is None else (layout.skip, layout.skip + 1)
    headers = [
        Header(number, line, [name.strip() for name in split_line(line, layout.delimiter)])
        for number, line in enumerate(lines[first:last], first + 1)
    ]
    if not headers:
        raise FileRefused(
            f"{file_name}: the file ends before its header; correct skip in layout.{layout.name}"
        )
    # max keeps the first of equals: the first line that holds them all, else the nearest to it.
    header = max(headers, key=lambda each: len(set(declared).intersection(each.names)))
    lacking = [name for name in declared if name not in header.names]
    if lacking:
        raise FileRefused(
            f"{file_name}: no column {_listed(lacking)} in line {header.line}, which comes nearest "
            f"to a header and names {shown(_listed(header.names))}; correct time, columns, skip, "
            f"delimiter or encoding in layout.{layout.name}"
        )
    twice = [name for name in declared if header.names.count(name) > 1]
    if twice:
        raise FileRefused(
            f"{file_name}: column {_listed(twice)} stands more than once in the header, line "
            f"{header.line}; give each its own name, in the file and in layout.{layout.name}"
        )
    return header


def _count_columns(lines: list[str], declared: list[str], layout: Layout, file_name: str) -> Header:
    """Return the header that a file has not: the numbers of the columns that most rows have."""
    counts = Counter(len(split_line(line, layout.delimiter)) for line in lines if line.strip())
    width = max(counts, key=lambda count: counts[count], default=0)
    if max(map(int, declared)) > width:
        raise FileRefused(
            f"{file_name}: no column {max(map(int, declared))}, its rows have {width}; correct "
            f"time, columns, skip or delimiter in layout.{layout.name}"
        )
    return Header(layout.skip or 0, "", [str(number) for number in range(1, width + 1)])


def find_width(lines: list[str], header: Header, delimiter: str) -> int:
    """Return how many cells a row has: as many as the header, and one more where most of the
    lines end in a delimiter that the header lacks.
    """
    width = len(header.names)
    if delimiter == BLANKS:
        return width
    longer = sum(
        line.endswith(delimiter) and len(split_line(line, delimiter)) == width + 1 for line in lines
    )
    return width + 1 if longer * 2 > len(lines) else width


def split_rows(
    block: Block, header: Header, width: int, layout: Layout
) -> tuple[Rows, list[Reject]]:
    """Return the rows of a block, and a reject for each line that is none.

    Parameters
    ----------
    block : Block
        Lines behind the header. Where the file ends within the last of them, that one is
        rejected: its last number may have lost digits.
    header : Header
        Where it stands again it is passed over, as blank lines are.
    width : int
        Cells in a row, by `find_width`.
    layout : Layout

    A quote that is never closed costs its own line only.
    """
    lines, delimiter = block.lines, layout.delimiter
    one_by_one = delimiter == BLANKS or '"' in "\n".join(lines)
    cells = [split_line(line, delimiter) for line in lines] if one_by_one else []
    found = map(len, cells) if one_by_one else map(str.count, lines, repeat(delimiter))
    counts = np.fromiter(found, np.int64, len(lines)) + (0 if one_by_one else 1)
    is_row = counts == width
    if header.text in lines:
        is_row &= _mask(line != header.text for line in lines)
    if width > len(header.names):
        is_row &= _mask(line.endswith(delimiter) for line in lines)
    if delimiter == layout.decimal:  # "7,9" may be one number or two: only quotes tell
        is_row &= _mask('"' in line for line in lines)
    if block.cut:
        is_row[-1] = False
    places = np.flatnonzero(is_row)
    text = [lines[place] for place in places] if places.size < len(lines) else lines
    if one_by_one:
        flat = list(chain.from_iterable(cells[place] for place in places))
    else:
        flat = "\n".join(text).replace("\n", delimiter).split(delimiter) if text else []
    rows = Rows(block.first_line + places, text, [flat[column::width] for column in range(width)])
    rejects = [
        Reject(
            block.first_line + place,
            _why_no_row(line, int(counts[place]), width, block.cut and place == len(lines) - 1),
            shown(line),
            layout.readings_in_row,
        )
        for place in np.flatnonzero(~is_row).tolist()
        if (line := lines[place]).strip() and line != header.text
    ]
    return rows, rejects


def _mask(each: Iterator[bool]) -> NDArray[np.bool_]:
    return np.fromiter(each, np.bool_)


def split_line(line: str, delimiter: str) -> list[str]:
    """Return the cells of one line; none where its quotes are broken."""
    if '"' not in line:
        return line.split(None if delimiter == BLANKS else delimiter)
    try:
        if delimiter == BLANKS:
            line = " ".join(line.split())
            return next(csv.reader([line], delimiter=" ", strict=True))
        return next(csv.reader([line], delimiter=delimiter, strict=True))
    except csv.Error:
        return []


def _why_no_row(line: str, count: int, width: int, cut: bool) -> str:
    if not line.strip("\0"):
        return "holds only NULs, as after a loss of power; check the logger's battery"
    if cut:
        return (
            "the file ends within this line, so its last number may have lost digits; "
            "export again, or end the line if it is whole"
        )
    if count == 0:
        return "has a quote that is never closed; close it or export again"
    if count == width:
        return "has no quotes to tell a decimal mark from the delimiter; quote its numbers"
    return (
        f"has {count} cells where a row has {width}: one is lost or holds the delimiter; "
        "correct the line or export again"
    )


def _listed(names: list[str]) -> str:
    return ", ".join(f"'{name}'" for name in names if name) or "nothing"
