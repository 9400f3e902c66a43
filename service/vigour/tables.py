"""A table of vigour as CSV: a value for each vine or point of a block."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite

import numpy as np

from alerts.dig.vigour import Planting, VigourError, grid_metres, grid_vines
from probes.frames import Reject
from probes.logger_lines import shown
from service.csv_tables import CsvTable, TableError, open_table
from service.vigour.contract import VigourFile

BY_VINE = ("row", "vine")
BY_METRES = ("x_m", "y_m")  # along the rows and across them, from the first vine of row 1
_MOST = {**dict.fromkeys(BY_VINE, 20_000), **dict.fromkeys(BY_METRES, 20_000.0)}


def read_table(content: bytes, planting: Planting, measure: str | None) -> VigourFile:
    """Read a table with the columns row and vine, or x_m and y_m, and one of vigour.

    Comma, semicolon or tab between cells; a decimal comma where cells are not parted by commas. An
    empty cell of vigour is a vine without a value.

    Raises
    ------
    VigourError
        Where the table as a whole cannot be read.
    """
    try:
        return _read_table(open_table(content), planting, measure)
    except TableError as error:
        raise VigourError(str(error)) from None


def _read_table(table: CsvTable, planting: Planting, measure: str | None) -> VigourFile:
    names = table.names
    place = next((both for both in (BY_VINE, BY_METRES) if set(both) <= set(names)), None)
    if place is None:
        raise VigourError(
            f"the header is '{table.header[:60]}'; it needs the columns row and vine, or x_m and "
            "y_m, in metres along the rows and across them from the first vine of row 1"
        )
    columns = [*(names.index(one) for one in place), _find_measure(names, place, measure)]
    measure = names[columns[2]]
    found, missing, rejects = _read_rows(table, columns, place, measure)
    if not found:
        first = f"; the first: line {rejects[0].line}: {rejects[0].reason}" if rejects else ""
        raise VigourError(f"no line has a place and a value{first}")
    along, across, values = np.array(list(found.values()), dtype=float).T
    if place == BY_VINE:
        vigour = grid_vines(along.astype(int), across.astype(int), values, planting)
    else:
        vigour = grid_metres(along, across, values, planting)
    return VigourFile(vigour, measure, len(found), missing, rejects)


def _find_measure(names: Sequence[str], place: Sequence[str], measure: str | None) -> int:
    """Return the column of vigour: the one that is named, or the only one besides the place."""
    others = [name for name in names if name and name not in place]
    if measure is not None and measure.lower() in others:
        return names.index(measure.lower())
    if measure is not None or len(others) != 1:
        listed = shown(", ".join(others)) or "none"
        raise VigourError(f"which column is vigour? --measure NAME names it; there are: {listed}")
    return names.index(others[0])


def _read_rows(
    table: CsvTable, columns: Sequence[int], place: Sequence[str], measure: str
) -> tuple[dict[tuple[float, ...], tuple[float, ...]], int, list[Reject]]:
    """Return place and value by place, how many have no value, and the lines that do not count."""
    found: dict[tuple[float, ...], tuple[float, ...]] = {}
    stands: dict[tuple[float, ...], int] = {}
    missing, rejects = 0, []
    delimiter = table.delimiter
    for number, cells in table.lines:
        text = delimiter.join(cells)
        try:
            texts = [cells[column].strip() for column in columns]
        except IndexError:
            rejects.append(Reject(number, "fewer cells than the header has names", text, 1))
            continue
        try:
            at = tuple(
                _read_place(one, name, delimiter)
                for one, name in zip(texts[:2], place, strict=True)
            )
            if not texts[2]:
                missing += 1
                continue
            value = _read_number(texts[2], measure, delimiter)
            if at in stands:
                raise ValueError(
                    f"'{texts[0]}', '{texts[1]}' stands in line {stands[at]} already; which counts?"
                )
        except ValueError as error:
            rejects.append(Reject(number, str(error), text, 1))
            continue
        stands[at] = number
        found[at] = (*at, value)
    return found, missing, rejects


def _read_place(text: str, name: str, delimiter: str) -> float:
    number = _read_number(text, name, delimiter)
    least = 1 if name in BY_VINE else 0
    if name in BY_VINE and number != int(number):
        raise ValueError(f"'{text}' is no number of a {name}; write a whole one")
    if not least <= number <= _MOST[name]:
        raise ValueError(f"'{text}' as {name} is not within {least} to {_MOST[name]:g}")
    return number


def _read_number(text: str, name: str, delimiter: str) -> float:
    try:
        number = float(text if delimiter == "," else text.replace(",", "."))
    except ValueError:
        number = np.nan
    if not isfinite(number):
        raise ValueError(f"'{text}' is no number for {name}")
    return number
