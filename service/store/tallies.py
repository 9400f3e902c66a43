"""How much has ever come in, of each logger by each way: counted as it comes, not when asked."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, func, select
from sqlalchemy.dialects import postgresql, sqlite

from service.store.tables import intake_tally

COUNTED = ("deliveries", "inserted", "identical", "conflicting", "rejected", "missing")


def tally_delivery(
    connection: Connection, logger_id: str, source: str, counts: Mapping[str, int]
) -> None:
    """Count a delivery and what became of its readings.

    The caller holds the lock on the logger.
    """
    insert = sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    statement = insert(intake_tally).values(
        logger_id=logger_id, source=source, deliveries=1, **counts
    )
    more = {name: intake_tally.c[name] + statement.excluded[name] for name in COUNTED}
    key = ["logger_id", "source"]
    connection.execute(statement.on_conflict_do_update(index_elements=key, set_=more))


def fetch_tallies(connection: Connection) -> list[Any]:
    """Return the sums of all loggers, a row for each way in which readings came."""
    sums = (func.sum(intake_tally.c[name]).label(name) for name in COUNTED)
    query = select(intake_tally.c.source, *sums).group_by(intake_tally.c.source)
    return list(connection.execute(query.order_by(intake_tally.c.source)))
