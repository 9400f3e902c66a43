"""Channels that take nothing for now: since when, why, and when they are asked again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, delete, insert, select

from service.store.tables import channel_trouble

HEARTBEAT = "heartbeat"
"""Of the sign of life: a channel to the operator, by which no message goes."""


@dataclass(frozen=True)
class ChannelTrouble:
    """A channel that took nothing when it was last asked.

    attempts : how often that has been so, one after the other
    """

    channel: str
    since: datetime
    attempts: int
    next_try_at: datetime
    failure: str


def fetch_troubles(connection: Connection) -> dict[str, ChannelTrouble]:
    """Return the channels in trouble, by name."""
    rows = connection.execute(select(channel_trouble).order_by(channel_trouble.c.channel))
    return {row.channel: ChannelTrouble(**row._mapping) for row in rows}


def keep_trouble(connection: Connection, trouble: ChannelTrouble) -> None:
    """Keep how a channel in trouble stands."""
    end_trouble(connection, trouble.channel)
    connection.execute(insert(channel_trouble).values(**vars(trouble)))


def end_trouble(connection: Connection, channel: str) -> None:
    """Note that a channel takes messages."""
    connection.execute(delete(channel_trouble).where(channel_trouble.c.channel == channel))
