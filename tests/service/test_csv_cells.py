"""No text of anyone becomes a formula in a spreadsheet, whichever way it leaves as CSV."""

from __future__ import annotations

import ast
import csv
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import service
from service.csv_cells import FORMULA, guard_cell, read_guarded
from tests.commands import digseason
from tests.laws import law

READ_BY_US_ALONE = {
    "intake/content.py",  # what a delivery held, in the store
    "intake/pushes.py",  # the text of a reading that is rejected, in the store
    "cli/readings.py",  # instants and numbers, no text of anyone's
}


@law(200)
@given(st.text(alphabet="'=+-@\t\n\r 1e.x"))
def test_a_guarded_text_is_no_formula_and_comes_back(text: str) -> None:
    guarded = guard_cell(text)
    assert read_guarded(guarded) == text
    assert not guarded.startswith(FORMULA) or abs(float(text)) >= 0


@pytest.mark.parametrize("value", [-4.25, "-4.25", "+14155550101", "-1e3", None, "a=b"], ids=repr)
def test_numbers_and_other_texts_stay_as_they_are(value: Any) -> None:
    assert guard_cell(value) == value  # source: [OWASP-CSV] of what begins a formula


@pytest.mark.parametrize("text", ["=1+1", "-1+1", "+1;2", "@sum(A1)", "\t=1", "-2\t", "'=1"])
def test_what_a_spreadsheet_would_compute_begins_with_an_apostrophe(text: str) -> None:
    assert guard_cell(text) == f"'{text}"  # source: [OWASP-CSV]


def test_a_name_that_someone_chose_leaves_a_command_guarded(tmp_path: Path) -> None:
    name = '=HYPERLINK("http://evil.example")'
    invited = ("invite", "eve@example.org", "--role", "researcher", "--name", name)
    digseason(tmp_path, "accounts", *invited)
    (row,) = csv.DictReader(StringIO(digseason(tmp_path, "accounts", "--csv")))
    assert row["name"] == f"'{name}"


def test_whatever_is_written_as_csv_is_guarded() -> None:
    root = Path(service.__file__).parent
    unguarded = set()
    for path in root.rglob("*.py"):
        tree = ast.parse(path.read_text("utf-8"))
        called = {one.attr for one in ast.walk(tree) if isinstance(one, ast.Attribute)}
        names = {one.id for one in ast.walk(tree) if isinstance(one, ast.Name)}
        writes = called & {"writer", "DictWriter", "to_csv", "write_csv"}
        if writes and not names & {"guard_cell", "guard_cells"}:
            unguarded.add(path.relative_to(root).as_posix())
    assert unguarded <= READ_BY_US_ALONE
