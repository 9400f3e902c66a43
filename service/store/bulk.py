"""Numpy arrays in and out of the store, without a Python object for each row and column.

SQLite takes and gives plain tuples. PostgreSQL takes a binary COPY, and gives each column as one
string of bytes: a fifth of the time that its rows take.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC
from itertools import chain, islice
from math import nan
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import (
    Boolean,
    Column,
    Connection,
    Date,
    Executable,
    Float,
    Integer,
    MetaData,
    Select,
    SmallInteger,
    Table,
    bindparam,
    func,
    insert,
    literal,
    select,
    text,
    update,
)
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import DBAPIError

from service.store.partitions import find_years, is_partitioned, prepare_years
from service.store.types import UtcInstant

Columns = Mapping[str, NDArray[Any]]

CHUNK_ROWS = 100_000
FEW_ROWS = 100  # that are quicker sent one by one than beside the table
ROWS_AT_ONCE = 50  # in one statement of SQLite: 1.7 times as fast as one by one
_COPY_HEAD, _COPY_END = b"PGCOPY\n\xff\r\n\0" + bytes(8), b"\xff\xff"


class _Form(NamedTuple):
    """How a column type looks as an array, and how PostgreSQL sends it."""

    array: str
    wire: str
    send: str
    epoch: int = 0


_FORMS: dict[type, _Form] = {
    # microseconds and days since 2000
    UtcInstant: _Form("M8[us]", ">i8", "timestamptz_send", 946_684_800_000_000),
    Date: _Form("M8[D]", ">i4", "date_send", 10_957),
    Float: _Form("f8", ">f8", "float8send"),
    Boolean: _Form("?", "?", "boolsend"),
    SmallInteger: _Form("i2", ">i2", "int2send"),
    Integer: _Form("i4", ">i4", "int4send"),
}


def fetch_columns(connection: Connection, query: Select[*tuple[Any, ...]]) -> Columns:
    """Return each column of a query as an array. Only floats may be NULL, which is NaN then."""
    forms = {str(column.key): _FORMS[type(column.type)] for column in query.selected_columns}
    if connection.dialect.name == "sqlite":
        dtype = np.dtype([(name, form.array) for name, form in forms.items()])
        cursor: Any = connection.execute(query).cursor
        rows = np.fromiter(cursor, dtype)
        return {name: rows[name] for name in forms}
    ordered = query.subquery()  # whose order string_agg keeps
    packed = connection.execute(select(*(_pack(column) for column in ordered.c))).one()
    return {
        name: _unpack(wire, form) for (name, form), wire in zip(forms.items(), packed, strict=True)
    }


def insert_columns(connection: Connection, table: Table, columns: Columns) -> None:
    """Insert rows that are new: for each column of the table an array, all of one length.

    A NaN is kept as NULL.
    """
    if connection.dialect.name == "sqlite":
        _execute_sqlite(connection, insert(table), _in_order(table, columns))
        return
    if is_partitioned(connection, table):
        prepare_years(connection, table, find_years(columns["observed_at"]))
    ordered = list(_in_order(table, columns).values())
    forms: list[_Form | None] = [_FORMS[type(column.type)] for column in table.columns]
    statement = f"copy {table.name} from stdin (format binary)"
    with _driver(connection, statement) as driver, driver.cursor().copy(statement) as copy:
        copy.write(_COPY_HEAD)
        for chunk in _chunks(ordered):
            copy.write(_write_rows(chunk, forms))
        copy.write(_COPY_END)


def merge_columns(
    connection: Connection, table: Table, columns: Columns, *, replace: bool = True
) -> None:
    """Insert rows, in place of those with the same key; or else leave those that are there.

    On PostgreSQL many rows are copied beside the table and merged by one statement.
    """
    dialect = sqlite if connection.dialect.name == "sqlite" else postgresql
    keys = [column.name for column in table.primary_key]
    rest = [column.name for column in table.columns if column.name not in keys]

    def merge(statement: Any) -> Any:
        if not replace or not rest:
            return statement.on_conflict_do_nothing()
        values = {name: statement.excluded[name] for name in rest}
        return statement.on_conflict_do_update(index_elements=keys, set_=values)

    if connection.dialect.name == "sqlite":
        _execute_sqlite(connection, merge(dialect.insert(table)), _in_order(table, columns))
    elif _size(columns) <= FEW_ROWS:
        execute_many(connection, merge(dialect.insert(table)), _rows(table, columns))
    else:
        with _beside(connection, table, columns) as beside:
            names = [column.name for column in beside.c]
            connection.execute(merge(dialect.insert(table).from_select(names, select(beside))))


def update_columns(connection: Connection, table: Table, columns: Columns) -> None:
    """Update rows that are there: arrays of the columns of their key, and of what they get."""
    keys = [column.name for column in table.primary_key]
    values = [c.name for c in table.columns if c.name in columns and c.name not in keys]
    given = {name: bindparam(f"given_{name}") for name in columns}
    statement = (
        update(table)
        .where(*(table.c[name] == given[name] for name in keys))
        .values({name: given[name] for name in values})
    )
    if connection.dialect.name == "sqlite":
        _execute_sqlite(connection, statement, {name: columns[name] for name in (*values, *keys)})
    elif _size(columns) <= FEW_ROWS:
        rows = _rows(table, columns)
        execute_many(
            connection, statement, ({given[name].key: row[name] for name in row} for row in rows)
        )
    else:
        with _beside(connection, table, columns) as beside:
            same = [table.c[name] == beside.c[name] for name in keys]
            if is_partitioned(connection, table):  # no other partition is looked into
                instants = columns["observed_at"]
                ends = (end.item().replace(tzinfo=UTC) for end in (instants.min(), instants.max()))
                same.append(table.c.observed_at.between(*ends))
            gets = {name: beside.c[name] for name in values}
            connection.execute(update(table).where(*same).values(gets))


def execute_many(
    connection: Connection,
    statement: Executable,
    rows: Iterable[Mapping[str, Any]],
    chunk_rows: int = CHUNK_ROWS,
) -> None:
    """Execute a statement for each of any number of rows, a chunk at a time."""
    remaining = iter(rows)
    while chunk := list(islice(remaining, chunk_rows)):
        connection.execute(statement, chunk)


def _execute_sqlite(connection: Connection, statement: Any, columns: Columns) -> None:
    """Execute a statement for the rows of columns, which stand in the order of its parameters."""
    one = str(statement.compile(dialect=connection.dialect))
    ordered = list(columns.values())
    width = len(ordered)
    marks = f"({', '.join('?' * width)})"
    several = one.replace(marks, ", ".join([marks] * ROWS_AT_ONCE), 1)
    size = width * ROWS_AT_ONCE if statement.is_insert else 0
    with _driver(connection, one) as driver:
        for chunk in _chunks(ordered):
            cells = list(chain.from_iterable(zip(*map(_plain, chunk), strict=True)))
            rest = len(cells) - len(cells) % size if size else 0
            begins = range(rest, len(cells), width)
            driver.executemany(several, (cells[at : at + size] for at in range(0, rest, size or 1)))
            driver.executemany(one, (cells[at : at + width] for at in begins))


@contextmanager
def _driver(connection: Connection, statement: str) -> Iterator[Any]:
    """Give what SQLAlchemy itself asks; what that refuses is raised as from there."""
    base = connection.dialect.loaded_dbapi.Error
    try:
        yield connection.connection.driver_connection
    except base as error:
        raise DBAPIError.instance(
            statement, None, error, base, hide_parameters=True, dialect=connection.dialect
        ) from error


@contextmanager
def _beside(connection: Connection, table: Table, columns: Columns) -> Iterator[Table]:
    """Give a temporary table that holds these columns of rows of a table."""
    given = Table(
        f"given_{table.name}",
        MetaData(),
        *(Column(column.name, column.type) for column in table.c if column.name in columns),
        prefixes=["TEMPORARY"],
    )
    given.create(connection)
    insert_columns(connection, given, columns)
    connection.execute(text(f"analyze {given.name}"))
    yield given
    given.drop(connection)


def _in_order(table: Table, columns: Columns) -> Columns:
    return {column.name: columns[column.name] for column in table.columns}


def _size(columns: Columns) -> int:
    return len(next(iter(columns.values())))


def _rows(table: Table, columns: Columns) -> Iterator[dict[str, Any]]:
    """Give rows as Python objects; instants are aware, a NaN is None."""
    forms = {name: _FORMS[type(table.c[name].type)] for name in columns}
    for row in zip(*(column.tolist() for column in columns.values()), strict=True):
        yield {
            name: value.replace(tzinfo=UTC)
            if form.array == "M8[us]"
            else None
            if value != value
            else value
            for (name, form), value in zip(forms.items(), row, strict=True)
        }


def _chunks(columns: list[NDArray[Any]]) -> Iterator[list[NDArray[Any]]]:
    for start in range(0, len(columns[0]), CHUNK_ROWS):
        yield [column[start : start + CHUNK_ROWS] for column in columns]


def _plain(column: NDArray[Any]) -> list[Any]:
    """Return a column as SQLite takes it: days as text, instants as numbers."""
    if column.dtype == "M8[D]":
        return np.datetime_as_string(column).tolist()
    return (column.astype(np.int64) if column.dtype.kind == "M" else column).tolist()


def _write_rows(columns: list[NDArray[Any]], forms: list[_Form | None]) -> bytes:
    """Return rows as COPY takes them: the number of columns, then length and value of each.

    A form of None: a column of NULLs. Rows with a NaN come after the others.
    """
    for number, form in enumerate(forms):
        if form and form.array == "f8" and (null := np.isnan(columns[number])).any():
            without = [*forms[:number], None, *forms[number + 1 :]]
            return _write_rows([column[~null] for column in columns], forms) + _write_rows(
                [column[null] for column in columns], without
            )
    fields = [("columns", ">i2")]
    for number, form in enumerate(forms):
        fields.append((f"length {number}", ">i4"))
        fields += [(f"value {number}", form.wire)] if form else []
    rows = np.empty(len(columns[0]), fields)
    rows["columns"] = len(columns)
    for number, (column, form) in enumerate(zip(columns, forms, strict=True)):
        rows[f"length {number}"] = np.dtype(form.wire).itemsize if form else -1
        if form:
            rows[f"value {number}"] = column.astype(np.int64) - form.epoch if form.epoch else column
    return rows.tobytes()


def _pack(column: Any) -> Any:
    """Return a column of a query as one string of bytes."""
    form = _FORMS[type(column.type)]
    if form.array == "f8":
        column = func.coalesce(column, literal(nan, Float))
    return func.string_agg(getattr(func, form.send)(column), literal(b""))


def _unpack(wire: bytes | None, form: _Form) -> NDArray[Any]:
    values = np.frombuffer(wire or b"", form.wire)
    if form.epoch:
        values = values.astype(np.int64) + form.epoch
    return values.astype(form.array)
