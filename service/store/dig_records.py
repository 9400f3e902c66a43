"""What digging at vines showed: kept once, corrected with what stood before, withdrawn."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from enum import StrEnum
from typing import Any

from sqlalchemy import Connection, Row, insert, select, update

from alerts.dig.records import DigRecord, Insects, Roots, Specimen, Swellings
from alerts.season import season_of
from service.store.among import among
from service.store.tables import block, dig_record, dig_record_earlier, site

_WORDS = {"roots": Roots, "swellings": Swellings, "insects": Insects, "specimen": Specimen}


class Kept(StrEnum):
    """What became of a record that was brought."""

    NEW = "new"
    KNOWN = "known"
    """It stands as it was brought, or did so before it was corrected: nothing is changed."""
    CORRECTED = "corrected"
    WITHDRAWN = "withdrawn"
    """It was withdrawn before: nothing is changed."""


@dataclass(frozen=True)
class Version:
    """A record as it stands or stood.

    until : when it was corrected or withdrawn; None: it stands
    by, ended_by : who kept it, and who corrected or withdrew it
    """

    record: DigRecord
    since: datetime
    by: str
    until: datetime | None = None
    ended_by: str | None = None
    withdrawn_why: str | None = None


def keep_dig_record(connection: Connection, record: DigRecord, by: str, now: datetime) -> Kept:
    """Keep a record once, by its id; what stands under that id otherwise is corrected.

    A version that was corrected comes again where an answer was lost on its way: it undoes no
    correction.
    """
    of_record = dig_record.c.record_id == record.record_id
    row = connection.execute(select(dig_record).where(of_record)).one_or_none()
    said = {**_as_row(record), "kept_at": now, "kept_by": by}
    if row is None:
        connection.execute(insert(dig_record).values(record_id=record.record_id, **said))
        return Kept.NEW
    if row.withdrawn_at is not None:
        return Kept.WITHDRAWN
    if record in (version.record for version in fetch_versions(connection, record.record_id)):
        return Kept.KNOWN
    before = {name: value for name, value in row._asdict().items() if name in said}
    replaced = {"record_id": record.record_id, "replaced_at": now, "replaced_by": by}
    connection.execute(insert(dig_record_earlier).values(**before, **replaced))
    connection.execute(update(dig_record).where(of_record).values(said))
    return Kept.CORRECTED


def withdraw_dig_record(
    connection: Connection, record_id: str, by: str, why: str, now: datetime
) -> bool:
    """Let a record count no more; return whether one stood."""
    stands = dig_record.c.record_id == record_id, dig_record.c.withdrawn_at.is_(None)
    gone = {"withdrawn_at": now, "withdrawn_by": by, "withdrawn_why": why}
    return bool(connection.execute(update(dig_record).where(*stands).values(gone)).rowcount)


def fetch_dig_records(
    connection: Connection,
    block_ids: Collection[str] | None = None,
    season: int | None = None,
) -> list[DigRecord]:
    """Return the records that stand, by day, block and vine; None: of all blocks, all seasons."""
    query = (
        select(dig_record, (site.c.latitude < 0).label("south"))
        .join(block, block.c.id == dig_record.c.block_id)
        .join(site, site.c.id == block.c.site_id)
        .where(dig_record.c.withdrawn_at.is_(None))
        .order_by(*(dig_record.c[name] for name in ("dug_on", "block_id", "row", "vine")))
        .order_by(dig_record.c.kept_at, dig_record.c.record_id)
    )
    if block_ids is not None:
        query = query.where(among(dig_record.c.block_id, block_ids))
    return [
        _as_record(row)
        for row in connection.execute(query)
        if season is None or season_of(row.dug_on, row.south) == season
    ]


def find_record_ids(connection: Connection, start: str) -> list[str]:
    """Return the ids that begin so, of what is withdrawn too."""
    query = select(dig_record.c.record_id).order_by(dig_record.c.record_id)
    begins = dig_record.c.record_id.startswith(start, autoescape=True)
    return list(connection.scalars(query.where(begins)))


def fetch_versions(connection: Connection, record_id: str) -> list[Version]:
    """Return how a record stands and stood, the last first; none: there is no such record."""
    query = select(dig_record).where(dig_record.c.record_id == record_id)
    last = [
        Version(
            *(_as_record(row), row.kept_at, row.kept_by),
            *(row.withdrawn_at, row.withdrawn_by, row.withdrawn_why),
        )
        for row in connection.execute(query)
    ]
    query = select(dig_record_earlier).where(dig_record_earlier.c.record_id == record_id)
    earlier = connection.execute(query.order_by(dig_record_earlier.c.id.desc()))
    return last + [
        Version(_as_record(row), row.kept_at, row.kept_by, row.replaced_at, row.replaced_by)
        for row in earlier
    ]


def _as_row(record: DigRecord) -> dict[str, Any]:
    row = asdict(record)
    del row["record_id"]
    row["row"], row["vine"] = record.vine
    return {name: str(value) if name in _WORDS else value for name, value in row.items()}


def _as_record(row: Row[Any]) -> DigRecord:
    said = {one.name: getattr(row, one.name) for one in fields(DigRecord)}
    words = {name: word(said[name]) for name, word in _WORDS.items()}
    return DigRecord(**{**said, **words, "vine": (row.row, row.vine)})
