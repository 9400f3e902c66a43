"""Text in cells of CSV that no spreadsheet takes for a formula; numbers stay what they are."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
"""With these a spreadsheet takes a text for a formula: [OWASP-CSV]."""


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


def _is_formula(text: str) -> bool:
    if not text.startswith(FORMULA):
        return False
    try:
        float(text)
    except ValueError:
        return True
    return not text.isprintable()
