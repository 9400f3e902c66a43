"""Spreadsheets: the cells of one sheet as lines of text, a line a row."""

from __future__ import annotations

import csv
import io
import re
import warnings
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import IO, Any

from probes.layouts import Layout
from probes.logger_lines import FileRefused

TAB = "\t"

MAX_ROWS = 2**20
"""The format's own limit."""

MAX_CELLS = 50_000_000
"""A full sheet with 47 columns; a cell far out in each row would ask for 17,000 million."""


def read_sheet(path: Path, layout: Layout, max_bytes: int) -> bytes:
    """Return a sheet as UTF-8 text, its cells by their value and separated by tabs.

    Parameters
    ----------
    path : Path
    layout : Layout
        Names the sheet; numbers are written with its decimal mark.
    max_bytes : int
        How long the text may be.

    Dates are written as 2025-04-01 and 2025-04-01 13:30:00, as their cell shows a time or none,
    rounded to the second; numbers with all their digits; a formula as it stands where no result of
    it was stored: blank it would be a reading that was never missed.

    Raises
    ------
    FileRefused
        When it cannot be read, has no such sheet, or is larger than the bounds.
    """
    with _opened(path) as book:
        names = [sheet.title for sheet in book.worksheets]
        name = layout.sheet if layout.sheet is not None else next(iter(names), "")
        if name not in names:
            raise FileRefused(
                f"{path.name}: no sheet '{name}'; it has {', '.join(names) or 'none'}; "
                f"correct sheet in layout.{layout.name}"
            )
        with _formulas(path, name) as formulas:
            rows = _rows(book[name])
            if formulas is not None:
                rows = map(_fill, rows, formulas)
            return _write(rows, path, layout.decimal, max_bytes)


def sheet_names(path: Path) -> list[str]:
    """Return the names of the sheets of a spreadsheet."""
    with _opened(path) as book:
        return [sheet.title for sheet in book.worksheets]


def _rows(sheet: Any) -> Iterator[tuple[Any, ...]]:
    sheet.reset_dimensions()  # what a file says of its size may be wrong, or a trap
    return sheet.iter_rows()


@contextmanager
def _formulas(path: Path, sheet: str) -> Iterator[Iterator[tuple[Any, ...]] | None]:
    """Give the rows of a sheet with its formulas in place of their results, None without any."""
    with zipfile.ZipFile(path) as archive:
        sheets = [name for name in archive.namelist() if name.startswith("xl/worksheets/")]
        has_any = any(_holds_formula(archive.open(name)) for name in sheets)
    if not has_any:
        yield None
        return
    with _opened(path, results=False) as book:
        yield _rows(book[sheet])


def _holds_formula(stream: IO[bytes]) -> bool:
    with stream:
        end = b""
        while chunk := stream.read(1 << 20):
            if re.search(rb"<f[ >/]", end + chunk):
                return True
            end = chunk[-2:]
    return False


def _fill(row: tuple[Any, ...], formulas: tuple[Any, ...]) -> tuple[Any, ...]:
    return tuple(
        formula if cell.value is None and formula.value is not None else cell
        for cell, formula in zip(row, formulas, strict=True)
    )


@contextmanager
def _opened(path: Path, *, results: bool = True) -> Iterator[Any]:
    from openpyxl import load_workbook  # a third of a second that plain files need not wait for

    try:
        with path.open("rb") as stream, warnings.catch_warnings():
            warnings.simplefilter(
                "ignore"
            )  # of styles and rules that a reader of values leaves out
            book = load_workbook(stream, read_only=True, data_only=results)
            yield book
            book.close()
    except FileRefused:
        raise
    except Exception as error:  # the reader meets damage with whatever its parts raise
        raise FileRefused(
            f"{path.name}: cannot be read as a spreadsheet ({type(error).__name__}: {error}); "
            "save it again, or as .csv"
        ) from None


def _write(rows: Iterable[tuple[Any, ...]], path: Path, decimal: str, max_bytes: int) -> bytes:
    refused = FileRefused(
        f"{path.name}: more than {MAX_ROWS:,} rows, {MAX_CELLS:,} cells or "
        f"{max_bytes:,} bytes; save as .csv what belongs to the logger"
    )
    line = io.StringIO()
    writer = csv.writer(line, delimiter=TAB, lineterminator="")
    lines: list[tuple[bytes, int]] = []
    cells = length = 0
    for number, row in enumerate(rows, start=1):
        cells += len(row)
        if number > MAX_ROWS or cells > MAX_CELLS:
            raise refused
        texts: list[str] = []
        for cell in row:  # many cells may share one long text: each is counted as it is written
            texts.append(_cell_text(cell, decimal))
            length += len(cell.value) if isinstance(cell.value, str) else len(texts[-1])
            if length > max_bytes:
                raise refused
        writer.writerow(texts)
        holds_any = any(cell.value is not None for cell in row)
        lines.append((line.getvalue().encode() if holds_any else b"", len(row)))
        line.seek(0)
        line.truncate()
    # A row ends with its last cell that holds something: the blank ones behind it are added.
    width = max((count for _, count in lines), default=0)
    if sum(len(text) + width - count for text, count in lines if text) > max_bytes:
        raise refused
    blank = TAB.encode()
    return b"".join(
        text + blank * (width - count) + b"\n" if text else b"\n" for text, count in lines
    )


def _cell_text(cell: Any, decimal: str) -> str:
    value = cell.value
    match value:
        case None:
            return ""
        case bool():
            return str(value).upper()
        case int() | float():
            return repr(value).replace(".", decimal)
        case datetime() if value.time() == time() and "h" not in cell.number_format.lower():
            return value.date().isoformat()
        case datetime():
            return (value + timedelta(milliseconds=500)).strftime("%Y-%m-%d %H:%M:%S")
        case date():
            return value.isoformat()
        case time():
            return _clock_text(
                timedelta(
                    hours=value.hour,
                    minutes=value.minute,
                    seconds=value.second,
                    microseconds=value.microsecond,
                )
            )
        case timedelta():
            return _clock_text(value)
        case _:
            return " ".join(str(value).split())  # a line break in a cell is none in the sheet


def _clock_text(since_midnight: timedelta) -> str:
    minutes, seconds = divmod(round(since_midnight.total_seconds()), 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}:{seconds:02d}"
