"""Readings that were stored before all checks were made: flagged by them, once."""

from __future__ import annotations

from sqlalchemy import Engine, delete, select

from service.flags import refresh_flags
from service.store.engine import reading, writing
from service.store.loggers import fetch_logger
from service.store.tables import unchecked_logger


def flag_unchecked(engine: Engine) -> None:
    """Flag what waits for it, a logger a transaction; a process that dies leaves the others."""
    with reading(engine) as connection:
        waiting = connection.scalars(select(unchecked_logger.c.logger_id)).all()
    for logger_id in waiting:
        with writing(engine) as connection:
            logger = fetch_logger(connection, logger_id, lock=True)
            own = unchecked_logger.c.logger_id == logger_id
            if connection.execute(delete(unchecked_logger).where(own)).rowcount:
                refresh_flags(connection, logger)
