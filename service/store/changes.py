"""How often what is kept of readings has changed: what a round compares with what it has seen.

Counted and not timed: a change is counted in the transaction that makes it, so that a round that
could not see it yet finds it later, however long ago it began and whatever clocks say.
"""

from __future__ import annotations

from sqlalchemy import Connection, func, select
from sqlalchemy.dialects import postgresql, sqlite

from service.store.tables import logger_change


def count_change(connection: Connection, logger_id: str) -> None:
    """Count a change of a logger's readings, flags or daily means.

    The caller holds the lock on the logger.
    """
    insert = sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    statement = insert(logger_change).values(logger_id=logger_id, changes=1)
    more = {"changes": logger_change.c.changes + 1}
    connection.execute(statement.on_conflict_do_update(index_elements=["logger_id"], set_=more))


def fetch_changes(connection: Connection) -> int:
    """Return how many changes there have been of all loggers."""
    return connection.scalar(select(func.sum(logger_change.c.changes))) or 0
