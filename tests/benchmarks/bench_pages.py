"""How long pages of a region take while people read: 20 of them, each a page every 5 seconds.

Run: python -m tests.benchmarks.bench_pages [--blocks N] [--seconds N] [--postgresql]
"""

from __future__ import annotations

import os
import re
import time
from argparse import ArgumentParser
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from itertools import cycle
from multiprocessing import get_context
from pathlib import Path
from statistics import median, quantiles
from tempfile import TemporaryDirectory

from sqlalchemy import Engine

from service.daily_means import pack_daily_means
from service.rounds import run_due
from service.settings import Settings
from service.store.accounts import Role, set_places
from service.store.engine import open_engine, writing
from service.store.schema import upgrade
from tests.benchmarks.region import OFFSET_H, plant_batches, plant_days, plant_places
from tests.pg import cluster
from tests.processes import serving
from tests.signed_in import plant_account, sign_in_as

READERS, EVERY_S = 20, 5.0
OF_GROWER = 3  # blocks; every fifth reader is a coordinator of all
YEARS = 2
NICE = 10
BARS_MS = (100, 250)
PAGES = ("/today", "/blocks/{}", "/sign-in")
"""In turn. The last is the plain alternative: it asks no more than who has an account, and shows
nothing of the region.
"""

Readers = list[tuple[str, list[str]]]
"""Mail addresses, and ids of blocks that each looks at."""


def main() -> None:
    """Print what each page took."""
    parser = ArgumentParser(description=__doc__)
    parser.add_argument("--blocks", type=int, default=2000)
    parser.add_argument("--seconds", type=float, default=120)
    parser.add_argument("--postgresql", action="store_true")
    chosen = parser.parse_args()
    with _store(chosen.postgresql) as (data, url):
        engine = open_engine(url or f"sqlite:///{data}/digseason.db")
        upgrade(engine)
        readers = plant_region(engine, data, chosen.blocks)
        engine.dispose()
        with serving(data, url, None, "--pages-only") as here:
            show_weight(here, readers[1])
            with get_context("spawn").Pool(1, os.nice, (NICE,)) as beside:
                spent_ms = beside.apply(read_together, (here, readers, chosen.seconds))
    print("\n| page | opened | median, ms | 95th percentile, ms |\n|---|---|---|---|")
    for page, of_page in spent_ms.items():
        late_ms = quantiles(of_page, n=20)[-1]
        print(f"| {page} | {len(of_page)} | {median(of_page):.0f} | {late_ms:.0f} |")
    print("\nmust be < {} at the median, < {} at the 95th percentile".format(*BARS_MS))


def plant_region(engine: Engine, data: Path, blocks: int) -> Readers:
    """Put a region in, with its last round; return its readers."""
    now = datetime.now(UTC)
    yesterday = (now - timedelta(hours=OFFSET_H)).date() - timedelta(days=1)
    with writing(engine) as connection:
        plant_places(connection, blocks)
        plant_days(connection, blocks, yesterday - timedelta(days=365 * YEARS), yesterday)
        plant_batches(connection, blocks, now)
    run_due(engine, Settings(data=data), now)
    pack_daily_means(engine, now)  # as `digseason serve` does every few hours
    readers: Readers = []
    for number in range(READERS):
        first = number * (blocks // READERS)
        places = [f"{place:05d}" for place in range(first, first + OF_GROWER)]
        role: Role = "coordinator" if number % 5 == 0 else "grower"
        account = plant_account(engine, f"r{number}@example.org", role)
        if role == "grower":
            with writing(engine) as connection:
                set_places(connection, account.id, [f"s{one}" for one in places], [])
        readers.append((account.email, [f"b{one}" for one in places]))
    return readers


def read_together(here: str, readers: Readers, seconds: float) -> dict[str, list[float]]:
    """Return how long each page took [ms], by the pattern of its address."""
    browsers = [(sign_in_as(here, email), block_ids) for email, block_ids in readers]
    for browser, _ in browsers:
        browser.headers["Connection"] = "close"  # a pause is as long as a server keeps it open
    spent_ms: dict[str, list[float]] = {page: [] for page in PAGES}
    begun = time.monotonic()

    def read(number: int) -> None:
        browser, block_ids = browsers[number]
        pages, ids = cycle(PAGES), cycle(block_ids)
        due = begun + number * EVERY_S / READERS
        while due < begun + seconds:
            time.sleep(max(0.0, due - time.monotonic()))
            page = next(pages)
            asked = time.perf_counter()
            answer = browser.get(here + page.format(next(ids)), timeout=60)
            spent_ms[page].append(1000 * (time.perf_counter() - asked))
            answer.raise_for_status()
            due += EVERY_S

    with ThreadPoolExecutor(len(browsers)) as pool:
        list(pool.map(read, range(len(browsers))))
    return spent_ms


def show_weight(here: str, reader: tuple[str, list[str]]) -> None:
    """Print what the first view of a block's page takes over the wire, with all that is in it."""
    email, block_ids = reader
    browser = sign_in_as(here, email)
    page = browser.get(f"{here}/blocks/{block_ids[0]}", timeout=60)
    parts = re.findall(r'<(?:link|img|script)[^>]* (?:href|src)="(/[^"]+)"', page.text)
    answers = [page, *(browser.get(here + path, timeout=60) for path in sorted({*parts}))]
    total = sum(int(one.headers["Content-Length"]) for one in answers)
    print(f"first view of a block: {total / 1000:.1f} kB in {len(answers)} answers, must be < 120")


@contextmanager
def _store(on_postgresql: bool) -> Iterator[tuple[Path, str]]:
    """Give a folder, and the address of a database that is not in it, or ""."""
    with TemporaryDirectory() as folder:
        if not on_postgresql:
            yield Path(folder), ""
            return
        with cluster() as server, server.database() as name:
            yield Path(folder), server.url(name)


if __name__ == "__main__":
    main()
