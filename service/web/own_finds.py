"""What was found in blocks within a visitor's reach, taken back and shown by photos."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from http import HTTPStatus

from sqlalchemy import Connection, Engine

from alerts.dig.records import DigRecord
from service.finds.keeping import keep_photos, read_photos, withdraw_find
from service.store.dig_records import fetch_versions
from service.store.engine import reading, writing
from service.web.access import Visitor
from service.web.problems import Problem


def take_back_find(connection: Connection, record_id: str, who: Visitor, now: datetime) -> None:
    """Let a record count no more."""
    record, _ = _find_record(connection, record_id, who)
    if withdraw_find(connection, record, who.account.email, "taken back", now):
        who.note(connection, "took back what was found", record_id, now)


def add_photos(
    engine: Engine, record_id: str, contents: Sequence[bytes], who: Visitor, now: datetime
) -> None:
    """Keep photos with a record that stands. PhotoError."""
    with reading(engine) as connection:
        record, _ = _find_record(connection, record_id, who)
    photos = read_photos(contents, record)
    with writing(engine) as connection:
        record, stands = _find_record(connection, record_id, who)
        if not stands:
            raise Problem(HTTPStatus.CONFLICT, "this record was taken back; note it anew")
        keep_photos(connection, record, photos, who.account.email, now)


def _find_record(connection: Connection, record_id: str, who: Visitor) -> tuple[DigRecord, bool]:
    """Return a record as it was last, and whether it stands."""
    versions = fetch_versions(connection, record_id)
    if not versions or versions[0].record.block_id not in who.reach.block_ids:
        raise Problem(HTTPStatus.NOT_FOUND, "no record of yours has this id")
    return versions[0].record, versions[0].until is None
