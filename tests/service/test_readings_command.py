"""digseason readings: what the logger said, as CSV or as a summary."""

from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path

import pytest
import tomli_w

from tests.commands import run
from tests.farms import farm_text
from tests.imported import LOGGER, write_log

HEADER = "observed_at,depth_cm,soil_temp_c,flag"


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with three rows of two probes, T30 put in on 2 October and below T15."""
    raw = tomllib.loads(farm_text(depths_cm=(15, 30)))
    raw["logger"][0]["probes"] = [
        {"column": "T15", "depth_cm": 20},
        {"column": "T15", "depth_cm": 15, "valid_from": date(2025, 10, 2)},
        {"column": "T30", "depth_cm": 30, "valid_from": date(2025, 10, 2)},
    ]
    folder = tmp_path_factory.mktemp("data")
    farm = folder / "farm.toml"
    farm.write_text(tomli_w.dumps(raw))
    values = {1: (14.0, 15.0), 25: (14.5, 50.0), 24: (17.78, None)}
    log = write_log(folder / "log.csv", values)
    assert run(folder, "setup", str(farm))[0] == 0
    assert run(folder, "import", "--logger", LOGGER, str(log))[0] == 0
    return folder


def test_readings_stand_in_order_of_time_then_depth(data: Path) -> None:
    # by hand: 01:00 at UTC+10:00 is 15:00Z the day before; midnight ends 1 October
    assert run(data, "readings", "--logger", LOGGER, "--csv") == (
        0,
        "\n".join(
            [
                HEADER,
                "2025-09-30T15:00:00Z,20,14.0,1",
                "2025-09-30T15:00:00Z,,15.0,1",
                "2025-10-01T14:00:00Z,20,17.78,1",
                "2025-10-01T15:00:00Z,15,14.5,1",
                "2025-10-01T15:00:00Z,30,50.0,3",
                "",
            ]
        ),
    )


def test_one_depth_may_be_asked_for(data: Path) -> None:
    _, output = run(data, "readings", "--logger", LOGGER, "--depth", "15", "--csv")
    assert output.splitlines() == [HEADER, "2025-10-01T15:00:00Z,15,14.5,1"]


def test_a_depth_without_a_probe_is_wrong_use_and_says_which_there_are(data: Path) -> None:
    code, output = run(data, "readings", "--logger", LOGGER, "--depth", "60", "--csv")
    assert code == 2
    assert "there are: 15, 20, 30" in output


def test_an_unknown_logger_is_wrong_use_and_says_which_there_are(data: Path) -> None:
    code, output = run(data, "readings", "--logger", "u7", "--csv")
    assert code == 2
    assert f"there are: {LOGGER}" in output


def test_people_see_how_many_readings_each_depth_has_and_the_latest(data: Path) -> None:
    code, output = run(data, "readings", "--logger", LOGGER)
    assert code == 0
    assert [line.split() for line in output.splitlines()[1:]] == [
        ["15", "1", "2025-10-01T15:00:00Z", "2025-10-01T15:00:00Z", "14.50", "1"],
        ["20", "2", "2025-09-30T15:00:00Z", "2025-10-01T14:00:00Z", "17.78", "1"],
        ["30", "1", "2025-10-01T15:00:00Z", "2025-10-01T15:00:00Z", "50.00", "3"],
        ["-", "1", "2025-09-30T15:00:00Z", "2025-09-30T15:00:00Z", "15.00", "1"],
    ]
    assert max(map(len, output.splitlines())) <= 80
