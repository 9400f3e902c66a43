"""The readings of a site as one NetCDF file by the CF conventions: time series of profiles."""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Iterator, Sequence
from hashlib import sha256
from importlib.metadata import version
from itertools import chain
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from pyarrow.compute import field
from sqlalchemy import Connection

from probes.frames import MISSING
from service.archive.folder import NoArchiveError, Selection
from service.archive.rows import iterate_readings
from service.archive.tables import FLAG_MEANINGS, FLAG_VALUES
from service.store.archive import ArchiveSite
from service.store.loggers import Logger, Probe, fetch_logger
from service.store.readings import fetch_ends

CONVENTIONS = "CF-1.11"
_SECONDS = "seconds since 1970-01-01 00:00:00"


class _Station(NamedTuple):
    """What is one column of profiles: a logger, or what of it lies beside itself at one depth."""

    name: str
    parts: list[pa.Table]


def write_site(
    connection: Connection, folder: Path, site: ArchiveSite, selection: Selection
) -> Path | None:
    """Write the readings of a site to FOLDER/SITE.nc; return its path, None where it has none.

    Dimensions are station (a logger), time and depth; a cell without a reading is missing. Of the
    same store, selection and libraries come the same bytes.

    Raises
    ------
    NoArchiveError
        When netCDF4 is missing.

    References
    ----------
    [CF-1.11], section 9 and appendix H.5.1
    """
    try:
        from netCDF4 import Dataset
    except ImportError:
        raise NoArchiveError(
            "NetCDF needs a package of its own: pip install 'digseason[netcdf]'"
        ) from None
    stations = [one for one in _iterate_stations(connection, site, selection) if one.parts]
    if not stations:
        return None
    tables = [pa.concat_tables(one.parts) for one in stations]
    times = np.unique(np.concatenate([_seconds(one) for one in tables]))
    depths_m = np.unique(np.concatenate([_depths_m(one) for one in tables]))
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{site.id}.nc"
    with NamedTemporaryFile(dir=folder, prefix=f".{site.id}.", suffix=".nc", delete=False) as new:
        pass
    try:
        with Dataset(new.name, "w", format="NETCDF4") as file:
            _describe(file, site, stations, times, depths_m)
            _fill(file, tables, times, depths_m)
        os.replace(new.name, path)
    finally:
        Path(new.name).unlink(missing_ok=True)
    return path


def _iterate_stations(
    connection: Connection, site: ArchiveSite, selection: Selection
) -> Iterator[_Station]:
    for logger_id in site.logger_ids:
        logger = fetch_logger(connection, logger_id)
        at_depth: dict[float, int] = defaultdict(int)
        beside: dict[int, list[pa.Table]] = defaultdict(list)
        for probe in logger.probes:
            rows = [part for part in _iterate_probe(connection, logger, probe, selection) if part]
            if rows:
                depths = {stretch.depth_cm for stretch in probe.stretches}
                number = max((at_depth[depth_cm] for depth_cm in depths), default=0)
                for depth_cm in depths:
                    at_depth[depth_cm] = number + 1
                beside[number] += rows
        for number, parts in beside.items():
            yield _Station(f"{logger.id} ({number + 1})" if number else logger.id, parts)


def _iterate_probe(
    connection: Connection, logger: Logger, probe: Probe, selection: Selection
) -> Iterator[pa.Table]:
    ends = fetch_ends(connection, probe.id)
    years = range(ends[0].year, ends[-1].year + 1) if ends else range(0)
    for part in chain.from_iterable(
        iterate_readings(connection, logger, probe, year, selection.since, selection.until)
        for year in years
    ):
        yield part.filter(field("depth_cm").is_valid())


def _seconds(rows: pa.Table) -> NDArray[np.int64]:
    return np.asarray(rows["observed_at"]).astype("datetime64[s]").astype(np.int64)


def _depths_m(rows: pa.Table) -> NDArray[np.float64]:
    return np.round(np.asarray(rows["depth_cm"]) / 100, 6)


def _describe(
    file: Any,
    site: ArchiveSite,
    stations: Sequence[_Station],
    times: NDArray[np.int64],
    depths_m: NDArray[np.float64],
) -> None:
    """Write dimensions, coordinates and what the file says of itself."""
    ends = [np.datetime_as_string(np.datetime64(int(one), "s")) + "Z" for one in times[[0, -1]]]
    file.setncatts(
        {
            "Conventions": CONVENTIONS,
            "featureType": "timeSeriesProfile",
            "title": f"Soil temperature at {site.name}",
            "institution": "of the farm file that Digseason was given",
            "source": f"soil-temperature probes, by Digseason {version('digseason')}",
            "history": f"exported by Digseason {version('digseason')}",
            "references": "https://cfconventions.org",
            "comment": "Calibration offsets are added. Suspect and failed readings are here too.",
            "time_coverage_start": ends[0],
            "time_coverage_end": ends[1],
            "quality_checks": site.checks,
        }
    )
    for name, size in (("station", len(stations)), ("time", times.size), ("depth", depths_m.size)):
        file.createDimension(name, size)
    _write(file, "time", "i8", ("time",), times, standard_name="time", long_name="time",
           units=_SECONDS, calendar="standard",
           units_metadata="leap_seconds: none", axis="T")  # fmt: skip
    _write(file, "depth", "f8", ("depth",), depths_m, standard_name="depth", units="m",
           long_name="depth below the surface of the soil", positive="down", axis="Z")  # fmt: skip
    names = np.array([one.name for one in stations], object)
    _write(file, "station_id", str, ("station",), names, cf_role="timeseries_id",
           long_name="logger, by its id in the farm file")  # fmt: skip
    of_site: dict[str, tuple[float | None, dict[str, str]]] = {
        "latitude": (site.latitude, {"standard_name": "latitude", "units": "degrees_north"}),
        "longitude": (site.longitude, {"standard_name": "longitude", "units": "degrees_east"}),
        "altitude": (
            site.elevation_m,
            {"standard_name": "surface_altitude", "units": "m"},
        ),
    }
    for name, (value, told) in of_site.items():
        if value is not None:
            values = np.full(len(stations), value)
            _write(file, name, "f8", ("station",), values, long_name=f"{name} of the site", **told)


def _write(
    file: Any, name: str, kind: Any, dimensions: tuple[str, ...], values: Any, **told: str
) -> None:
    variable = file.createVariable(name, kind, dimensions)
    variable.setncatts(told)
    variable[:] = values


def _fill(
    file: Any, tables: Sequence[pa.Table], times: NDArray[np.int64], depths_m: NDArray[np.float64]
) -> None:
    """Write temperatures and flags, a station at a time, and a checksum of them."""
    shape = "station", "time", "depth"
    packed: dict[str, Any] = {
        "zlib": True, "complevel": 4, "chunksizes": (1, min(times.size, 8192), depths_m.size)
    }  # fmt: skip
    temperature = file.createVariable("soil_temperature", "f8", shape, fill_value=np.nan, **packed)
    temperature.setncatts(
        {
            "standard_name": "soil_temperature",
            "long_name": "temperature of the soil",
            "units": "degree_Celsius",
            "units_metadata": "temperature: on_scale",
            "coordinates": "latitude longitude station_id",
            "ancillary_variables": "soil_temperature_flag",
        }
    )
    flag = file.createVariable("soil_temperature_flag", "i1", shape, fill_value=False, **packed)
    flag.setncatts(
        {
            "standard_name": "status_flag",
            "long_name": "quality flag of QARTOD, a person's word included",
            "flag_values": np.array(FLAG_VALUES, np.int8),
            "flag_meanings": FLAG_MEANINGS,
            "coordinates": "latitude longitude station_id",
        }
    )
    digest = sha256()
    for number, rows in enumerate(tables):
        cell = np.searchsorted(times, _seconds(rows)), np.searchsorted(depths_m, _depths_m(rows))
        values_c = np.full((times.size, depths_m.size), np.nan)
        flags = np.full(values_c.shape, MISSING, np.int8)
        values_c[cell] = np.asarray(rows["soil_temp_c"]) + np.asarray(rows["calibration_offset_c"])
        flags[cell] = np.asarray(rows["flag"])
        temperature[number], flag[number] = values_c, flags
        digest.update(values_c.tobytes() + flags.tobytes())
    file.setncattr("data_sha256", digest.hexdigest())
