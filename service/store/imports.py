"""Imports in and out of the store: what each delivery was, held and came to."""

from __future__ import annotations

import zlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, and_, delete, func, insert, select, update
from sqlalchemy.exc import NoResultFound

from probes.clock_corrections import ClockCorrection
from probes.frames import Reject
from service.store.among import among
from service.store.bulk import execute_many
from service.store.packs import find_packed, measure_packed, take_out
from service.store.tables import conflict, import_batch, import_content, import_reject, logger

MOST_ARRIVALS = 2_500  # more than two weeks of pushes every ten minutes


class UnknownImportError(LookupError):
    """There is no import of that number."""


@dataclass(frozen=True)
class Batch:
    """One import, as the table import_batch has it."""

    id: int
    logger_id: str
    source: str
    file: str
    sha256: str
    imported_at: datetime
    inserted: int
    identical: int
    conflicting: int
    rejected: int
    missing: int
    first_at: datetime | None
    last_at: datetime | None
    signs: Sequence[str]
    withdrawn_at: datetime | None
    withdrawn_by: str | None
    withdrawn_why: str | None


@dataclass(frozen=True)
class Content:
    """What a delivery held, and how it was read.

    body : compressed by zlib
    layout : of a logger's file, as in the farm file; empty: the canonical form
    clock_corrections : applied on reading
    """

    body: bytes
    layout: Mapping[str, Any]
    clock_corrections: Sequence[ClockCorrection]


def fetch_batches(connection: Connection, *where: ColumnElement[bool]) -> list[Batch]:
    """Return imports in the order in which they came."""
    query = select(import_batch).where(*where).order_by(import_batch.c.id)
    return [Batch(**row) for row in connection.execute(query).mappings()]


def fetch_latest_batches(
    connection: Connection,
    site_ids: Collection[str],
    most: int,
    logger_id: str = "",
    before: int | None = None,
) -> list[Batch]:
    """Return the latest imports of loggers at some sites, the latest first; of one logger where its
    name is not empty, and before a number where one is given.
    """
    at_sites = select(logger.c.id).where(among(logger.c.site_id, site_ids))
    query = select(import_batch).where(import_batch.c.logger_id.in_(at_sites))
    if logger_id:
        query = query.where(import_batch.c.logger_id == logger_id)
    if before is not None:
        query = query.where(import_batch.c.id < before)
    latest = query.order_by(import_batch.c.id.desc()).limit(most)
    return [Batch(**row) for row in connection.execute(latest).mappings()]


def fetch_batch(connection: Connection, batch_id: int) -> Batch:
    """Return one import."""
    found = fetch_batches(connection, import_batch.c.id == batch_id)
    if not found:
        raise UnknownImportError(f"there is no import {batch_id}; `digseason imports` lists them")
    return found[0]


def fetch_arrivals(
    connection: Connection, logger_id: str, source: str, before: datetime
) -> list[tuple[datetime, datetime]]:
    """Return when deliveries of a kind arrived before an instant, and their newest stamps: the
    latest ones, in order."""
    arrived_at, last_at = import_batch.c.imported_at, import_batch.c.last_at
    query = (
        select(arrived_at, last_at)
        .where(stands(logger_id), import_batch.c.source == source, arrived_at < before)
        .where(last_at.is_not(None))
        .order_by(import_batch.c.id.desc())
        .limit(MOST_ARRIVALS)
    )
    return [(arrived, newest) for arrived, newest in connection.execute(query)][::-1]


def stands(logger_id: str) -> ColumnElement[bool]:
    """Return what is true of a logger's imports that were not withdrawn."""
    return and_(import_batch.c.logger_id == logger_id, import_batch.c.withdrawn_at.is_(None))


def of_span(after: datetime, until: datetime) -> ColumnElement[bool]:
    """Return what is true of imports that reach into a span."""
    return and_(import_batch.c.first_at <= until, import_batch.c.last_at > after)


def update_batch(connection: Connection, batch_id: int, **values: Any) -> None:
    """Change what is known of an import."""
    connection.execute(update(import_batch).where(import_batch.c.id == batch_id).values(values))


def store_rejects(connection: Connection, batch_id: int, rejects: Iterable[Reject]) -> None:
    """Keep what was not read of a delivery."""
    rows = ({"import_id": batch_id, **vars(reject)} for reject in rejects)
    execute_many(connection, insert(import_reject), rows)


def fetch_rejects(connection: Connection, batch_id: int) -> list[Reject]:
    """Return what was not read of a delivery, in order."""
    columns = [import_reject.c[name] for name in Reject.__dataclass_fields__]
    query = select(*columns).where(import_reject.c.import_id == batch_id)
    return [Reject(*row) for row in connection.execute(query.order_by(import_reject.c.id))]


def replace_rejects(connection: Connection, batch_id: int, rejects: Iterable[Reject]) -> None:
    """Keep what was not read of a delivery, in the place of what was so before."""
    connection.execute(delete(import_reject).where(import_reject.c.import_id == batch_id))
    store_rejects(connection, batch_id, rejects)


def tells_something_new(connection: Connection, logger_id: str) -> bool:
    """Return whether the last import of a logger met a conflict, or a reject, of which none before
    it that stands has told."""
    of_logger = stands(logger_id)
    last = connection.scalar(select(func.max(import_batch.c.id)).where(of_logger))
    first_met = select(conflict.c.import_id).where(conflict.c.import_id == last).limit(1)
    if connection.execute(first_met).one_or_none() is not None:
        return True
    told = select(import_reject.c.reason, import_reject.c.text).join(import_batch).where(of_logger)
    is_last = import_reject.c.import_id == last
    return not set(connection.execute(told.where(is_last))) <= set(
        connection.execute(told.where(~is_last))
    )


def store_content(connection: Connection, batch_id: int, content: Content) -> None:
    """Keep what a delivery held."""
    connection.execute(
        insert(import_content).values(
            import_id=batch_id, body=content.body, **_how_it_was_read(content)
        )
    )


def update_content(connection: Connection, batch_id: int, content: Content) -> None:
    """Keep that a delivery was read in another way."""
    of_batch = update(import_content).where(import_content.c.import_id == batch_id)
    if not connection.execute(of_batch.values(_how_it_was_read(content))).rowcount:
        store_content(connection, batch_id, content)


def measure_contents(connection: Connection, logger_id: str, until: datetime) -> tuple[int, int]:
    """Return of how many deliveries that end by an instant the content is kept, and its bytes."""
    size = func.coalesce(func.sum(func.length(import_content.c.body)), 0)
    query = select(func.count(), size).select_from(import_content.join(import_batch))
    ended = _ends_by(logger_id, until)
    deliveries, stored_bytes = connection.execute(query.where(ended)).one()
    ids = connection.scalars(select(import_batch.c.id).where(ended)).all()
    packed, packed_bytes = measure_packed(connection, logger_id, ids)
    return deliveries + packed, stored_bytes + packed_bytes


def delete_contents(connection: Connection, logger_id: str, until: datetime) -> int:
    """Take out the content of the deliveries that end by an instant; return how many."""
    ended = select(import_batch.c.id).where(_ends_by(logger_id, until))
    packed = take_out(connection, logger_id, connection.scalars(ended).all())
    apart = delete(import_content).where(import_content.c.import_id.in_(ended))
    return packed + connection.execute(apart).rowcount


def _ends_by(logger_id: str, until: datetime) -> ColumnElement[bool]:
    return and_(import_batch.c.logger_id == logger_id, import_batch.c.last_at <= until)


def fetch_content(connection: Connection, batch_id: int) -> Content:
    """Return what a delivery held."""
    query = select(import_content).where(import_content.c.import_id == batch_id)
    row = connection.execute(query).one_or_none()
    if row is not None:
        return Content(row.body, row.layout, tuple(map(_correction, row.clock_corrections)))
    packed = find_packed(connection, batch_id)
    if packed is None:
        raise NoResultFound(f"of import {batch_id} no content is kept")
    corrections = tuple(map(_correction, packed["clock_corrections"]))
    return Content(zlib.compress(packed["body"].encode()), {}, corrections)


def _how_it_was_read(content: Content) -> dict[str, Any]:
    corrections = [
        {
            "stamped_from": one.stamped_from.isoformat(),
            "stamped_until": one.stamped_until.isoformat(),
            "add_s": one.add_s,
        }
        for one in content.clock_corrections
    ]
    return {"layout": dict(content.layout), "clock_corrections": corrections}


def _correction(spec: Mapping[str, Any]) -> ClockCorrection:
    first, end = (datetime.fromisoformat(spec[key]) for key in ("stamped_from", "stamped_until"))
    return ClockCorrection(first, end, spec["add_s"])
