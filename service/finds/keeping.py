"""Keep what was found, with its photos and with who is to be told."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import datetime
from hashlib import sha256
from typing import NamedTuple

from sqlalchemy import Connection, select

from alerts.dig.find_news import What
from alerts.dig.records import DigRecord, Outcome
from service.finds.photos import MOST_PHOTOS, PhotoError, rewrite_photo
from service.store.dig_news import add_news, fetch_last_what, fetch_who_heard
from service.store.dig_photos import add_photo, fetch_photo_ids, has_photo
from service.store.dig_records import Kept, fetch_versions, keep_dig_record, withdraw_dig_record
from service.store.finds_consents import fetch_finds_consents
from service.store.recipients import find_readers
from service.store.tables import block

_TOLD: dict[Outcome, What] = {Outcome.FOUND: "found", Outcome.SUSPECTED: "suspected"}


class Photo(NamedTuple):
    """A photo, written anew; `digest`: of what was sent."""

    digest: str
    picture: bytes


class OthersRecordError(ValueError):
    """A record has the id of another one, which lies in a block of others."""


def check_id(connection: Connection, record: DigRecord, block_ids: Collection[str]) -> None:
    """Raise OthersRecordError where the id is that of a record beyond some blocks."""
    for version in fetch_versions(connection, record.record_id):
        if version.record.block_id not in block_ids:
            raise OthersRecordError("another record has this id; give it one of its own")


def keep_find(connection: Connection, record: DigRecord, by: str, now: datetime) -> Kept:
    """Keep what a dig showed, and what there is to tell of it."""
    kept = keep_dig_record(connection, record, by, now)
    if kept in (Kept.NEW, Kept.CORRECTED):
        _note_news(connection, record, True, now)
    return kept


def withdraw_find(
    connection: Connection, record: DigRecord, by: str, why: str, now: datetime
) -> bool:
    """Let a record count no more; return whether it stood."""
    stood = withdraw_dig_record(connection, record.record_id, by, why, now)
    if stood:
        _note_news(connection, record, False, now)
    return stood


def read_photos(contents: Iterable[bytes], record: DigRecord) -> list[Photo]:
    """Return photos of a record as they are kept, each once; before others wait for who writes.

    Where they were taken stays in them only where the record says where the vine stands.

    Raises
    ------
    PhotoError
        Where one is not taken.
    """
    one_each = {sha256(content).hexdigest(): content for content in contents}
    if len(one_each) > MOST_PHOTOS:
        raise _too_many()
    keeps_place = record.latitude is not None
    return [Photo(digest, rewrite_photo(one, keeps_place)) for digest, one in one_each.items()]


def keep_photos(
    connection: Connection, record: DigRecord, photos: Iterable[Photo], by: str, now: datetime
) -> int:
    """Keep photos with a record, each once; return how many are new.

    Raises
    ------
    PhotoError
        Where they are too many; the caller's transaction should then keep none.
    """
    record_id = record.record_id
    count = len(fetch_photo_ids(connection, [record_id])[record_id])
    new = 0
    for one in photos:
        if has_photo(connection, record_id, one.digest):
            continue
        new += 1
        if count + new > MOST_PHOTOS:
            raise _too_many()
        add_photo(connection, record_id, one.digest, one.picture, by, now)
    return new


def _too_many() -> PhotoError:
    return PhotoError("many", f"{MOST_PHOTOS} photos of one vine are kept; choose among them")


def _note_news(connection: Connection, record: DigRecord, stands: bool, now: datetime) -> None:
    """Keep what a record that was kept, corrected or withdrawn gives to tell, and to whom."""
    what = _TOLD.get(record.outcome) if stands else None
    last = fetch_last_what(connection, record.record_id)
    if what is None:
        if last in _TOLD.values():
            heard = fetch_who_heard(connection, record.record_id)
            add_news(connection, record.record_id, "taken back", heard, now)
    elif what != last:
        readers = find_readers(connection, [record.block_id])
        site_id = connection.scalar(select(block.c.site_id).where(block.c.id == record.block_id))
        roles = {"grower"}
        if site_id in fetch_finds_consents(connection):
            roles.add("coordinator")
        told = [name for name, role in readers.items() if role in roles]
        add_news(connection, record.record_id, what, told, now)
