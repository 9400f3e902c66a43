"""Photos of what was found."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from datetime import datetime

from sqlalchemy import Connection, insert, select

from service.store.among import among
from service.store.tables import dig_photo


def has_photo(connection: Connection, record_id: str, sha256: str) -> bool:
    """Return whether a record has what was sent with this hash."""
    same = dig_photo.c.record_id == record_id, dig_photo.c.sha256 == sha256
    return connection.scalar(select(dig_photo.c.id).where(*same)) is not None


def add_photo(
    connection: Connection, record_id: str, sha256: str, content: bytes, by: str, now: datetime
) -> None:
    """Keep a photo with its record."""
    row = {"record_id": record_id, "sha256": sha256, "content": content}
    connection.execute(insert(dig_photo).values(**row, kept_at=now, kept_by=by))


def fetch_photo_ids(connection: Connection, record_ids: Collection[str]) -> dict[str, list[int]]:
    """Return the ids of photos, in the order in which they came, by record."""
    query = (
        select(dig_photo.c.record_id, dig_photo.c.id)
        .where(among(dig_photo.c.record_id, record_ids))
        .order_by(dig_photo.c.id)
    )
    found: defaultdict[str, list[int]] = defaultdict(list)
    for record_id, photo_id in connection.execute(query):
        found[record_id].append(photo_id)
    return found


def fetch_photo(connection: Connection, photo_id: int) -> tuple[str, bytes] | None:
    """Return the record of a photo, and the JPEG."""
    query = select(dig_photo.c.record_id, dig_photo.c.content).where(dig_photo.c.id == photo_id)
    row = connection.execute(query).one_or_none()
    return None if row is None else (row.record_id, row.content)
