"""What is wrong with the service itself, and whether its operator was told."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Connection, and_, delete, or_, select, update
from sqlalchemy.dialects import postgresql, sqlite

from service.store.among import among
from service.store.tables import alarm

STANDS = timedelta(minutes=4)
"""What has lasted for so long does not pass by itself."""
RESTS = timedelta(hours=1)
"""What has not come back for so long is over."""
TRIED_EVERY = timedelta(minutes=4)


@dataclass(frozen=True)
class Alarm:
    """One thing that is wrong: what, since when, and what to do.

    told_at : when its operator was told; None: not yet
    over_at : since when it is over; None: it lasts
    failure : why the operator was not told when that was tried last
    """

    what: str
    said: str
    remedy: str
    since: datetime
    tried_at: datetime | None
    told_at: datetime | None
    over_at: datetime | None
    failure: str | None


def fetch_alarms(connection: Connection) -> list[Alarm]:
    """Return what is wrong, and what is over and was not said to be, by its name."""
    rows = connection.execute(select(alarm).order_by(alarm.c.what))
    return [Alarm(**row) for row in rows.mappings()]


def fetch_lasting(connection: Connection, now: datetime) -> list[Alarm]:
    """Return what has been wrong for a while and still is."""
    return [
        one for one in fetch_alarms(connection) if one.over_at is None and one.since <= now - STANDS
    ]


def keep_alarms(
    connection: Connection, found: Mapping[str, tuple[str, str]], now: datetime
) -> None:
    """Keep what is wrong now, said and remedy by its name; all else is over."""
    insert = sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    known = {one.what: one for one in fetch_alarms(connection)}
    for what, (said, remedy) in found.items():  # another process may find the same just now
        told = {"said": said, "remedy": remedy, "over_at": None}
        statement = insert(alarm).values(what=what, since=now, **told)
        connection.execute(statement.on_conflict_do_update(index_elements=["what"], set_=told))
    for what, one in known.items():
        if what in found or one.over_at is not None:
            continue
        of_one = alarm.c.what == what
        if one.told_at is None:
            connection.execute(delete(alarm).where(of_one))
        else:
            connection.execute(update(alarm).where(of_one).values(over_at=now, tried_at=None))


def claim_alarms(connection: Connection, now: datetime) -> list[Alarm]:
    """Return what its operator is to be told now, and let no other process tell it meanwhile."""
    is_news = and_(alarm.c.told_at.is_(None), alarm.c.since <= now - STANDS)
    is_over = and_(alarm.c.told_at.is_not(None), alarm.c.over_at <= now - RESTS)
    is_free = or_(alarm.c.tried_at.is_(None), alarm.c.tried_at <= now - TRIED_EVERY)
    claimed = connection.execute(
        update(alarm).where(or_(is_news, is_over), is_free).values(tried_at=now).returning(alarm)
    )
    return sorted((Alarm(**row) for row in claimed.mappings()), key=lambda one: one.what)


def mark_alarms_told(connection: Connection, alarms: Iterable[Alarm], now: datetime) -> None:
    """Note that these were told; what was over is forgotten."""
    for one in alarms:
        of_one = alarm.c.what == one.what
        if one.over_at is None:
            told = update(alarm).where(of_one).values(told_at=now, failure=None)
            connection.execute(told)
        else:
            connection.execute(delete(alarm).where(of_one, alarm.c.over_at == one.over_at))


def note_alarms_untold(connection: Connection, alarms: Iterable[Alarm], failure: str) -> None:
    """Note why these could not be told."""
    whats = [one.what for one in alarms]
    connection.execute(update(alarm).where(among(alarm.c.what, whats)).values(failure=failure))
