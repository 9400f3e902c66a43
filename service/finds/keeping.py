"""Keep what was found, with its photos."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from hashlib import sha256

from sqlalchemy import Connection

from alerts.dig.records import DigRecord
from service.finds.photos import MOST_PHOTOS, PhotoError, rewrite_photo
from service.store.dig_photos import add_photo, fetch_photo_ids, has_photo
from service.store.dig_records import Kept, keep_dig_record, withdraw_dig_record


def keep_find(connection: Connection, record: DigRecord, by: str, now: datetime) -> Kept:
    """Keep what a dig showed."""
    return keep_dig_record(connection, record, by, now)


def withdraw_find(
    connection: Connection, record: DigRecord, by: str, why: str, now: datetime
) -> bool:
    """Let a record count no more; return whether it stood."""
    return withdraw_dig_record(connection, record.record_id, by, why, now)


def keep_photos(
    connection: Connection, record: DigRecord, photos: Iterable[bytes], by: str, now: datetime
) -> int:
    """Keep photos with a record, each once; return how many are new.

    Where they were taken stays in them only where the record says where the vine stands.

    Raises
    ------
    PhotoError
        Where one is not taken; the caller's transaction should then keep none.
    """
    record_id, keeps_place = record.record_id, record.latitude is not None
    count = len(fetch_photo_ids(connection, [record_id])[record_id])
    new = 0
    for content in photos:
        digest = sha256(content).hexdigest()
        if has_photo(connection, record_id, digest):
            continue
        new += 1
        if count + new > MOST_PHOTOS:
            raise PhotoError(f"{MOST_PHOTOS} photos of one vine are kept; choose among them")
        add_photo(connection, record_id, digest, rewrite_photo(content, keeps_place), by, now)
    return new
