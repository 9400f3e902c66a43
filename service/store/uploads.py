"""Files that a person looks at before they are kept as imports: a few each, for a day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, delete, insert, or_, select, update

from service.store.tables import upload

KEPT_FOR, MOST_EACH = timedelta(days=1), 4


@dataclass(frozen=True)
class Upload:
    """A file as it came.

    logger_id : None: of a logger that is not there yet and has no name
    layout : of a logger that is not there yet, as the farm file writes it, once it is stated
    """

    id: int
    site_id: str
    logger_id: str | None
    layout: Mapping[str, Any] | None
    file: str
    body: bytes

    @property
    def is_new(self) -> bool:
        """Whether its logger is not there yet."""
        return self.logger_id is None or self.layout is not None


_COLUMNS = [upload.c[name] for name in Upload.__dataclass_fields__]


def add_upload(
    connection: Connection,
    account_id: int,
    site_id: str,
    logger_id: str | None,
    file: str,
    body: bytes,
    now: datetime,
) -> int:
    """Put a file aside and return its number; what was put aside too long ago goes."""
    own = upload.c.account_id == account_id
    newest = select(upload.c.id).where(own).order_by(upload.c.id.desc()).limit(MOST_EACH - 1)
    crowded = own & upload.c.id.not_in(connection.scalars(newest).all())
    connection.execute(delete(upload).where(or_(upload.c.made_at < now - KEPT_FOR, crowded)))
    row = {"account_id": account_id, "site_id": site_id, "logger_id": logger_id, "file": file}
    row |= {"body": body, "made_at": now}
    return connection.execute(insert(upload).values(row).returning(upload.c.id)).scalar_one()


def prune_uploads(connection: Connection, now: datetime) -> int:
    """Take out what was put aside too long ago; return how many."""
    return connection.execute(delete(upload).where(upload.c.made_at < now - KEPT_FOR)).rowcount


def find_upload(connection: Connection, upload_id: int, account_id: int) -> Upload | None:
    """Return a file that an account has put aside."""
    own = upload.c.id == upload_id, upload.c.account_id == account_id
    row = connection.execute(select(*_COLUMNS).where(*own)).one_or_none()
    return None if row is None else Upload(*row)


def state_layout(
    connection: Connection, upload_id: int, logger_id: str, layout: Mapping[str, Any] | None
) -> None:
    """Keep how a file of a logger that is not there yet is to be read; None: it is there now."""
    stated = {"logger_id": logger_id, "layout": layout}
    connection.execute(update(upload).where(upload.c.id == upload_id).values(stated))


def drop_upload(connection: Connection, upload_id: int) -> None:
    """Put a file aside no longer."""
    connection.execute(delete(upload).where(upload.c.id == upload_id))
