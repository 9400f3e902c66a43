"""What is over leaves the store, and nothing else does."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlalchemy import Column, Engine, insert, select

from service.store import tables
from service.store.engine import reading, writing
from service.store.looks import Look, keep_look
from service.store.rounds import begin_round, finish_round
from service.upkeep import AT_ONCE, prune
from tests.planted import plant_block

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
DAY = timedelta(days=1)


def ids(engine: Engine, column: Column[Any]) -> list[Any]:
    with reading(engine) as connection:
        return sorted(connection.scalars(select(column)))


def test_rounds_that_noted_nothing_go_after_90_days_and_those_that_did_stay(
    engine: Engine,
) -> None:
    old, told, recent = NOW - 200 * DAY, NOW - 199 * DAY, NOW - 89 * DAY
    with writing(engine) as connection:
        plant_block(connection)
        for at in (old, told, recent):
            finish_round(connection, begin_round(connection, None, at), at, 1, 0, 0)
        begin_round(connection, date(2025, 1, 1), old)
        row = {"round_id": 2, "block_id": "terrace-7", "season": 2025, "kind": "spring"}
        row |= {"what": "opened", "basis_cm": [], "sources": []}
        connection.execute(insert(tables.notice).values(row))
    assert prune(engine, NOW) == 1
    assert ids(engine, tables.round_.c.id) == [2, 3, 4]
    assert ids(engine, tables.round_seen.c.round_id) == [2, 3]


def test_the_last_round_and_the_last_look_stay_however_old(engine: Engine) -> None:
    old = NOW - 200 * DAY
    with writing(engine) as connection:
        for number in range(3):
            at = old + number * DAY
            finish_round(connection, begin_round(connection, None, at), at, 1, 0, 0)
            keep_look(connection, Look(at, number, 1.0))
    prune(engine, NOW)
    assert ids(engine, tables.round_.c.id) == ids(engine, tables.look_ahead.c.id) == [3]


def test_years_of_rounds_go_some_at_a_time(engine: Engine) -> None:
    rows = [{"started_at": NOW - 100 * DAY, "finished_at": NOW} for _ in range(AT_ONCE + 10)]
    with writing(engine) as connection:
        connection.execute(insert(tables.round_), rows)
    assert prune(engine, NOW) == AT_ONCE + 9


def test_outlooks_go_after_800_days(engine: Engine) -> None:
    kept_on, gone_on = (NOW - 800 * DAY).date(), (NOW - 801 * DAY).date()
    chances = dict.fromkeys(("chance", "by_now", "within_7_d", "within_14_d"), 0.5)
    with writing(engine) as connection:
        plant_block(connection)
        for day in (kept_on, gone_on):
            row = {"block_id": "terrace-7", "issued_on": day, "event": "opens", "season": 2025}
            row |= {"kind": "spring", "open_chances": [], "borrowed": [], **chances}
            connection.execute(insert(tables.outlook).values(row))
            air = {"block_id": "terrace-7", "issued_on": day, "air_issued_on": day}
            connection.execute(insert(tables.outlook_air).values(air))
    assert prune(engine, NOW) == 1
    for table in (tables.outlook, tables.outlook_air):
        assert ids(engine, table.c.issued_on) == [kept_on]
