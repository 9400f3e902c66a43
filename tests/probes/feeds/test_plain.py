"""JSON at an address as the rows of a delimited file."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given

from probes.feeds.contract import FeedAnswerError
from probes.feeds.plain import to_delimited
from tests.logger_texts import layout
from tests.probes.feeds.json_answers import json_values


def rows(answer: Any, path: str = ".") -> list[str]:
    text, _ = to_delimited(answer, path, layout())
    return text.decode().splitlines()


def test_a_record_is_a_row_and_its_keys_are_columns() -> None:
    answer = [{"at": "2025-04-01", "t10": 7.5}, {"at": "2025-04-02", "t10": None, "t30": -0.1}]
    assert rows(answer) == ["at,t10,t30", "2025-04-01,7.5,", "2025-04-02,,-0.1"]


def test_a_path_leads_to_the_records() -> None:
    assert rows({"data": {"rows": [{"at": 1}]}}, "data.rows") == ["at", "1"]


def test_lists_of_one_length_are_columns() -> None:
    hourly = {"time": ["2025-04-01T00:00", "2025-04-01T01:00"], "t6": [14.1, None]}
    assert rows({"hourly": hourly}, "hourly") == [
        "time,t6",
        "2025-04-01T00:00,14.1",
        "2025-04-01T01:00,",
    ]


def test_a_record_within_a_record_has_its_keys_joined() -> None:
    assert rows([{"at": 1, "soil": {"t10": 2}}]) == ["at,soil.t10", "1,2"]


def test_no_records_are_a_file_without_rows() -> None:
    assert rows([]) == ["Time,10 cm,30 cm"]


def test_what_would_break_a_row_stays_within_its_cell() -> None:
    assert rows([{"at": 'a,"b"\nc', "ok": True}]) == ["at,ok", '"a,""b"" c",true']


def test_the_layout_is_that_of_what_was_written() -> None:
    declared = layout(delimiter=";", decimal=",", encoding="cp1252", skip=3, sheet="Data")
    _, written = to_delimited([], ".", declared)
    assert written == layout()


@pytest.mark.parametrize(
    ("answer", "path", "message"),
    [
        ({"rows": []}, "data.rows", "nothing at records = \"data.rows\": no 'data' in rows"),
        ([1], "data", "nothing at records = \"data\": no 'data' in [1]"),
        ({"error": "no such key"}, ".", 'no list of records at records = "." but {"error"'),
        ([1, 2], ".", 'no list of records at records = "." but [1, 2]'),
        ({"a": [1], "b": []}, ".", 'the lists at records = "." are not of one length'),
    ],
)
def test_an_answer_without_records_is_refused(answer: Any, path: str, message: str) -> None:
    with pytest.raises(FeedAnswerError) as told:
        to_delimited(answer, path, layout())
    assert str(told.value).startswith(message)


@given(answer=json_values)
def test_any_answer_is_rows_or_is_refused(answer: Any) -> None:
    try:
        text, _ = to_delimited(answer, ".", layout())
    except FeedAnswerError:
        text = b"\n"
    assert text.endswith(b"\n")
