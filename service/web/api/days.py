"""GET /api/daily-means and /api/blocks/ID/root-zone: temperatures day by day."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from functools import partial
from math import inf
from typing import Annotated

import numpy as np
from fastapi import APIRouter, Path
from fastapi.responses import Response
from pydantic import Field
from sqlalchemy import Engine

from service.daily_means import find_stretches
from service.evaluation import as_of_day, evaluate_blocks
from service.settings import Settings
from service.showing import root_zone_records
from service.store.daily import ProbeDay, fetch_probe_days
from service.store.engine import reading
from service.store.loggers import Logger, Probe
from service.web.access import Known
from service.web.api.forms import Record
from service.web.api.parts import LISTED, Part
from service.web.api.places import fetch_seen
from service.web.api.ranges import FirstDay, LastDay, count_whole, find_days
from service.web.api.readings import Depth, DepthCm, LoggerId, find_at_depth
from service.web.seen_blocks import unname_neighbours

NOON = timedelta(hours=12)

OfDay = Annotated[date, Field(description="of the site's standard time")]


class DayRecord(Record):
    """A day of a probe."""

    day: OfDay
    depth_cm: Depth
    channel: Annotated[str, Field(description="the header of the probe's column")]
    mean_c: Annotated[
        float | None, Field(description="mean of its slots, the calibration offset added [°C]")
    ]
    coverage: Annotated[float, Field(description="share of the day that has readings")]
    longest_gap_h: Annotated[int, Field(description="[h]")]
    complete: Annotated[bool, Field(description="whether enough of it is there to count")]
    error_c: Annotated[
        float | None, Field(description="standard error, of a day read by hand [°C]")
    ]


class RootZoneRecord(Record):
    """A day of the root zone of a block."""

    day: OfDay
    root_zone_c: Annotated[float | None, Field(description="mean over the root zone [°C]")]
    estimated: Annotated[int, Field(description="1: not measured in full")]
    depths_cm: Annotated[str, Field(description="the depths that it rests on [cm]")]
    error_c: Annotated[float | None, Field(description="standard error [°C]")]
    by_hand: Annotated[int, Field(description="1: it rests on readings by hand")]
    borrowed_from: Annotated[str | None, Field(description="the neighbours that lend it")]


def days_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["temperatures"])

    @routes.get("/daily-means", response_model=list[DayRecord], responses=LISTED)
    def list_days(
        who: Known,
        part: Part,
        logger: LoggerId,
        depth_cm: DepthCm = None,
        first: FirstDay = None,
        last: LastDay = None,
    ) -> Response:
        """Return the daily means of a logger, by day and depth; those of one day together."""
        begin, end = find_days(first, last, part.find_start(date))
        with reading(engine) as connection:
            found = find_at_depth(connection, who.reach, logger, depth_cm)
            ids = [probe.id for probe in found.probes]
            most = (part.limit + 1) * len(ids)  # of which one a day may be at the depth
            days = fetch_probe_days(connection, ids, begin, end, most)
        records = [one for one in _tell(found, days) if depth_cm in (None, one.depth_cm)]
        return _answer(part, records, DayRecord)

    @routes.get(
        "/blocks/{block_id}/root-zone", response_model=list[RootZoneRecord], responses=LISTED
    )
    def list_root_zone(
        who: Known,
        part: Part,
        block_id: Annotated[str, Path(description="id of a block")],
        first: FirstDay = None,
        last: LastDay = None,
    ) -> Response:
        """Return the days of a block's root zone up to yesterday, those without a value too."""
        begin, end = find_days(first, last, part.find_start(date))
        with reading(engine) as connection:
            every = fetch_seen(connection, who.reach)
            (block,) = fetch_seen(connection, who.reach, block_id)
            day = as_of_day(block, datetime.now(UTC))
            accuracy_c = settings.sensor_accuracy_c
            (found,) = evaluate_blocks(connection, [block], [day], None, accuracy_c)
        unname = partial(unname_neighbours, names={one.name for one in every}, language="en")
        records = map(RootZoneRecord.model_validate, root_zone_records(found, unname))
        return _answer(part, [one for one in records if begin <= one.day <= end], RootZoneRecord)

    return routes


def _tell(logger: Logger, days: Sequence[ProbeDay]) -> list[DayRecord]:
    """Return days of the probes of a logger with the depths that these had then."""
    return sorted(
        (one for probe in logger.probes for one in _tell_probe(logger, probe, days)),
        key=lambda one: (one.day, inf if one.depth_cm is None else one.depth_cm, one.channel),
    )


def _tell_probe(logger: Logger, probe: Probe, days: Sequence[ProbeDay]) -> Iterator[DayRecord]:
    of_probe = [one for one in days if one.probe_id == probe.id]
    noons = [logger.begin_of(one.day) + NOON for one in of_probe]
    at = np.array([one.replace(tzinfo=None) for one in noons], "datetime64[us]")
    stretches = find_stretches(probe, at, logger.utc_offset_min).tolist()
    for one, stretch in zip(of_probe, stretches, strict=True):
        yield DayRecord(
            day=one.day,
            depth_cm=None if stretch < 0 else probe.stretches[stretch].depth_cm,
            channel=probe.channel,
            mean_c=one.mean_c,
            coverage=one.slots_present / one.slots_in_day,
            longest_gap_h=one.longest_gap_h,
            complete=one.complete,
            error_c=one.error_c,
        )


def _answer(
    part: Part, records: Sequence[DayRecord] | Sequence[RootZoneRecord], of: type[Record]
) -> Response:
    kept = count_whole(np.array([one.day for one in records], "datetime64[D]"), part.limit)
    next_key = records[kept - 1].day if kept < len(records) else None
    return part.answer(records[:kept], of, next_key)
