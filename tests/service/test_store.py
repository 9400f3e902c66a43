"""What goes into the store comes out of it, on either database."""

from __future__ import annotations

from contextlib import closing
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import numpy as np
import pytest
from sqlalchemy import Connection, Engine, event, exc, func, insert, select, text

from probes.frames import DailyMeans, Readings
from service.store import tables
from service.store.bulk import CHUNK_ROWS, FEW_ROWS
from service.store.daily import (
    fetch_daily_errors,
    fetch_daily_means,
    fetch_first_days,
    store_daily_means,
)
from service.store.engine import reading, writing
from service.store.readings import (
    CheckedReadings,
    fetch_checked_readings,
    fetch_readings,
    insert_readings,
    list_conflicts,
    update_flags,
)
from tests.planted import PROBE, plant_block

INSTANTS = np.array(
    ["1969-12-31T23:59:59.999999", "2025-10-01T00:00", "2025-10-01T01:00"], "M8[us]"
)
READINGS = Readings(INSTANTS, np.array([-0.1, 14.25, 1 / 3]), np.array([1, 3, 4], np.int8))
OCTOBER_1 = datetime(2025, 10, 1, tzinfo=UTC)


@pytest.fixture
def planted(engine: Engine) -> Engine:
    """A store with one probe."""
    with writing(engine) as connection:
        plant_block(connection)
    return engine


def daily_means(first: str, mean_c: list[float]) -> DailyMeans:
    """Return daily means from a day on, NaN where no reading of the day may be used."""
    days = np.datetime64(first) + np.arange(len(mean_c))
    present, in_day, gap_h = (np.full(len(mean_c), number, np.int16) for number in (20, 24, 3))
    complete = np.arange(len(mean_c)) % 2 == 0
    return DailyMeans(days, np.array(mean_c), present, in_day, gap_h, complete)


def plant_batches(connection: Connection, count: int) -> None:
    """Put in imports that brought nothing."""
    counts = dict.fromkeys(("inserted", "identical", "conflicting", "rejected", "missing"), 0)
    logger_id = connection.scalar(select(tables.logger.c.id))
    one = {"logger_id": logger_id, "source": "file", "file": "a.csv", "imported_at": OCTOBER_1}
    rows = [one | counts | {"id": n + 1, "sha256": str(n), "signs": []} for n in range(count)]
    connection.execute(insert(tables.import_batch), rows)


def assert_equal(found: Readings, expected: Readings) -> None:
    np.testing.assert_equal(vars(found), vars(expected))


def test_readings_come_back_as_they_went_in(planted: Engine) -> None:
    with writing(planted) as connection:
        insert_readings(connection, PROBE, 1, READINGS)
        found = fetch_readings(connection, PROBE)
    assert_equal(found, READINGS)
    assert (found.observed_at.dtype, found.flag.dtype) == (np.dtype("M8[us]"), np.dtype("i1"))


def test_readings_come_back_in_order_of_time(planted: Engine) -> None:
    with writing(planted) as connection:
        insert_readings(connection, PROBE, 1, READINGS.where(np.array([2])))
        insert_readings(connection, PROBE, 2, READINGS.where(np.array([0, 1])))
        assert_equal(fetch_readings(connection, PROBE), READINGS)


def test_readings_are_aware_instants_to_everyone_else(planted: Engine) -> None:
    with writing(planted) as connection:
        insert_readings(connection, PROBE, 1, READINGS)
        query = select(tables.reading.c.observed_at).order_by(tables.reading.c.observed_at)
        assert connection.scalars(query).all()[1] == OCTOBER_1


def test_readings_are_fetched_after_one_instant_and_up_to_another(planted: Engine) -> None:
    with writing(planted) as connection:
        insert_readings(connection, PROBE, 1, READINGS)
        until = OCTOBER_1 + timedelta(hours=1)
        found = fetch_readings(connection, PROBE, after=OCTOBER_1, until=until)
    assert_equal(found, READINGS.where(np.array([2])))


def test_a_probe_without_readings_has_empty_ones(planted: Engine) -> None:
    with reading(planted) as connection:
        assert_equal(fetch_readings(connection, PROBE), READINGS.where(np.zeros(3, bool)))


def test_readings_of_more_than_one_chunk_come_back_as_they_went_in(planted: Engine) -> None:
    size = CHUNK_ROWS * 2 + 1
    instants = INSTANTS[1] + np.arange(size) * np.timedelta64(1, "s")
    many = Readings(instants, np.arange(size) / 7, np.ones(size, np.int8))
    with writing(planted) as connection:
        insert_readings(connection, PROBE, 1, many)
        assert_equal(fetch_readings(connection, PROBE), many)


def test_a_second_reading_at_one_instant_is_refused(planted: Engine) -> None:
    with writing(planted) as connection:
        insert_readings(connection, PROBE, 1, READINGS)
    with pytest.raises(Exception, match=r"(?i)unique"), writing(planted) as connection:
        insert_readings(connection, PROBE, 2, READINGS)


def test_daily_means_come_back_as_they_went_in(planted: Engine) -> None:
    means = daily_means("2025-10-01", [14.25, np.nan, 15.0])
    with writing(planted) as connection:
        store_daily_means(connection, PROBE, means.day, means)
        found = fetch_daily_means(connection, [PROBE], date.min, date.max)
    np.testing.assert_equal(found.probe_id, np.full(3, PROBE))
    np.testing.assert_equal(found.day, means.day)
    np.testing.assert_equal(found.mean_c, means.mean_c)
    np.testing.assert_equal(found.complete, means.complete)


def test_a_day_whose_readings_may_not_be_used_has_no_mean(planted: Engine) -> None:
    means = daily_means("2025-10-01", [np.nan])
    with writing(planted) as connection:
        store_daily_means(connection, PROBE, means.day, means)
        stored = connection.execute(select(tables.daily_mean)).one()
    assert tuple(stored) == (PROBE, date(2025, 10, 1), None, 20, 24, 3, True)


def test_daily_means_are_replaced_and_those_of_empty_days_taken_out(planted: Engine) -> None:
    before = daily_means("2025-10-01", [1.0, 2.0, 3.0])
    after = daily_means("2025-10-02", [2.5])
    with writing(planted) as connection:
        store_daily_means(connection, PROBE, before.day, before)
        store_daily_means(connection, PROBE, before.day[:2], after)
        found = fetch_daily_means(connection, [PROBE], date.min, date.max)
    np.testing.assert_equal(found.day.tolist(), [date(2025, 10, 2), date(2025, 10, 3)])
    np.testing.assert_equal(found.mean_c, [2.5, 3.0])


def test_daily_means_of_many_probes_are_fetched_between_two_days(planted: Engine) -> None:
    means = daily_means("2025-10-01", [1.0, 2.0, 3.0])
    with writing(planted) as connection:
        other = {"id": PROBE + 1, "logger_id": "u1", "channel": "T60"}
        connection.execute(insert(tables.probe), other)
        for probe_id in (PROBE + 1, PROBE):
            store_daily_means(connection, probe_id, means.day, means)
        days = (date(2025, 10, 2), date(2025, 10, 3))
        found = fetch_daily_means(connection, [PROBE, PROBE + 1], *days)
    np.testing.assert_equal(found.probe_id, [PROBE, PROBE, PROBE + 1, PROBE + 1])
    np.testing.assert_equal(found.mean_c, [2.0, 3.0, 2.0, 3.0])


def test_an_instant_comes_back_aware_in_utc(engine: Engine) -> None:
    # by hand: 12:00 at UTC+05:00 is 07:00 UTC
    noon = datetime(2025, 10, 1, 12, tzinfo=timezone(timedelta(hours=5)))
    with writing(engine) as connection:
        connection.execute(insert(tables.round_), {"started_at": noon})
        found = connection.scalar(select(tables.round_.c.started_at))
    assert found is not None
    assert (found, found.tzinfo) == (datetime(2025, 10, 1, 7, tzinfo=UTC), UTC)


def test_a_naive_instant_is_refused(engine: Engine) -> None:
    naive = datetime(2025, 10, 1, 12)  # noqa: DTZ001 (what is refused)
    with pytest.raises(exc.StatementError, match="naive"), writing(engine) as connection:
        connection.execute(insert(tables.round_), {"started_at": naive})


def test_a_write_that_fails_leaves_nothing(engine: Engine) -> None:
    def fail_half_way() -> None:
        with writing(engine) as connection:
            connection.execute(insert(tables.organisation), {"id": 1, "name": "Alder Bench"})
            raise RuntimeError("half way")

    with pytest.raises(RuntimeError):
        fail_half_way()
    with reading(engine) as connection:
        assert connection.scalar(select(func.count()).select_from(tables.organisation)) == 0


def test_a_reader_sees_one_state_of_the_store(engine: Engine) -> None:
    count = select(func.count()).select_from(tables.organisation)
    with reading(engine) as reader:
        before = reader.scalar(count)
        with writing(engine) as writer:
            writer.execute(insert(tables.organisation), {"id": 1, "name": "Alder Bench"})
        assert (before, reader.scalar(count)) == (0, 0)


def test_a_row_that_refers_to_nothing_is_refused(engine: Engine) -> None:
    stray = {"id": "u1", "site_id": "nowhere", "layout_name": "plain"}
    with pytest.raises(exc.IntegrityError), writing(engine) as connection:
        connection.execute(insert(tables.logger), stray)


@pytest.mark.parametrize("size", [FEW_ROWS, 3 * FEW_ROWS + 1], ids=["few", "many"])
def test_means_that_are_held_are_replaced_and_others_added(planted: Engine, size: int) -> None:
    before = daily_means("2024-03-01", [1.0, np.nan] * size)
    after = daily_means("2024-04-10", [np.nan, 3.0, 4.0] * size)
    with writing(planted) as connection:
        store_daily_means(connection, PROBE, before.day, before)
        store_daily_means(connection, PROBE, after.day, after)
        found = fetch_daily_means(connection, [PROBE], date.min, date.max)
    # by hand: dicts by day, the later one last
    rows = zip(*(column.tolist() for column in (before.day, before.mean_c)), strict=True)
    later = zip(*(column.tolist() for column in (after.day, after.mean_c)), strict=True)
    due = dict(rows) | dict(later)
    assert found.day.tolist() == sorted(due)
    np.testing.assert_equal(found.mean_c.tolist(), [due[day] for day in sorted(due)])


@pytest.mark.parametrize("size", [2, 3 * FEW_ROWS], ids=["few", "many"])
def test_values_that_conflict_are_listed_once_with_who_told_them_first(
    planted: Engine, size: int
) -> None:
    at = INSTANTS[1] + np.arange(size) * np.timedelta64(1, "h")
    with writing(planted) as connection:
        plant_batches(connection, 2)
        list_conflicts(connection, PROBE, 1, at, np.full(size, 9.5))
        list_conflicts(connection, PROBE, 2, np.tile(at, 2), np.repeat([9.5, 10.5], size))
        columns = (tables.conflict.c.soil_temp_c, tables.conflict.c.import_id)
        rows = connection.execute(select(*columns, func.count()).group_by(*columns)).all()
    assert {tuple(row) for row in rows} == {(9.5, 1, size), (10.5, 2, size)}


@pytest.mark.parametrize("size", [2, 3 * FEW_ROWS], ids=["few", "many"])
def test_flags_are_changed_of_some_readings_and_of_no_other_probe(
    planted: Engine, size: int
) -> None:
    at = np.datetime64("2024-12-31T20:00", "us") + np.arange(2 * size) * np.timedelta64(1, "h")
    some = Readings(at, np.arange(2 * size) / 8, np.ones(2 * size, np.int8))
    changed = np.arange(2 * size) % 2 == 0
    suspect = CheckedReadings(
        at[changed], some.soil_temp_c[changed], np.full(size, 3, np.int8), np.full(size, 5, "i4")
    )
    with writing(planted) as connection:
        insert_readings(connection, PROBE, 1, some)
        insert_readings(connection, PROBE + 1, 1, some)
        update_flags(connection, PROBE, suspect)
        found = fetch_checked_readings(connection, PROBE)
        other = fetch_checked_readings(connection, PROBE + 1)
    assert found.flag.tolist() == np.where(changed, 3, 1).tolist()
    assert found.checks.tolist() == np.where(changed, 5, 0).tolist()
    np.testing.assert_equal(found.soil_temp_c, some.soil_temp_c)
    assert set(other.flag.tolist()) == {1}


def test_more_probes_are_asked_for_than_a_statement_takes_parameters(planted: Engine) -> None:
    means = daily_means("2025-10-01", [14.25])
    many = range(70_000)  # of SQLite 32,766, of PostgreSQL 65,535
    with writing(planted) as connection:
        store_daily_means(connection, PROBE, means.day, means)
        found = fetch_daily_means(connection, many, date.min, date.max)
        assert found.probe_id.tolist() == [PROBE]
        assert fetch_first_days(connection, many) == {PROBE: date(2025, 10, 1)}
        assert fetch_daily_errors(connection, many, date.min, date.max) == []


@pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)
def test_days_of_probes_are_found_by_the_key_and_not_among_all(planted: Engine) -> None:
    asked: list[tuple[str, Any]] = []
    event.listen(planted, "before_cursor_execute", lambda *call: asked.append(call[2:4]))
    with reading(planted) as connection:
        fetch_daily_means(connection, [PROBE], date.min, date.max)
        statement, values = asked[-1]
        plan = connection.exec_driver_sql(f"explain query plan {statement}", values).all()
    # source: [SQLITE-EQP] SEARCH: by an index, SCAN: all rows
    assert "SEARCH daily_mean USING PRIMARY KEY (probe_id=? AND day>? AND day<?)" in plan[0]


@pytest.mark.parametrize("store_url", ["postgresql"], indirect=True)
def test_no_plan_is_compiled_however_much_it_seems_to_cost(engine: Engine) -> None:
    with reading(engine) as connection:
        long = "explain select sum(n) from generate_series(1, 1000000000) n"
        plan = connection.scalars(text(long))
        steps = "\n".join(plan)
    assert "Aggregate" in steps
    assert "JIT" not in steps


@pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)
def test_what_is_kept_outlives_a_loss_of_power_on_each_connection(engine: Engine) -> None:
    # source: [SQLITE-SYNC], 2 is FULL: in WAL, what NORMAL has committed may be undone
    with closing(engine.raw_connection()) as one, closing(engine.raw_connection()) as other:
        answers = [way.cursor().execute("pragma synchronous").fetchone() for way in (one, other)]
    assert answers == [(2,), (2,)]


@pytest.mark.parametrize("store_url", ["postgresql"], indirect=True)
def test_a_host_that_vanishes_is_missed_by_the_other_after_a_minute(engine: Engine) -> None:
    settings = "select name, reset_val from pg_settings where source = 'client' and name ~ '^tcp'"
    with closing(engine.raw_connection()) as connection:
        asked = {one.keyword.decode(): one.val for one in connection.driver_connection.pgconn.info}  # type: ignore[union-attr]
        cursor = connection.cursor()
        cursor.execute(settings)
        of_server = dict(cursor.fetchall())
    # by hand: 30 s of silence, then 3 questions, 10 s apart; [TCP-7] for what they mean
    kept = {"keepalives_idle": "30", "keepalives_interval": "10", "keepalives_count": "3"}
    assert of_server == {f"tcp_{name}": kept[name] for name in kept} | {"tcp_user_timeout": "60000"}
    assert {name: asked[name] for name in kept} == {name: kept[name].encode() for name in kept}
    # longer than the server may wait for a lock (600 s), and takes nothing of what it is sent
    assert asked["tcp_user_timeout"] == b"660000"
