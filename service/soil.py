"""The soil of a block, surveyed from the readings of its probes as they lie now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection

from probes.frames import GOOD, HOUR, NOT_EVALUATED, Readings
from probes.soil.harmonics import days_since_1970
from probes.soil.survey import DepthWaves, Layer, survey
from service.store.blocks import Block, Stretch
from service.store.readings import fetch_readings

YEARS_BACK = timedelta(days=3 * 365)
LONGEST_GAP_H = 3  # bridged by a straight line, as between the readings of slow loggers


@dataclass(frozen=True)
class BlockSoil:
    """The waves at each depth of a block and its layers; `days` is how long it has readings."""

    days: int
    waves: list[DepthWaves]
    layers: list[Layer]


def survey_block(connection: Connection, block: Block, until: datetime) -> BlockSoil | None:
    """Return what the readings of a block's depths say up to an instant; None without any."""
    probes = block.in_use
    fetched = [_fetch(connection, block, stretch, until) for stretch in probes]
    local = [readings.observed_at for readings in fetched if readings.observed_at.size]
    if not local:
        return None
    first = min(at[0] for at in local).astype("datetime64[D]")
    last = max(at[-1] for at in local).astype("datetime64[D]")
    ends = np.arange(first.astype("datetime64[h]"), (last + 1).astype("datetime64[h]")) + HOUR
    hours_c = np.array([_by_hour(readings, ends) for readings in fetched])
    depths_cm = sorted({stretch.depth_cm for stretch in probes})
    at_depth = np.array([stretch.depth_cm for stretch in probes])
    by_depth_c = np.array([_mean(hours_c[at_depth == depth_cm]) for depth_cm in depths_cm])
    waves, layers = survey(days_since_1970(ends - HOUR / 2), by_depth_c, depths_cm)
    return BlockSoil(ends.size // 24, waves, layers)


def _fetch(connection: Connection, block: Block, stretch: Stretch, until: datetime) -> Readings:
    """Return the usable readings of a probe since it lies where it lies, by local standard time."""
    readings = fetch_readings(connection, stretch.probe_id, until - YEARS_BACK, until)
    local = readings.observed_at + np.timedelta64(block.utc_offset_min, "m")
    usable = np.isin(readings.flag, [GOOD, NOT_EVALUATED])
    usable &= local > np.datetime64(stretch.valid_from, "D")
    return Readings(local[usable], readings.soil_temp_c[usable], readings.flag[usable])


def _by_hour(readings: Readings, ends: NDArray[np.datetime64]) -> NDArray[np.float64]:
    """Return the mean of each hour, short gaps bridged; NaN where there is none [degC]."""
    place = np.searchsorted(ends, readings.observed_at)
    count = np.bincount(place, minlength=ends.size)
    total_c = np.bincount(place, readings.soil_temp_c, minlength=ends.size)
    there = np.flatnonzero(count)
    hours_c = np.full(ends.size, np.nan)
    hours_c[there] = total_c[there] / count[there]
    if there.size > 1:
        hour = np.arange(ends.size)
        after = there[np.searchsorted(there, hour).clip(max=there.size - 1)]
        before = there[(np.searchsorted(there, hour, side="right") - 1).clip(min=0)]
        near = (before <= hour) & (hour <= after) & (after - before <= LONGEST_GAP_H + 1)
        hours_c[near] = np.interp(hour[near], there, hours_c[there])
    return hours_c


def _mean(hours_c: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the mean of the probes at one depth, of those that have the hour [degC]."""
    there = ~np.isnan(hours_c)
    with np.errstate(invalid="ignore"):
        return np.where(there, hours_c, 0.0).sum(axis=0) / there.sum(axis=0)
