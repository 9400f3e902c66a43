"""Reference curve R as hourly logger files: the same days in °C and °F, north and south."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from probes.units import Unit, c_to_f
from tests.commands import digseason
from tests.farms import farm_text
from tests.reference_curve import COLDEST_DAY, PERIOD_DAYS, mean_c

DEPTHS_CM = (10, 30, 60)
SHARES = np.array([3, 11, 2]) / 16  # by hand: as in tests/alerts/test_reference_curve.py
DAYS = 365


@dataclass(frozen=True)
class Half:
    """Half of the globe: when its soil is coldest, its season, and the dates worked out by hand."""

    north: bool
    coldest_day: float
    first_day: date
    windows: list[list[str]]

    @property
    def last_day(self) -> date:
        """The last day of the season."""
        return self.first_day + timedelta(days=DAYS - 1)

    @property
    def day_numbers(self) -> np.ndarray:
        """Days of the season, 1 January 2013 being 1."""
        return (self.first_day - date(2012, 12, 31)).days + np.arange(float(DAYS))


# by hand: as in tests/alerts/test_reference_curve.py
HALVES = [
    Half(
        True,
        COLDEST_DAY,
        date(2013, 1, 1),
        [
            ["spring", "2013-05-27", "2013-05-27", "2013-07-08", "spent"],
            ["fall", "2013-09-07", "2013-09-07", "2013-10-19", "cold"],
        ],
    ),
    Half(
        False,
        COLDEST_DAY + PERIOD_DAYS / 2,
        date(2013, 7, 1),
        [
            ["spring", "2013-11-26", "2013-11-26", "2014-01-07", "spent"],
            ["fall", "2014-03-09", "2014-03-09", "2014-04-20", "cold"],
        ],
    ),
]
Imported = tuple[Half, Path]


def write_logger_file(path: Path, half: Half, unit: Unit) -> None:
    """Write hourly means under their end stamps, in full precision."""
    hours = np.arange(1, 24 * DAYS + 1)
    ends = half.day_numbers[0] - 1 + hours / 24
    columns = [mean_c(z_cm / 100, ends, 1 / 24, half.coldest_day) for z_cm in DEPTHS_CM]
    rows = np.transpose(columns if unit == "C" else [c_to_f(column) for column in columns])
    midnight = datetime.combine(half.first_day, datetime.min.time())
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["time", *(f"T{z_cm}" for z_cm in DEPTHS_CM)])
        for hour, row in zip(hours.tolist(), rows.tolist(), strict=True):
            writer.writerow([f"{midnight + timedelta(hours=hour):%Y-%m-%d %H:%M}", *row])


@pytest.fixture(scope="module", params=["C", "F"])
def unit(request: pytest.FixtureRequest) -> Unit:
    """What the logger writes."""
    return request.param


@pytest.fixture(scope="module", params=HALVES, ids=["north", "south"])
def imported(
    request: pytest.FixtureRequest, unit: Unit, tmp_path_factory: pytest.TempPathFactory
) -> Imported:
    """A store with one season of the curve, imported from a logger file."""
    half: Half = request.param
    folder = tmp_path_factory.mktemp("curve")
    farm, log = folder / "farm.toml", folder / "log.csv"
    text = farm_text(north=half.north, unit=unit, depths_cm=DEPTHS_CM)
    # a year without days in it is an attenuated signal to the other checks
    farm.write_text(text.replace("elevation_m", 'checks = "range-only"\nelevation_m'))
    write_logger_file(log, half, unit)
    digseason(folder / "data", "setup", farm)
    digseason(folder / "data", "import", "--logger", "u1", log)
    return half, folder / "data"


def test_root_zone_days_are_those_of_the_closed_form(imported: Imported) -> None:
    half, data = imported
    text = digseason(data, "rootzone", "--block", "terrace-7", "--as-of", half.last_day, "--csv")
    found_c = [float(row["root_zone_c"]) for row in csv.DictReader(text.splitlines())]
    by_depth = [mean_c(z_cm / 100, half.day_numbers, 1, half.coldest_day) for z_cm in DEPTHS_CM]
    assert found_c == pytest.approx(SHARES @ np.array(by_depth), abs=1e-9)  # degC


def test_windows_open_and_close_on_the_days_of_the_closed_form(imported: Imported) -> None:
    half, data = imported
    found = json.loads(digseason(data, "windows", "--as-of", half.last_day, "--json"))
    names = ("kind", "not_before", "opened_on", "closed_on", "reason")
    assert [[one[name] for name in names] for one in found] == half.windows
