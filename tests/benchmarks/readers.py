"""People who read pages of a generated region, each a page every few seconds."""

from __future__ import annotations

import math
import time
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from functools import partial
from http.client import OK
from itertools import cycle
from pathlib import Path
from typing import NamedTuple

import numpy as np
import requests
from sqlalchemy import Engine

from service.daily_means import pack_daily_means
from service.rounds import run_due
from service.settings import Settings
from service.store.accounts import Role, set_places
from service.store.engine import writing
from tests.benchmarks.region import OFFSET_H, plant_batches, plant_days, plant_places
from tests.signed_in import plant_account, sign_in_as

OF_GROWER = 3  # blocks; every fifth reader is a coordinator of all
YEARS = 2
PAGES = ("/today", "/blocks/{}", "/sign-in")
"""In turn. The last is the plain alternative: it asks no more than who has an account, and shows
nothing of the region.
"""


class Reader(NamedTuple):
    """Who signs in, and the ids of the blocks that they look at."""

    email: str
    block_ids: list[str]


class Answer(NamedTuple):
    """What was asked for, how long it took [ms], and its status; 0: there was no answer."""

    asked: str
    took_ms: float
    status: int


def plant_region(engine: Engine, data: Path, blocks: int, readers: int) -> list[Reader]:
    """Put a region in, with its last round; return its readers."""
    now = datetime.now(UTC)
    yesterday = (now - timedelta(hours=OFFSET_H)).date() - timedelta(days=1)
    with writing(engine) as connection:
        plant_places(connection, blocks)
        plant_days(connection, blocks, yesterday - timedelta(days=365 * YEARS), yesterday)
        plant_batches(connection, blocks, now)
    run_due(engine, Settings(data=data), now)
    pack_daily_means(engine, now)  # as `digseason serve` does every few hours
    return [
        _plant_reader(engine, number, number * (blocks // readers)) for number in range(readers)
    ]


def _plant_reader(engine: Engine, number: int, first: int) -> Reader:
    places = [f"{place:05d}" for place in range(first, first + OF_GROWER)]
    role: Role = "coordinator" if number % 5 == 0 else "grower"
    account = plant_account(engine, f"r{number}@example.org", role)
    if role == "grower":
        with writing(engine) as connection:
            set_places(connection, account.id, [f"s{one}" for one in places], [])
    return Reader(account.email, [f"b{one}" for one in places])


def read_together(
    here: str, readers: Sequence[Reader], seconds: float, every_s: float
) -> list[Answer]:
    """Return what each page of each reader took."""
    browsers = [sign_in_as(here, one.email) for one in readers]
    for browser in browsers:
        browser.headers["Connection"] = "close"  # a pause is as long as a server keeps it open
    answers: list[Answer] = []
    begun = time.monotonic()

    def read(number: int) -> None:
        pages, ids = cycle(PAGES), cycle(readers[number].block_ids)
        due = begun + number * every_s / len(readers)
        while due < begun + seconds:
            time.sleep(max(0.0, due - time.monotonic()))
            page = next(pages)
            get = partial(browsers[number].get, here + page.format(next(ids)), timeout=60)
            answers.append(time_answer(page, get))
            due += every_s

    with ThreadPoolExecutor(len(browsers)) as pool:
        list(pool.map(read, range(len(browsers))))
    return answers


def show_answers(answers: Sequence[Answer]) -> None:
    """Print how long what was asked for took, and how much of it failed."""
    print("\n| what | asked | failed | median, ms | 95th percentile | 99th percentile | longest |")
    print("|---|---|---|---|---|---|---|")
    for asked in dict.fromkeys(one.asked for one in answers):
        of_kind = [one for one in answers if one.asked == asked]
        failed = Counter(one.status for one in of_kind if one.status != OK)
        by_status = ", ".join(f"{count} x {status}" for status, count in failed.items())
        cells = [f"{find_percentile_ms(of_kind, share):.0f}" for share in (50, 95, 99, 100)]
        print(f"| {asked} | {len(of_kind)} | {by_status or 0} | {' | '.join(cells)} |", flush=True)


def find_percentile_ms(answers: Sequence[Answer], share: float) -> float:
    """Return what so many of a hundred answers took at most, failures apart; NaN without any."""
    took_ms = [one.took_ms for one in answers if one.status == OK]
    return float(np.percentile(took_ms, share)) if took_ms else math.nan


def time_answer(asked: str, ask: Callable[[], requests.Response]) -> Answer:
    """Ask for something; return what it took."""
    begun = time.perf_counter()
    try:
        status = ask().status_code
    except requests.RequestException:
        status = 0
    return Answer(asked, 1000 * (time.perf_counter() - begun), status)
