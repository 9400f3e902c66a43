"""Delimiter, header and body of an unknown file, by what its lines have in common."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass

from probes.cells import to_number
from probes.layouts import BLANKS
from probes.logger_rows import split_line
from probes.proposing.headers import is_unit
from probes.proposing.samples import Samples
from probes.spreadsheets import TAB

DELIMITERS = ("\t", ";", "|", ",", BLANKS)
"""Of equals the first is taken: blanks also stand within stamps and beside tabs."""

NO_READING = frozenset(
    {
        *(
            "nan",
            "na",
            "n/a",
            "n.a.",
            "#n/a",
            "null",
            "none",
            "nil",
            "missing",
            "nodata",
            "no_data",
        ),
        *("-", "--", "---", "s/d", "sd"),
    }
)
"""Words that stand for "no reading", in small letters."""

HEADER_WITHIN = 6
"""Lines above the first row among which its header is looked for."""

_DATE = (
    r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}|\d{1,2}[-/ ](?:de )?[A-Za-z]{3,10}\.?(?: de|[-/,])? ?\d{2,4}"
    r"|[A-Za-z]{3,9} \d{1,2},? \d{4}|\d{8}"
)
_TIME = r"\d{1,2}[:.h]\d\d(?:[:.]\d\d(?:[.,]\d+)?)?(?:\s?[AaPp]\.?\s?[Mm]\.?)?"
_OFFSET = r"(?:\s?Z|\s?[+-]\d\d:?\d\d)?"
_NUMBER = r"[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?"
_STAMP = re.compile(rf"(?:{_DATE})(?:[T_ ]|, ?|\s)+{_TIME}{_OFFSET}|\d+([-/.])\d+\1\d+")
_PLAIN = re.compile(
    rf"{_NUMBER}|{_TIME}|(?:{_DATE})(?:(?:[T_ ]|, ?|\s)+{_TIME}{_OFFSET})?|{_TIME} (?:{_DATE})"
)


@dataclass(frozen=True)
class Dialect:
    """How an unknown file is split.

    header_line : 0 where no line names the columns, whose names then are their numbers
    pieces : the rows of each piece of the samples, as cells
    above : the lines above the rows, but for the header
    """

    delimiter: str
    evidence: str
    header_line: int
    names: list[str]
    pieces: tuple[list[list[str]], ...]
    above: list[str]

    def column(self, place: int) -> list[str]:
        """Return the cells of a column."""
        return [row[place].strip() for piece in self.pieces for row in piece]


def is_plain(cell: str) -> bool:
    """Return whether a cell is a number, a time, blank or a word for "no reading"."""
    cell = cell.strip()
    return not cell or cell.lower() in NO_READING or _PLAIN.fullmatch(cell) is not None


def is_number(cell: str) -> bool:
    """Return whether a cell is a number with either decimal mark."""
    return to_number(cell, ".") is not None or to_number(cell, ",") is not None


def find_dialect(samples: Samples) -> Dialect | None:
    """Return how a file is split; None where no delimiter gives rows of two cells or more.

    Parameters
    ----------
    samples : Samples
    """
    tried = (TAB,) if samples.packing == "spreadsheet" else DELIMITERS
    found = [(_score(samples, delimiter), delimiter) for delimiter in tried]
    score, delimiter = max(found, key=lambda each: each[0])  # of equals the first
    if not score:
        return None
    split = [[split_line(line, delimiter) for line in piece] for piece in samples.pieces]
    width = _width(split)
    pieces = _rows(split, width)
    if not any(pieces):
        return None
    rows = sum(map(len, pieces))
    evidence = f"{rows:,} sampled rows of {width} cells"
    first = next(
        number for number, cells in enumerate(split[0]) if pieces[0] and cells is pieces[0][0]
    )
    header = _find_header(split[0], first, width)
    numbers = [str(number) for number in range(1, width + 1)]
    names = numbers if header is None else [name.strip() for name in split[0][header]]
    above = samples.pieces[0][: first if header is None else header]
    if header is not None:
        above = [*above, *samples.pieces[0][header + 1 : first]]
    return Dialect(delimiter, evidence, 0 if header is None else header + 1, names, pieces, above)


def _score(samples: Samples, delimiter: str) -> float:
    """Return how much of a file a delimiter turns into rows of plain cells."""
    split = [[split_line(line, delimiter) for line in piece] for piece in samples.pieces]
    width = _width(split)
    if width < 2:
        return 0.0
    lines = sum(bool(line.strip()) for piece in samples.pieces for line in piece)
    plain = sum(
        sum(map(is_plain, cells)) / width
        for piece in split
        for cells in piece
        if len(cells) == width
    )
    return round(plain / lines, 3)


def _width(split: list[list[list[str]]]) -> int:
    counts = Counter(
        len(cells)
        for piece in split
        for cells in piece
        if len(cells) > 1
        and sum(map(is_plain, cells)) * 2 >= len(cells)
        and any(map(str.strip, cells))
    )
    return max(counts, key=lambda width: (counts[width], width), default=0)


def _rows(split: list[list[list[str]]], width: int) -> tuple[list[list[str]], ...]:
    """Return what stands as rows do: plain in each column in which nearly all are."""
    wide = [[cells for cells in piece if len(cells) == width] for piece in split]
    every = [
        cells for piece in wide for cells in piece if sum(map(is_plain, cells)) * 2 >= len(cells)
    ]
    plain = [
        place
        for place in range(width)
        if sum(is_plain(cells[place]) for cells in every) >= 0.6 * len(every)
    ]
    return tuple(
        [
            cells
            for cells in piece
            if all(is_plain(cells[place]) for place in plain)
            and any(cells[place].strip() for place in plain)
        ]
        for piece in wide
    )


def _find_header(lines: list[list[str]], first: int, width: int) -> int | None:
    """Return the place of the line that names the columns: the nearest above the rows that holds
    as many names as they have cells, no stamp and no units.
    """
    for place in range(first - 1, max(-1, first - 1 - HEADER_WITHIN), -1):
        filled = [name.strip() for name in lines[place] if name.strip()]
        fits = len(lines[place]) in (width, width - 1) and len(filled) * 2 > width
        if any(map(_STAMP.fullmatch, filled)):
            continue  # a row, one of whose cells cannot be read
        if fits and any(not is_plain(name) and not is_unit(name) for name in filled):
            return place
    return None


def why_no_header(dialect: Dialect) -> str:
    """Return why the columns can have no names, or "" where they have: their numbers at least."""
    twice = [name for name, times in Counter(dialect.names).items() if name and times > 1]
    if twice:
        return f"the header names '{twice[0]}' twice; give each column a name of its own"
    if dialect.header_line:
        return ""
    width = len(next(row for piece in dialect.pieces for row in piece))
    count = max((len(split_line(line, dialect.delimiter)) for line in dialect.above), default=0)
    if count > 1:
        is_comma = dialect.delimiter == ","
        return f"rows have {width} cells where no line above names more than {count}: " + (
            "does a decimal comma stand between commas, unquoted?"
            if is_comma
            else "give the header a name for each column, or take it out"
        )
    return ""
