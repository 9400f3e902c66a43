"""A region at work: its loggers push, people read, rounds run; how well, and how large it grows.

Pages and jobs are processes of their own, as deploy/systemd has them. Before all that, some loggers
push one after the other: what a push alone takes.

Run: python -m tests.benchmarks.bench_load [--minutes N] [--loggers N] [--readers N]
     [--database sqlite|postgresql ...]
"""

from __future__ import annotations

import os
import time
from argparse import ArgumentParser, Namespace
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from functools import partial
from http.client import OK
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import requests
from numpy.typing import NDArray
from sqlalchemy import Engine, Table, func, select

from service.settings import Settings
from service.store.engine import open_engine, reading, writing
from service.store.rounds import fetch_last_round_at
from service.store.schema import upgrade
from service.store.tables import outlook, round_
from service.store.tables import reading as kept_reading
from service.store.tokens import add_token
from tests.benchmarks.bars import Bar, judge
from tests.benchmarks.readers import (
    PAGES,
    Answer,
    find_percentile_ms,
    plant_region,
    read_together,
    show_answers,
    time_answer,
)
from tests.benchmarks.region import DEPTHS_CM, empty_store, soil_c
from tests.processes import find_console, serving, start

DATABASES = ("sqlite", "postgresql")
PUSH_S, READ_S, LOOK_S = 15 * 60.0, 10.0, 15.0
LOOKS = 4  # of which a line is printed
SENDERS = 16  # pushes that may be on their way at once
ALONE, BEFORE_H = 100, 48  # loggers that push alone, and of how many hours they have pushed before
NICE = 10
LONG_S = 15 * 60.0  # a run whose last third is held against the middle one; the first warms up
MOST_MS, MOST_LAG_S, MOST_GROWTH = 1000, 180, 1.1
PAGE_BYTES, TICKS = os.sysconf("SC_PAGE_SIZE"), os.sysconf("SC_CLK_TCK")


def main() -> None:
    """Print the figures of each database, and the bars."""
    parser = ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=3)
    parser.add_argument("--loggers", type=int, default=2000)
    parser.add_argument("--readers", type=int, default=50)
    parser.add_argument("--database", nargs="+", choices=DATABASES, default=DATABASES)
    chosen = parser.parse_args()
    judge([bar for database in chosen.database for bar in work(database, chosen)])


def work(database: str, chosen: Namespace) -> list[Bar]:
    """Print how pushes and pages were answered, how far rounds lag, what memory is taken."""
    print(f"\n## {database}\n", flush=True)
    seconds = 60 * chosen.minutes
    with empty_store(database == "postgresql") as (data, url):
        engine = open_engine(url or Settings(data=data).store_url)
        upgrade(engine)
        readers = plant_region(engine, data, chosen.loggers, chosen.readers)
        with writing(engine) as connection:
            tokens = [
                add_token(connection, f"l{place:05d}", datetime.now(UTC))
                for place in range(chosen.loggers)
            ]
        with serving(data, url, None, "--pages-only") as here:
            pages = find_process(data)
            show_pushes_alone(here, tokens, pages)
            before = count_rows(engine, kept_reading)
            with (
                running_jobs(data, url) as jobs,
                get_context("spawn").Pool(2, os.nice, (NICE,)) as beside,
            ):
                reads = beside.apply_async(read_together, (here, readers, seconds, READ_S))
                pushes = beside.apply_async(push_together, (here, tokens, seconds))
                processes = {"pages": pages, "jobs": jobs}
                lag_s, *resident_mb = watch(engine, processes, seconds)
                answers = [*pushes.get(), *reads.get()]
        show_answers(answers)
        print("".join(f"\n{line}" for line in find_console(data).read_text().splitlines()[-3:]))
        with reading(engine) as connection:
            days = connection.scalar(select(func.count(func.distinct(outlook.c.issued_on))))
        print(f"\n{count_rows(engine, round_)} rounds, outlooks of {days} days")
        kept = count_rows(engine, kept_reading) - before
        engine.dispose()
    taken = sum(one.asked == "push" and one.status == OK for one in answers)
    figures = {
        "failed": (sum(one.status != OK for one in answers), 0),
        "readings lost": (len(DEPTHS_CM) * taken - kept, 0),
        "since a round began, s": (lag_s.max(), MOST_LAG_S),
    }
    for asked in ("push", *PAGES):
        of_kind = [one for one in answers if one.asked == asked]
        figures[f"{asked}, 95th percentile, ms"] = (find_percentile_ms(of_kind, 95), MOST_MS)
    for process, held_mb in zip(processes, resident_mb, strict=True):
        _, middle_mb, last_mb = np.array_split(held_mb, 3)
        if seconds >= LONG_S:
            growth = last_mb.mean() / middle_mb.mean()
            figures[f"memory of {process}, last third / middle"] = (growth, MOST_GROWTH)
    return [Bar(f"{database}: {what}", at, f"<= {most}") for what, (at, most) in figures.items()]


def show_pushes_alone(here: str, tokens: Sequence[str], process: int) -> None:
    """Print what a push takes that has no other beside it."""
    browser = make_browser()
    places = range(len(tokens))[-ALONE:]  # who come last when all push
    for place in places:
        before = minute_ago() - np.arange(BEFORE_H, 0, -1) * np.timedelta64(1, "h")
        push(browser, here, tokens[place], place, before)
    begun_s = find_cpu_s(process)
    answers = [push(browser, here, tokens[place], place, minute_ago()) for place in places]
    cpu_ms = 1000 * (find_cpu_s(process) - begun_s) / len(answers)
    print(
        f"a push of {len(DEPTHS_CM)} readings: {cpu_ms:.0f} ms of processor of the service, "
        f"{find_percentile_ms(answers, 50):.0f} ms by the clock\n"
    )


def push_together(here: str, tokens: Sequence[str], seconds: float) -> list[Answer]:
    """Let each logger push a reading of each depth every quarter of an hour, evenly spread."""
    browser = make_browser()
    begun = time.monotonic()

    def push_in_turn(number: int) -> Answer:
        due = begun + number * PUSH_S / len(tokens)
        time.sleep(max(0.0, due - time.monotonic()))
        place = number % len(tokens)
        return push(browser, here, tokens[place], place, minute_ago())

    with ThreadPoolExecutor(SENDERS) as pool:
        return list(pool.map(push_in_turn, range(int(seconds * len(tokens) / PUSH_S))))


def make_browser() -> requests.Session:
    """Return one that comes anew each time, as loggers do."""
    browser = requests.Session()
    browser.headers["Connection"] = "close"
    return browser


def push(
    browser: requests.Session,
    here: str,
    token: str,
    place: int,
    observed_at: NDArray[np.datetime64],
) -> Answer:
    """Push what a logger reads at some instants."""
    stamps = np.datetime_as_string(observed_at, "s", timezone="UTC")
    readings = [
        {"observed_at": stamp, "depth_cm": depth_cm, "soil_temp_c": value_c}
        for stamp, of_depths in zip(stamps.tolist(), soil_c(place, observed_at), strict=True)
        for depth_cm, value_c in zip(DEPTHS_CM, of_depths.tolist(), strict=True)
    ]
    bearer, body = {"Authorization": f"Bearer {token}"}, {"readings": readings}
    post = partial(browser.post, f"{here}/api/readings", json=body, headers=bearer, timeout=60)
    return time_answer("push", post)


def minute_ago() -> NDArray[np.datetime64]:
    """Return the one instant, in UTC."""
    return np.array([np.datetime64("now") - np.timedelta64(1, "m")])


@contextmanager
def running_jobs(data: Path, url: str) -> Iterator[int]:
    """Run `digseason jobs` beside, which must end without a traceback; give its number."""
    console = find_console(data).with_suffix(".jobs")
    with console.open("w") as stdout:
        process = start(data, "jobs", database_url=url, stdout=stdout)
    try:
        yield process.pid
    finally:
        process.terminate()
        process.wait(60)
    assert "Traceback" not in console.read_text()


def watch(engine: Engine, processes: Mapping[str, int], seconds: float) -> NDArray[np.float64]:
    """Print, each minute, how long ago a round last began and what memory each process takes.

    Returns a row of the seconds and one of the MB of each process; a column for each look.
    """
    begun, begun_at = time.monotonic(), datetime.now(UTC)
    looks: list[list[float]] = []
    names = "".join(f" {name}, MB |" for name in processes)
    print(f"| minute | since a round began, at most, s |{names}\n|{'---|' * (2 + len(processes))}")
    while (now := time.monotonic()) < begun + seconds:
        with reading(engine) as connection:
            last_at = fetch_last_round_at(connection) or begun_at
        lag_s = (datetime.now(UTC) - max(last_at, begun_at)).total_seconds()
        looks.append([lag_s, *map(find_resident_mb, processes.values())])
        if len(looks) % LOOKS == 0:
            most_s = max(one[0] for one in looks[-LOOKS:])
            cells = "".join(f" {mb:.0f} |" for mb in looks[-1][1:])
            print(f"| {(now - begun) / 60:.0f} | {most_s:.0f} |{cells}", flush=True)
        time.sleep(LOOK_S)
    return np.array(looks).T


def count_rows(engine: Engine, table: Table) -> int:
    """Return how many rows a table has."""
    with reading(engine) as connection:
        return connection.scalar(select(func.count()).select_from(table)) or 0


def find_process(data: Path) -> int:
    """Return the number of the process that serves a folder."""
    for one in Path("/proc").glob("[0-9]*/cmdline"):
        with suppress(OSError):  # it has ended meanwhile
            words = one.read_bytes().split(b"\0")
            if b"serve" in words and str(data).encode() in words:
                return int(one.parent.name)
    raise SystemExit("the service does not run")


def find_resident_mb(process: int) -> float:
    """Return the memory that a process holds [MB]."""
    return int(Path(f"/proc/{process}/statm").read_text().split()[1]) * PAGE_BYTES / 1e6


def find_cpu_s(process: int) -> float:
    """Return what a process has had of the processors [s]."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS  # utime and stime, by proc(5)


if __name__ == "__main__":
    main()
