"""A region on either database: how fast readings go in, a round after a new day, a block's page.

Run: python -m tests.benchmarks.bench_region [--loggers N] [--blocks N ...] [--years N ...]
     [--database postgresql|sqlite ...]
"""

from __future__ import annotations

import time
from argparse import ArgumentParser, Namespace
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from psycopg import Connection as PgConnection
from sqlalchemy import Connection, Engine, event, text

from probes.frames import LoggerFile
from service.daily_means import pack_daily_means
from service.evaluation import evaluate_blocks
from service.intake.ingest import Source, ingest
from service.intake.keeping import fetch_days
from service.intake.merging import compare_readings
from service.rounds import run_due
from service.settings import Settings
from service.store import tables
from service.store.blocks import fetch_blocks
from service.store.bulk import insert_columns
from service.store.engine import open_engine, reading, writing
from service.store.loggers import fetch_logger
from service.store.partitions import find_years, prepare_years
from service.store.readings import insert_readings
from service.store.schema import upgrade
from tests.benchmarks.bars import Bar, judge
from tests.benchmarks.region import (
    AS_OF,
    CHANNELS,
    DEPTHS_CM,
    NOW,
    columns_of,
    empty_store,
    instants_of,
    plant_batches,
    plant_days,
    plant_places,
    soil_c,
)

TRIES = 5
INGESTED = 8  # loggers whose readings also go the whole way, checks and all
YEAR = timedelta(days=365)
LARGEST = 10_000  # blocks, of which the bar of the round speaks
WHOLE_YEARS = 3  # with fewer, blocks borrow for the days before their first reading


def main() -> None:
    """Print the tables of each database."""
    chosen, bars = _choose(), list[Bar]()
    for database in chosen.database:
        if chosen.loggers:
            with _empty_store(database) as engine:
                bars.append(show_load(engine, database, chosen.loggers))
        print("\n| blocks | years of days | round, s | CPU, s | its queries, s | a page's, ms |")
        print("|---|---|---|---|---|---|")
        for blocks in chosen.blocks:
            for years in chosen.years:
                with _empty_store(database) as engine:
                    bars += show_round(engine, database, blocks, years)
    judge(bars)


def show_load(engine: Engine, database: str, loggers: int) -> Bar:
    """Put a year in, every second logger by what the driver offers, the others by the store."""
    first = AS_OF - YEAR + timedelta(days=1)
    instants = instants_of(first, AS_OF)
    with writing(engine) as connection:
        plant_places(connection, loggers + INGESTED)
        prepare_years(connection, tables.reading, find_years(instants))
    spent: dict[str, float] = {"bare": 0.0, "store": 0.0, "whole import": 0.0}
    rows = dict.fromkeys(spent, 0)
    for place in range(loggers + INGESTED):
        value_c = soil_c(place, instants)
        way = list(spent)[place % 2] if place < loggers else "whole import"
        begun = time.perf_counter()
        with writing(engine) as connection:
            if way == "bare":
                put_bare(connection, place, instants, value_c)
            elif way == "store":
                put(connection, place, instants, value_c)
            else:
                bring(connection, place, instants, value_c)
        spent[way] += time.perf_counter() - begun
        rows[way] += value_c.size
    total = sum(rows.values())
    print(f"\n## {database}, {loggers:,} loggers, {total:,} readings\n")
    print("| way | readings a second |\n|---|---|")
    for way, seconds in spent.items():
        print(f"| {way} | {rows[way] / seconds:,.0f} |")
    ratio = (spent["store"] / rows["store"]) / (spent["bare"] / rows["bare"])
    print(f"\nbytes a reading: {_size(engine) / total:.0f}")
    return Bar(f"{database}: store / bare", ratio, "<= 1.5")


def put_bare(
    connection: Connection,
    place: int,
    instants: NDArray[np.datetime64],
    value_c: NDArray[np.float64],
) -> None:
    """Put readings in by the fastest way that the driver offers by itself, into the same table."""
    if connection.dialect.name == "postgresql":
        for row in range(len(DEPTHS_CM)):  # by arrays: tuples through its own COPY take longer
            probe_id = place * len(DEPTHS_CM) + row + 1
            _copy_bare(connection, probe_id, instants, value_c[:, row])
        return
    driver: Any = connection.connection.driver_connection
    epoch_us = instants.astype(np.int64).tolist()
    for row in range(len(DEPTHS_CM)):
        probe_id = place * len(DEPTHS_CM) + row + 1
        cells = value_c[:, row].tolist()
        rows = [(probe_id, at, c, 1, 0, 1) for at, c in zip(epoch_us, cells, strict=True)]
        driver.executemany("insert into reading values (?, ?, ?, ?, ?, ?)", rows)


def _copy_bare(
    connection: Connection,
    probe_id: int,
    instants: NDArray[np.datetime64],
    value_c: NDArray[np.float64],
) -> None:
    """Copy rows of fixed width, written as PostgreSQL's manual says of binary COPY."""
    fields = [("n", ">i2"), ("l1", ">i4"), ("probe", ">i4"), ("l2", ">i4"), ("at", ">i8")]
    fields += [("l3", ">i4"), ("c", ">f8"), ("l4", ">i4"), ("flag", ">i2")]
    fields += [("l5", ">i4"), ("checks", ">i4"), ("l6", ">i4"), ("import", ">i4")]
    rows = np.zeros(instants.size, fields)
    rows["n"], rows["probe"], rows["flag"], rows["import"] = 6, probe_id, 1, 1
    rows["at"] = (instants - np.datetime64("2000-01-01", "us")).astype(np.int64)
    rows["c"] = value_c
    for name, width in zip(("l1", "l2", "l3", "l4", "l5", "l6"), (4, 8, 8, 2, 4, 4), strict=True):
        rows[name] = width
    driver: Any = connection.connection.driver_connection
    bare: PgConnection = driver
    with bare.cursor().copy("copy reading from stdin (format binary)") as copy:
        copy.write(b"PGCOPY\n\xff\r\n\0" + bytes(8) + rows.tobytes() + b"\xff\xff")


def put(
    connection: Connection,
    place: int,
    instants: NDArray[np.datetime64],
    value_c: NDArray[np.float64],
) -> None:
    """Put readings in as the store does: held against what is there, what is new inserted."""
    logger = fetch_logger(connection, f"l{place:05d}", lock=True)
    for row, channel in enumerate(CHANNELS):
        probe = logger.probe(channel)
        stored = fetch_days(connection, logger, probe, instants)
        findings = compare_readings(instants, value_c[:, row], stored)
        insert_readings(connection, probe.id, 1, findings.new)


def bring(
    connection: Connection,
    place: int,
    instants: NDArray[np.datetime64],
    value_c: NDArray[np.float64],
) -> None:
    """Import readings: signs, checks, flags, daily means, and what is kept to take it back."""
    file = LoggerFile(CHANNELS, np.arange(1, instants.size + 1), instants, value_c, 0, ())
    logger = fetch_logger(connection, f"l{place:05d}", lock=True)
    report = ingest(connection, logger, Source("feed", "feed", str(place)), file, NOW)
    if report.inserted != value_c.size:
        raise SystemExit(f"{report.inserted} of {value_c.size} readings came in")


def show_round(engine: Engine, database: str, blocks: int, years: int) -> Iterator[Bar]:
    """Time a round after a new day of all blocks, and what the page of one asks the database."""
    settings = Settings(data=Path(engine.url.database or "."))
    first = AS_OF - years * YEAR
    yesterday = AS_OF - timedelta(days=1)
    with writing(engine) as connection:
        plant_places(connection, blocks)
        plant_days(connection, blocks, first, yesterday)
        plant_batches(connection, blocks, NOW - timedelta(days=1))
        _plant_latest(connection, blocks, yesterday)
    run_due(engine, settings, NOW - timedelta(days=1))
    with writing(engine) as connection:
        plant_days(connection, blocks, AS_OF, AS_OF)
        plant_batches(connection, blocks, NOW)
        _plant_latest(connection, blocks, AS_OF)
    pack_daily_means(engine, NOW)  # as `digseason serve` does every few hours
    _settle(engine)
    with _timed(engine) as queries:
        begun, begun_cpu = time.perf_counter(), time.process_time()
        report = run_due(engine, settings, NOW)
        round_s, cpu_s = time.perf_counter() - begun, time.process_time() - begun_cpu
    if len(report.evaluations) != blocks:
        raise SystemExit(f"{len(report.evaluations)} of {blocks} blocks were evaluated")
    page_ms = [_ask_page(engine, settings, f"b{number:05d}") for number in range(TRIES)]
    print(
        f"| {blocks:,} | {years} | {round_s:.1f} | {cpu_s:.1f} | {sum(queries):.1f} "
        f"| {1000 * min(page_ms):.1f} |",
        flush=True,
    )
    of_size = f"{database}, {blocks:,} blocks, {years} years"
    if blocks >= LARGEST:
        yield Bar(f"{of_size}: a round, s", round_s, "< 20")
    must_be = "< 20" if years >= WHOLE_YEARS else "< 60"
    yield Bar(f"{of_size}: a page's, ms", 1000 * min(page_ms), must_be)


def _plant_latest(connection: Connection, blocks: int, day: date) -> None:
    """Put in the readings of the last day."""
    instants = instants_of(day, day)
    for place in range(blocks):
        value_c = soil_c(place, instants)
        parts = [
            columns_of(place * len(DEPTHS_CM) + row + 1, instants, value_c[:, row])
            for row in range(len(DEPTHS_CM))
        ]
        together = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
        insert_columns(connection, tables.reading, together)


def _ask_page(engine: Engine, settings: Settings, block_id: str) -> float:
    """Return how long it takes to find the windows of a block, as its page does [s]."""
    begun = time.perf_counter()
    with reading(engine) as connection:
        blocks = fetch_blocks(connection, [block_id])
        evaluate_blocks(connection, blocks, [AS_OF], 2, settings.sensor_accuracy_c)
    return time.perf_counter() - begun


@contextmanager
def _timed(engine: Engine) -> Iterator[list[float]]:
    """Give how long each statement took, as they are executed [s]."""
    spent: list[float] = []
    begun: list[float] = []

    def before(*_: object) -> None:
        begun.append(time.perf_counter())

    def after(*_: object) -> None:
        spent.append(time.perf_counter() - begun.pop())

    event.listen(engine, "before_cursor_execute", before)
    event.listen(engine, "after_cursor_execute", after)
    try:
        yield spent
    finally:
        event.remove(engine, "before_cursor_execute", before)
        event.remove(engine, "after_cursor_execute", after)


@contextmanager
def _empty_store(database: str) -> Iterator[Engine]:
    with empty_store(database == "postgresql") as (data, url):
        engine = open_engine(url or Settings(data=data).store_url)
        upgrade(engine)
        yield engine
        engine.dispose()


def _settle(engine: Engine) -> None:
    """Let PostgreSQL see what it holds, as it does by itself within minutes."""
    if engine.dialect.name == "postgresql":
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text("vacuum analyze"))


def _size(engine: Engine) -> int:
    """Return what readings take with their key [bytes]."""
    with reading(engine) as connection:
        if engine.dialect.name == "postgresql":
            parts = text("select sum(pg_total_relation_size(inhrelid)) from pg_inherits")
            return int(connection.execute(parts).scalar_one())
        return int(
            connection.execute(
                text("select sum(pgsize) from dbstat where name = 'reading'")
            ).scalar_one()
        )


def _choose() -> Namespace:
    parser = ArgumentParser(description=__doc__)
    parser.add_argument("--loggers", type=int, default=20)
    parser.add_argument("--blocks", type=int, nargs="*", default=[200])
    parser.add_argument("--years", type=int, nargs="*", default=[1, 3])
    parser.add_argument("--database", nargs="+", default=["sqlite", "postgresql"])
    return parser.parse_args()


if __name__ == "__main__":
    main()
