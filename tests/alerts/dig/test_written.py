"""What is written of a dig: records out of cells, and what is said where it is none."""

from __future__ import annotations

from datetime import date

import pytest

from alerts.dig.records import DigRecord, Insects, Outcome, Roots, Specimen, Swellings
from alerts.dig.written import WrittenError, read_written, refuse_cell

TODAY = date(2025, 5, 6)
CELLS = {
    "block": "terrace-7",
    "row": "3",
    "vine": "12",
    "dug_on": "2025-05-06",
    "person": "Ada  Example ",
    "roots": "Fine",
    "swellings": "pale",
    "insects": "few",
}


def read(**cells: str) -> DigRecord:
    return read_written({**CELLS, **cells}, {"terrace-7", "ledge"}, TODAY)


def faults(**cells: str) -> list[str]:
    with pytest.raises(WrittenError) as refused:
        read(**cells)
    return [refuse_cell(one, "en") for one in refused.value.faults]


def test_cells_become_a_record() -> None:
    more = {"depth_cm": "16in", "dead_roots": "yes", "by_lot": "1", "specimen": "sent"}
    record = read(**more, latitude="45,1", longitude="-123.2")
    assert record == DigRecord(
        record.record_id,
        "terrace-7",
        (3, 12),
        TODAY,
        "Ada Example",
        Roots.FINE,
        dead_roots=True,
        swellings=Swellings.PALE,
        insects=Insects.FEW,
        specimen=Specimen.SENT,
        by_lot=True,
        depth_cm=40.64,  # by hand: 16 x 2.54 cm
        latitude=45.1,
        longitude=-123.2,
    )


def test_the_same_vine_day_and_person_are_the_same_record_and_any_other_is_another() -> None:
    same = read().record_id
    assert read(insects="none", person="ADA example").record_id == same
    others = [
        read(**{name: value}).record_id
        for name, value in (
            ("vine", "13"),
            ("dug_on", "2025-05-05"),
            ("block", "ledge"),
            ("person", "Ben"),
        )
    ]
    assert same not in others
    assert len(set(others)) == 4
    assert read(record_id="{A0EEBC99-9C0B-4EF8-BB6D-6BB9BD380A11}").record_id == (
        "a0eebc99-9c0b-4ef8-bb6d-6bb9bd380a11"  # source: [RFC-9562] section 4, in lower case
    )


@pytest.mark.parametrize(
    ("cell", "said", "told"),
    [
        ("block", "terace-7", "there is no block 'terace-7'; write one of terrace-7"),
        ("row", "", "row is missing"),
        ("vine", "12a", "'12a' is no whole number; write it like 12"),
        ("vine", "0", "'0' is not within 1 to 20000"),
        ("dug_on", "6.5.2025", "'6.5.2025' is no date; write it like 2026-04-30"),
        ("dug_on", "2025-05-08", "'2025-05-08' is still to come"),
        ("roots", "dead", "'dead' is none of fine, coarse or none"),
        ("swellings", "", "swellings is missing"),
        ("insects", "7", "'7' is none of none, few, some or many"),
        ("depth_cm", "deep", "'deep' is no number"),
        ("depth_cm", "400", "'400' is not within 0 to 300"),
        ("latitude", "nan", "'nan' is not within -90 to 90"),
        ("latitude", "45", "longitude is missing"),
        ("by_lot", "perhaps", "'perhaps' is none of yes or no"),
        ("note", "x" * 301, "write at most 300 visible characters"),
        ("record_id", "7", "'7' is no UUID"),
    ],
)
def test_what_is_wrong_is_told_with_what_to_write(cell: str, said: str, told: str) -> None:
    every = faults(**{cell: said})
    assert [one for one in every if told in one]


def test_all_that_is_wrong_is_told_at_once_and_tomorrow_elsewhere_is_no_fault() -> None:
    assert len(faults(row="x", roots="?", insects="")) == 3
    assert read(dug_on="2025-05-07").dug_on == date(2025, 5, 7)


@pytest.mark.parametrize(
    ("cells", "outcome"),
    [
        ({}, Outcome.SUSPECTED),
        ({"specimen": "confirmed"}, Outcome.FOUND),
        ({"specimen": "another"}, Outcome.NOT_FOUND),
        ({"swellings": "none", "insects": "none"}, Outcome.NOT_FOUND),
        ({"swellings": "none", "insects": "none", "roots": "none"}, Outcome.NO_LIVE_ROOTS),
        ({"swellings": "none", "insects": "none", "specimen": "sent"}, Outcome.SUSPECTED),
        ({"swellings": "dark", "insects": "none", "roots": "none"}, Outcome.SUSPECTED),
    ],
)
def test_what_a_dig_comes_to(cells: dict[str, str], outcome: Outcome) -> None:
    assert read(**cells).outcome is outcome
