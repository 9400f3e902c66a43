"""A block whose root-zone days a test writes down itself, without readings and files."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

import numpy as np
from sqlalchemy import Connection, Engine, insert

from probes.frames import DailyMeans
from probes.units import f_to_c
from service.store import tables
from service.store.daily import store_daily_means
from service.store.engine import writing

PROBE = 1


def plant_block(connection: Connection, *, south: bool = False, name: str = "Terrace 7") -> None:
    """Put in a site with one block, "terrace-7", and one probe at 30 cm."""
    rows = [
        (tables.organisation, {"id": 1, "name": "Alder Bench Growers"}),
        (
            tables.site,
            {
                "id": "upper",
                "name": "Upper Alder",
                "timezone": "Australia/Sydney" if south else "America/Los_Angeles",
                "utc_offset_min": 600 if south else -480,
                "latitude": -33.4 if south else 45.1,
                "longitude": 0.0,
                "checks": "standard",
                "use_suspect": False,
            },
        ),
        (
            tables.block,
            {
                "id": "terrace-7",
                "site_id": "upper",
                "name": name,
                "root_zone_top_cm": 15.0,
                "root_zone_bottom_cm": 45.0,
                "weights": "even",
                "rule": "grape-phylloxera",
            },
        ),
        (tables.layout, {"name": "plain", "spec": {}}),
        (tables.logger, {"id": "u1", "site_id": "upper", "layout_name": "plain"}),
        (tables.probe, {"id": PROBE, "logger_id": "u1", "channel": "T30"}),
        (
            tables.probe_stretch,
            {
                "probe_id": PROBE,
                "valid_from": date.min,
                "depth_cm": 30.0,
                "calibration_offset_c": 0.0,
            },
        ),
    ]
    for table, row in rows:
        connection.execute(insert(table), row)


def plant_place(
    connection: Connection,
    block_id: str,
    *,
    longitude: float = 0.05,
    elevation_m: float | None = None,
    probe_id: int | None = None,
    kind: str = "files",
) -> None:
    """Put in a block at a site of its own, or a station there; without a probe unless it is given.

    A degree of longitude is 78 km there.
    """
    site_id = f"at-{block_id}"
    site = {"id": site_id, "name": f"At {block_id.title()}", "timezone": "America/Los_Angeles"}
    place = {"utc_offset_min": -480, "latitude": 45.1, "longitude": longitude}
    more = {"elevation_m": elevation_m, "checks": "standard", "use_suspect": False}
    block = {"id": block_id, "site_id": site_id, "name": block_id.title(), "weights": "even"}
    zone = {"root_zone_top_cm": 15.0, "root_zone_bottom_cm": 45.0, "rule": "grape-phylloxera"}
    connection.execute(insert(tables.site), site | place | more)
    if kind == "files":
        connection.execute(insert(tables.block), block | zone)
    if probe_id is not None:
        logger = {"id": f"of-{block_id}", "site_id": site_id, "kind": kind}
        stretch = {"probe_id": probe_id, "depth_cm": 30.0, "calibration_offset_c": 0.0}
        connection.execute(insert(tables.logger), logger)
        connection.execute(
            insert(tables.probe), {"id": probe_id, "logger_id": logger["id"], "channel": "T30"}
        )
        connection.execute(insert(tables.probe_stretch), stretch | {"valid_from": date.min})


def plant_recipient(
    connection: Connection, name: str, channels: Sequence[str] = ("mail",), hour: int = 7
) -> None:
    """Put in a recipient of every block."""
    row = {
        "name": name,
        "role": "grower",
        "email": f"{name.split()[0].lower()}@example.org",
        "phone": "+15550100",
        "channels": list(channels),
        "language": "en",
        "unit": "F",
        "hour": hour,
        "all_blocks": True,
    }
    connection.execute(insert(tables.recipient), row)


def plant_days(
    connection: Connection,
    first: date,
    temps_f: Iterable[float | None],
    probe_id: int = PROBE,
) -> None:
    """Write daily means of the probe from a day on; None is a day that is not complete."""
    mean_c = np.array([np.nan if temp is None else f_to_c(temp) for temp in temps_f])
    days = np.datetime64(first) + np.arange(mean_c.size)
    complete = ~np.isnan(mean_c)
    slots = np.full(mean_c.size, 24, np.int16)
    gaps = np.zeros(mean_c.size, np.int16)
    means = DailyMeans(days, mean_c, slots, slots, gaps, complete)
    store_daily_means(connection, probe_id, days, means)


def plant_opening(engine: Engine, readers: Sequence[str]) -> None:
    """Put in a block whose spring opened on 4 May 2025, and readers who do not know yet."""
    with writing(engine) as connection:
        plant_block(connection)
        for name in readers:
            plant_recipient(connection, name)
        plant_days(connection, date(2025, 4, 1), [50.0] * 30 + [70.0] * 5)
