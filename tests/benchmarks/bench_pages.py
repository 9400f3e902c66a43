"""How long pages of a region take while people read: 20 of them, each a page every 5 seconds.

Run: python -m tests.benchmarks.bench_pages [--blocks N] [--seconds N] [--postgresql]
"""

from __future__ import annotations

import os
import re
from argparse import ArgumentParser
from http import HTTPStatus
from multiprocessing import get_context

from service.settings import Settings
from service.store.engine import open_engine
from service.store.schema import upgrade
from tests.benchmarks.bars import Bar, judge
from tests.benchmarks.readers import (
    PAGES,
    Reader,
    find_percentile_ms,
    plant_region,
    read_together,
    show_answers,
)
from tests.benchmarks.region import empty_store
from tests.processes import serving
from tests.signed_in import sign_in_as

READERS, EVERY_S = 20, 5.0
NICE = 10
BARS_MS = {50: "< 100", 95: "< 250"}


def main() -> None:
    """Print what each page took."""
    parser = ArgumentParser(description=__doc__)
    parser.add_argument("--blocks", type=int, default=2000)
    parser.add_argument("--seconds", type=float, default=120)
    parser.add_argument("--postgresql", action="store_true")
    chosen = parser.parse_args()
    with empty_store(chosen.postgresql) as (data, url):
        engine = open_engine(url or Settings(data=data).store_url)
        upgrade(engine)
        readers = plant_region(engine, data, chosen.blocks, READERS)
        engine.dispose()
        with serving(data, url, None, "--pages-only") as here:
            weight_kb = weigh(here, readers[1])
            with get_context("spawn").Pool(1, os.nice, (NICE,)) as beside:
                answers = beside.apply(read_together, (here, readers, chosen.seconds, EVERY_S))
    show_answers(answers)
    bars = [Bar("first view of a block, kB", weight_kb, "< 120")]
    bars.append(Bar("failed", sum(one.status != HTTPStatus.OK for one in answers), "<= 0"))
    for page in PAGES:
        of_page = [one for one in answers if one.asked == page]
        bars += [
            Bar(f"{page}, percentile {share}, ms", find_percentile_ms(of_page, share), must_be)
            for share, must_be in BARS_MS.items()
        ]
    judge(bars)


def weigh(here: str, reader: Reader) -> float:
    """Return what the first view of a block's page takes over the wire, with all in it [kB]."""
    browser = sign_in_as(here, reader.email)
    page = browser.get(f"{here}/blocks/{reader.block_ids[0]}", timeout=60)
    parts = re.findall(r'<(?:link|img|script)[^>]* (?:href|src)="(/[^"]+)"', page.text)
    answers = [page, *(browser.get(here + path, timeout=60) for path in sorted({*parts}))]
    return sum(int(one.headers["Content-Length"]) for one in answers) / 1000


if __name__ == "__main__":
    main()
