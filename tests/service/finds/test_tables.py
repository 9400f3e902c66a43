"""Tables of digs: what is written out comes back the same."""

from __future__ import annotations

from datetime import date
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.dig.records import DigRecord, Insects, Roots, Specimen, Swellings
from service.csv_tables import TableError
from service.finds.tables import read_digs, write_digs
from tests.laws import law

TODAY = date(2026, 1, 1)
TEXTS = st.text(st.characters(exclude_categories=("C", "Z")), max_size=20)
PLACES = st.none() | st.tuples(
    st.floats(-90, 90).map(lambda one: one + 0.0), st.floats(-180, 180).map(lambda one: one + 0.0)
)


@st.composite
def records(draw: st.DrawFn) -> DigRecord:
    place = draw(PLACES)
    return DigRecord(
        str(draw(st.uuids())),
        "ledge",
        (draw(st.integers(1, 20_000)), draw(st.integers(1, 20_000))),
        draw(st.dates(date(1950, 1, 1), TODAY)),
        draw(TEXTS.filter(bool)),
        draw(st.sampled_from(Roots)),
        draw(st.booleans()),
        draw(st.sampled_from(Swellings)),
        draw(st.sampled_from(Insects)),
        draw(st.sampled_from(Specimen)),
        draw(st.booleans()),
        draw(st.none() | st.integers(0, 300).map(float)),
        draw(TEXTS),
        draw(TEXTS),
        *(place or (None, None)),
    )


@law(60)
@given(st.lists(records(), unique_by=lambda one: UUID(one.record_id), max_size=4))
def test_a_table_comes_back_as_it_was_written(written: list[DigRecord]) -> None:
    table = read_digs(write_digs(written).encode(), ["ledge"], TODAY)
    assert (table.records, table.rejects) == (written, [])


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"\xff\xfe", "byte 0 is not UTF-8"),
        (b"", "names no column block, row, vine"),
        (b"block,row,vine,dug_on,person,roots,swellings,insects,sweling", "no column 'sweling'"),
        (b"block,row,vine,dug_on,person,roots,insects,dept_cm", "names no column swellings"),
    ],
)
def test_a_table_that_cannot_be_read_says_why(content: bytes, told: str) -> None:
    with pytest.raises(TableError, match=told):
        read_digs(content, ["ledge"], TODAY)
