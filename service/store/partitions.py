"""Tables of instants in a partition a year, where PostgreSQL keeps them.

By year, of UTC: a season reaches into two, a block's page into three, and what leaves the store by
age leaves as a table. Within a year the key keeps each series together, so that smaller partitions
would make no query cheaper and each plan dearer.

There is no default partition: one that holds rows could not give them up without a lock that stops
every reader. A partition that is missing is made before rows are put in, in a transaction of its
own: no one who needs another waits until a long load is through.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Engine, Table, text

from service.store.engine import writing

_LOCK = 8760  # any number, the same for every process


def is_partitioned(connection: Connection, table: Table) -> bool:
    """Return whether the rows of a table lie in partitions."""
    options = table.dialect_options["postgresql"]
    return connection.dialect.name == "postgresql" and bool(options["partition_by"])


def find_years(instants: NDArray[np.datetime64]) -> list[int]:
    """Return the years of instants, each once."""
    return (np.unique(instants.astype("datetime64[Y]")).astype(np.int64) + 1970).tolist()


def prepare_years(connection: Connection, table: Table, years: Iterable[int]) -> None:
    """Make the partitions that a table lacks for some years; whoever else does so is waited for."""
    if is_partitioned(connection, table) and _find_missing(connection, table, years):
        with connection.engine.begin() as own:
            make_partitions(own, table, years)


def make_partitions(connection: Connection, table: Table, years: Iterable[int]) -> None:
    """Make the partitions that a partitioned table lacks for some years, within a transaction."""
    connection.execute(text("select pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
    for year in _find_missing(connection, table, years):
        name = _name(table, year)
        # attaching, unlike `create table .. partition of`, lets readers and writers go on
        connection.execute(text(f"create table {name} (like {table.name} including all)"))
        connection.execute(
            text(
                f"alter table {table.name} attach partition {name} for values "
                f"from ('{year:04}-01-01 00:00+00') to ('{year + 1:04}-01-01 00:00+00')"
            )
        )


def find_whole_years(connection: Connection, table: Table, before: int) -> list[int]:
    """Return the years before one that a table has partitions of."""
    if not is_partitioned(connection, table):
        return []
    return [int(name.rsplit("_", 1)[1]) for name in _find_names(connection, table, before)]


def empty_year(
    connection: Connection, table: Table, year: int, ends: Mapping[int, datetime]
) -> int:
    """Take out of a year what each probe has up to an instant; return how many rows.

    Who began to read before goes on to see all of them: to truncate is quicker, and would show them
    an empty year.
    """
    statement = (
        f"delete from {_name(table, year)} one "  # noqa: S608
        "using unnest(cast(:ids as int[]), cast(:ends as timestamptz[])) old(id, until) "
        "where old.id = one.probe_id and one.observed_at <= old.until"
    )
    of_probes = {"ids": list(ends), "ends": list(ends.values())}
    return connection.execute(text(statement), of_probes).rowcount


def shrink_year(engine: Engine, table: Table, year: int) -> None:
    """Give the disk back what a year no longer needs; who reads or writes in it waits."""
    with writing(engine.execution_options(isolation_level="AUTOCOMMIT")) as connection:
        connection.execute(text(f"vacuum full {_name(table, year)}"))


def drop_empty_years(connection: Connection, table: Table, before: int) -> None:
    """Drop the partitions of the years before one that hold nothing any more."""
    if not is_partitioned(connection, table):
        return
    for name in _find_names(connection, table, before):
        if connection.execute(text(f"select 1 from {name} limit 1")).first() is None:  # noqa: S608
            connection.execute(text(f"drop table {name}"))


def _find_names(connection: Connection, table: Table, before: int) -> Sequence[str]:
    """Return the partitions of the years before one."""
    return connection.scalars(
        text(
            "select inhrelid::regclass::text from pg_inherits "
            "where inhparent = to_regclass(:whole) and inhrelid::regclass::text < :before"
        ),
        {"whole": table.name, "before": _name(table, before)},
    ).all()


def _find_missing(connection: Connection, table: Table, years: Iterable[int]) -> list[int]:
    """Return the years without a partition; none of a table that a migration has yet to divide."""
    names = {_name(table, year): year for year in years}
    query = text(
        "select name from unnest(cast(:names as text[])) name, pg_class whole "
        "where to_regclass(name) is null "
        "and whole.oid = to_regclass(:whole) and whole.relkind = 'p'"
    )
    missing = connection.scalars(query, {"names": list(names), "whole": table.name})
    return [names[name] for name in missing]


def _name(table: Table, year: int) -> str:
    return f"{table.name}_{year:04}"
