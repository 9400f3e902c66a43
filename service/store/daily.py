"""Daily means in and out of the store."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from math import isnan

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, bindparam, delete, func, insert, select

from probes.frames import DailyMeans
from service.store.among import among
from service.store.bulk import execute_many, fetch_columns, merge_columns
from service.store.daily_packs import shorten_packs
from service.store.tables import daily_error, daily_mean, probe

DAY_COLUMNS = (
    *("probe_id", "day", "mean_c", "slots_present", "slots_in_day"),
    *("longest_gap_h", "complete"),
)


@dataclass(frozen=True)
class ProbeDays:
    """Daily means of many probes, by probe and day.

    probe_id : (n,) int32
    day : (n,) datetime64[D], local standard time
    mean_c : (n,) float64, NaN where no reading of the day may be used
    complete : (n,) bool
    """

    probe_id: NDArray[np.int32]
    day: NDArray[np.datetime64]
    mean_c: NDArray[np.float64]
    complete: NDArray[np.bool_]


def store_daily_means(
    connection: Connection, probe_id: int, days: NDArray[np.datetime64], means: DailyMeans
) -> None:
    """Make the daily means of `days` what `means` says; those it does not hold are taken out."""
    shorten_packs(connection, probe_id, np.union1d(days, means.day))
    if means.error_c is not None:
        _store_errors(connection, probe_id, days, means.day, means.error_c)
    gone = ({"gone": day} for day in np.setdiff1d(days, means.day).tolist())
    of_day = (daily_mean.c.probe_id == probe_id, daily_mean.c.day == bindparam("gone"))
    execute_many(connection, delete(daily_mean).where(*of_day), gone)
    columns = {name: column for name, column in vars(means).items() if name != "error_c"}
    of_probe = {"probe_id": np.broadcast_to(np.int32(probe_id), means.day.size)}
    merge_columns(connection, daily_mean, of_probe | columns)


def _store_errors(
    connection: Connection,
    probe_id: int,
    days: NDArray[np.datetime64],
    day: NDArray[np.datetime64],
    error_c: NDArray[np.float64],
) -> None:
    """Make the errors of `days` what is given; a day without a value has none."""
    of_day = (daily_error.c.probe_id == probe_id, daily_error.c.day == bindparam("gone"))
    execute_many(
        connection, delete(daily_error).where(*of_day), ({"gone": one} for one in days.tolist())
    )
    rows = (
        {"probe_id": probe_id, "day": one, "error_c": error}
        for one, error in zip(day.tolist(), error_c.tolist(), strict=True)
        if not isnan(error)
    )
    execute_many(connection, insert(daily_error), rows)


def fetch_daily_errors(
    connection: Connection, probe_ids: Collection[int], start: date, end: date
) -> list[tuple[int, date, float]]:
    """Return probe, day and standard error [degC] of the days that were read by hand."""
    query = select(daily_error).where(
        among(daily_error.c.probe_id, probe_ids), daily_error.c.day.between(start, end)
    )
    return [tuple(row) for row in connection.execute(query)]


def fetch_daily_means(
    connection: Connection, probe_ids: Collection[int], start: date, end: date
) -> ProbeDays:
    """Return the daily means of probes from one day to another, both included."""
    query = (
        select(daily_mean.c.probe_id, daily_mean.c.day, daily_mean.c.mean_c, daily_mean.c.complete)
        .where(among(daily_mean.c.probe_id, probe_ids), daily_mean.c.day.between(start, end))
        .order_by(daily_mean.c.probe_id, daily_mean.c.day)
    )
    return ProbeDays(**fetch_columns(connection, query))


@dataclass(frozen=True)
class ProbeDay:
    """A day of a probe, as probes.frames.DailyMeans has it."""

    probe_id: int
    day: date
    mean_c: float | None
    slots_present: int
    slots_in_day: int
    longest_gap_h: int
    complete: bool
    error_c: float | None


def fetch_probe_days(
    connection: Connection, probe_ids: Collection[int], start: date, end: date, most: int
) -> list[ProbeDay]:
    """Return the first days of probes from one day to another, both included, by day."""
    of_day = (daily_error.c.probe_id == daily_mean.c.probe_id) & (
        daily_error.c.day == daily_mean.c.day
    )
    query = (
        select(*(daily_mean.c[name] for name in DAY_COLUMNS), daily_error.c.error_c)
        .outerjoin(daily_error, of_day)
        .where(among(daily_mean.c.probe_id, probe_ids), daily_mean.c.day.between(start, end))
        .order_by(daily_mean.c.day, daily_mean.c.probe_id)
        .limit(most)
    )
    return [ProbeDay(*row) for row in connection.execute(query)]


def fetch_coverage(
    connection: Connection, probe_ids: Collection[int], day: date
) -> dict[int, tuple[int, bool]]:
    """Return how many hours of a day count for each probe, of 24, and whether it is complete."""
    query = select(
        daily_mean.c.probe_id,
        24 * daily_mean.c.slots_present / daily_mean.c.slots_in_day,
        daily_mean.c.complete,
    ).where(among(daily_mean.c.probe_id, probe_ids), daily_mean.c.day == day)
    return {
        probe_id: (round(hours), complete)
        for probe_id, hours, complete in connection.execute(query)
    }


def fetch_first_days(connection: Connection, probe_ids: Collection[int]) -> dict[int, date]:
    """Return the first day of each probe that has a complete one."""
    first = (
        select(func.min(daily_mean.c.day))
        .where(daily_mean.c.probe_id == probe.c.id, daily_mean.c.complete)
        .scalar_subquery()
    )
    query = select(probe.c.id, first).where(among(probe.c.id, probe_ids))
    return {probe_id: day for probe_id, day in connection.execute(query) if day is not None}
