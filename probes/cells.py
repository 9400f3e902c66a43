"""Cells of a logger file: text -> numbers, missing codes and cells that cannot be read."""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import inf, nan

import numpy as np
from numpy.typing import NDArray

from probes.layouts import Layout
from probes.logger_lines import shown

LARGEST_NUMBER = 1e6
"""Beyond any thermometer in any unit; keeps sums and unit conversion finite."""

MISSING, UNREADABLE = nan, inf

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)


@dataclass(frozen=True)
class CellRules:
    """What a layout says of its temperature cells."""

    decimal: str
    missing_texts: frozenset[str]
    missing_numbers: tuple[float, ...]


def find_cell_rules(layout: Layout, channel: str) -> CellRules:
    """Return the rules of a column; a missing code that is a number meets other spellings of it."""
    codes = [code.strip() for code in layout.missing_in(channel)]
    numbers = [to_number(code, mark) for code in codes for mark in {layout.decimal, "."}]
    known = tuple({number for number in numbers if number is not None})
    return CellRules(layout.decimal, frozenset(codes), known)


def read_column(cells: list[str], rules: CellRules) -> NDArray[np.float64]:
    """Return the numbers in the cells of one column.

    Parameters
    ----------
    cells : list of str, length n
    rules : CellRules

    Returns
    -------
    numbers : array of float64, shape (n,)
        In the file's unit; NaN for a missing code, infinite where the cell cannot be read.

    A number is digits with at most one decimal mark, a sign and an exponent. Thousands marks,
    "1_000", "inf" and "nan" are none.
    """
    try:
        numbers = _read_plain(cells, rules)
    except ValueError:
        # Temperatures repeat: reading each distinct text once makes up for the careful look.
        known = {cell: _read_cell(cell.strip(), rules) for cell in set(cells)}
        numbers = np.array([known[cell] for cell in cells], np.float64)
    for code in rules.missing_numbers:
        numbers[numbers == code] = MISSING
    return numbers


def explain_cell(cell: str, channel: str, layout: Layout) -> str:
    """Return why a cell cannot be read, and what to do."""
    where = f"layout.{layout.name}"
    cell = shown(cell.strip())
    if not cell:
        return f"column '{channel}' is blank; add \"\" to missing in {where} if that is meant"
    other = "," if layout.decimal == "." else "."
    if to_number(cell, layout.decimal) is not None:
        return f"'{cell}' in column '{channel}' is no temperature; correct it or export again"
    what = f"'{cell}' in column '{channel}' is no number"
    if to_number(cell, other) is not None:
        return f'{what} with decimal mark "{layout.decimal}"; set decimal = "{other}" in {where}'
    return f'{what}; add it to missing in {where} if it stands for "no reading"'


def _read_plain(cells: list[str], rules: CellRules) -> NDArray[np.float64]:
    """Read cells that are all plain numbers; ValueError where a careful look is needed."""
    text = "\n".join(cells)
    if not text.isascii() or "_" in text:  # float takes "1_000" and digits of any script
        raise ValueError
    if rules.decimal == ",":
        if "." in text:
            raise ValueError
        cells = text.replace(",", ".").split("\n")
    numbers = np.fromiter(map(float, cells), np.float64, len(cells))
    if not (np.abs(numbers) <= LARGEST_NUMBER).all():
        raise ValueError
    return numbers


def _read_cell(cell: str, rules: CellRules) -> float:
    number = to_number(cell, rules.decimal)
    if cell in rules.missing_texts or number in rules.missing_numbers:
        return MISSING
    return number if number is not None and abs(number) <= LARGEST_NUMBER else UNREADABLE


def to_number(text: str, decimal: str) -> float | None:
    """Return the number a text writes with a decimal mark; None where it is none."""
    if decimal == ",":
        text = text.replace(".", " ").replace(",", ".")
    return float(text) if _NUMBER.fullmatch(text) else None
