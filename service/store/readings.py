"""Readings in and out of the store: one probe at a time, ascending in time."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select
from sqlalchemy.dialects import postgresql, sqlite

from probes.frames import Readings
from service.store.bulk import execute_many, fetch_columns, insert_columns
from service.store.tables import conflict, reading


def insert_readings(
    connection: Connection, probe_id: int, import_id: int, readings: Readings
) -> None:
    """Add readings at instants of which the store holds none of this probe."""
    size = readings.observed_at.size
    columns = {
        "probe_id": np.broadcast_to(np.int32(probe_id), size),
        "observed_at": readings.observed_at,
        "soil_temp_c": readings.soil_temp_c,
        "flag": readings.flag,
        "checks": np.broadcast_to(np.int32(0), size),
        "import_id": np.broadcast_to(np.int32(import_id), size),
    }
    insert_columns(connection, reading, columns)


def list_conflicts(
    connection: Connection,
    probe_id: int,
    import_id: int,
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
            "import_id": import_id,
        }
        for instant, value in zip(observed_at.tolist(), soil_temp_c.tolist(), strict=True)
    )
    execute_many(connection, insert(conflict).on_conflict_do_nothing(), rows)


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
