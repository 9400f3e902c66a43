"""The store of dig records: each once, corrections beside what stood before, copied whole."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from sqlalchemy import Engine, insert, update

from alerts.dig.records import Insects, Roots, Specimen, Swellings
from service.store import tables
from service.store.copying import copy_store
from service.store.dig_records import (
    Kept,
    Version,
    fetch_dig_records,
    fetch_versions,
    keep_dig_record,
    withdraw_dig_record,
)
from service.store.engine import open_engine, reading, writing
from tests.dig_records import dig_record
from tests.planted import plant_block, plant_place
from tests.stores import rows_of

NOW = datetime(2025, 5, 6, 15, tzinfo=UTC)
LATER = datetime(2025, 5, 7, 15, tzinfo=UTC)
ADA, PETRA = "ada@example.org", "petra@example.org"
FULL = dig_record(
    1,
    roots=Roots.COARSE,
    dead_roots=True,
    swellings=Swellings.BOTH,
    insects=Insects.SOME,
    specimen=Specimen.SENT,
    by_lot=True,
    depth_cm=32.5,
    mark="red ribbon",
    note="beside the gate, unter Nußbaum",
    latitude=45.1,
    longitude=-123.2,
)

one_database = pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)


def test_a_record_comes_back_as_it_was_kept_and_is_copied_with_its_photo(
    engine: Engine, sqlite_template: Path, tmp_path: Path
) -> None:
    corrected = dig_record(1, roots=Roots.NONE)
    with writing(engine) as connection:
        plant_block(connection)
        assert keep_dig_record(connection, FULL, ADA, NOW) is Kept.NEW
        assert fetch_dig_records(connection) == [FULL]
        photo = {"record_id": FULL.record_id, "sha256": "7f", "content": b"\xff\xd8\x00"}
        connection.execute(insert(tables.dig_photo).values(**photo, kept_at=NOW, kept_by=ADA))
        assert keep_dig_record(connection, corrected, PETRA, LATER) is Kept.CORRECTED
    copy = open_engine(f"sqlite:///{shutil.copy(sqlite_template, tmp_path / 'copy.db')}")
    with reading(engine) as connection:
        assert sum(one.differing for one in copy_store(connection, copy)) == 0
    with reading(copy) as connection:
        assert fetch_dig_records(connection, ["terrace-7"]) == [corrected]
    assert rows_of(copy) == rows_of(engine)
    copy.dispose()


@one_database
def test_a_correction_keeps_what_stood_before_and_a_late_retry_does_not_undo_it(
    engine: Engine,
) -> None:
    corrected = dig_record(1, specimen=Specimen.CONFIRMED)
    with writing(engine) as connection:
        plant_block(connection)
        keep_dig_record(connection, FULL, ADA, NOW)
        keep_dig_record(connection, corrected, PETRA, LATER)
        assert keep_dig_record(connection, FULL, ADA, LATER) is Kept.KNOWN
        assert fetch_versions(connection, FULL.record_id) == [
            Version(corrected, LATER, PETRA),
            Version(FULL, NOW, ADA, LATER, PETRA),
        ]
        assert fetch_versions(connection, "unknown") == []


@one_database
def test_what_is_withdrawn_stays_so_when_it_is_sent_again(engine: Engine) -> None:
    with writing(engine) as connection:
        plant_block(connection)
        keep_dig_record(connection, FULL, ADA, NOW)
        assert withdraw_dig_record(connection, FULL.record_id, ADA, "another vine", LATER)
        assert not withdraw_dig_record(connection, FULL.record_id, PETRA, "again", LATER)
        assert keep_dig_record(connection, FULL, ADA, LATER) is Kept.WITHDRAWN
        assert fetch_dig_records(connection) == []
        (version,) = fetch_versions(connection, FULL.record_id)
    assert (version.ended_by, version.withdrawn_why) == (ADA, "another vine")


@one_database
def test_records_are_told_apart_by_block_and_by_season_of_their_hemisphere(
    engine: Engine,
) -> None:
    june, july = date(2025, 6, 30), date(2025, 7, 1)
    with writing(engine) as connection:
        plant_block(connection, south=True)
        plant_place(connection, "ledge")
        connection.execute(
            update(tables.site).where(tables.site.c.id == "at-ledge").values(latitude=45.1)
        )
        for number, block_id, day in [
            (1, "terrace-7", june),
            (2, "terrace-7", july),
            (3, "ledge", june),
            (4, "ledge", july),
        ]:
            record = dig_record(number, block_id=block_id, dug_on=day)
            keep_dig_record(connection, record, ADA, NOW)

        def numbers(*asked: object) -> list[int]:
            found = fetch_dig_records(connection, *asked)  # type: ignore[arg-type]
            return sorted(one.vine[1] for one in found)

        # by hand: the southern year turns on 1 July, the northern on 1 January
        assert numbers(None, 2025) == [2, 3, 4]
        assert numbers(None, 2024) == [1]
        assert numbers(["ledge"]) == [3, 4]
        assert numbers([]) == []
