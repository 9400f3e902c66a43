"""GET /api/loggers and /api/probes: what temperatures come from."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import Response
from pydantic import Field
from sqlalchemy import Connection, Engine

from service.reach import Reach
from service.store.engine import reading
from service.store.loggers import (
    LoggerPlace,
    Probe,
    Stretch,
    fetch_logger_places,
    fetch_probes_of,
)
from service.store.sources import fetch_last_readings
from service.web.access import Known
from service.web.api.forms import Record
from service.web.api.parts import LISTED, ONE, Part, answer_one
from service.web.problems import Problem


class LoggerRecord(Record):
    """A logger, a station or a soil thermometer."""

    id: str
    kind: Annotated[str, Field(description="files, station, or hand: a soil thermometer")]
    site: Annotated[str, Field(description="its id")]
    interval_min: Annotated[float, Field(description="between its readings, as set up [min]")]
    last_reading_at: Annotated[
        datetime | None, Field(description="its newest reading that is not flagged 4 [UTC]")
    ]
    retired_at: Annotated[datetime | None, Field(description="null: it is in use [UTC]")]


class ProbeRecord(Record):
    """A stretch of time in which a probe lay at one depth."""

    logger: Annotated[str, Field(description="its id")]
    channel: Annotated[str, Field(description="the header of its column")]
    depth_cm: Annotated[float, Field(description="below the surface [cm]")]
    calibration_offset_c: Annotated[float, Field(description="added to what it reads [°C]")]
    valid_from: Annotated[
        date | None, Field(description="null: from its first reading; days of the site")
    ]
    until: Annotated[
        date | None,
        Field(description="the first day on which it lay there no more; null: it does"),
    ]


def loggers_routes(engine: Engine) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["loggers"])

    @routes.get("/loggers", response_model=list[LoggerRecord], responses=LISTED)
    def list_loggers(
        who: Known, part: Part, site: Annotated[str | None, Query(description="of one site")] = None
    ) -> Response:
        """Return the loggers of the sites that you see, by id; the retired ones too."""
        with reading(engine) as connection:
            seen = fetch_logger_places(connection, who.reach.site_ids)
            found = [one for one in seen if site in (None, one.site_id)]
            loggers, next_key = part.cut_by_id(found)
            records = _tell(connection, loggers)
        return part.answer(records, LoggerRecord, next_key)

    @routes.get("/loggers/{logger_id}", response_model=LoggerRecord, responses=ONE)
    def show_logger(
        request: Request, logger_id: Annotated[str, Path(description="id of a logger")], who: Known
    ) -> Response:
        """Return one logger."""
        with reading(engine) as connection:
            found = find_logger(connection, who.reach, logger_id)
            (record,) = _tell(connection, [found])
        return answer_one(request, record)

    @routes.get("/probes", response_model=list[ProbeRecord], responses=LISTED)
    def list_probes(
        who: Known,
        part: Part,
        logger: Annotated[str | None, Query(description="id of one logger")] = None,
    ) -> Response:
        """Return where each probe has lain, by logger and time; `limit` is how many loggers."""
        with reading(engine) as connection:
            if logger:
                found = [find_logger(connection, who.reach, logger)]
            else:
                found = fetch_logger_places(connection, who.reach.site_ids)
            loggers, next_key = part.cut_by_id(found)
            probes = fetch_probes_of(connection, [one.id for one in loggers])
        records = [
            _probe(logger_id, probe, stretch, later)
            for logger_id, of_logger in probes.items()
            for probe in of_logger
            for stretch, later in zip(probe.stretches, [*probe.stretches[1:], None], strict=True)
        ]
        return part.answer(records, ProbeRecord, next_key)

    return routes


def find_logger(connection: Connection, reach: Reach, logger_id: str) -> LoggerPlace:
    """Return a logger that may be seen, or refuse it."""
    for one in fetch_logger_places(connection, reach.site_ids):
        if one.id == logger_id:
            return one
    said = "no logger of yours has this id; /api/loggers lists them"
    raise Problem(HTTPStatus.NOT_FOUND, said)


def _tell(connection: Connection, loggers: Collection[LoggerPlace]) -> list[LoggerRecord]:
    last_at = fetch_last_readings(connection, [one.id for one in loggers])
    return [
        LoggerRecord(
            id=one.id,
            kind=one.kind,
            site=one.site_id,
            interval_min=one.interval_min,
            last_reading_at=last_at.get(one.id),
            retired_at=one.retired_at,
        )
        for one in loggers
    ]


def _probe(logger_id: str, probe: Probe, stretch: Stretch, later: Stretch | None) -> ProbeRecord:
    ends = [one for one in (stretch.until, later and later.valid_from) if one]
    return ProbeRecord(
        logger=logger_id,
        channel=probe.channel,
        depth_cm=stretch.depth_cm,
        calibration_offset_c=stretch.calibration_offset_c,
        valid_from=None if stretch.valid_from == date.min else stretch.valid_from,
        until=min(ends, default=None),
    )
