"""What a store of an earlier Digseason held is there under this one: upgraded, or restored."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sqlalchemy import JSON, Connection, Date, Engine, MetaData, column, insert, select, table

from probes.frames import GOOD, Readings
from service.backups import write_backup
from service.store import tables
from service.store.engine import open_engine, reading, writing
from service.store.outbox import add_message
from service.store.readings import insert_readings
from service.store.tokens import PushToken, add_token, fetch_tokens, find_push_token, hash_secret
from service.store.types import UtcInstant
from tests.commands import run
from tests.planted import PROBE, plant_block, plant_recipient
from tests.stores import NEWEST, migrate_to

AT = datetime(2025, 5, 5, 14, 30, 0, 250, tzinfo=UTC)
DAY = date(2025, 5, 4)
STAMPS = np.array(["1969-12-31T23:59:59.999999", "2024-12-31T23:30", "2025-05-05"], "M8[us]")
SECRET = "x" * 43
TYPES = {datetime: UtcInstant, date: Date, list: JSON}

BATCH = "id, logger_id, source, file, sha256, imported_at, changed_at, signs, " + (
    "inserted, identical, conflicting, rejected, missing"
)
PLANTED: list[tuple[str, str, tuple[Any, ...]]] = [
    (
        "recipient",
        "name, role, email, channels, language, unit, hour, all_blocks",
        ("Ben Example", "grower", "ben@example.org", ["mail"], "es", "C", 6, False),
    ),
    ("recipient_block", "recipient_name, block_id", ("Ben Example", "terrace-7")),
    ("import_batch", BATCH, (1, "u1", "file", "a.csv", "5f", AT, AT, [], 1, 0, 1, 2, 4)),
    ("import_batch", BATCH, (2, "u1", "file", "b.csv", "6e", AT, None, [], 2, 1, 1, 2, 4)),
    (
        "daily_mean",
        "probe_id, day, mean_c, slots_present, slots_in_day, longest_gap_h, complete",
        (PROBE, DAY, 18.1, 23, 24, 1, True),
    ),
    ("push_token", "id, logger_id, sha256, made_at", (7, "u1", hash_secret(SECRET), AT)),
    ("round", "id, started_at, finished_at, blocks, notices", (2, AT, AT, 1, 1)),
    (
        "notice",
        "id, round_id, block_id, season, kind, what, opened_on, mean_c, basis_cm, sources",
        (4, 2, "terrace-7", 2025, "spring", "opened", DAY, 18.1, [30.0], []),
    ),
    ("notice_estimate", "notice_id, carried, estimated", (4, False, True)),
    ("digest", "id, recipient_name, composed_at", (5, "Ben Example", AT)),
    ("notice_recipient", "notice_id, recipient_name, digest_id", (4, "Ben Example", 5)),
    (
        "outbox",
        "id, digest_id, channel, address, created_at, attempts, message",
        (6, 5, "mail", "ben@example.org", AT, 1, "Message-ID: <a1@example.org>\n\nIt is open."),
    ),
    (
        "outlook",
        "block_id, issued_on, event, season, kind, curve_of, chance, by_now, within_7_d, "
        "within_14_d, p10, warm_peak_c",
        ("terrace-7", DAY, "opens", 2025, "fall", "terrace-7", 0.75, 0.0, 0.1, 0.2, DAY, 24.1),
    ),
]
OF_TOKENS = "id", "logger_id", "sha256", "made_at", "last_used_at", "revoked_at"
ELSEWHERE = {
    ("alembic_version", "version_num"),
    ("import_batch", "changed_at"),  # logger_change counts since
    *(("push_token", name) for name in OF_TOKENS),  # token holds them since
}

Cells = set[tuple[str, str, str, str]]
"""Table, key, column and value of all that a store holds."""


def put(connection: Connection, name: str, columns: str, values: tuple[Any, ...]) -> None:
    """Put a row into a table as it was then."""
    row = dict(zip(columns.split(", "), values, strict=True))
    typed = [column(key, TYPES.get(type(value))) for key, value in row.items()]
    connection.execute(insert(table(name, *typed)).values(row))


@pytest.fixture
def old(empty_url: str) -> Iterator[Engine]:
    """A store of revision 0008, with a row in each table that was made anew since."""
    engine = open_engine(empty_url)
    migrate_to(engine, "0008")
    with writing(engine) as connection:
        plant_block(connection)
        plant_recipient(connection, "Ada Example")
        readings = Readings(STAMPS, np.array([0.1, -4.0, 1 / 3]), np.full(3, GOOD, np.int8))
        insert_readings(connection, PROBE, 1, readings)
        for name, columns, values in PLANTED:
            put(connection, name, columns, values)
    yield engine
    engine.dispose()


def cells_of(engine: Engine) -> Cells:
    """Return what a store holds by the schema that it has, not that of the code."""
    schema = MetaData()
    with reading(engine) as connection:
        schema.reflect(connection)
        return {
            (of.name, repr([row[key.name] for key in of.primary_key]), name, repr(value))
            for of in schema.sorted_tables
            for row in connection.execute(select(of)).mappings()
            for name, value in row.items()
        }


def find_lost(before: Cells, engine: Engine) -> set[tuple[str, str]]:
    """Return the columns in which a store does not hold all that it did."""
    return {(of, name) for of, _, name, _ in before - cells_of(engine)}


def test_an_upgrade_keeps_all_that_a_store_held(
    old: Engine, empty_url: str, tmp_path: Path
) -> None:
    before = cells_of(old)
    migrate_to(old, "0045")
    with writing(old) as connection:
        put(connection, "backup_made", "id, made_at", (1, AT))
    said = run(tmp_path, "check", database_url=empty_url)[1]
    assert f"at {NEWEST}, up to date" in said
    assert find_lost(before, old) == ELSEWHERE
    with writing(old) as connection:
        assert connection.execute(select(tables.backup_made)).all() == [(1, AT, None)]
        scopes = connection.execute(select(tables.recipient_scope)).all()
        assert scopes == [("Ben Example", "blocks", "terrace-7")]
        tally = connection.execute(select(tables.intake_tally)).all()
        assert tally == [("u1", "file", 2, 3, 1, 2, 4, 8)]  # by hand: the sums of both batches
        assert connection.scalar(select(tables.outbox.c.message_id)) == "<a1@example.org>"
        assert find_push_token(connection, SECRET, AT) == PushToken(7, "u1")
        # what comes is numbered behind what was there
        add_token(connection, "u1", AT)
        assert [one.id for one in fetch_tokens(connection)] == [7, 8]
        add_message(connection, 5, "sms", "+15550100", "<b1@example.org>", "It is open.", AT)
        assert connection.scalars(select(tables.outbox.c.id).order_by("id")).all() == [6, 7]


@pytest.mark.parametrize("empty_url", ["sqlite"], indirect=True)
def test_a_backup_of_an_earlier_store_restores_with_all_that_it_held(
    old: Engine, tmp_path: Path
) -> None:
    write_backup(old, tmp_path / "b.db")
    code, said = run(tmp_path / "elsewhere", "restore", tmp_path / "b.db")
    assert (code, "the same on both sides" in said) == (0, True), said
    assert f"at {NEWEST}, up to date" in run(tmp_path / "elsewhere", "check")[1]
    restored = open_engine(f"sqlite:///{tmp_path / 'elsewhere/digseason.db'}")
    assert find_lost(cells_of(old), restored) == ELSEWHERE
    restored.dispose()
