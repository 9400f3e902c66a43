"""An archive as a folder: Parquet files by site and year, all of them or none."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from hashlib import file_digest
from importlib.metadata import version
from itertools import chain
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

import pyarrow as pa
from pyarrow import parquet
from sqlalchemy import Connection

from service.archive.guide import TITLE, write_guide
from service.archive.rows import iterate_days, iterate_readings
from service.archive.tables import FORM, TABLES
from service.store.archive import ArchiveSite, fetch_archive_sites, fetch_end_days
from service.store.copying import Progress
from service.store.frozen import fetch_frozen
from service.store.loggers import Logger, Probe, fetch_logger
from service.store.readings import fetch_ends

GROUP_ROWS = 250_000
DAY = timedelta(days=1)
GUIDE, SUMS = "README.md", "SHA256SUMS"
OURS = re.compile(
    r"(readings|daily)(/site=[^/]+(/year=\d+(/part-0\.parquet)?)?)?|README\.md|SHA256SUMS"
)

_WRITERS = {"readings": iterate_readings, "daily": iterate_days}
_PACKED = ("observed_at", "day")  # they ascend by equal steps
_SETTINGS: dict[str, Any] = {"compression": "zstd", "compression_level": 3, "version": "2.6"}


class NoArchiveError(ValueError):
    """An archive cannot be written as it was asked for."""


@dataclass(frozen=True)
class Selection:
    """Which sites, none being all of them, and which of their days, both ends included."""

    site_ids: Collection[str] = ()
    since: date = date.min
    until: date = date.max

    def __str__(self) -> str:
        """Return it in words."""
        sites = f"site {', '.join(sorted(self.site_ids))}" if self.site_ids else "all sites"
        since = f", from {self.since} on" if self.since > date.min else ""
        until = f", up to {self.until}" if self.until < date.max else ""
        return f"{sites}{since}{until}"


class _SiteYear(NamedTuple):
    site: ArchiveSite
    probes: list[tuple[Logger, Probe]]
    year: int


def write_archive(
    connection: Connection,
    folder: Path,
    selection: Selection,
    progress: Progress = lambda _: None,
) -> Mapping[str, int]:
    """Write an archive to a new or empty folder, or in place of an earlier one; return its rows.

    What is in memory at once is bounded: a page of one probe, and a group of rows. The same store
    and selection give the same bytes. Raises NoArchiveError, and what the file system says.
    """
    _refuse_what_is_not_ours(folder)
    sites = select_sites(connection, selection)
    rows: Counter[str] = Counter()
    folder.parent.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory(dir=folder.parent, prefix=f".{folder.name}.") as temporary:
        new, old = Path(temporary, "new"), Path(temporary, "old")
        parts = [part for site in sites for part in _find_years(connection, site)]
        for done, part in enumerate(parts):
            rows.update(_write_year(connection, new, part, selection))
            progress((done + 1) / len(parts))
        if not rows.total():
            raise NoArchiveError(f"there is nothing to export of {selection}; nothing is written")
        guide = write_guide(str(selection), _find_span(new), rows, fetch_frozen(connection))
        (new / GUIDE).write_text(guide, encoding="utf-8")
        (new / SUMS).write_text(_sum_up(new), encoding="utf-8")
        _refuse_what_is_not_ours(folder)
        if folder.exists():
            folder.rename(old)
        try:
            new.rename(folder)
        except OSError:
            if old.exists():
                old.rename(folder)
            raise
    return rows


def _find_span(new: Path) -> tuple[date, date]:
    """Return the first and the last day of the daily means, without any, of the readings."""
    name, column = ("daily", "day") if (new / "daily").exists() else ("readings", "observed_at")
    ends: list[Any] = []
    for path in (new / name).rglob("*.parquet"):
        told = parquet.read_metadata(path)
        place = told.schema.names.index(column)
        groups = (told.row_group(number) for number in range(told.num_row_groups))
        for statistics in (group.column(place).statistics for group in groups):
            ends += [statistics.min, statistics.max]
    first, last = min(ends), max(ends)
    return date(*first.timetuple()[:3]), date(*last.timetuple()[:3])


def _sum_up(new: Path) -> str:
    """Return the checksum of each file, as `sha256sum --check` reads them."""
    lines: list[str] = []
    for path in sorted(path for path in new.rglob("*") if path.is_file()):
        with path.open("rb") as file:
            digest = file_digest(file, "sha256").hexdigest()
        lines.append(f"{digest}  {path.relative_to(new).as_posix()}\n")
    return "".join(lines)


def _refuse_what_is_not_ours(folder: Path) -> None:
    """Raise where something would be lost that no export can write again."""
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise NoArchiveError(f"{folder} is no folder; name a new one")
    if not folder.exists() or not any(folder.iterdir()):
        return
    guide = folder / GUIDE
    if not guide.is_file() or not guide.read_bytes().startswith(TITLE.encode()):
        raise NoArchiveError(f"{folder} holds something else; name a new or empty folder")
    for path in folder.rglob("*"):
        name = path.relative_to(folder).as_posix()
        if not OURS.fullmatch(name):
            raise NoArchiveError(
                f"{folder} holds {name}, which no export wrote; move it elsewhere,"
                " or name another folder"
            )


def select_sites(connection: Connection, selection: Selection) -> list[ArchiveSite]:
    """Return the sites of a selection. NoArchiveError where one of them is not there."""
    sites = fetch_archive_sites(connection)
    known = {site.id for site in sites}
    for site_id in sorted(set(selection.site_ids) - known):
        there_are = ", ".join(sorted(known)) or "none yet, run setup first"
        raise NoArchiveError(f"no site '{site_id}'; known: {there_are}")
    return [site for site in sites if not selection.site_ids or site.id in selection.site_ids]


def _find_years(connection: Connection, site: ArchiveSite) -> list[_SiteYear]:
    """Return the years of a site in which there may be readings or days."""
    loggers = [fetch_logger(connection, logger_id) for logger_id in site.logger_ids]
    probes = [(logger, probe) for logger in loggers for probe in logger.probes]
    ends = [end.date() for _, probe in probes for end in fetch_ends(connection, probe.id)]
    ends += fetch_end_days(connection, [probe.id for _, probe in probes])
    if not ends:
        return []
    first, last = min(ends) - DAY, max(ends) + DAY  # a local day may lie in the year beside
    return [_SiteYear(site, probes, year) for year in range(first.year, last.year + 1)]


def _write_year(
    connection: Connection, new: Path, part: _SiteYear, selection: Selection
) -> Mapping[str, int]:
    rows: dict[str, int] = {}
    for name, iterate in _WRITERS.items():
        tables = chain.from_iterable(
            iterate(connection, logger, probe, part.year, selection.since, selection.until)
            for logger, probe in part.probes
        )
        folder = new / name / f"site={part.site.id}" / f"year={part.year}"
        schema = describe_site(name, part.site, part.probes)
        rows[name] = write_file(folder / "part-0.parquet", schema, tables)
    return rows


def describe_site(
    name: str, site: ArchiveSite, probes: Iterable[tuple[Logger, Probe]] = ()
) -> pa.Schema:
    """Return the schema of a table with what a file of one site says of itself."""
    intervals_min = {str(probe.id): logger.interval_min for logger, probe in probes}
    metadata = {
        "title": f"{name} of soil temperature at {site.name}",
        "source": f"Digseason {version('digseason')}",
        "archive_form": FORM,
        "site": site.id,
        "timezone": site.timezone,
        "utc_offset_min": str(site.utc_offset_min),
        "latitude": str(site.latitude),
        "longitude": str(site.longitude),
        "checks": site.checks,
        "use_suspect": str(site.use_suspect).lower(),
        "elevation_m": "" if site.elevation_m is None else str(site.elevation_m),
        "intervals_min": json.dumps(intervals_min),
    }
    return TABLES[name].with_metadata(metadata)


def write_file(path: Path, schema: pa.Schema, parts: Iterable[pa.Table]) -> int:
    """Write parts as one file, none where there are none; return how many rows there are."""
    groups = _gather(parts)
    first = next(groups, None)
    if first is None:
        return 0
    path.parent.mkdir(parents=True)
    packed = {name: "DELTA_BINARY_PACKED" for name in _PACKED if name in schema.names}
    settings = _SETTINGS | {
        "use_dictionary": [name for name in schema.names if name not in packed],
        "column_encoding": packed,
    }
    rows = 0
    with parquet.ParquetWriter(path, schema, **settings) as writer:
        for group in chain([first], groups):
            writer.write_table(group.replace_schema_metadata(schema.metadata), len(group))
            rows += len(group)
    return rows


def _gather(parts: Iterable[pa.Table]) -> Iterator[pa.Table]:
    """Yield parts together as groups of rows, each but the last one large enough to read well."""
    waiting: list[pa.Table] = []
    for part in parts:
        waiting.append(part)
        if sum(map(len, waiting)) >= GROUP_ROWS:
            yield pa.concat_tables(waiting)
            waiting = []
    if waiting:
        yield pa.concat_tables(waiting)
