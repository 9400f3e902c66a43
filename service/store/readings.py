"""Readings in and out of the store: one probe at a time, ascending in time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Column, Connection, Select, delete, func, select

from probes.frames import Readings
from service.store.bulk import fetch_columns, insert_columns, merge_columns, update_columns
from service.store.tables import conflict, reading, settlement, shifted_stamp


@dataclass(frozen=True)
class CheckedReadings(Readings):
    """Readings of one probe with what the checks found.

    checks : (n,) int32, the results of each reading: probes.checks.unpack
    """

    checks: NDArray[np.int32]

    def where(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> CheckedReadings:
        """Return some of the readings."""
        return CheckedReadings(*(column[which] for column in vars(self).values()))

    @classmethod
    def join(cls, parts: Sequence[CheckedReadings]) -> CheckedReadings:
        """Return parts one after the other."""
        columns = zip(*(vars(part).values() for part in [_NONE, *parts]), strict=True)
        return cls(*map(np.concatenate, columns))


_NONE = CheckedReadings(
    np.empty(0, "datetime64[us]"), np.empty(0), np.empty(0, np.int8), np.empty(0, np.int32)
)


def insert_readings(
    connection: Connection,
    probe_id: int,
    import_id: int | NDArray[np.int32],
    readings: Readings,
) -> None:
    """Add readings, of one import or of one each, at instants of which the store holds none.

    Those that are not checked have results when service.flags has seen to them.
    """
    size = readings.observed_at.size
    checks = readings.checks if isinstance(readings, CheckedReadings) else np.zeros(size, np.int32)
    columns = {
        "probe_id": np.broadcast_to(np.int32(probe_id), size),
        "observed_at": readings.observed_at,
        "soil_temp_c": readings.soil_temp_c,
        "flag": readings.flag,
        "checks": checks,
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
    columns = {
        "probe_id": np.broadcast_to(np.int32(probe_id), observed_at.size),
        "observed_at": observed_at,
        "soil_temp_c": soil_temp_c,
        "import_id": np.broadcast_to(np.asarray(import_id, np.int32), observed_at.size),
    }
    merge_columns(connection, conflict, columns, replace=False)


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


def count_readings(connection: Connection, probe_id: int, until: datetime) -> int:
    """Return how many readings a probe has up to an instant."""
    query = select(func.count()).select_from(reading)
    is_old = (reading.c.probe_id == probe_id, reading.c.observed_at <= until)
    return connection.execute(query.where(*is_old)).scalar_one()


def delete_old_readings(
    connection: Connection, probe_id: int, until: datetime, frozen_until: datetime
) -> int:
    """Take out a probe's readings up to an instant, and what nobody can settle any more, up to
    another; return how many readings."""
    for table in (conflict, settlement):
        at = table.c.observed_at
        connection.execute(delete(table).where(table.c.probe_id == probe_id, at <= frozen_until))
    gone = [
        connection.execute(
            delete(table).where(table.c.probe_id == probe_id, table.c.observed_at <= until)
        )
        for table in (reading, shifted_stamp)
    ]
    return gone[0].rowcount


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
    columns = fetch_columns(connection, _select(probe_id, after, until, ()))
    return Readings(columns["observed_at"], columns["soil_temp_c"], columns["flag"].astype(np.int8))


def fetch_checked_readings(
    connection: Connection,
    probe_id: int,
    after: datetime | None = None,
    until: datetime | None = None,
) -> CheckedReadings:
    """Return a probe's readings of a span with what the checks found."""
    columns = fetch_columns(connection, _select(probe_id, after, until, [reading.c.checks]))
    return CheckedReadings(**{**columns, "flag": columns["flag"].astype(np.int8)})


def fetch_ends(connection: Connection, probe_id: int) -> list[datetime]:
    """Return the instants of a probe's first and last reading, none where it has none."""
    of_probe = reading.c.probe_id == probe_id
    queries = (select(end(reading.c.observed_at)).where(of_probe) for end in (func.min, func.max))
    ends = [connection.scalar(query) for query in queries]
    return [end for end in ends if end is not None]


def update_flags(connection: Connection, probe_id: int, readings: CheckedReadings) -> None:
    """Give readings that the store holds other flags and results."""
    columns = {
        "probe_id": np.broadcast_to(np.int32(probe_id), readings.flag.size),
        "observed_at": readings.observed_at,
        "flag": readings.flag,
        "checks": readings.checks,
    }
    update_columns(connection, reading, columns)


def _select(
    probe_id: int,
    after: datetime | None,
    until: datetime | None,
    further: Sequence[Column[Any]],
) -> Select[*tuple[Any, ...]]:
    query = (
        select(reading.c.observed_at, reading.c.soil_temp_c, reading.c.flag, *further)
        .where(reading.c.probe_id == probe_id)
        .order_by(reading.c.observed_at)
    )
    if after is not None:
        query = query.where(reading.c.observed_at > after)
    if until is not None:
        query = query.where(reading.c.observed_at <= until)
    return query
