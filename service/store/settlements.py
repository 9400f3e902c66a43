"""What a person has said of conflicting readings, and the conflicts as they stand."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import ColumnElement, Connection, and_, bindparam, delete, insert, or_, select

from service.store.bulk import execute_many, fetch_columns
from service.store.tables import conflict, probe, reading, settlement


@dataclass(frozen=True)
class Settlements:
    """Which value of a probe is to be kept, ascending in time."""

    observed_at: NDArray[np.datetime64]
    soil_temp_c: NDArray[np.float64]


@dataclass(frozen=True)
class Conflict:
    """An instant of which two values are known; with a third there are two of these."""

    logger_id: str
    channel: str
    observed_at: datetime
    kept_c: float
    kept_import: int
    other_c: float
    other_import: int
    settled_by: str | None


def fetch_settlements(
    connection: Connection, probe_id: int, after: datetime, until: datetime
) -> Settlements:
    """Return what has been settled of a probe over a span."""
    query = (
        select(settlement.c.observed_at, settlement.c.soil_temp_c)
        .where(
            settlement.c.probe_id == probe_id,
            settlement.c.observed_at > after,
            settlement.c.observed_at <= until,
        )
        .order_by(settlement.c.observed_at)
    )
    return Settlements(**fetch_columns(connection, query))


def store_settlements(
    connection: Connection, probe_id: int, settled: Settlements, person: str, now: datetime
) -> None:
    """Keep a person's word, in the place of earlier ones."""
    delete_settlements(connection, probe_id, settled.observed_at)
    rows = (
        {
            "probe_id": probe_id,
            "observed_at": instant.replace(tzinfo=UTC),
            "soil_temp_c": value_c,
            "person": person,
            "settled_at": now,
        }
        for instant, value_c in zip(
            settled.observed_at.tolist(), settled.soil_temp_c.tolist(), strict=True
        )
    )
    execute_many(connection, insert(settlement), rows)


def delete_settlements(
    connection: Connection, probe_id: int, observed_at: NDArray[np.datetime64]
) -> None:
    """Take back what was settled of some instants."""
    at = settlement.c.observed_at == bindparam("at", type_=settlement.c.observed_at.type)
    statement = delete(settlement).where(settlement.c.probe_id == probe_id, at)
    rows = ({"at": instant.replace(tzinfo=UTC)} for instant in observed_at.tolist())
    execute_many(connection, statement, rows)


def told_by(batch_id: int) -> ColumnElement[bool]:
    """Return what is true of conflicts in which an import told one of the two values."""
    return or_(conflict.c.import_id == batch_id, reading.c.import_id == batch_id)


def fetch_conflicts(connection: Connection, *where: ColumnElement[bool]) -> list[Conflict]:
    """Return conflicts, by logger in order of time."""
    same = and_(
        reading.c.probe_id == conflict.c.probe_id, reading.c.observed_at == conflict.c.observed_at
    )
    word = and_(
        settlement.c.probe_id == conflict.c.probe_id,
        settlement.c.observed_at == conflict.c.observed_at,
    )
    query = (
        select(
            probe.c.logger_id,
            probe.c.channel,
            conflict.c.observed_at,
            reading.c.soil_temp_c,
            reading.c.import_id,
            conflict.c.soil_temp_c,
            conflict.c.import_id,
            settlement.c.person,
        )
        .join_from(conflict, probe, probe.c.id == conflict.c.probe_id)
        .join(reading, same)
        .outerjoin(settlement, word)
        .where(*where)
        .order_by(probe.c.logger_id, conflict.c.observed_at, probe.c.id, conflict.c.soil_temp_c)
    )
    return [Conflict(*row) for row in connection.execute(query)]
