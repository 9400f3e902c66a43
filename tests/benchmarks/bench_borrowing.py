"""How long a round takes where most blocks borrow: 300 with probes, 700 without; processor seconds.

Run: python -m tests.benchmarks.bench_borrowing
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from sqlalchemy import Connection, Table, insert

from service.evaluation import evaluate_blocks
from service.outlooks import find_block_outlooks
from service.rounds import run_round
from service.settings import Settings
from service.store import tables
from service.store.blocks import fetch_blocks
from service.store.engine import open_engine, reading, writing
from service.store.schema import upgrade
from tests.benchmarks.bench_engine import make_series

N_PROBED, N_BARE, DEPTHS_CM = 300, 700, (15.0, 30.0, 45.0)
FIRST, AS_OF = date(2011, 1, 1), date(2014, 4, 20)
NOW = datetime(2014, 4, 21, 12, tzinfo=UTC)


def main() -> None:
    """Time a round of all blocks, and its parts with all of them and with those with probes."""
    with TemporaryDirectory() as folder:
        engine = open_engine(f"sqlite:///{folder}/digseason.db")
        upgrade(engine)
        with writing(engine) as connection:
            plant(connection)
        print("| what | blocks with probes, s | all 1,000, s |\n|---|---|---|")
        with reading(engine) as connection:
            begun = time.process_time()
            blocks = fetch_blocks(connection)
            print(f"| reading the blocks | | {time.process_time() - begun:.1f} |")
            probed = [block for block in blocks if block.is_probed]
            for name, find in (
                ("windows of two seasons", lambda c, b, d: evaluate_blocks(c, b, d, 2, 0.2)),
                ("outlooks", lambda c, b, d: find_block_outlooks(c, b, d, 0.2)),
            ):
                spent = []
                for some in (probed, blocks):
                    begun = time.process_time()
                    found = find(connection, some, [AS_OF] * len(some))
                    spent.append(time.process_time() - begun)
                    if len(found) != len(some):
                        raise SystemExit("a block is missing")
                print(f"| {name} | {spent[0]:.1f} | {spent[1]:.1f} |")
        begun = time.process_time()
        report = run_round(engine, Settings(data=Path(folder)), NOW, AS_OF)
        spent_s = time.process_time() - begun
        borrowed = sum(bool(one.root_zone.borrowed[-1]) for one in report.evaluations)
        print(f"| a round, {borrowed} blocks borrowing | | {spent_s:.1f} |")


def plant(connection: Connection) -> None:
    """Put in blocks over a valley of 30 km, those with probes with three years of days."""
    rng = np.random.default_rng(1)
    n = N_PROBED + N_BARE
    ids = [f"b{number:04d}" for number in range(n)]
    places = zip(rng.uniform(45.0, 45.2, n), rng.uniform(0.0, 0.3, n), strict=True)
    site = {"timezone": "America/Los_Angeles", "utc_offset_min": -480, "checks": "standard"}
    zone = {"root_zone_top_cm": 15.0, "root_zone_bottom_cm": 45.0, "weights": "even"}
    rows: list[tuple[Table, Sequence[dict[str, object]]]] = [
        (tables.layout, [{"name": "plain", "spec": {}}]),
        (
            tables.site,
            [
                {"id": one, "name": one, "latitude": at[0], "longitude": at[1]}
                | {"elevation_m": float(rng.uniform(100, 250)), "use_suspect": False, **site}
                for one, at in zip(ids, places, strict=True)
            ],
        ),
        (
            tables.block,
            [
                {"id": one, "site_id": one, "name": one, "rule": "grape-phylloxera", **zone}
                for one in ids
            ],
        ),
        (
            tables.logger,
            [{"id": f"l{one}", "site_id": one, "layout_name": "plain"} for one in ids[:N_PROBED]],
        ),
    ]
    for table, of_table in rows:
        connection.execute(insert(table), of_table)
    days = np.datetime64(FIRST) + np.arange((AS_OF - FIRST).days + 1)
    series_c = make_series(N_PROBED, days.size)
    for number in range(N_PROBED):
        for place, depth_cm in enumerate(DEPTHS_CM):
            probe_id = number * len(DEPTHS_CM) + place + 1
            probe = {"id": probe_id, "logger_id": f"l{ids[number]}", "channel": f"T{place}"}
            connection.execute(insert(tables.probe), probe)
            stretch = {"probe_id": probe_id, "valid_from": date.min, "depth_cm": depth_cm}
            connection.execute(insert(tables.probe_stretch), {**stretch, "calibration_offset_c": 0})
            slots = {"slots_present": 24, "slots_in_day": 24, "longest_gap_h": 0, "complete": True}
            connection.execute(
                insert(tables.daily_mean),
                [
                    {"probe_id": probe_id, "day": day, "mean_c": mean_c, **slots}
                    for day, mean_c in zip(days.tolist(), series_c[number].tolist(), strict=True)
                ],
            )


if __name__ == "__main__":
    main()
