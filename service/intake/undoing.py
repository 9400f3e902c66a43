"""Imports that are withdrawn, and those that are restored."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection

from service.intake.retelling import Retold, retell
from service.store.imports import Batch, fetch_batch, update_batch
from service.store.loggers import Logger, fetch_logger
from service.store.stations import ask_again


class ImportStandsError(Exception):
    """An import that is withdrawn already, or one that is to be restored and stands."""


def withdraw(connection: Connection, batch_id: int, person: str, why: str, now: datetime) -> Retold:
    """Keep all as it would be had this import never been.

    A station is asked anew at its next fetch, as far back as that: of an answer that only repeated
    this one nothing was kept, and what its network still says comes in again.
    """
    logger, batch = _fetch_locked(connection, batch_id)
    if batch.withdrawn_at is not None:
        raise ImportStandsError(
            f"import {batch_id} is withdrawn already, by {batch.withdrawn_by} on "
            f"{batch.withdrawn_at:%Y-%m-%d}: {batch.withdrawn_why}"
        )
    word = {"withdrawn_at": now, "withdrawn_by": person, "withdrawn_why": why}
    update_batch(connection, batch_id, **word)
    if batch.source == "feed" and batch.first_at is not None:
        ask_again(connection, logger.id, batch.first_at)
    return _retell(connection, logger, batch)


def restore(connection: Connection, batch_id: int) -> Retold:
    """Keep all as if this import had never been withdrawn."""
    logger, batch = _fetch_locked(connection, batch_id)
    if batch.withdrawn_at is None:
        raise ImportStandsError(f"import {batch_id} is not withdrawn")
    update_batch(connection, batch_id, withdrawn_at=None, withdrawn_by=None, withdrawn_why=None)
    return _retell(connection, logger, batch)


def _fetch_locked(connection: Connection, batch_id: int) -> tuple[Logger, Batch]:
    """Return an import and its logger, on which no one else works now; FrozenError."""
    logger_id = fetch_batch(connection, batch_id).logger_id
    logger = fetch_logger(connection, logger_id, lock=True)
    batch = fetch_batch(connection, batch_id)
    logger.refuse_frozen(batch.last_at, f"import {batch_id}")
    return logger, batch


def _retell(connection: Connection, logger: Logger, batch: Batch) -> Retold:
    if batch.first_at is None or batch.last_at is None:
        return Retold()
    return retell(connection, logger, batch.first_at, batch.last_at)
