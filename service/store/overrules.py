"""What people have said over the checks: a verdict on a span of a probe, until it is withdrawn."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, insert, select, update

from service.store.among import among
from service.store.tables import overrule, overrule_withdrawal, probe


@dataclass(frozen=True)
class Overrule:
    """A verdict on the readings of a probe from one instant to another, both among them.

    flag : GOOD or FAIL
    withdrawn_by, withdrawn_why : None also where it was withdrawn before either was asked for
    """

    id: int
    logger_id: str
    channel: str
    first_at: datetime
    last_at: datetime
    flag: int
    note: str
    person: str
    made_at: datetime
    withdrawn_at: datetime | None
    withdrawn_by: str | None
    withdrawn_why: str | None

    def holds_at(self, observed_at: NDArray[np.datetime64]) -> NDArray[np.bool_]:
        """Return which instants it is about."""
        first, last = (
            np.datetime64(end.replace(tzinfo=None), "us") for end in (self.first_at, self.last_at)
        )
        return (observed_at >= first) & (observed_at <= last)


def add_overrule(
    connection: Connection,
    probe_id: int,
    ends: tuple[datetime, datetime],
    flag: int,
    note: str,
    person: str,
    now: datetime,
) -> int:
    """Keep a verdict; return its number."""
    row = {
        "probe_id": probe_id,
        "first_at": ends[0],
        "last_at": ends[1],
        "flag": flag,
        "note": note,
        "person": person,
        "made_at": now,
    }
    return connection.execute(insert(overrule).values(row).returning(overrule.c.id)).scalar_one()


def withdraw_overrule(
    connection: Connection, overrule_id: int, person: str, why: str, now: datetime
) -> bool:
    """Let a verdict hold no longer; return whether it did until now."""
    holding = (overrule.c.id == overrule_id, overrule.c.withdrawn_at.is_(None))
    if not connection.execute(update(overrule).where(*holding).values(withdrawn_at=now)).rowcount:
        return False
    row = {"overrule_id": overrule_id, "person": person, "why": why}
    connection.execute(insert(overrule_withdrawal).values(row))
    return True


def fetch_overrules(connection: Connection, logger_ids: Collection[str] = ()) -> Sequence[Overrule]:
    """Return all verdicts on the probes of some loggers, or of all, as they were made."""
    elsewhere = {
        "logger_id": probe.c.logger_id,
        "channel": probe.c.channel,
        "withdrawn_by": overrule_withdrawal.c.person,
        "withdrawn_why": overrule_withdrawal.c.why,
    }
    columns = [
        elsewhere[name] if name in elsewhere else overrule.c[name]
        for name in Overrule.__dataclass_fields__
    ]
    query = select(*columns).join_from(overrule, probe).outerjoin(overrule_withdrawal)
    query = query.order_by(overrule.c.id)
    if logger_ids:
        query = query.where(among(probe.c.logger_id, logger_ids))
    return [Overrule(*row) for row in connection.execute(query)]


def fetch_holding(connection: Connection, logger_id: str) -> defaultdict[str, list[Overrule]]:
    """Return the verdicts that hold, by channel; of two on one reading the later one counts."""
    holding: dict[str, list[Overrule]] = defaultdict(list)
    for one in fetch_overrules(connection, [logger_id]):
        if one.withdrawn_at is None:
            holding[one.channel].append(one)
    return holding
