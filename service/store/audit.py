"""Who did what, and when: written with what was done, never changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, insert, select

from service.store.tables import audit

CONSOLE = "console"
"""Who is at the command line: whoever may run it on that machine."""


@dataclass(frozen=True)
class Deed:
    """Something that was done: by whom, and about whom or what."""

    id: int
    at: datetime
    who: str
    what: str
    about: str


def note_deed(connection: Connection, who: str, what: str, about: str, now: datetime) -> None:
    """Keep that something was done, in the transaction in which it is."""
    row = {"at": now, "who": who, "what": what, "about": about}
    connection.execute(insert(audit).values(row))


def fetch_deeds(
    connection: Connection, most: int = 100, before: int | None = None
) -> Sequence[Deed]:
    """Return what was done, the latest first; before a number, where one is given."""
    query = select(*(audit.c[name] for name in Deed.__dataclass_fields__))
    if before is not None:
        query = query.where(audit.c.id < before)
    rows = connection.execute(query.order_by(audit.c.id.desc()).limit(most))
    return [Deed(*row) for row in rows]
