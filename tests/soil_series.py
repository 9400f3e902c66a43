"""Series of readings for the tests of the checks: written down, or real soil."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from probes.checks import ProbeSeries
from tests.real_data import PROFILE, TWITCHELL, need

START = np.datetime64("2025-05-01T00:00", "us")
US_PER_HOUR = 3_600_000_000


def series(
    values_c: Sequence[float] | NDArray[np.float64],
    step_h: float | Sequence[float] = 1.0,
    depth_cm: float = 30.0,
) -> ProbeSeries:
    """Return readings `step_h` apart, or each so many hours after the one before."""
    hours = np.cumsum(np.broadcast_to(step_h, len(values_c)))
    at = START + (hours * US_PER_HOUR).astype(np.int64).astype("timedelta64[us]")
    return ProbeSeries(at, np.array(values_c, np.float64), depth_cm)


def wave(
    days: int, range_c: float, *, peak_h: float = 15.0, mean_c: float = 18.0, depth_cm: float = 30.0
) -> ProbeSeries:
    """Return hourly readings of a pure daily wave."""
    hour = np.arange(1, 24 * days + 1)
    value_c = mean_c + range_c / 2 * np.cos(2 * np.pi * (hour - peak_h) / 24)
    return series(value_c, depth_cm=depth_cm)


@cache
def twitchell() -> tuple[ProbeSeries, ...]:
    """Return the five depths of [US-TW3], half-hourly over five years."""
    table = pd.read_csv(need(TWITCHELL), skiprows=2, na_values=-9999)
    stamps = pd.to_datetime(table["TIMESTAMP_END"].astype(str), format="%Y%m%d%H%M")
    return _columns(table, stamps, 8, {f"TS_1_{i}_1": 2.0**i for i in range(1, 6)})


@cache
def profile() -> tuple[ProbeSeries, ...]:
    """Return the seven depths of [UTAH-PROFILE], hourly over seven months."""
    table = pd.read_csv(need(PROFILE))
    depths_cm = (5.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0)
    columns = {f"TS_3_{i}_1": depth_cm for i, depth_cm in enumerate(depths_cm, 1)}
    return _columns(table, pd.to_datetime(table["DATETIME_END"]), 7, columns)


def profile_air() -> ProbeSeries:
    """Return the air temperature beside that profile."""
    table = pd.read_csv(need(PROFILE))
    return _columns(table, pd.to_datetime(table["DATETIME_END"]), 7, {"TA_1_1_1": 0.0})[0]


def _columns(
    table: pd.DataFrame, stamps: pd.Series, hours_west: int, columns: dict[str, float]
) -> tuple[ProbeSeries, ...]:
    at = stamps.to_numpy().astype("datetime64[us]") + np.timedelta64(hours_west, "h")
    found = []
    for column, depth_cm in columns.items():
        value_c = table[column].to_numpy(np.float64)
        there = ~np.isnan(value_c)
        found.append(ProbeSeries(at[there], value_c[there], depth_cm))
    return tuple(found)
