"""Flagged readings of a logger as spans: those that lie near each other and share a cause."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
from sqlalchemy import Connection, select

from probes.checks import unpack
from probes.frames import SUSPECT
from service.daily_means import find_stretches
from service.store.bulk import fetch_columns
from service.store.loggers import Logger, Probe
from service.store.tables import reading

NEAR = timedelta(days=1)
OVERRULED = "overruled"


@dataclass(frozen=True)
class FlaggedSpan:
    """Flagged readings of a probe, each no more than a day after the one before.

    depth_cm : NaN where it is not known
    flag : the worst of them
    tests : those that all of them fail or are suspect by; a person's word in their place
    """

    logger_id: str
    channel: str
    depth_cm: float
    first_at: datetime
    last_at: datetime
    readings: int
    flag: int
    tests: tuple[str, ...]


def find_flagged_spans(
    connection: Connection,
    logger: Logger,
    after: datetime | None = None,
    until: datetime | None = None,
) -> list[FlaggedSpan]:
    """Return the flagged spans of a logger, the latest last."""
    spans = [
        span
        for probe in logger.probes
        for span in _of_probe(connection, logger, probe, after, until)
    ]
    return sorted(spans, key=lambda span: (span.first_at, span.channel))


def _of_probe(
    connection: Connection,
    logger: Logger,
    probe: Probe,
    after: datetime | None,
    until: datetime | None,
) -> Iterator[FlaggedSpan]:
    query = (
        select(reading.c.observed_at, reading.c.flag, reading.c.checks)
        .where(reading.c.probe_id == probe.id, reading.c.flag >= SUSPECT)
        .order_by(reading.c.observed_at)
    )
    if after is not None:
        query = query.where(reading.c.observed_at > after)
    if until is not None:
        query = query.where(reading.c.observed_at <= until)
    found = fetch_columns(connection, query)
    causes = _find_causes(found["checks"])
    stretch = find_stretches(probe, found["observed_at"], logger.utc_offset_min)
    depths_cm = [*(one.depth_cm for one in probe.stretches), float("nan")]
    rows = zip(
        found["observed_at"].tolist(), found["flag"].tolist(), causes, stretch.tolist(), strict=True
    )
    span: FlaggedSpan | None = None
    for instant, flag, cause, place in rows:
        at, depth_cm = instant.replace(tzinfo=UTC), depths_cm[place]
        if span is not None:
            shared = tuple(test for test in span.tests if test in cause)
            if shared and at - span.last_at <= NEAR and repr(depth_cm) == repr(span.depth_cm):
                span = FlaggedSpan(
                    *(logger.id, probe.channel, depth_cm, span.first_at, at),
                    *(span.readings + 1, max(flag, span.flag), shared),
                )
                continue
            yield span
        span = FlaggedSpan(logger.id, probe.channel, depth_cm, at, at, 1, flag, cause)
    if span is not None:
        yield span


def _find_causes(codes: np.ndarray) -> list[tuple[str, ...]]:
    """Return the tests that each reading is suspect by; none: a person has said so."""
    known, of_reading = np.unique(codes, return_inverse=True)
    causes = [
        tuple(test for test, result in unpack(code).items() if result >= SUSPECT) or (OVERRULED,)
        for code in known
    ]
    return [causes[place] for place in of_reading.tolist()]
