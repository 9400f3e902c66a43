"""Deliveries of the one logger of a test farm, by what really puts readings into a store."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Literal

import numpy as np
from sqlalchemy import Connection

from probes.frames import LoggerFile
from service.intake.ingest import Source, ingest
from service.store.loggers import fetch_logger

CHANNELS = ("T15", "T30", "T45")


def deliver(
    connection: Connection,
    first_at: datetime,
    last_at: datetime,
    arrived_at: datetime,
    *,
    by: Literal["file", "push", "feed"] = "push",
    every: timedelta = timedelta(hours=1),
    without: Sequence[str] = (),
    temp_c: float = 12.0,
    logger_id: str = "u1",
    channels: Sequence[str] = CHANNELS,
) -> None:
    """Bring the readings from one instant to another, a value for each channel but some."""
    count = (last_at - first_at) // every + 1
    observed_at = np.datetime64(first_at.replace(tzinfo=None), "us") + np.arange(
        count
    ) * np.timedelta64(every)
    temps_c = np.full((count, len(channels)), temp_c)
    temps_c += np.arange(count)[:, None] % 5 / 10  # what never moves would be flagged
    temps_c[:, [channels.index(channel) for channel in without]] = np.nan
    file = LoggerFile(tuple(channels), np.arange(count), observed_at, temps_c, 0, ())
    source = Source(by, "delivery", sha256(f"{first_at}{last_at}{arrived_at}".encode()).hexdigest())
    ingest(connection, fetch_logger(connection, logger_id, lock=True), source, file, arrived_at)
