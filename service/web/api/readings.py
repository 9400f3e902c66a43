"""GET /api/readings and /api/hourly-means: the temperatures of a logger."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from http import HTTPStatus
from math import isnan
from typing import Annotated, TypeVar

import numpy as np
from fastapi import APIRouter, Query
from fastapi.responses import Response
from pydantic import Field
from sqlalchemy import Connection, Engine

from service.logger_readings import LoggerHours, LoggerReadings, iterate_hours, iterate_readings
from service.reach import Reach
from service.store.engine import reading
from service.store.loggers import Logger, fetch_logger
from service.web.access import Known
from service.web.api.forms import Record
from service.web.api.loggers import find_logger
from service.web.api.parts import LISTED, Part
from service.web.api.ranges import After, Until, count_whole, find_begin
from service.web.problems import Problem

LoggerId = Annotated[str, Query(description="id of a logger")]
DepthCm = Annotated[float | None, Query(description="of one depth [cm]", allow_inf_nan=False)]

ObservedAt = Annotated[
    datetime, Field(description="the instant, or the end of what it is the mean of [UTC]")
]
Depth = Annotated[float | None, Field(description="where the probe lay then [cm]; null: nowhere")]


class HourRecord(Record):
    """An hour of a probe."""

    observed_at: ObservedAt
    depth_cm: Depth
    soil_temp_c: Annotated[
        float, Field(description="mean of usable readings, the calibration offset added [°C]")
    ]


class ReadingRecord(Record):
    """A reading of a probe."""

    observed_at: ObservedAt
    depth_cm: Depth
    soil_temp_c: Annotated[float, Field(description="as the logger has it [°C]")]
    flag: Annotated[
        int, Field(description="of QARTOD: 1 good, 2 not evaluated, 3 suspect, 4 fail, 9 missing")
    ]


def readings_routes(engine: Engine) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["temperatures"])

    @routes.get("/readings", response_model=list[ReadingRecord], responses=LISTED)
    def list_readings(
        who: Known,
        part: Part,
        logger: LoggerId,
        depth_cm: DepthCm = None,
        after: After = None,
        until: Until = None,
    ) -> Response:
        """Return the readings of a logger, by time and depth; those of one instant together."""
        begin = find_begin(after, until, part.find_start(datetime))
        with reading(engine) as connection:
            found = find_at_depth(connection, who.reach, logger, depth_cm)
            chunks = iterate_readings(connection, found, begin, until)
            readings, next_key = _take(chunks, depth_cm, part.limit)
        return part.answer(_tell(readings, ReadingRecord), ReadingRecord, next_key)

    @routes.get("/hourly-means", response_model=list[HourRecord], responses=LISTED)
    def list_hours(
        who: Known,
        part: Part,
        logger: LoggerId,
        depth_cm: DepthCm = None,
        after: After = None,
        until: Until = None,
    ) -> Response:
        """Return the hourly means of a logger, by time and depth; those of one hour together.

        Hours are of the site's standard time; a reading of 09:00 belongs to the hour that ends
        then. Where a logger reads less often, each reading speaks for the hours of its interval.
        """
        begin = find_begin(after, until, part.find_start(datetime))
        with reading(engine) as connection:
            found = find_at_depth(connection, who.reach, logger, depth_cm)
            chunks = iterate_hours(connection, found, begin, until)
            hours, next_key = _take(chunks, depth_cm, part.limit)
        return part.answer(_tell(hours, HourRecord), HourRecord, next_key)

    return routes


def find_at_depth(
    connection: Connection, reach: Reach, logger_id: str, depth_cm: float | None
) -> Logger:
    """Return a logger that may be seen, of which a probe has been at a depth."""
    found = fetch_logger(connection, find_logger(connection, reach, logger_id).id)
    known = sorted({stretch.depth_cm for probe in found.probes for stretch in probe.stretches})
    if depth_cm is not None and depth_cm not in known:
        there_are = ", ".join(f"{one:g}" for one in known) or "none"
        said = f"depth_cm: no probe has been at {depth_cm:g} cm; there are: {there_are}"
        raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, said)
    return found


Chunk = TypeVar("Chunk", LoggerReadings, LoggerHours)


def _take(
    chunks: Iterable[Chunk], depth_cm: float | None, limit: int
) -> tuple[list[Chunk], datetime | None]:
    """Return as much of this as makes a part, and the instant behind which the next begins."""
    taken: list[Chunk] = []
    size = 0
    for chunk in chunks:
        taken.append(chunk if depth_cm is None else chunk.where(chunk.depth_cm == depth_cm))
        size += taken[-1].observed_at.size
        if size > limit:
            at = np.concatenate([one.observed_at for one in taken])
            kept = count_whole(at, limit)
            if kept == size:
                continue
            taken[-1] = taken[-1].where(np.arange(kept - size + taken[-1].observed_at.size))
            return taken, at[kept - 1].item().replace(tzinfo=UTC)
    return taken, None


def _tell(chunks: Iterable[Chunk], of: type[Record]) -> list[Record]:
    records: list[Record] = []
    for chunk in chunks:
        columns = [getattr(chunk, name).tolist() for name in of.model_fields]
        for observed_at, depth_cm, *rest in zip(*columns, strict=True):
            known_cm = None if isnan(depth_cm) else depth_cm
            values = observed_at.replace(tzinfo=UTC), known_cm, *rest
            records.append(of(**dict(zip(of.model_fields, values, strict=True))))
    return records
