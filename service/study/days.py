"""Daily temperatures of many places over the same days: of depths of sites, or of root zones."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import chain
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from sqlalchemy import Connection

from service.archive.rows import iterate_days
from service.root_zones import fetch_root_zones
from service.store.archive import ArchiveSite, fetch_archive_sites, fetch_end_days
from service.store.blocks import Block
from service.store.loggers import fetch_logger


@dataclass(frozen=True)
class Place:
    """Where a series was measured: at a depth of a site, or in the root zone of a block.

    depth_cm : None where it is the root zone of a block
    block : its id; empty where it is a depth of a site
    latitude, longitude : degrees, WGS 84
    """

    site: str
    block: str
    depth_cm: float | None
    latitude: float
    longitude: float
    elevation_m: float | None

    @property
    def name(self) -> str:
        """Return "upper, 30 cm" or "terrace-7"."""
        return self.block or f"{self.site}, {self.depth_cm:g} cm"


@dataclass(frozen=True)
class StudyDays:
    """Daily means of places, all over the same days.

    day : (n_days,) datetime64[D], consecutive, of each site's local standard time
    mean_c : (n_places, n_days) float64, NaN where the day has no value [degC]
    error_c : (n_places, n_days) float64, its standard error [degC]
    """

    places: list[Place]
    day: NDArray[np.datetime64]
    mean_c: NDArray[np.float64]
    error_c: NDArray[np.float64]

    @property
    def south(self) -> NDArray[np.bool_]:
        """Whether a place lies south of the equator."""
        return np.array([place.latitude < 0 for place in self.places], bool)


def fetch_depths(
    connection: Connection,
    site_ids: Collection[str],
    depths_cm: Collection[float],
    until: date,
    sensor_accuracy_c: float,
) -> StudyDays:
    """Return the days of every depth of the sites named, or of all; none of the depths: all."""
    found: list[StudyDays] = []
    for site in fetch_archive_sites(connection):
        if site_ids and site.id not in site_ids:
            continue
        rows = list(_iterate_site(connection, site, until))
        if rows:
            where = site.latitude, site.longitude, site.elevation_m
            found.append(gather(site.id, where, rows, depths_cm, sensor_accuracy_c))
    return join(found)


def _iterate_site(connection: Connection, site: ArchiveSite, until: date) -> Iterable[pa.Table]:
    for logger in (fetch_logger(connection, logger_id) for logger_id in site.logger_ids):
        for probe in logger.probes:
            ends = fetch_end_days(connection, [probe.id])
            if ends:
                for year in range(ends[0].year, min(ends[-1], until).year + 1):
                    yield from iterate_days(connection, logger, probe, year, date.min, until)


def gather(
    site: str,
    where: tuple[float, float, float | None],
    rows: Sequence[pa.Table],
    depths_cm: Collection[float],
    sensor_accuracy_c: float,
) -> StudyDays:
    """Return the days of a site's depths, from rows as an archive holds them.

    A day of a depth is the mean of its probes that have a complete one.
    """
    table = pa.concat_tables(rows)
    whole = np.asarray(table["complete"]) & ~np.isnan(_numbers(table, "mean_c"))
    day = np.asarray(table["day"]).astype("datetime64[D]")[whole]
    depth_cm, mean_c, error_c = (
        _numbers(table, name)[whole] for name in ("depth_cm", "mean_c", "error_c")
    )
    there = np.unique(depth_cm[~np.isnan(depth_cm)]).tolist()
    depths = [one for one in there if not depths_cm or one in depths_cm]
    days = _span(day)
    total, errors, count = (np.zeros((len(depths), days.size)) for _ in range(3))
    kept = np.isin(depth_cm, depths)
    cell = np.searchsorted(depths, depth_cm[kept]), np.searchsorted(days, day[kept])
    np.add.at(total, cell, mean_c[kept])
    np.add.at(errors, cell, np.nan_to_num(error_c[kept], nan=sensor_accuracy_c))
    np.add.at(count, cell, 1)
    count[count == 0] = np.nan
    places = [Place(site, "", one, *where) for one in depths]
    return StudyDays(places, days, total / count, errors / count)


def _numbers(table: pa.Table, name: str) -> NDArray[np.float64]:
    return table[name].to_numpy().astype(np.float64)


def _span(day: NDArray[np.datetime64]) -> NDArray[np.datetime64]:
    return np.arange(day.min(), day.max() + 1) if day.size else day


def fetch_root_zones_of(
    connection: Connection, blocks: Sequence[Block], until: date, sensor_accuracy_c: float
) -> StudyDays:
    """Return the root-zone days of blocks."""
    if not blocks:
        return join([])
    zones = fetch_root_zones(connection, blocks, date.min, until, sensor_accuracy_c)
    places = [
        Place(one.site_id, one.id, None, one.latitude, one.longitude, one.elevation_m)
        for one in blocks
    ]
    return StudyDays(
        places,
        zones[0].zone.day,
        np.array([one.zone.root_zone_c for one in zones]),
        np.array([one.zone.error_c for one in zones]),
    )


def until_day(study: StudyDays, last: date) -> StudyDays:
    """Return the days up to one, and the places that have any of them."""
    kept = study.day <= np.datetime64(last)
    there = np.flatnonzero(~np.isnan(study.mean_c[:, kept]).all(axis=1))
    return StudyDays(
        [study.places[row] for row in there],
        study.day[kept],
        study.mean_c[there][:, kept],
        study.error_c[there][:, kept],
    )


def join(parts: Sequence[StudyDays]) -> StudyDays:
    """Return the places of all parts, over the days of all."""
    parts = [part for part in parts if part.day.size]
    days = _span(np.concatenate([np.empty(0, "datetime64[D]"), *(part.day for part in parts)]))
    places = list(chain.from_iterable(part.places for part in parts))
    joined: dict[str, Any] = defaultdict(lambda: np.full((len(places), days.size), np.nan))
    row = 0
    for part in parts:
        first = int((part.day[0] - days[0]).astype(int))
        cells = slice(row, row + len(part.places)), slice(first, first + part.day.size)
        joined["mean_c"][cells], joined["error_c"][cells] = part.mean_c, part.error_c
        row += len(part.places)
    return StudyDays(places, days, joined["mean_c"], joined["error_c"])
