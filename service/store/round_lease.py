"""The lease of the round: whoever holds it runs one, and no one else does, on whichever host.

Another one is held while looking ahead.

A row that lapses unless it is renewed, by one clock: that of the database, where it has one. One
that would hold for much longer than a lease is of a clock that was ahead: it has lapsed.
"""

from __future__ import annotations

import os
import socket
from dataclasses import dataclass
from datetime import datetime, timedelta
from secrets import token_hex

from sqlalchemy import Connection, delete, or_, select, update
from sqlalchemy.dialects import postgresql, sqlite

from service.store.busy import NotNowError
from service.store.shared_clock import fetch_clock
from service.store.tables import round_lease

LEASE = timedelta(seconds=30)
ROUND, LOOKING_AHEAD = 1, 2
_DOES = {ROUND: "running a round", LOOKING_AHEAD: "looking ahead"}


@dataclass(frozen=True)
class RoundLease:
    """Who runs a round or looks ahead: a process on a host, since when, and until when unless it is
    renewed."""

    id: int
    holder: str
    host: str
    process: int
    since: datetime
    lapses_at: datetime


class RoundHeldError(NotNowError):
    """Someone else runs a round, or looks ahead, now."""

    def __init__(self, lease: RoundLease) -> None:
        super().__init__(
            f"process {lease.process} on {lease.host} has been {_DOES[lease.id]} since "
            f"{lease.since:%Y-%m-%d %H:%M:%S} UTC. What it finds is told by it; run this again "
            "when it is through. If it has died, its hold lapses at "
            f"{lease.lapses_at:%H:%M:%S} UTC, and the next round goes ahead"
        )
        self.lease = lease


class RoundLostError(NotNowError):
    """Someone else has taken a round over from a process that did not renew its lease."""

    def __init__(self) -> None:
        super().__init__(
            "this round was out of touch with the store for too long and another has taken over: "
            "what this one found is not kept, and nothing is told twice"
        )


def fetch_lease(connection: Connection, what: int = ROUND) -> RoundLease | None:
    """Return the lease as it was taken last, lapsed or not; None: it was given back."""
    columns = [round_lease.c[name] for name in RoundLease.__dataclass_fields__]
    row = connection.execute(select(*columns).where(round_lease.c.id == what)).one_or_none()
    return RoundLease(*row) if row else None


def take_lease(connection: Connection, what: int = ROUND) -> RoundLease:
    """Take the lease, where it is free or has lapsed; RoundHeldError where it is held."""
    now = fetch_clock(connection)
    lease = RoundLease(what, token_hex(8), socket.gethostname(), os.getpid(), now, now + LEASE)
    insert = sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    statement = insert(round_lease).values(**vars(lease))
    until = round_lease.c.lapses_at
    statement = statement.on_conflict_do_update(
        index_elements=["id"],
        set_=vars(lease),
        where=or_(until <= now, until > now + 2 * LEASE),
    )
    connection.execute(statement)
    held = fetch_lease(connection, what)
    if held is None:  # given back in between
        return take_lease(connection, what)
    if held.holder != lease.holder:
        raise RoundHeldError(held)
    return lease


def renew_lease(connection: Connection, lease: RoundLease) -> None:
    """Hold the lease for longer; until this transaction ends no one can take it over.

    RoundLostError where someone has.
    """
    own = round_lease.c.holder == lease.holder
    until = fetch_clock(connection) + LEASE
    if not connection.execute(update(round_lease).where(own).values(lapses_at=until)).rowcount:
        raise RoundLostError


def give_back_lease(connection: Connection, lease: RoundLease) -> None:
    """Let the next round begin."""
    connection.execute(delete(round_lease).where(round_lease.c.holder == lease.holder))
