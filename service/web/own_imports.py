"""Imports of a visitor's own sites, taken back and let count again."""

from __future__ import annotations

from datetime import datetime
from http import HTTPStatus

from sqlalchemy import Connection

from service.intake.retelling import Retold
from service.intake.undoing import restore, withdraw
from service.store.imports import Batch, UnknownImportError, fetch_batch
from service.store.loggers import fetch_logger_places
from service.web.access import Visitor
from service.web.problems import Problem


def find_import(connection: Connection, import_id: int, who: Visitor) -> Batch:
    """Return an import of the visitor's sites, or refuse it."""
    places = fetch_logger_places(connection, who.reach.own_site_ids)
    try:
        batch = fetch_batch(connection, import_id)
    except UnknownImportError:
        batch = None
    if batch is None or batch.logger_id not in {one.id for one in places}:
        raise Problem(HTTPStatus.NOT_FOUND, "no import of yours has this number")
    return batch


def take_back(
    connection: Connection, import_id: int, who: Visitor, why: str, now: datetime
) -> Retold:
    """Withdraw an import; ImportStandsError, FrozenError."""
    batch = find_import(connection, import_id, who)
    retold = withdraw(connection, import_id, who.account.email, why, now)
    who.note(connection, "withdrew an import", f"{import_id}, {batch.logger_id}: {why}", now)
    return retold


def let_count(
    connection: Connection, import_id: int, who: Visitor, why: str, now: datetime
) -> Retold:
    """Restore an import that was withdrawn; ImportStandsError, FrozenError."""
    batch = find_import(connection, import_id, who)
    retold = restore(connection, import_id)
    who.note(connection, "restored an import", f"{import_id}, {batch.logger_id}: {why}", now)
    return retold
