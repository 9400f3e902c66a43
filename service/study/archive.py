"""The same comparison over an archive, a site at a time, by several processes or hosts."""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from functools import partial
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import pyarrow as pa
from pyarrow import parquet
from pyarrow.compute import field

from alerts.rules import WindowRule
from probes.daily import US_PER_HOUR, find_daily_means
from probes.frames import Readings
from service.archive.tables import FORM
from service.study.days import StudyDays, gather, until_day
from service.study.windows import compare

if TYPE_CHECKING:
    import pandas as pd
    from distributed import Client

Source = Literal["daily", "readings"]

_AHEAD = 3
"""Sites a worker that wait for it or for whoever takes their results: memory stays what it is."""
_COLUMNS: dict[Source, list[str]] = {
    "daily": ["day", "depth_cm", "mean_c", "error_c", "complete"],
    "readings": ["observed_at", "probe", "depth_cm", "soil_temp_c", "calibration_offset_c", "flag"],
}


class ArchiveError(ValueError):
    """A folder is no archive that this Digseason reads, or a scheduler does not answer."""


@dataclass(frozen=True)
class ArchiveStudy:
    """What is to be compared of an archive; each of its sites makes a table of its own.

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

    def compare_site(self, site: str) -> pd.DataFrame:
        """Return what became of the windows of a site, as service.study.windows.compare does."""
        return compare(self.read_site(site), self.rules, self.as_of, bounds=self.bounds)

    def read_site(self, site: str) -> StudyDays:
        """Return the days of the depths of a site."""
        paths = sorted((self.folder / self.source / f"site={site}").glob("year=*/*.parquet"))
        files = [parquet.ParquetFile(path) for path in paths]
        tables = [file.read(_COLUMNS[self.source]) for file in files]
        told = {
            key.decode(): value.decode() for key, value in files[0].schema_arrow.metadata.items()
        }
        if told.get("archive_form") != FORM:
            raise ArchiveError(f"{paths[0]} is not of form {FORM}; export it anew")
        if self.source == "readings":
            tables = _find_days(pa.concat_tables(tables), told)
        height = told["elevation_m"]
        where = float(told["latitude"]), float(told["longitude"]), float(height) if height else None
        days = gather(site, where, tables, self.depths_cm, self.sensor_accuracy_c)
        return until_day(days, self.as_of)


def _find_days(readings: pa.Table, told: dict[str, str]) -> list[pa.Table]:
    """Return the daily means of the probes of a site, as rows of the daily table."""
    found: list[pa.Table] = []
    for one in readings["probe"].unique().to_pylist():
        part = readings.filter(field("probe") == one)
        for depth_cm in part["depth_cm"].unique().drop_null().to_pylist():
            at_depth = part.filter(field("depth_cm") == depth_cm)
            observed_at = np.asarray(at_depth["observed_at"]).astype("datetime64[us]")
            order = observed_at.argsort()
            steps_us = np.diff(observed_at[order]).astype(np.int64)
            means = find_daily_means(
                Readings(
                    observed_at[order],
                    np.asarray(at_depth["soil_temp_c"])[order],
                    np.asarray(at_depth["flag"])[order],
                ),
                int(told["utc_offset_min"]),
                min(float(np.median(steps_us)) / US_PER_HOUR * 60, 1440) if steps_us.size else 60.0,
                told["use_suspect"] == "true",
                np.asarray(at_depth["calibration_offset_c"])[order],
            )
            found.append(
                pa.table(
                    {
                        "day": means.day,
                        "depth_cm": np.full(means.day.size, depth_cm),
                        "mean_c": means.mean_c,
                        "error_c": np.full(means.day.size, np.nan),
                        "complete": means.complete,
                    }
                )
            )
    return found


def list_sites(folder: Path, source: Source, named: Collection[str] = ()) -> list[str]:
    """Return the sites of an archive, all or those named. ArchiveError where one is not there."""
    there = {path.name.removeprefix("site=") for path in (folder / source).glob("site=*")}
    if not there:
        raise ArchiveError(f"{folder} holds no {source}; name a folder that `export` wrote")
    for site in sorted(set(named) - there):
        raise ArchiveError(f"no site '{site}' in {folder}; known: {', '.join(sorted(there))}")
    return sorted(named or there)


def compare_archive(
    study: ArchiveStudy, sites: Sequence[str], scheduler: str = "", workers: int = 1
) -> Iterator[pd.DataFrame]:
    """Yield the table of each site, in their order.

    Parameters
    ----------
    scheduler : str
        The address of a Dask scheduler whose workers have this Digseason, and the archive under
        the same path; empty: processes of this machine.
    workers : int
        How many processes of this machine; 1 takes no other at all.

    Raises
    ------
    ArchiveError
        When a file is not of an archive of this form, no scheduler answers, or Dask is missing.
    """
    if not scheduler and workers == 1:
        yield from map(study.compare_site, sites)
        return
    with _open_client(scheduler, workers) as client:
        ahead = _AHEAD * max(1, len(client.scheduler_info(n_workers=-1)["workers"]))
        submit = partial(client.submit, study.compare_site, pure=False)
        rest = iter(sites)
        waiting: deque[Any] = deque(map(submit, islice(rest, ahead)))
        while waiting:
            done = waiting.popleft()
            yield done.result()
            done.release()
            waiting.extend(map(submit, islice(rest, 1)))


@contextmanager
def _open_client(scheduler: str, workers: int) -> Iterator[Client]:
    try:
        from distributed import Client, LocalCluster
    except ImportError:
        raise ArchiveError(
            "several processes need Dask: pip install 'digseason[cluster]', or leave out "
            "--workers and --scheduler"
        ) from None
    if scheduler:
        try:
            client = Client(scheduler, timeout="10s")
        except (OSError, ValueError) as error:
            raise ArchiveError(f"no scheduler answers at {scheduler}: {error}") from None
        with client:
            yield client
        return
    with (
        LocalCluster(
            n_workers=workers,
            threads_per_worker=1,
            host="127.0.0.1",
            dashboard_address="127.0.0.1:0",
            silence_logs=logging.ERROR,
        ) as cluster,
        Client(cluster) as client,
    ):
        yield client
