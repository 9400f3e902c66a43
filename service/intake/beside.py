"""What the loggers of a site say beside a reading by hand."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

import numpy as np
from sqlalchemy import Connection, select

from alerts.hand_words import Beside
from probes.frames import GOOD, NOT_EVALUATED
from service.daily_means import find_stretches
from service.store.loggers import Logger, Probe, fetch_logger
from service.store.readings import fetch_readings
from service.store.tables import logger

NEAR_CM = 5.0
NEAR_TIME = timedelta(minutes=90)
"""Half of the longest gap that a day may have."""


def find_beside(
    connection: Connection, site_id: str, place: tuple[float, datetime], temp_c: float
) -> Iterator[Beside]:
    """Yield what each logger of a site said at about that depth [cm] and time."""
    of_site = (
        select(logger.c.id)
        .where(logger.c.site_id == site_id, logger.c.kind != "hand", logger.c.retired_at.is_(None))
        .order_by(logger.c.id)
    )
    for logger_id in connection.scalars(of_site).all():
        one = fetch_logger(connection, logger_id)
        found = [_find(connection, one, probe, *place) for probe in one.probes]
        near = [pair for pair in found if pair is not None]
        if near:
            nearest_cm, value_c = min(near, key=lambda pair: abs(pair[0] - place[0]))
            yield Beside(logger_id, nearest_cm, temp_c - value_c)


def _find(
    connection: Connection, of: Logger, probe: Probe, depth_cm: float, observed_at: datetime
) -> tuple[float, float] | None:
    """Return depth [cm] and temperature [degC] of a probe, None where it is far or silent."""
    instant = np.array([observed_at.replace(tzinfo=None)], "datetime64[us]")
    if not probe.stretches:
        return None
    place = find_stretches(probe, instant, of.utc_offset_min).item()
    if place < 0 or abs(probe.stretches[place].depth_cm - depth_cm) > NEAR_CM:
        return None
    readings = fetch_readings(
        connection, probe.id, observed_at - NEAR_TIME, observed_at + NEAR_TIME
    )
    readings = readings.where(np.isin(readings.flag, [GOOD, NOT_EVALUATED]))
    if not readings.observed_at.size:
        return None
    nearest = np.abs(readings.observed_at - instant).argmin()
    stretch = probe.stretches[place]
    return stretch.depth_cm, readings.soil_temp_c[nearest].item() + stretch.calibration_offset_c
