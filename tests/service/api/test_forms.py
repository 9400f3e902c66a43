"""The form of an answer: by Accept, as CSV that spreadsheets take for what it is."""

from __future__ import annotations

import csv
from io import StringIO

import pytest
from openpyxl import Workbook

from service.csv_cells import FORMULA
from service.web.api.forms import Record, choose_form, write


@pytest.mark.parametrize(
    ("accept", "form"),
    [
        # by hand, by the rules of [RFC-9110] 12.5.1
        ("", "json"),
        ("*/*", "json"),
        ("text/csv", "csv"),
        ("text/html, text/*;q=0.5, */*;q=0.1", "csv"),
        ("text/csv;q=0.4, application/json", "json"),
        ("application/json;q=0, */*", "csv"),
        ("Text/CSV ; q=1.0", "csv"),
        ("text/html", None),
        ("*/*;q=0", None),
        ("text/csv;q=much", None),
    ],
)
def test_a_form_is_chosen_by_what_is_accepted(accept: str, form: str | None) -> None:
    assert choose_form(accept) == form


class Row(Record):
    name: str
    temp_c: float | None
    depths_cm: list[float]
    is_open: bool


def read_csv(row: Row) -> list[str]:
    return list(csv.reader(StringIO(write([row], Row, "csv").decode(), newline="")))[1]


@pytest.mark.parametrize("sign", FORMULA)
def test_a_text_that_would_be_a_formula_is_none_and_a_number_stays_one(sign: str) -> None:
    row = Row(name=f"{sign}1+1", temp_c=-4.25, depths_cm=[15, 30], is_open=True)
    assert read_csv(row) == [f"'{sign}1+1", "-4.25", "15.0; 30.0", "true"]  # source: [OWASP-CSV]


def test_the_one_sign_that_a_spreadsheet_library_takes_for_a_formula_is_among_them() -> None:
    sheet = Workbook().create_sheet()
    sheet.append(["=1+1", read_csv(Row(name="=1+1", temp_c=1, depths_cm=[], is_open=False))[0]])
    # source: openpyxl marks as "f" what a spreadsheet would compute
    assert [cell.data_type for cell in sheet[1]] == ["f", "s"]


def test_what_is_not_known_is_empty_and_a_text_of_two_lines_stays_one() -> None:
    row = Row(name='two\nlines, "quoted"', temp_c=None, depths_cm=[], is_open=False)
    # source: [RFC-4180] 2, read by the csv module of Python
    assert read_csv(row) == ['two\nlines, "quoted"', "", "", "false"]
