"""A whole store into another one, whichever database keeps either.

The target is made equal to the source; what is the same on both sides stays as it is. So a copy
that was broken off is taken up, and a source that has gone on meanwhile is caught up with. Series
go probe by probe and month by month, all else row by row; the organisation comes last, so that a
store that has one is complete.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Any

import numpy as np
from sqlalchemy import Connection, Engine, Table, and_, bindparam, delete, func, select, text
from sqlalchemy.dialects import postgresql, sqlite

from service.store import tables
from service.store.bulk import Columns, execute_many, fetch_columns, insert_columns
from service.store.engine import reading, writing

Progress = Callable[[float], None]
"""Told the share that is done, from 0 to 1."""

SERIES = {  # table -> its column of time
    tables.reading: "observed_at",
    tables.daily_mean: "day",
    tables.shifted_stamp: "observed_at",
    tables.conflict: "observed_at",
}
ROWS_AT_ONCE = 500
MONTH = np.dtype("datetime64[M]")


@dataclass(frozen=True)
class Comparison:
    """How a table of one store stands to that of another.

    rows : of the source
    differing : how many rows, or months of a probe, are not the same in both
    """

    table: str
    rows: int
    differing: int


def is_set_up(connection: Connection) -> bool:
    """Return whether a store holds a farm; one that is half copied does not yet."""
    return connection.scalar(select(tables.organisation.c.id)) is not None


def copy_store(
    source: Connection, target: Engine, progress: Progress = lambda _: None
) -> list[Comparison]:
    """Make the target equal to what the source's transaction sees, and compare both afterwards."""
    with reading(target) as connection:
        probe_ids = sorted(_probe_ids(source) | _probe_ids(connection))
    steps = _count_steps(probe_ids, progress)
    gone: dict[Table, list[Mapping[str, Any]]] = {}
    for table in _in_order():
        if table not in SERIES:
            gone[table] = _copy_rows(source, target, table)
            continue
        for probe_id in probe_ids:
            with writing(target) as connection:
                _copy_series(source, connection, table, probe_id)
            next(steps)
    with writing(target) as connection:
        for table, keys in reversed(gone.items()):
            execute_many(connection, delete(table).where(_is_row(table)), keys)
        _advance_sequences(connection)
    with reading(target) as connection:
        return [_compare(source, connection, table, probe_ids, steps) for table in _in_order()]


def _probe_ids(connection: Connection) -> set[int]:
    return set(connection.scalars(select(tables.probe.c.id)))


def _count_steps(probe_ids: list[int], progress: Progress) -> Iterator[None]:
    """Tell the progress of copying each series, and of comparing it."""
    steps = 2 * len(SERIES) * len(probe_ids)
    for step in range(steps):
        progress((step + 1) / steps)
        yield


def _in_order() -> list[Table]:
    """Return all tables, each after those that it refers to."""
    last = tables.organisation
    return [*(table for table in tables.metadata.sorted_tables if table is not last), last]


# series


def _copy_series(source: Connection, target: Connection, table: Table, probe_id: int) -> None:
    rows = _fetch_series(source, table, probe_id)
    ours = _digest_months(table, rows)
    theirs = _digest_months(table, _fetch_series(target, table, probe_id))
    at = table.c[SERIES[table]]
    for month in theirs:
        if theirs[month] != ours.get(month):
            start, end = (_edge(table, edge) for edge in (month, month + 1))
            of_month = and_(table.c.probe_id == probe_id, at >= start, at < end)
            target.execute(delete(table).where(of_month))
    new = np.array([month for month in ours if ours[month] != theirs.get(month)], MONTH)
    which = np.isin(rows[at.name].astype(MONTH), new)
    insert_columns(target, table, {name: column[which] for name, column in rows.items()})


def _fetch_series(connection: Connection, table: Table, probe_id: int) -> Columns:
    query = select(table).where(table.c.probe_id == probe_id).order_by(*table.primary_key)
    return fetch_columns(connection, query)


def _digest_months(table: Table, rows: Columns) -> dict[np.datetime64, bytes]:
    """Return the digest of each month of a series in order of time."""
    months, starts = np.unique(rows[SERIES[table]].astype(MONTH), return_index=True)
    parts = zip(*(np.split(_canonical(rows[name]), starts[1:]) for name in rows), strict=True)
    return {
        month: hashlib.sha256(b"".join(column.tobytes() for column in part)).digest()
        for month, part in zip(months, parts, strict=False)
    }


def _canonical(column: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Return a column of one form: a database may keep 0 for -0, and many NaNs are one NULL."""
    return np.where(np.isnan(column), np.nan, column + 0.0) if column.dtype.kind == "f" else column


def _edge(table: Table, month: np.datetime64) -> date:
    day = month.astype("datetime64[D]").item()
    return day if SERIES[table] == "day" else datetime.combine(day, time(), UTC)


# rows


def _copy_rows(source: Connection, target: Engine, table: Table) -> list[Mapping[str, Any]]:
    """Copy the rows that differ; return the keys of those that the source does not hold."""
    with reading(target) as connection:
        theirs = {key: digest for key, digest, _ in _read_rows(connection, table)}
    insert = sqlite.insert if target.dialect.name == "sqlite" else postgresql.insert
    upsert = insert(table)
    keys = [column.name for column in table.primary_key]
    values = {c.name: upsert.excluded[c.name] for c in table.c if c.name not in keys}
    if values:
        upsert = upsert.on_conflict_do_update(index_elements=keys, set_=values)
    rows = _read_rows(source, table)
    differing = (row for key, digest, row in rows if theirs.pop(key, b"") != digest)
    with writing(target) as connection:
        execute_many(connection, upsert, differing, ROWS_AT_ONCE)
    return [{f"key_{name}": value for name, value in zip(keys, key, strict=True)} for key in theirs]


def _read_rows(
    connection: Connection, table: Table
) -> Iterator[tuple[tuple[Any, ...], bytes, dict[str, Any]]]:
    """Give the key of each row, its digest, and the row."""
    keys = [column.name for column in table.primary_key]
    rows = connection.execute(select(table).execution_options(yield_per=ROWS_AT_ONCE))
    for row in rows.mappings():
        digest = hashlib.sha256(repr(tuple(row.values())).encode()).digest()
        yield tuple(row[name] for name in keys), digest, dict(row)


def _is_row(table: Table) -> Any:
    return and_(*(c == bindparam(f"key_{c.name}", type_=c.type) for c in table.primary_key))


def _advance_sequences(connection: Connection) -> None:
    """Let PostgreSQL number new rows behind those that brought their numbers along."""
    if connection.dialect.name != "postgresql":
        return
    for table in _in_order():
        numbered = table.autoincrement_column
        if numbered is not None:
            sequence = func.pg_get_serial_sequence(table.name, numbered.name)
            last = func.coalesce(func.max(numbered), 0) + 1
            connection.execute(select(func.setval(sequence, last, text("false"))))


# comparing


def _compare(
    source: Connection,
    target: Connection,
    table: Table,
    probe_ids: list[int],
    steps: Iterator[None],
) -> Comparison:
    if table not in SERIES:
        ours, theirs = (
            {key: digest for key, digest, _ in _read_rows(connection, table)}
            for connection in (source, target)
        )
        return Comparison(table.name, len(ours), _count_differing(ours, theirs))
    rows = differing = 0
    for probe_id in probe_ids:
        of_source = _fetch_series(source, table, probe_id)
        rows += of_source["probe_id"].size
        months = (
            _digest_months(table, of_series)
            for of_series in (of_source, _fetch_series(target, table, probe_id))
        )
        differing += _count_differing(*months)
        next(steps)
    return Comparison(table.name, rows, differing)


def _count_differing(ours: Mapping[Any, bytes], theirs: Mapping[Any, bytes]) -> int:
    return sum(ours.get(key) != theirs.get(key) for key in ours.keys() | theirs.keys())
