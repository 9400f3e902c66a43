"""From the store to the rows of an archive, a bounded number at a time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from sqlalchemy import Connection

from service.archive.tables import DAILY, READINGS
from service.daily_means import find_stretches
from service.store.archive import fetch_days, iterate_pages
from service.store.loggers import Logger, Probe

PAGE_ROWS = 250_000


def iterate_readings(
    connection: Connection, logger: Logger, probe: Probe, year: int, since: date, until: date
) -> Iterator[pa.Table]:
    """Yield the readings of a probe in a year of UTC, of the site's days from one to another."""
    day_begins = timedelta(minutes=-logger.utc_offset_min)
    instant = timedelta(microseconds=1)  # midnight: of the day it ends, of the year it begins
    first, last = _midnight(year) - instant, _midnight(year + 1) - instant
    if since.year >= year - 1:
        first = max(first, _midnight_of(since) + day_begins)
    if until.year <= year + 1:
        last = min(last, _midnight_of(until) + timedelta(days=1) + day_begins)
    for page in iterate_pages(connection, probe.id, first, last, PAGE_ROWS):
        observed_at, stamped_at = page["observed_at"], page["stamped_at"]
        columns = {
            "observed_at": observed_at,
            **_place(logger, probe, observed_at),
            "soil_temp_c": page["soil_temp_c"],
            "flag": page["flag"],
            "stamped_at": np.where(stamped_at == observed_at, np.datetime64("NaT"), stamped_at),
            "import_number": page["import_id"],
        }
        yield to_table(columns, READINGS)


def iterate_days(
    connection: Connection, logger: Logger, probe: Probe, year: int, since: date, until: date
) -> Iterator[pa.Table]:
    """Yield the daily means of a probe in a year, from one day to another."""
    first, last = max(since, date(year, 1, 1)), min(until, date(year, 12, 31))
    columns = fetch_days(connection, probe.id, first, last)
    if columns["day"].size:
        days: NDArray[np.datetime64] = columns["day"].astype("datetime64[us]")
        noon = days + np.timedelta64(12 * 60 - logger.utc_offset_min, "m")
        yield to_table({**columns, **_place(logger, probe, noon)}, DAILY)


def _place(logger: Logger, probe: Probe, at: NDArray[np.datetime64]) -> dict[str, Any]:
    """Return whose rows of these instants are, and where the probe lay then."""
    stretch = find_stretches(probe, at, logger.utc_offset_min)
    depths_cm = np.array([one.depth_cm for one in probe.stretches] + [np.nan])
    offsets_c = np.array([one.calibration_offset_c for one in probe.stretches] + [np.nan])
    return {
        "logger": pa.repeat(logger.id, at.size),
        "channel": pa.repeat(probe.channel, at.size),
        "probe": np.full(at.size, probe.id),
        "depth_cm": depths_cm[stretch],
        "calibration_offset_c": offsets_c[stretch],
    }


def to_table(columns: Mapping[str, Any], schema: pa.Schema) -> pa.Table:
    """Return columns as a schema has them; NaN and NaT are null."""
    arrays = [_to_array(columns[field.name], field.type) for field in schema]
    return pa.Table.from_arrays(arrays, schema=schema)


def _to_array(column: Any, kind: pa.DataType) -> pa.Array:
    if isinstance(column, pa.Array):
        return column
    return pa.array(np.ascontiguousarray(column), from_pandas=True).cast(kind)


def _midnight(year: int) -> datetime:
    return datetime(year, 1, 1, tzinfo=UTC)


def _midnight_of(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=UTC)
