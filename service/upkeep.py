"""What is over and told nothing leaves the store, so that years of running do not fill it.

What people told, were told or dug stays, and so does every delivery; README.md says what is kept
for how long.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from sqlalchemy import Connection, Engine

from service.store.engine import writing
from service.store.looks import prune_looks
from service.store.outlooks import prune_outlooks
from service.store.rounds import prune_rounds
from service.store.uploads import prune_uploads

ROUNDS_STAY = timedelta(days=90)
OUTLOOKS_STAY = timedelta(days=800)
"""Two seasons of either half of the world, to hold what was said against what came."""
AT_ONCE = 2_000
"""Rows in one transaction: nobody who writes waits for long."""


def prune(engine: Engine, now: datetime) -> int:
    """Take out what is over; return how many rows."""
    rounds_before, outlooks_before = now - ROUNDS_STAY, (now - OUTLOOKS_STAY).date()
    return (
        _prune(engine, lambda connection: prune_rounds(connection, rounds_before, AT_ONCE))
        + _prune(engine, lambda connection: prune_looks(connection, rounds_before, AT_ONCE))
        + _prune(engine, lambda connection: prune_outlooks(connection, outlooks_before))
        + _prune(engine, lambda connection: prune_uploads(connection, now))
    )


def _prune(engine: Engine, take_out: Callable[[Connection], int]) -> int:
    total = 0
    while True:
        with writing(engine) as connection:
            count = take_out(connection)
        if not count:
            return total
        total += count
