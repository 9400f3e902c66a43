"""A generated region: a site, a block and a logger each, and years of what the loggers read."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, insert

from service.store import tables
from service.store.bulk import Columns, insert_columns
from tests.pg import cluster

DEPTHS_CM = (15.0, 30.0, 45.0, 60.0)
CHANNELS = tuple(f"T{depth_cm:.0f}" for depth_cm in DEPTHS_CM)
AS_OF = date(2026, 4, 20)
NOW = datetime(2026, 4, 21, 12, tzinfo=UTC)
OFFSET_H = 8  # a day begins at 08:00 UTC
HOURS = 24
SIDE_DEG = 1.6  # of the square in which the sites lie: about 180 km
SITES_AT_ONCE = 100  # whose days are made together


def plant_places(connection: Connection, n: int) -> None:
    """Put in n sites, each with a block and a logger of four depths; probes are numbered from 1."""
    rng = np.random.default_rng(1)
    ids = [f"{number:05d}" for number in range(n)]
    latitude, longitude = rng.uniform(45.0, 45.0 + SIDE_DEG, (2, n)).tolist()
    height_m = rng.uniform(100, 400, n).tolist()
    zone = {"root_zone_top_cm": 15.0, "root_zone_bottom_cm": 45.0, "weights": "even"}
    clock = {"timezone": "America/Los_Angeles", "utc_offset_min": -60 * OFFSET_H}
    judged = {"checks": "standard", "use_suspect": False}
    stretch = {"valid_from": date.min, "calibration_offset_c": 0.0}
    probes = [
        (place * len(DEPTHS_CM) + row + 1, f"l{one}", row)
        for place, one in enumerate(ids)
        for row in range(len(DEPTHS_CM))
    ]
    rows = {
        tables.layout: [{"name": "plain", "spec": {"interval_min": 60}}],
        tables.site: [
            {"id": f"s{one}", "name": f"Site {one}", "latitude": lat, "longitude": 0.5 * long - 22}
            | {"elevation_m": height, **clock, **judged}
            for one, lat, long, height in zip(ids, latitude, longitude, height_m, strict=True)
        ],
        tables.block: [
            {"id": f"b{one}", "site_id": f"s{one}", "name": f"Block {one}", **zone}
            | {"rule": "grape-phylloxera"}
            for one in ids
        ],
        tables.logger: [
            {"id": f"l{one}", "site_id": f"s{one}", "layout_name": "plain"} for one in ids
        ],
        tables.probe: [
            {"id": number, "logger_id": logger_id, "channel": CHANNELS[row]}
            for number, logger_id, row in probes
        ],
        tables.probe_stretch: [
            {"probe_id": number, "depth_cm": DEPTHS_CM[row], **stretch} for number, _, row in probes
        ],
    }
    for table, of_table in rows.items():
        connection.execute(insert(table), of_table)


def instants_of(first: date, last: date) -> NDArray[np.datetime64]:
    """Return the hourly instants of days of the sites, the end of the last one included."""
    days = (last - first).days + 1
    begin = np.datetime64(first, "us") + np.timedelta64(OFFSET_H, "h")
    return begin + np.arange(1, HOURS * days + 1) * np.timedelta64(1, "h")


def soil_c(place: int, instants: NDArray[np.datetime64]) -> NDArray[np.float64]:
    """Return what a logger reads, instants x depths, to a hundredth [degC].

    A yearly and a daily wave, less deep in the soil, and noise.
    """
    rng = np.random.default_rng([place, instants.size])
    hours = instants.astype("M8[h]").astype(np.int64)[:, np.newaxis]
    deep = np.exp(-np.array(DEPTHS_CM) / 250)
    shallow = np.exp(-np.array(DEPTHS_CM) / 12)
    lag_h = np.array(DEPTHS_CM)
    year = -np.cos(2 * np.pi * (hours - 24 * 25 - 10 * lag_h) / 8766)
    day = -np.cos(2 * np.pi * (hours - OFFSET_H - 5 - lag_h / 4) / 24)
    level_c = 13 + (place % 37) / 10
    noise_c = rng.normal(0, 0.03, (instants.size, len(DEPTHS_CM)))
    return np.round(level_c + 9 * deep * year + 6 * shallow * day + noise_c, 2)


def columns_of(
    probe_id: int, instants: NDArray[np.datetime64], value_c: NDArray[np.float64]
) -> Columns:
    """Return readings of a probe that are good, as the table has them."""
    size = instants.size
    return {
        "probe_id": np.full(size, probe_id, np.int32),
        "observed_at": instants,
        "soil_temp_c": value_c,
        "flag": np.ones(size, np.int8),
        "checks": np.zeros(size, np.int32),
        "import_id": np.ones(size, np.int32),
    }


def plant_days(connection: Connection, n: int, first: date, last: date) -> None:
    """Put in the daily means of n loggers."""
    days = np.arange(np.datetime64(first), np.datetime64(last) + 1)
    noon: NDArray[np.datetime64] = days + np.timedelta64(OFFSET_H + HOURS // 2, "h")
    for begin in range(0, n, SITES_AT_ONCE):
        places = range(begin, min(n, begin + SITES_AT_ONCE))
        mean_c = np.concatenate([soil_c(place, noon).T.ravel() for place in places])
        probes = np.arange(len(places) * len(DEPTHS_CM)) + begin * len(DEPTHS_CM) + 1
        size = mean_c.size
        slots, gap_h = np.full(size, HOURS, np.int16), np.zeros(size, np.int16)
        columns = {
            "probe_id": np.repeat(probes.astype(np.int32), days.size),
            "day": np.tile(days, probes.size),
            "mean_c": mean_c,
            "slots_present": slots,
            "slots_in_day": slots,
            "longest_gap_h": gap_h,
            "complete": np.ones(size, np.bool_),
        }
        insert_columns(connection, tables.daily_mean, columns)


def plant_batches(connection: Connection, n: int, arrived_at: datetime) -> None:
    """Put in an import of each logger, which brought nothing."""
    counts = dict.fromkeys(("inserted", "identical", "conflicting", "rejected", "missing"), 0)
    what = {"source": "push", "file": "push", "sha256": "", "imported_at": arrived_at, "signs": []}
    ends = {"first_at": arrived_at, "last_at": arrived_at, "changed_at": arrived_at}
    rows = [{"logger_id": f"l{place:05d}", **what, **counts, **ends} for place in range(n)]
    connection.execute(insert(tables.import_batch), rows)


@contextmanager
def empty_store(on_postgresql: bool) -> Iterator[tuple[Path, str]]:
    """Give a folder, and the address of an empty database that is not in it, or ""."""
    with TemporaryDirectory() as folder:
        if not on_postgresql:
            yield Path(folder), ""
            return
        with cluster() as server, server.database() as name:
            yield Path(folder), server.url(name)
