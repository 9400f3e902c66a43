"""Whole stores, to be held against each other."""

from __future__ import annotations

from sqlalchemy import Engine, select

from service.store.engine import reading
from service.store.tables import metadata


def rows_of(engine: Engine) -> dict[str, set[tuple[object, ...]]]:
    """Return every row of every table; lists and dicts as text."""
    with reading(engine) as connection:
        return {
            table.name: {
                tuple(repr(v) if isinstance(v, list | dict) else v for v in row)
                for row in connection.execute(select(table))
            }
            for table in metadata.sorted_tables
        }
