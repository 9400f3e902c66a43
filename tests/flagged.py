"""What the tests of flags share: readings into a store, and what is kept beside what is due."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Engine, select

from probes.checks import CHECKS, ProbeSeries, check_logger, read_thresholds, roll_up
from probes.frames import LoggerFile
from service.intake.ingest import Source, ingest
from service.store import tables
from service.store.engine import reading, writing
from service.store.loggers import fetch_logger

LOGGER = "u1"
FIRST = np.datetime64("2023-03-01T00:00", "us")
NOW = datetime(2026, 1, 1, tzinfo=UTC)

Soil = Mapping[str, ProbeSeries]
"""Readings by channel."""


def bring(engine: Engine, soil: Soil, now: datetime = NOW) -> None:
    """Put readings into the store as one delivery, a row each."""
    values = list(soil.values())
    size = [one.soil_temp_c.size for one in values]
    soil_temp_c = np.full((sum(size), len(size)), np.nan)
    channel = np.repeat(np.arange(len(size)), size)
    soil_temp_c[np.arange(sum(size)), channel] = np.concatenate([one.raw_c for one in values])
    file = LoggerFile(
        channels=tuple(soil),
        line=np.arange(sum(size)),
        observed_at=np.concatenate([one.observed_at for one in values]),
        soil_temp_c=soil_temp_c,
        missing=0,
        rejects=(),
    )
    with writing(engine) as connection:
        logger = fetch_logger(connection, LOGGER, lock=True)
        ingest(connection, logger, Source("push", "push", "-"), file, now)


def parts_of(soil: Soil, part: Mapping[str, NDArray[Any]], number: int) -> Soil:
    """Return the readings that are of one part."""
    return {channel: one.where(part[channel] == number) for channel, one in soil.items()}


def two_weeks() -> Soil:
    """Return hourly readings of two depths, without a fault."""
    hours = np.arange(24 * 14)
    at = FIRST + hours.astype("m8[h]")
    return {
        f"T{depth_cm:g}": ProbeSeries(at, 17 + range_c * np.cos(hours * np.pi / 12), depth_cm)
        for depth_cm, range_c in ((15.0, 2.0), (30.0, 1.0))
    }


def stored_flags(engine: Engine) -> dict[str, list[tuple[Any, ...]]]:
    """Return the readings of each channel with flag and results."""
    found: dict[str, list[tuple[Any, ...]]] = {}
    columns = (tables.probe.c.channel, *(tables.reading.c[name] for name in COLUMNS))
    query = select(*columns).join(tables.probe, tables.probe.c.id == tables.reading.c.probe_id)
    with reading(engine) as connection:
        for channel, *row in connection.execute(query.order_by(*columns[:2])):
            found.setdefault(channel, []).append(tuple(row))
    return found


COLUMNS = ("observed_at", "soil_temp_c", "flag", "checks")


def flags_due(
    soil: Soil,
    pieces: Soil | None = None,
    checks: str = "standard",
    thresholds: Mapping[str, Mapping[str, Any]] = MappingProxyType({}),
) -> dict[str, list[tuple[Any, ...]]]:
    """Return what must be stored: all readings judged at once, by depth where `pieces` says so.

    A piece is named by its channel and anything behind a blank.
    """
    pieces = pieces or soil
    codes = check_logger(list(pieces.values()), read_thresholds(thresholds), CHECKS[checks])
    due: dict[str, list[tuple[Any, ...]]] = {}
    for name, one, code in zip(pieces, pieces.values(), codes, strict=True):
        instants = [at.replace(tzinfo=UTC) for at in one.observed_at.tolist()]
        rows = zip(instants, one.raw_c.tolist(), roll_up(code).tolist(), code.tolist(), strict=True)
        due.setdefault(name.split()[0], []).extend(rows)
    return {channel: sorted(rows) for channel, rows in due.items() if rows}


def with_offset(one: ProbeSeries, depth_cm: float, offset_c: float) -> ProbeSeries:
    """Return raw readings at another depth and with a calibration."""
    return replace(
        one, soil_temp_c=one.soil_temp_c + offset_c, depth_cm=depth_cm, offset_c=offset_c
    )
