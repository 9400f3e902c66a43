"""Tables of others: where their lines begin, and what cannot be read at all."""

from __future__ import annotations

import csv

import pytest

from service.csv_tables import TableError, open_table


def test_lines_are_told_by_where_they_begin() -> None:
    table = open_table(b'\xef\xbb\xbfRow; Vine\r\n1;2\r\n\r\n"3\n4";5\r\n6;7\r\n')
    assert (table.names, table.delimiter) == (["row", "vine"], ";")
    assert list(table.lines) == [(2, ["1", "2"]), (4, ["3\n4", "5"]), (6, ["6", "7"])]


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"row\xff", "byte 3 is not UTF-8"),
        (b"r\0o\0w\0", "bytes of zero"),
        (b'row\n1\n"' + b"x" * 140_000, "line 3 cannot be read: field larger than field limit"),
    ],
)
def test_what_cannot_be_read_says_where(content: bytes, told: str) -> None:
    before = csv.field_size_limit(100_000)  # one for the whole process
    try:
        with pytest.raises(TableError, match=told):
            list(open_table(content).lines)
    finally:
        csv.field_size_limit(before)
