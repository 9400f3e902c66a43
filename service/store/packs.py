"""What the pushes of a logger and day held, packed together when the day is long over.

Each push is a delivery of its own, which can be withdrawn; a few readings with what is kept of them
one by one would outgrow the readings. A content that stands by itself goes before one in a pack.
"""

from __future__ import annotations

import json
import zlib
from collections import defaultdict
from collections.abc import Collection, Mapping
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, delete, func, insert, select

from service.store.among import among
from service.store.tables import import_batch, import_content, import_pack

FEWEST = 4
"""Fewer of a day stay as they are."""

Spec = Mapping[str, Any]
"""A content in a pack: body, as text, and clock_corrections."""


def find_packable(connection: Connection, before: datetime) -> list[str]:
    """Return the loggers of which pushes that came before an instant are not packed yet."""
    query = (
        select(import_batch.c.logger_id)
        .join(import_content)
        .where(import_batch.c.source == "push", import_batch.c.imported_at < before)
        .group_by(import_batch.c.logger_id)
        .having(func.count() >= FEWEST)
        .order_by(import_batch.c.logger_id)
    )
    return list(connection.scalars(query))


def pack_logger(
    connection: Connection, logger_id: str, before: datetime, fewest: int = FEWEST
) -> None:
    """Pack what the pushes of a logger held that came before an instant, by day of UTC.

    The caller holds the lock on the logger.
    """
    query = (
        select(import_content, import_batch.c.imported_at)
        .join(import_batch)
        .where(import_batch.c.logger_id == logger_id, import_batch.c.source == "push")
        .where(import_batch.c.imported_at < before)
    )
    days: dict[date, dict[int, Spec]] = defaultdict(dict)
    for row in connection.execute(query):
        spec = {
            "body": zlib.decompress(row.body).decode(),
            "clock_corrections": row.clock_corrections,
        }
        days[row.imported_at.date()][row.import_id] = spec
    for specs in days.values():
        if len(specs) >= fewest:
            _pack(connection, logger_id, specs)


def find_packed(connection: Connection, import_id: int) -> Spec | None:
    """Return what an import held that is packed; None: it is in no pack."""
    query = select(import_pack.c.body).join(
        import_batch, import_batch.c.logger_id == import_pack.c.logger_id
    )
    of_import = import_batch.c.id == import_id
    holds = import_pack.c.first_id <= import_id, import_pack.c.last_id >= import_id
    for body in connection.scalars(query.where(of_import, *holds)):
        if import_id in (specs := _unpack(body)):
            return specs[import_id]
    return None


def measure_packed(
    connection: Connection, logger_id: str, import_ids: Collection[int]
) -> tuple[int, int]:
    """Return of how many of some imports of a logger the content is packed, and their bytes."""
    count, size = 0, 0.0
    for _, body, specs in _find_touched(connection, logger_id, import_ids):
        own = len(specs.keys() & set(import_ids))
        count, size = count + own, size + len(body) * own / len(specs)
    return count, round(size)


def take_out(connection: Connection, logger_id: str, import_ids: Collection[int]) -> int:
    """Take the contents of some imports of a logger out of its packs; return how many."""
    gone, taken = set(import_ids), 0
    for first_id, _, specs in _find_touched(connection, logger_id, import_ids):
        left = {number: spec for number, spec in specs.items() if number not in gone}
        if len(left) < len(specs):
            taken += len(specs) - len(left)
            _delete(connection, logger_id, first_id)
            if left:
                _insert(connection, logger_id, left)
    return taken


def _find_touched(
    connection: Connection, logger_id: str, import_ids: Collection[int]
) -> list[tuple[int, bytes, dict[int, Spec]]]:
    """Return first_id, body and contents of the packs that may hold some imports of a logger."""
    if not import_ids:
        return []
    touched = import_pack.c.first_id <= max(import_ids), import_pack.c.last_id >= min(import_ids)
    query = select(import_pack).where(import_pack.c.logger_id == logger_id, *touched)
    return [(row.first_id, row.body, _unpack(row.body)) for row in connection.execute(query)]


def _pack(connection: Connection, logger_id: str, specs: dict[int, Spec]) -> None:
    take_out(connection, logger_id, specs)  # they were read again since
    _insert(connection, logger_id, specs)
    connection.execute(delete(import_content).where(among(import_content.c.import_id, specs)))


def _insert(connection: Connection, logger_id: str, specs: dict[int, Spec]) -> None:
    body = zlib.compress(json.dumps(specs, separators=(",", ":")).encode())
    ends = {"first_id": min(specs), "last_id": max(specs)}
    connection.execute(insert(import_pack).values(logger_id=logger_id, body=body, **ends))


def _delete(connection: Connection, logger_id: str, first_id: int) -> None:
    own = import_pack.c.logger_id == logger_id, import_pack.c.first_id == first_id
    connection.execute(delete(import_pack).where(*own))


def _unpack(body: bytes) -> dict[int, Spec]:
    return {int(number): spec for number, spec in json.loads(zlib.decompress(body)).items()}
