"""A region at work: its loggers push, people read, rounds run; how well, and how large it grows.

Pages and jobs are processes of their own, as deploy/systemd has them.

Run: python -m tests.benchmarks.bench_load [--minutes N] [--loggers N] [--readers N] [--postgresql]
"""

from __future__ import annotations

import os
import time
from argparse import ArgumentParser
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import requests
from sqlalchemy import Engine, func, select

from service.settings import Settings
from service.store.engine import open_engine, reading, writing
from service.store.rounds import fetch_last_round_at
from service.store.schema import upgrade
from service.store.tables import outlook, round_
from service.store.tokens import add_token
from tests.benchmarks.readers import (
    Answer,
    plant_region,
    read_together,
    show_answers,
    time_answer,
)
from tests.benchmarks.region import DEPTHS_CM, empty_store, soil_c
from tests.processes import find_console, serving, start

PUSH_S, READ_S, LOOK_S = 15 * 60.0, 10.0, 15.0
SENDERS = 16  # pushes that may be on their way at once
NICE = 10
PAGE_BYTES = os.sysconf("SC_PAGE_SIZE")


def main() -> None:
    """Print how pushes and pages were answered, how far rounds lag, what memory is taken."""
    parser = ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=3)
    parser.add_argument("--loggers", type=int, default=2000)
    parser.add_argument("--readers", type=int, default=50)
    parser.add_argument("--postgresql", action="store_true")
    chosen = parser.parse_args()
    seconds = 60 * chosen.minutes
    with empty_store(chosen.postgresql) as (data, url):
        engine = open_engine(url or Settings(data=data).store_url)
        upgrade(engine)
        readers = plant_region(engine, data, chosen.loggers, chosen.readers)
        with writing(engine) as connection:
            tokens = [
                add_token(connection, f"l{place:05d}", datetime.now(UTC))
                for place in range(chosen.loggers)
            ]
        with (
            serving(data, url, None, "--pages-only") as here,
            running_jobs(data, url) as jobs,
            get_context("spawn").Pool(2, os.nice, (NICE,)) as beside,
        ):
            reads = beside.apply_async(read_together, (here, readers, seconds, READ_S))
            pushes = beside.apply_async(push_together, (here, tokens, seconds))
            watch(engine, {"pages": find_process(data), "jobs": jobs}, seconds)
            answers = [*pushes.get(), *reads.get()]
        show_answers(answers)
        print("".join(f"\n{line}" for line in find_console(data).read_text().splitlines()[-3:]))
        with reading(engine) as connection:
            rounds = connection.scalar(select(func.count()).select_from(round_))
            outlooks = connection.scalar(select(func.count(func.distinct(outlook.c.issued_on))))
        print(f"\n{rounds} rounds, outlooks of {outlooks} days")
        engine.dispose()


def push_together(here: str, tokens: Sequence[str], seconds: float) -> list[Answer]:
    """Let each logger push a reading of each depth every quarter of an hour, evenly spread."""
    browser = requests.Session()
    browser.headers["Connection"] = "close"
    begun = time.monotonic()

    def push(number: int) -> Answer:
        due = begun + number * PUSH_S / len(tokens)
        time.sleep(max(0.0, due - time.monotonic()))
        place = number % len(tokens)
        at = datetime.now(UTC).replace(second=0, microsecond=0) - timedelta(minutes=1)
        of_depths = soil_c(place, np.array([at.replace(tzinfo=None)], "M8[us]"))[0]
        readings = [
            {"observed_at": at.isoformat(), "depth_cm": depth_cm, "soil_temp_c": value_c}
            for depth_cm, value_c in zip(DEPTHS_CM, of_depths.tolist(), strict=True)
        ]
        bearer = {"Authorization": f"Bearer {tokens[place]}"}
        body = {"readings": readings}
        post = partial(browser.post, f"{here}/api/readings", json=body, headers=bearer, timeout=60)
        return time_answer("push", post)

    with ThreadPoolExecutor(SENDERS) as pool:
        return list(pool.map(push, range(int(seconds * len(tokens) / PUSH_S))))


@contextmanager
def running_jobs(data: Path, url: str) -> Iterator[int]:
    """Run `digseason jobs` beside; give the number of its process."""
    with find_console(data).with_suffix(".jobs").open("w") as stdout:
        process = start(data, "jobs", database_url=url, stdout=stdout)
    try:
        yield process.pid
    finally:
        process.terminate()
        process.wait(60)


def watch(engine: Engine, processes: Mapping[str, int], seconds: float) -> None:
    """Print, each minute, how long ago a round last began and what memory each process takes."""
    begun, lag_s = time.monotonic(), 0.0
    minutes: list[float] = []
    resident_mb: list[list[float]] = []
    names = "".join(f" {name}, MB |" for name in processes)
    print(f"| minute | since a round began, at most, s |{names}\n|{'---|' * (2 + len(processes))}")
    while (now := time.monotonic()) < begun + seconds:
        with reading(engine) as connection:
            last_at = fetch_last_round_at(connection)
        lag_s = max(lag_s, (datetime.now(UTC) - last_at).total_seconds() if last_at else 0.0)
        minutes.append((now - begun) / 60)
        resident_mb.append([find_resident_mb(one) for one in processes.values()])
        if int(minutes[-1]) > int(minutes[-2] if len(minutes) > 1 else 0):
            cells = "".join(f" {mb:.0f} |" for mb in resident_mb[-1])
            print(f"| {minutes[-1]:.0f} | {lag_s:.0f} |{cells}", flush=True)
            lag_s = 0.0
        time.sleep(LOOK_S)
    later = len(minutes) // 2
    slopes = np.polyfit(minutes[later:], resident_mb[later:], 1)[0]
    for name, slope in zip(processes, slopes, strict=True):
        print(f"\nin the second half the memory of {name} grew by {60 * slope:.1f} MB an hour")


def find_process(data: Path) -> int:
    """Return the number of the process that serves a folder."""
    for one in Path("/proc").glob("[0-9]*"):
        words = (one / "cmdline").read_bytes().split(b"\0")
        if b"serve" in words and str(data).encode() in words:
            return int(one.name)
    raise SystemExit("the service does not run")


def find_resident_mb(process: int) -> float:
    """Return the memory that a process holds [MB]."""
    return int(Path(f"/proc/{process}/statm").read_text().split()[1]) * PAGE_BYTES / 1e6


if __name__ == "__main__":
    main()
