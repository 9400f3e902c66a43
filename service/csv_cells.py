"""Text in cells of CSV that no spreadsheet takes for a formula; numbers stay what they are."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
"""With these a spreadsheet takes a text for a formula: [OWASP-CSV]."""

_ROWS_AT_ONCE = 5_000


def guard_cell(value: Any) -> Any:
    """Return a value as a cell may hold it: what could be a formula begins with an apostrophe."""
    is_formula = isinstance(value, str) and _is_formula(value.lstrip("'"))
    return f"'{value}" if is_formula else value


def read_guarded(text: str) -> str:
    """Return the text that a cell was made of."""
    is_guarded = text.startswith("'") and _is_formula(text.lstrip("'"))
    return text[1:] if is_guarded else text


def guard_cells(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return a row, each cell guarded."""
    return {name: guard_cell(value) for name, value in row.items()}


def iterate_csv(table: Any, header: bool = True) -> Iterator[str]:
    """Yield a pandas table as CSV, its texts guarded, some of its rows at a time."""
    for first in range(0, max(1, len(table)), _ROWS_AT_ONCE):
        rows = table.iloc[first : first + _ROWS_AT_ONCE]
        texts = {
            name: rows[name].map({text: guard_cell(text) for text in rows[name].unique()})
            for name in rows.select_dtypes("str").columns
        }
        yield rows.assign(**texts).to_csv(
            index=False, header=header and not first, date_format="%Y-%m-%d", lineterminator="\n"
        )


def _is_formula(text: str) -> bool:
    if not text.startswith(FORMULA):
        return False
    try:
        float(text)
    except ValueError:
        return True
    return not text.isprintable()
