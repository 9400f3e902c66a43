"""Cells: numbers, missing codes and what is neither."""

from __future__ import annotations

from math import inf, nan

import numpy as np
import pytest

from probes.cells import explain_cell, find_cell_rules, read_column
from tests.logger_texts import layout

MISSING, UNREADABLE = nan, inf


def number_in(cell: str, others: tuple[str, ...] = (), **fields: object) -> float:
    """Return what is read from a cell of a column that holds others too."""
    return read_column([cell, *others], find_cell_rules(layout(**fields), "10 cm"))[0]


# The plain way reads a column at once, the careful one cell by cell, which a word brings about.
WAYS = pytest.mark.parametrize(
    "others", [pytest.param((), id="plain"), pytest.param(("cut",), id="careful")]
)


@WAYS
@pytest.mark.parametrize(
    ("cell", "number"),
    [
        ("7", 7.0),
        ("-0.5", -0.5),
        ("+12.25", 12.25),
        (".5", 0.5),
        ("5.", 5.0),
        ("1.5e1", 15.0),
        (" 7.5 ", 7.5),
        ("-9999", MISSING),
        ("-9999.0", MISSING),
        ("", MISSING),
        ("  ", MISSING),
        ("OL", MISSING),
        ("ol", UNREADABLE),
        ("-", UNREADABLE),
        ("7,5", UNREADABLE),
        ("1,234.5", UNREADABLE),
        ("1_000", UNREADABLE),
        ("1 000", UNREADABLE),
        ("inf", UNREADABLE),
        ("-Infinity", UNREADABLE),
        ("nan", UNREADABLE),
        ("NaN", UNREADABLE),
        ("1e400", UNREADABLE),
        ("2e6", UNREADABLE),
        ("7.5 C", UNREADABLE),
        ("7.\x008", UNREADABLE),
        ("0x1A", UNREADABLE),
        ("--5", UNREADABLE),
        ("7.5.1", UNREADABLE),
        ("\N{ARABIC-INDIC DIGIT SEVEN}", UNREADABLE),
        ("\N{MINUS SIGN}7", UNREADABLE),
    ],
)
def test_a_cell_is_a_number_a_missing_code_or_unreadable(cell, number, others) -> None:
    read = number_in(cell, others, missing=("", "-9999", "OL"))
    np.testing.assert_equal(read, number)


@WAYS
@pytest.mark.parametrize(
    ("cell", "number"),
    [
        ("7,5", 7.5),
        ("7", 7.0),
        (",5", 0.5),
        ("7.5", UNREADABLE),
        ("1.234,5", UNREADABLE),
        ("7,5,1", UNREADABLE),
        ("-99,90", MISSING),
    ],
)
def test_a_decimal_comma_is_read_where_it_is_declared(cell, number, others) -> None:
    read = number_in(cell, others, decimal=",", delimiter=";", missing=("-99.9",))
    np.testing.assert_equal(read, number)


@WAYS
@pytest.mark.parametrize(
    ("missing", "cell"),
    [("NaN", "NaN"), ("inf", "inf"), ("1e30", "1.0E+30"), ("---", "---"), (" -127 ", "-127.00")],
)
def test_any_code_can_be_declared(missing: str, cell: str, others) -> None:
    np.testing.assert_equal(number_in(cell, others, missing=(missing,)), MISSING)


@pytest.mark.parametrize(
    ("cell", "what", "remedy"),
    [
        ("7,5", "'7,5' in column '10 cm' is no number with decimal mark \".\"", 'decimal = ","'),
        ("Error", "'Error' in column '10 cm' is no number", "missing in layout.upper"),
        ("", "column '10 cm' is blank", "missing in layout.upper"),
        ("7.\x008", "'7.\N{SYMBOL FOR NULL}8' in column", "missing in layout.upper"),
    ],
)
def test_an_unreadable_cell_is_explained_with_a_remedy(cell: str, what: str, remedy: str) -> None:
    reason = explain_cell(cell, "10 cm", layout())
    assert reason.startswith(what)
    assert remedy in reason
