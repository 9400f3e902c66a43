"""Contents of pushes packed once their day is long over."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta

from sqlalchemy import Engine

from service.store.engine import reading, writing
from service.store.loggers import fetch_logger
from service.store.packs import find_packable, pack_logger

APART = timedelta(days=2)


def pack_pushes(engine: Engine, now: datetime) -> None:
    """Pack the days of UTC that ended two days ago or earlier, a logger a transaction."""
    before = datetime.combine((now - APART).astimezone(UTC).date(), time(), UTC)
    with reading(engine) as connection:
        logger_ids = find_packable(connection, before)
    for logger_id in logger_ids:
        with writing(engine) as connection:
            fetch_logger(connection, logger_id, lock=True)
            pack_logger(connection, logger_id, before)
