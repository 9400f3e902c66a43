"""The outlook of all blocks, found apart from the rounds, which read what is kept of it.

That takes long, and no writer waits for it. Once it is kept a round is due, which tells what it
brings; the round of a day's end waits for it (service/store/rounds.py).
"""

from __future__ import annotations

import time
from datetime import date, datetime

from sqlalchemy import Engine

from service.evaluation import as_of_day
from service.one_round import holding_outlooks
from service.outlooks import BlockOutlook, find_block_outlooks, keep_outlooks
from service.settings import Settings
from service.store.blocks import fetch_told_blocks
from service.store.changes import fetch_changes
from service.store.engine import reading, writing
from service.store.looks import Look, is_look_due, keep_look
from service.store.round_lease import RoundLease, renew_lease


def look_ahead_if_due(engine: Engine, settings: Settings, now: datetime) -> list[BlockOutlook]:
    """Find and keep the outlook of each block after a day's end, or when readings have changed.

    RoundHeldError where another process does so. Where nothing is due nothing is written.
    """
    if not _is_due(engine, now):
        return []
    with holding_outlooks(engine) as lease:  # it may be another's work by now
        return look_ahead(engine, settings, lease, now) if _is_due(engine, now) else []


def _is_due(engine: Engine, now: datetime) -> bool:
    with reading(engine) as connection:
        return is_look_due(connection, now)


def look_ahead(
    engine: Engine,
    settings: Settings,
    lease: RoundLease,
    now: datetime,
    as_of: date | None = None,
) -> list[BlockOutlook]:
    """Find and keep the outlook of each block as of its own yesterday, or `as_of`."""
    begun = time.monotonic()
    with reading(engine) as connection:
        changes = fetch_changes(connection)
        blocks = fetch_told_blocks(connection)
        days = [as_of or as_of_day(block, now) for block in blocks]
        outlooks = find_block_outlooks(connection, blocks, days, settings.sensor_accuracy_c)
    with writing(engine) as connection:
        renew_lease(connection, lease)
        keep_outlooks(connection, outlooks)
        if as_of is None:
            keep_look(connection, Look(now, changes, time.monotonic() - begun))
    return outlooks
