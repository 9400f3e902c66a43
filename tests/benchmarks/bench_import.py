"""What time of processors an import of 1,000,000 rows x 4 depths takes, beside other ways.

Run: python -m tests.benchmarks.bench_import
Each way runs in processes of its own, in turn; the shorter of two runs counts.
"""

from __future__ import annotations

import json
import resource
import sqlite3
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable
from datetime import UTC, datetime
from itertools import repeat
from pathlib import Path

import numpy as np

from tests.benchmarks.bars import Bar, judge

ROWS, DEPTHS_CM, INTERVAL_MIN = 1_000_000, (15, 30, 45, 60), 10
OTHERS = {"flag": 1, "checks": 0, "import_id": 1}  # the table's other columns
RUNS = 2
NOW = datetime(2026, 1, 1, tzinfo=UTC)
LOG, CHANGED = "log.csv", "one-value-changed.csv"


def write_logs(folder: Path) -> float:
    """Write the logger file, and a twin in which one value in the middle is another."""
    begun = time.process_time()
    random = np.random.default_rng(64)
    minutes = np.arange(ROWS) * INTERVAL_MIN
    stamps = np.datetime64("2005-01-01T00:10") + minutes.astype("m8[m]")
    wave_c = 14 - 9 * np.cos(2 * np.pi * minutes / (365 * 24 * 60))
    cells_c = np.round(wave_c[:, None] + random.normal(0, 1, (ROWS, len(DEPTHS_CM))), 2)
    for name in (LOG, CHANGED):
        rows = zip(np.datetime_as_string(stamps).tolist(), cells_c.tolist(), strict=True)
        with (folder / name).open("w") as log:
            log.write(",".join(["time", *(f"T{depth_cm}" for depth_cm in DEPTHS_CM)]) + "\n")
            for stamp, row in rows:
                log.write(f"{stamp.replace('T', ' ')},{','.join(map(str, row))}\n")
        cells_c[ROWS // 2, 0] = 40.0
    return time.process_time() - begun


def bare_sqlite(folder: Path) -> float:
    """Parse with polars, then executemany of the same tuples into the same table, no more."""
    import polars as pl

    path = empty_store(folder / "bare.db")
    begun = time.process_time()
    frame = pl.read_csv(folder / LOG)
    stamp = pl.col("time").str.to_datetime("%Y-%m-%d %H:%M", time_unit="us")
    ahead_us = 10 * 3_600_000_000  # the logger's clock is UTC+10:00
    epoch_us = frame.select(stamp.dt.epoch("us") - ahead_us).to_series().to_list()
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("pragma synchronous = normal")
    connection.execute("begin immediate")
    for number, depth_cm in enumerate(DEPTHS_CM, start=1):
        rows = zip(
            repeat(number),
            epoch_us,
            frame[f"T{depth_cm}"].to_list(),
            *(repeat(value) for value in OTHERS.values()),
            strict=False,
        )
        columns = ("probe_id", "observed_at", "soil_temp_c", *OTHERS)
        marks = ", ".join("?" * len(columns))
        statement = f"insert into reading ({', '.join(columns)}) values ({marks})"  # noqa: S608
        connection.executemany(statement, rows)
    connection.execute("commit")
    connection.close()
    return time.process_time() - begun


def pandas_to_sql(folder: Path) -> float:
    """pandas.read_csv, melt and to_sql through an SQLAlchemy engine, into the same table."""
    import pandas as pd

    from service.store.engine import open_engine

    engine = open_engine(f"sqlite:///{empty_store(folder / 'pandas.db')}")
    begun = time.process_time()
    frame = pd.read_csv(folder / LOG, parse_dates=["time"])
    channels = {f"T{depth_cm}": number for number, depth_cm in enumerate(DEPTHS_CM, start=1)}
    long = frame.rename(columns=channels).melt("time", None, "probe_id", "soil_temp_c")
    utc = long.pop("time").dt.tz_localize("Etc/GMT-10").dt.tz_convert("UTC")
    long["observed_at"] = utc.astype("int64")
    long.assign(**OTHERS).to_sql(
        "reading", engine, if_exists="append", index=False, chunksize=100_000
    )
    return time.process_time() - begun


def first_import(folder: Path) -> float:
    """Import into a fresh store."""
    from service.farm.apply import apply_farm
    from service.farm.read import farm_from_tables
    from service.store.engine import open_engine, writing
    from tests.farms import farm_text

    engine = open_engine(f"sqlite:///{empty_store(folder / 'digseason.db')}")
    farm = tomllib.loads(farm_text(depths_cm=DEPTHS_CM, interval_min=INTERVAL_MIN))
    with writing(engine) as connection:
        apply_farm(connection, farm_from_tables(farm), NOW, retire=False)
    return import_log(folder, LOG, (len(DEPTHS_CM) * ROWS, 0, 0))


def second_import(folder: Path) -> float:
    """Import the twin into the same store."""
    return import_log(folder, CHANGED, (0, len(DEPTHS_CM) * ROWS - 1, 1))


def import_log(folder: Path, name: str, expected: tuple[int, int, int]) -> float:
    from service.intake.files import import_file
    from service.store.engine import open_engine

    engine = open_engine(f"sqlite:///{folder / 'digseason.db'}")
    begun = time.process_time()
    report = import_file(engine, "u1", folder / name, NOW)
    seconds = time.process_time() - begun
    if (report.inserted, report.identical, report.conflicting) != expected:
        raise SystemExit(f"{name}: {report}")
    return seconds


def empty_store(path: Path) -> Path:
    """Make a store with empty tables, whatever an earlier run has left."""
    from service.store.engine import open_engine
    from service.store.schema import upgrade

    for left in path.parent.glob(f"{path.name}*"):
        left.unlink()
    engine = open_engine(f"sqlite:///{path}")
    upgrade(engine)
    engine.dispose()
    return path


WAYS: dict[str, Callable[[Path], float]] = {
    way.__name__: way for way in (bare_sqlite, pandas_to_sql, first_import, second_import)
}
STEPS = {"write_logs": write_logs, **WAYS}


def measure(step: str, folder: Path) -> tuple[float, float]:
    """Run one step in a process of its own; return its seconds and its peak memory in MB."""
    words = [sys.executable, "-m", "tests.benchmarks.bench_import", step, str(folder)]
    done = subprocess.run(words, check=True, capture_output=True, text=True)  # noqa: S603 (our own)
    seconds, peak_mb = json.loads(done.stdout)
    return seconds, peak_mb


def main() -> None:
    """Run every way in turn and print the figures with the bars they must meet."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        measure("write_logs", folder)  # apart: a child is charged with its parent's memory
        runs = [{way: measure(way, folder) for way in WAYS} for _ in range(RUNS)]
    seconds = {way: min(run[way][0] for run in runs) for way in WAYS}
    peak_mb = {way: max(run[way][1] for run in runs) for way in WAYS}
    first_s = seconds["first_import"]
    print("| what | CPU seconds | peak memory, MB |\n|---|---|---|")
    for way in WAYS:
        print(f"| {way.replace('_', ' ')} | {seconds[way]:.1f} | {peak_mb[way]:.0f} |")
    judge(
        [
            Bar("first import / bare sqlite", first_s / seconds["bare_sqlite"], "<= 1.8"),
            Bar("pandas to sql / first import", seconds["pandas_to_sql"] / first_s, ">= 2.2"),
            Bar("second import / first import", seconds["second_import"] / first_s, "<= 0.7"),
            Bar("peak memory of the import, MB", peak_mb["first_import"], "< 1000"),
        ]
    )


if __name__ == "__main__":
    if len(sys.argv) == 1:
        main()
    else:
        elapsed_s = STEPS[sys.argv[1]](Path(sys.argv[2]))
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
        print(json.dumps([elapsed_s, peak]))
