"""digseason import of what is not a plain file of one logger."""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import pytest

from tests.commands import run
from tests.farms import farm_text

LINES = ["device,time,T15,T30", *(f"{d},2025-10-01 0{h}:00,14.{h},15" for h in "123" for d in "ab")]


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A data folder with the loggers a and b of one layout, which tells them apart."""
    text = farm_text(depths_cm=(15, 30)).replace(
        "[layout.plain]", '[layout.plain]\nlogger = "device"'
    )
    first = '[[logger]]\nid = "u1"\nsite = "upper"\nlayout = "plain"\n'
    both = "".join(first.replace("u1", logger_id) for logger_id in "ab")
    farm = tmp_path / "farm.toml"
    farm.write_text(text.replace(first, both))
    assert run(tmp_path / "data", "setup", str(farm))[0] == 0
    return tmp_path / "data"


def test_a_packed_file_of_two_loggers_gives_each_its_own(data: Path, tmp_path: Path) -> None:
    log = tmp_path / "log.csv.gz"
    log.write_bytes(gzip.compress("\n".join([*LINES, ""]).encode()))
    for_a = run(data, "import", "--logger", "a", "--json", str(log))
    assert (for_a[0], json.loads(for_a[1])["inserted"]) == (0, 6)
    code, text = run(data, "import", "--logger", "b", str(log))
    assert (code, "Rows of other loggers: 3" in text) == (0, True)
    readings = run(data, "readings", "--logger", "b", "--depth", "15", "--csv")[1]
    assert [line.split(",")[2] for line in readings.splitlines()[1:]] == ["14.1", "14.2", "14.3"]


def test_a_file_without_a_row_of_the_logger_is_refused(data: Path, tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    log.write_text("\n".join([*(line for line in LINES if not line.startswith("b")), ""]))
    code, text = run(data, "import", "--logger", "b", "--json", str(log))
    assert code == 1
    assert "no row of logger 'b' in column 'device', which names 'a'" in text
