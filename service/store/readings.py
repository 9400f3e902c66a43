"""Readings in and out of the store: one probe at a time, ascending in time."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, delete, select
from sqlalchemy.dialects import postgresql, sqlite

from probes.frames import Readings
from service.store.bulk import execute_many, fetch_columns, insert_columns
from service.store.tables import conflict, reading, shifted_stamp


def insert_readings(
    connection: Connection,
    probe_id: int,
    import_id: int | NDArray[np.int32],
    readings: Readings,
) -> None:
    """Add readings, of one import or of one each, at instants of which the store holds none."""
    size = readings.observed_at.size
    columns = {
        "probe_id": np.broadcast_to(np.int32(probe_id), size),
        "observed_at": readings.observed_at,
        "soil_temp_c": readings.soil_temp_c,
        "flag": readings.flag,
        "checks": np.broadcast_to(np.int32(0), size),
        "import_id": np.broadcast_to(np.asarray(import_id, np.int32), size),
    }
    insert_columns(connection, reading, columns)


def list_conflicts(
    connection: Connection,
    probe_id: int,
    import_id: int | NDArray[np.int32],
    observed_at: NDArray[np.datetime64],
    soil_temp_c: NDArray[np.float64],
) -> None:
    """List values that differ from the stored ones of their instants; each value once."""
    insert = sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    rows = (
        {
            "probe_id": probe_id,
            "observed_at": instant.replace(tzinfo=UTC),
            "soil_temp_c": value,
            "import_id": batch_id,
        }
        for instant, value, batch_id in zip(
            observed_at.tolist(),
            soil_temp_c.tolist(),
            np.broadcast_to(import_id, observed_at.size).tolist(),
            strict=True,
        )
    )
    execute_many(connection, insert(conflict).on_conflict_do_nothing(), rows)


def insert_shifted_stamps(
    connection: Connection,
    probe_id: int,
    observed_at: NDArray[np.datetime64],
    shift: NDArray[np.timedelta64],
) -> None:
    """Keep the stamps of readings whose clock was corrected, as they stood."""
    shifted = shift != np.timedelta64(0)
    columns = {
        "probe_id": np.broadcast_to(np.int32(probe_id), shifted.sum()),
        "observed_at": observed_at[shifted],
        "stamped_at": (observed_at - shift)[shifted],
    }
    insert_columns(connection, shifted_stamp, columns)


def fetch_stamps(
    connection: Connection, probe_id: int, after: datetime, until: datetime
) -> Mapping[str, NDArray[np.datetime64]]:
    """Return observed_at and stamped_at of the readings whose clock was corrected, in order."""
    at = shifted_stamp.c.observed_at
    query = select(at, shifted_stamp.c.stamped_at).where(
        shifted_stamp.c.probe_id == probe_id, at > after, at <= until
    )
    return fetch_columns(connection, query.order_by(at))


def delete_readings(
    connection: Connection, probe_id: int, after: datetime, until: datetime
) -> None:
    """Take out a probe's readings of a span, with their conflicts and stamps."""
    for table in (reading, conflict, shifted_stamp):
        at = table.c.observed_at
        connection.execute(
            delete(table).where(table.c.probe_id == probe_id, at > after, at <= until)
        )


def fetch_import_ids(
    connection: Connection, probe_id: int, after: datetime, until: datetime
) -> NDArray[np.int32]:
    """Return which import each reading is of that `fetch_readings` returns."""
    at = reading.c.observed_at
    query = select(reading.c.import_id).where(
        reading.c.probe_id == probe_id, at > after, at <= until
    )
    return fetch_columns(connection, query.order_by(at))["import_id"]


def fetch_readings(
    connection: Connection,
    probe_id: int,
    after: datetime | None = None,
    until: datetime | None = None,
) -> Readings:
    """Return a probe's readings later than one instant, up to and including another."""
    query = (
        select(reading.c.observed_at, reading.c.soil_temp_c, reading.c.flag)
        .where(reading.c.probe_id == probe_id)
        .order_by(reading.c.observed_at)
    )
    if after is not None:
        query = query.where(reading.c.observed_at > after)
    if until is not None:
        query = query.where(reading.c.observed_at <= until)
    columns = fetch_columns(connection, query)
    return Readings(columns["observed_at"], columns["soil_temp_c"], columns["flag"].astype(np.int8))
