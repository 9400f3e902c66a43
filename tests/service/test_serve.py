"""digseason serve: the rounds that are due, beside the HTTP service."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import requests
from sqlalchemy import Engine

from service.settings import Settings
from service.store.alarms import keep_alarms
from service.store.engine import writing
from tests.commands import run
from tests.http_server import HttpServer, Reply, http_server
from tests.planted import plant_block, plant_days, plant_recipient
from tests.processes import find_console, find_free_port, serving, start, wait_until
from tests.serving import serving_here
from tests.signed_in import plant_token

pytestmark = pytest.mark.sqlite_by_day


@pytest.fixture
def opened(engine: Engine) -> Engine:
    """A store whose block opened two days ago."""
    with writing(engine) as connection:
        plant_block(connection)
        plant_recipient(connection, "Ada Example", hour=0)
        first = datetime.now(UTC).date() - timedelta(days=60)
        plant_days(connection, first, [62.0] * 55 + [66.0] * 6)
    return engine


@pytest.fixture
def reader(opened: Engine) -> dict[str, str]:
    return plant_token(opened)


def test_the_ticks_run_the_round_and_deliver_it_and_the_windows_are_those_of_the_command_line(
    store_url: str, tmp_path: Path, reader: dict[str, str]
) -> None:
    with serving(tmp_path, store_url, {"DIGSEASON_TICK_S": "1"}) as address:
        end = time.monotonic() + 60
        while requests.get(f"{address}/health", timeout=5).json()["last_round_at"] is None:
            assert time.monotonic() < end, "no round was run"
            time.sleep(0.1)
        while not list(tmp_path.glob("outbox/*.eml")):
            assert time.monotonic() < end, "nothing was delivered"
            time.sleep(0.1)
        health = requests.get(f"{address}/health", timeout=5).json()
        over_http = requests.get(f"{address}/api/windows", headers=reader, timeout=5).json()
    assert health["status"] == "ok"
    assert 0 <= health["last_round_age_s"] < 60
    _, printed = run(tmp_path, "windows", "--json", database_url=store_url)
    assert over_http == json.loads(printed)
    assert [window["block"] for window in over_http] != []


@pytest.fixture
def watcher() -> Iterator[HttpServer]:
    with http_server(lambda _: Reply(status=204)) as running:
        yield running


@pytest.mark.both_by_day
@pytest.mark.usefixtures("opened")
def test_pages_and_jobs_may_run_apart_and_the_jobs_give_the_heartbeat(
    store_url: str, tmp_path: Path, watcher: HttpServer
) -> None:
    often = {"DIGSEASON_TICK_S": "1", "DIGSEASON_HEARTBEAT_URL": f"{watcher.address}/well"}
    with serving(tmp_path, store_url, often, "--pages-only") as address:
        time.sleep(1.5)
        assert requests.get(f"{address}/health", timeout=5).json()["last_round_at"] is None
        assert watcher.asked == []
        port = find_free_port()
        jobs = start(tmp_path, "jobs", "--port", f"{port}", database_url=store_url, env=often)
        wait_until(lambda: bool(list(tmp_path.glob("outbox/*.eml"))))
        assert requests.get(f"{address}/health", timeout=5).json()["last_round_at"] is not None
        of_jobs = requests.get(f"http://127.0.0.1:{port}/health/rounds", timeout=5)
        assert of_jobs.status_code == 200
        jobs.terminate()
        said, _ = jobs.communicate(timeout=30)
    assert jobs.returncode == 0
    assert "Traceback" not in said
    assert "round: 1 block," in said
    assert {one.path for one in watcher.asked} == {"/well"}


@pytest.fixture
def served(opened: Engine, tmp_path: Path) -> Iterator[str]:
    with serving_here(opened, Settings(data=tmp_path)) as address:
        yield address


def test_an_unknown_block_is_not_found(served: str, reader: dict[str, str]) -> None:
    where = {"block": "nowhere"}
    answer = requests.get(f"{served}/api/windows", params=where, headers=reader, timeout=5)
    assert (answer.status_code, answer.json()["detail"]) == (
        404,
        "no block of yours has this id; /api/blocks lists them",
    )


def test_a_date_that_is_none_is_refused_with_its_name(served: str, reader: dict[str, str]) -> None:
    when = {"as_of": "soon"}
    answer = requests.get(f"{served}/api/windows", params=when, headers=reader, timeout=5)
    assert answer.status_code == 422
    assert answer.json()["errors"][0].startswith("as_of: 'soon': Input should be a valid date")


def test_pages_that_run_apart_write_to_the_operator_when_the_jobs_stand_still(
    opened: Engine, store_url: str, tmp_path: Path
) -> None:
    """What was wrong five minutes ago and still is, is told at the first look."""
    with writing(opened) as connection:
        told = {"round": ("there has been none", "Keep it running.")}
        keep_alarms(connection, told, datetime.now(UTC) - timedelta(minutes=5))
    env = {"DIGSEASON_OPERATOR": "ona@example.org", "DIGSEASON_LOG": "json"}
    with serving(tmp_path, store_url, env, "--pages-only"):
        wait_until(lambda: bool(list(tmp_path.glob("outbox/*.eml"))))
    (mail,) = tmp_path.glob("outbox/*.eml")
    assert "To: ona@example.org" in mail.read_text()
    lines = [json.loads(line) for line in find_console(tmp_path).read_text().splitlines()[1:]]
    assert [one["what"] for one in lines if one["event"] == "alarm"] == ["round"]
