"""The same comparison over an archive, some of its sites at a time."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Generic, Literal, TypeVar

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from pyarrow import parquet
from pyarrow.compute import field

from alerts.rules import WindowRule
from probes.daily import US_PER_HOUR, find_daily_means
from probes.frames import Readings
from service.archive.folder import SUMS
from service.archive.tables import FORM
from service.csv_cells import iterate_csv
from service.study.days import StudyDays, gather, join, until_day
from service.study.windows import compare

if TYPE_CHECKING:
    import pandas as pd

Source = Literal["daily", "readings"]
Table = TypeVar("Table")

SITE_YEARS_AT_ONCE, OF_RULES = 200, 20
"""What is in memory at once, with up to so many rules, of more of them less: of a thousand series a
day costs little more than of one."""

_COLUMNS: dict[Source, list[str]] = {
    "daily": ["day", "depth_cm", "mean_c", "error_c", "complete"],
    "readings": ["observed_at", "probe", "depth_cm", "soil_temp_c", "calibration_offset_c", "flag"],
}
_MADE_FROM = {"daily": "daily means of an archive", "readings": "readings of an archive"}
_AGAIN = "copy it from the archive again, or export anew"
_HOURLY_MIN = 60.0
_DAILY_MIN = 1440.0


class ArchiveError(ValueError):
    """A folder is no archive that this Digseason reads, or a scheduler does not answer."""


@dataclass(frozen=True)
class SomeCompared(Generic[Table]):
    """What became of the windows of some sites.

    table : as service.study.windows.compare gives it, or its rows as CSV
    faults : why a site is left out, a line each
    """

    table: Table
    faults: Sequence[str]


@dataclass(frozen=True)
class ArchiveStudy:
    """What is to be compared of an archive.

    source : "daily" for the daily means in it, "readings" to make them anew from its readings; days
        that were read by hand are in the former only
    depths_cm : none: all
    """

    folder: Path
    rules: Sequence[WindowRule]
    as_of: date
    source: Source
    depths_cm: Collection[float]
    bounds: bool
    sensor_accuracy_c: float

    def compare_sites(self, sites: Sequence[str]) -> SomeCompared[pd.DataFrame]:
        """Return what became of the windows of sites, all in one call of the engine."""
        parts: list[StudyDays] = []
        faults: list[str] = []
        for site in sites:
            try:
                parts.append(self.read_site(site))
            except ArchiveError as error:
                faults.append(f"site {site} is left out: {error}")
        frame = compare(join(parts), self.rules, self.as_of, bounds=self.bounds)
        return SomeCompared(frame, faults)

    def compare_sites_as_csv(self, sites: Sequence[str]) -> SomeCompared[str]:
        """Return the same as rows of CSV, without a header; to make them is a third of the work."""
        found = self.compare_sites(sites)
        return SomeCompared("".join(iterate_csv(found.table, header=False)), found.faults)

    def describe(self, sites: Sequence[str]) -> dict[str, str]:
        """Return what a comparison of sites is made from, in words."""
        years = [year for site in sites for year in self.list_years(site)]
        told = {
            "made from": _MADE_FROM[self.source],
            "accuracy of sensors": f"{self.sensor_accuracy_c:g} °C",
            "years": f"{min(years)} to {max(years)}" if years else "none",
        }
        sums = self.folder / SUMS
        if sums.exists():
            told[f"sha256 of its {SUMS}"] = sha256(sums.read_bytes()).hexdigest()
        return told

    def part_sites(self, sites: Sequence[str], workers: int) -> Iterator[Sequence[str]]:
        """Yield sites in parts, at least two for each worker.

        In memory all of a part lie over the same years, from the first of any to the last.
        """
        most = SITE_YEARS_AT_ONCE * OF_RULES // max(OF_RULES, len(self.rules))
        at_once = max(1, len(sites) // (2 * workers))
        part: list[str] = []
        years: list[int] = []
        for site in sites:
            together = [*years, *self.list_years(site)]
            span = max(together) - min(together) + 1 if together else 0
            if part and (len(part) == at_once or (len(part) + 1) * span > most):
                yield part
                part, together = [], self.list_years(site)
            part.append(site)
            years = together
        if part:
            yield part

    def list_years(self, site: str) -> list[int]:
        """Return the years of which there are files of a site."""
        names = (path.name for path in (self.folder / self.source / f"site={site}").glob("year=*"))
        years = (name.removeprefix("year=") for name in names)
        return [int(year) for year in years if year.isdecimal()]

    def read_site(self, site: str) -> StudyDays:
        """Return the days of the depths of a site. ArchiveError where a file of it is amiss."""
        folder = self.folder / self.source / f"site={site}"
        paths = sorted(folder.glob("year=*/*.parquet"))
        if not paths:
            raise ArchiveError(f"{folder} holds no year=.../*.parquet where it is read; {_AGAIN}")
        told = _read_told(paths[0], site, self.source)
        years = (_read_table(path, site, self.source) for path in paths)
        tables = list(_find_days(years, told) if self.source == "readings" else years)
        height = told["elevation_m"]
        where = float(told["latitude"]), float(told["longitude"]), float(height) if height else None
        days = gather(site, where, tables, self.depths_cm, self.sensor_accuracy_c)
        return until_day(days, self.as_of)


def _read_told(path: Path, site: str, source: Source) -> dict[str, str]:
    """Return what a file says of its site. ArchiveError where it is not of this site or form."""
    try:
        schema = parquet.read_schema(path)
    except (OSError, pa.ArrowException) as error:
        raise ArchiveError(f"{path} cannot be read: {_first_line(error)}; {_AGAIN}") from None
    told = {key.decode(): value.decode() for key, value in (schema.metadata or {}).items()}
    if told.get("archive_form") != FORM:
        raise ArchiveError(f"{path} is not of form {FORM} of an archive; export it anew")
    if told.get("site") != site:
        raise ArchiveError(f"{path} is of site {told.get('site')}; {_AGAIN}")
    if missing := [name for name in _COLUMNS[source] if name not in schema.names]:
        raise ArchiveError(f"{path} has no {', '.join(missing)}; {_AGAIN}")
    return told


def _read_table(path: Path, site: str, source: Source) -> pa.Table:
    _read_told(path, site, source)
    try:
        with parquet.ParquetFile(path) as file:
            return file.read(_COLUMNS[source])
    except (OSError, pa.ArrowException) as error:
        raise ArchiveError(f"{path} cannot be read: {_first_line(error)}; {_AGAIN}") from None


def _first_line(error: Exception) -> str:
    return str(error).partition("\n")[0].rstrip(".")


def _find_days(years: Iterator[pa.Table], told: dict[str, str]) -> Iterator[pa.Table]:
    """Yield the daily means of a site's probes, as rows of the daily table, a year at a time.

    A day may lie in the files of two years: the last one of a file waits for the next.
    """
    intervals: dict[int, tuple[int, float]] = {}
    rest: pa.Table | None = None
    for year in years:
        readings = year if rest is None else pa.concat_tables([rest, year])
        if not len(readings):
            continue
        last = np.asarray(readings["observed_at"]).astype("datetime64[us]").max()
        begins = _begin_of_day(last, int(told["utc_offset_min"]))
        is_over = field("observed_at") <= pa.scalar(begins.item(), pa.timestamp("us", "UTC"))
        yield from _find_days_of(readings.filter(is_over), told, intervals)
        rest = readings.filter(~is_over)
    if rest is not None:
        yield from _find_days_of(rest, told, intervals)


def _begin_of_day(at: np.datetime64, utc_offset_min: int) -> np.datetime64:
    """Return the instant at which the local day of a reading begins; midnight ends a day."""
    offset, least = np.timedelta64(utc_offset_min, "m"), np.timedelta64(1, "us")
    return (at + offset - least).astype("datetime64[D]").astype("datetime64[us]") - offset


def _find_days_of(
    readings: pa.Table, told: dict[str, str], intervals: dict[int, tuple[int, float]]
) -> Iterator[pa.Table]:
    """Yield the daily means of each probe and depth.

    intervals : by probe, of how many steps and how long between readings [min], as far as known
        from them: what counts where the archive does not say what the farm file does
    """
    told_min = json.loads(told.get("intervals_min", "{}"))
    probes = np.asarray(readings["probe"])
    columns = {name: readings[name].to_numpy() for name in _COLUMNS["readings"][2:]}
    observed_at = np.asarray(readings["observed_at"]).astype("datetime64[us]")
    for probe in np.unique(probes).tolist():
        of_probe = np.flatnonzero(probes == probe)
        of_probe = of_probe[observed_at[of_probe].argsort(kind="stable")]
        found = _find_interval(observed_at[of_probe])
        intervals[probe] = max(intervals.get(probe, (0, _HOURLY_MIN)), found)
        depths_cm = columns["depth_cm"][of_probe]
        for depth_cm in np.unique(depths_cm[~np.isnan(depths_cm)]).tolist():
            place = of_probe[depths_cm == depth_cm]
            means = find_daily_means(
                Readings(observed_at[place], columns["soil_temp_c"][place], columns["flag"][place]),
                int(told["utc_offset_min"]),
                told_min.get(str(probe), intervals[probe][1]),
                told["use_suspect"] == "true",
                columns["calibration_offset_c"][place],
            )
            yield pa.table(
                {
                    "day": means.day,
                    "depth_cm": np.full(means.day.size, depth_cm),
                    "mean_c": means.mean_c,
                    "error_c": np.full(means.day.size, np.nan),
                    "complete": means.complete,
                }
            )


def _find_interval(observed_at: NDArray[np.datetime64]) -> tuple[int, float]:
    """Return of how many steps, and the usual length of one [min]."""
    steps_us = np.diff(observed_at).astype(np.int64)
    if not steps_us.size:
        return 0, _HOURLY_MIN
    return steps_us.size, min(float(np.median(steps_us)) / US_PER_HOUR * 60, _DAILY_MIN)


def list_sites(folder: Path, source: Source, named: Collection[str] = ()) -> list[str]:
    """Return the sites of an archive, all or those named. ArchiveError where one is not there."""
    there = {path.name.removeprefix("site=") for path in (folder / source).glob("site=*")}
    if not there:
        raise ArchiveError(f"{folder} holds no {source}; name a folder that `export` wrote")
    for site in sorted(set(named) - there):
        raise ArchiveError(f"no site '{site}' in {folder}; known: {', '.join(sorted(there))}")
    return sorted(named or there)
