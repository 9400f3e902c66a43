"""What a person has said of conflicting readings, and the conflicts as they stand."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import ColumnElement, Connection, and_, bindparam, delete, insert, or_, select

from service.store.bulk import execute_many, fetch_columns
from service.store.tables import conflict, import_batch, probe, reading, settlement


@dataclass(frozen=True)
class Settlements:
    """Which value of a probe is to be kept, ascending in time."""

    observed_at: NDArray[np.datetime64]
    soil_temp_c: NDArray[np.float64]


@dataclass(frozen=True)
class Selection:
    """Which conflicts: those for which all holds that is said.

    told_by : the import of one of the two values
    kept_by, met_by : the import of the value that is kept, and that of the other
    first_at, last_at : both belong to it
    """

    told_by: int | None = None
    kept_by: int | None = None
    met_by: int | None = None
    channel: str | None = None
    first_at: datetime | None = None
    last_at: datetime | None = None


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


def is_settled(connection: Connection, batch_id: int) -> bool:
    """Return whether anything has been settled of the time that a delivery is of."""
    query = (
        select(settlement.c.observed_at)
        .join(probe, probe.c.id == settlement.c.probe_id)
        .join(import_batch, import_batch.c.logger_id == probe.c.logger_id)
        .where(
            import_batch.c.id == batch_id,
            settlement.c.observed_at >= import_batch.c.first_at,
            settlement.c.observed_at <= import_batch.c.last_at,
        )
    )
    return connection.execute(query.limit(1)).one_or_none() is not None


def store_settlements(
    connection: Connection, probe_id: int, settled: Settlements, person: str, now: datetime
) -> None:
    """Keep a person's word on instants of which there is none."""
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


def fetch_conflicts(
    connection: Connection, of: Selection | None = None, logger_id: str | None = None
) -> list[Conflict]:
    """Return conflicts of one logger or all, by logger in order of time."""
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
        .where(*_conditions(of or Selection()))
        .order_by(probe.c.logger_id, conflict.c.observed_at, probe.c.id, conflict.c.soil_temp_c)
    )
    if logger_id is not None:
        query = query.where(probe.c.logger_id == logger_id)
    return [Conflict(*row) for row in connection.execute(query)]


def _conditions(of: Selection) -> Iterator[ColumnElement[bool]]:
    if of.told_by is not None:
        yield or_(conflict.c.import_id == of.told_by, reading.c.import_id == of.told_by)
    if of.kept_by is not None:
        yield reading.c.import_id == of.kept_by
    if of.met_by is not None:
        yield conflict.c.import_id == of.met_by
    if of.channel is not None:
        yield probe.c.channel == of.channel
    if of.first_at is not None:
        yield conflict.c.observed_at >= of.first_at
    if of.last_at is not None:
        yield conflict.c.observed_at <= of.last_at
