"""Readings lie by year where PostgreSQL keeps them, and no year is ever refused."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from threading import Barrier

import numpy as np
import pytest
from sqlalchemy import Engine, text

from probes.frames import Readings
from service.store import tables
from service.store.engine import open_engine, reading, writing
from service.store.partitions import empty_year, shrink_year
from service.store.readings import fetch_readings, insert_readings
from service.store.rounds import begin_round
from service.store.schema import upgrade
from tests.pg import Cluster
from tests.stores import migrate_to

WRITERS = 6


@pytest.fixture
def server(postgres: Cluster, postgres_store: str) -> Iterator[Engine]:
    """A store on PostgreSQL, whose connections wait for no one for longer than 5 s."""
    postgres.empty(postgres_store)
    opened = open_engine(postgres.url(postgres_store) + "&options=-c%20lock_timeout%3D5s")
    yield opened
    opened.dispose()


def readings_of(*stamps: str) -> Readings:
    """Return a reading at each stamp."""
    size = len(stamps)
    return Readings(np.array(stamps, "M8[us]"), np.arange(size) / 3, np.ones(size, np.int8))


def rows_by_partition(engine: Engine) -> dict[str, int]:
    """Return how many readings lie in each partition that has any."""
    query = text("select tableoid::regclass::text, count(*) from reading group by 1")
    with reading(engine) as connection:
        return {row[0]: row[1] for row in connection.execute(query)}


def years_of(engine: Engine) -> set[str]:
    """Return the names of all partitions."""
    query = text("select inhrelid::regclass::text from pg_inherits")
    with reading(engine) as connection:
        return set(connection.scalars(query))


@pytest.mark.parametrize("empty_url", ["postgresql"], indirect=True)
def test_a_store_with_readings_is_divided_and_keeps_them(empty_url: str) -> None:
    engine = open_engine(empty_url)
    migrate_to(engine, "0021")
    before = readings_of(
        "1969-12-31T23:59:59.999999", "1970-01-01", "2024-12-31T23:59", "2025-01-01", "2025-07-01"
    )
    with writing(engine) as connection:
        insert_readings(connection, 7, 3, before)
    upgrade(engine)
    after = readings_of("2031-05-05")
    with writing(engine) as connection:
        insert_readings(connection, 7, 4, after)
        found = fetch_readings(connection, 7)
    np.testing.assert_equal(found.observed_at, np.append(before.observed_at, after.observed_at))
    np.testing.assert_equal(found.soil_temp_c, np.append(before.soil_temp_c, after.soil_temp_c))
    assert rows_by_partition(engine) == {
        "reading_1969": 1,
        "reading_1970": 1,
        "reading_2024": 1,
        "reading_2025": 2,
        "reading_2031": 1,
    }
    engine.dispose()


def test_a_round_makes_the_partitions_of_this_year_and_the_next(server: Engine) -> None:
    assert not {"reading_2061", "reading_2062"} & years_of(server)
    with writing(server) as connection:
        begin_round(connection, None, datetime(2061, 3, 1, tzinfo=UTC))
    assert {"reading_2061", "reading_2062"} <= years_of(server)


def test_a_long_load_into_a_new_year_keeps_no_other_waiting(server: Engine) -> None:
    with writing(server) as slow:
        insert_readings(slow, 1, 1, readings_of("2071-01-01"))
        with writing(server) as quick:
            insert_readings(quick, 2, 2, readings_of("2071-01-01", "2072-01-01"))
        with reading(server) as reader:
            assert fetch_readings(reader, 2).observed_at.size == 2
    assert rows_by_partition(server) == {"reading_2071": 2, "reading_2072": 1}


def test_writers_that_need_the_same_new_year_at_once_all_succeed(server: Engine) -> None:
    barrier = Barrier(WRITERS)

    def load(probe_id: int) -> None:
        with writing(server) as connection:
            fetch_readings(connection, probe_id)
            barrier.wait(timeout=10)
            insert_readings(connection, probe_id, 1, readings_of("2081-06-01", "2082-06-01"))

    with ThreadPoolExecutor(WRITERS) as pool:
        list(pool.map(load, range(WRITERS)))
    assert rows_by_partition(server) == {"reading_2081": WRITERS, "reading_2082": WRITERS}


def test_a_load_that_is_refused_leaves_its_years_and_no_readings(server: Engine) -> None:
    twice = readings_of("2091-06-01", "2091-06-01")
    with pytest.raises(Exception, match=r"(?i)unique"), writing(server) as connection:
        insert_readings(connection, 1, 1, twice)
    assert rows_by_partition(server) == {}
    with writing(server) as connection:
        insert_readings(connection, 1, 1, readings_of("2091-06-01"))
    assert rows_by_partition(server) == {"reading_2091": 1}


def test_who_began_to_read_before_a_year_is_emptied_sees_all_of_it(server: Engine) -> None:
    minutes = np.datetime64("2071-03-01", "us") + np.arange(1000) * np.timedelta64(1, "m")
    with writing(server) as connection:
        insert_readings(connection, 1, 1, readings_of(*minutes))
    size = text("select pg_relation_size('reading_2071') / 8192")
    with reading(server) as before:
        in_all = before.scalar(size)
        with writing(server) as connection:
            last = datetime(2071, 3, 1, 16, 38, tzinfo=UTC)
            assert empty_year(connection, tables.reading, 2071, {1: last}) == 999
        assert fetch_readings(before, 1).observed_at.size == 1000
    shrink_year(server, tables.reading, 2071)
    with reading(server) as after:
        assert fetch_readings(after, 1).observed_at.tolist() == [minutes[-1].item()]
        assert after.scalar(size) == 1 < in_all
