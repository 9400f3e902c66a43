"""digseason fetch: what it prints, and how it ends."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests import farms
from tests.commands import run
from tests.crn_files import hourly_lines
from tests.farms import STATION_ELSEWHERE
from tests.http_server import HttpServer, Reply, http_server
from tests.service.test_fetches import FIRST, HOURS, files_of


@pytest.fixture
def server() -> Iterator[HttpServer]:
    with http_server() as running:
        running.answers = files_of(hourly_lines(FIRST, HOURS))
        yield running


@pytest.fixture
def data(tmp_path: Path, server: HttpServer) -> Path:
    """A data folder with a farm that has a station."""
    url = f'url = "{server.address}"\nallow_hosts = ["127.0.0.1"]\nfirst_day = 2025-02-01\n'
    farm = tmp_path / "farm.toml"
    farm.write_text(farms.farm_text(north=True) + STATION_ELSEWHERE + url)
    assert run(tmp_path / "data", "setup", str(farm))[0] == 0
    return tmp_path / "data"


def test_without_stations_it_says_where_they_are_named(tmp_path: Path) -> None:
    code, printed = run(tmp_path, "fetch")
    assert (code, printed) == (0, "No stations yet: a farm file names them, [[station]].\n")


def test_it_counts_what_it_fetched(data: Path) -> None:
    code, printed = run(data, "fetch", "--since", "2025-02-20", "--until", "2025-03-10")
    assert code == 0
    assert printed == "b1: 96 inserted, 144 missing\n"


def test_its_json_counts_and_lists(data: Path) -> None:
    code, printed = run(data, "fetch", "--station", "b1", "--since", "2025-03-01", "--json")
    (record,) = json.loads(printed)
    assert code == 0
    assert (record["station"], record["inserted"], record["failure"]) == ("b1", 96, None)
    assert record["since"] == "2025-03-01T08:00:00+00:00"


def test_a_station_that_fails_is_listed_and_ends_with_one(data: Path, server: HttpServer) -> None:
    server.say(Reply(b"no", 403))
    code, printed = run(data, "fetch")
    assert code == 1
    assert printed.startswith("b1: failed:\n    http://127.0.0.1:")
    assert "answers 403 Forbidden" in printed
    code, printed = run(data, "fetch", "--list")
    assert code == 1
    assert printed.startswith("b1, Low Bench (crn-hourly): not fetched yet\n  failing since 20")


def test_a_revised_value_is_listed(data: Path, server: HttpServer) -> None:
    days = ("fetch", "--since", "2025-03-01", "--until", "2025-03-10")
    run(data, *days)
    server.answers = files_of(hourly_lines(FIRST, [[0.7, *HOURS[0][1:]], *HOURS[1:]]))
    code, printed = run(data, *days)
    assert code == 1
    assert "  revised: SOIL_TEMP_5, 2025-03-01 09:00 UTC: 0 °C is kept, not 0.7 °C\n" in printed


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--station", "b2"], "no station 'b2'; there are: b1"),
        (["--since", "2025-03-02", "--until", "2025-03-01"], "--since lies after --until"),
        (["--since", "yesterday"], "is no date"),
        (["--past", "--until", "2025-03-01"], "leave out --until"),
    ],
)
def test_wrong_use_is_said_and_ends_with_two(data: Path, words: list[str], message: str) -> None:
    code, printed = run(data, "fetch", *words)
    assert code == 2
    assert message in printed


def test_a_round_fetches_what_is_due_first(data: Path, server: HttpServer) -> None:
    server.say(Reply(b"no", 403))
    code, printed = run(data, "round")
    assert code == 0
    assert printed.startswith("b1: http://127.0.0.1:")
    server.asked.clear()
    run(data, "round")
    assert server.asked == []


def test_a_station_takes_no_files(data: Path, tmp_path: Path) -> None:
    code, printed = run(data, "import", "--logger", "b1", str(tmp_path / "farm.toml"))
    assert code == 2
    assert "'b1' has no layout: its readings come in no files" in printed


def test_a_station_whose_layout_is_mended_is_asked_again_for_all_of_it(
    tmp_path: Path, server: HttpServer
) -> None:
    server.say(Reply(b"time,t\n2025-03-01T10:00:00Z,5\n2026-11-01T10:00:00Z,9\n"))
    data, farm = tmp_path / "data", tmp_path / "farm.toml"
    station = (
        '[[station]]\nid = "r"\nsite = "upper"\nfeed = "plain"\nlayout = "net"\n'
        f'url = "{server.address}"\nallow_hosts = ["127.0.0.1"]\nfirst_day = 2025-01-01\n'
        '[layout.net]\ntime = "time"\ntime_format = "iso8601"\nstamp = "instant"\n'
        'interval_min = 60\nunit = "C"\ncolumns = { "t" = 20 }\nclock = '
    )
    farm.write_text(farms.farm_text(north=True) + station + '"UTC+00:00"\n')
    run(data, "setup", str(farm))
    code, printed = run(data, "fetch")
    assert code == 1
    assert "line 2: '2025-03-01T10:00:00Z' states its own offset" in " ".join(printed.split())
    farm.write_text(farms.farm_text(north=True) + station + '"stamp"\n')
    run(data, "setup", str(farm))
    assert run(data, "fetch") == (0, "r: 2 inserted\n")
