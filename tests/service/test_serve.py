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

from service.store.engine import writing
from tests.commands import run
from tests.planted import plant_block, plant_days, plant_recipient
from tests.processes import serving


@pytest.fixture
def served(engine: Engine, store_url: str, tmp_path: Path) -> Iterator[str]:
    """The address of a running service whose block opened two days ago."""
    with writing(engine) as connection:
        plant_block(connection)
        plant_recipient(connection, "Ada Example", hour=0)
        first = datetime.now(UTC).date() - timedelta(days=60)
        plant_days(connection, first, [62.0] * 55 + [66.0] * 6)
    with serving(tmp_path, store_url) as address:
        yield address


def test_the_first_tick_runs_the_round_that_is_due(served: str) -> None:
    end = time.monotonic() + 60
    while requests.get(f"{served}/health", timeout=5).json()["last_round_at"] is None:
        assert time.monotonic() < end, "no round was run"
        time.sleep(0.1)
    health = requests.get(f"{served}/health", timeout=5).json()
    assert health["status"] == "ok"
    assert 0 <= health["last_round_age_s"] < 60


def test_the_windows_are_those_of_the_command_line(
    served: str, store_url: str, tmp_path: Path
) -> None:
    over_http = requests.get(f"{served}/api/windows", timeout=5).json()
    _, printed = run(tmp_path, "windows", "--json", database_url=store_url)
    assert over_http == json.loads(printed)
    assert [window["block"] for window in over_http] != []


def test_an_unknown_block_is_not_found(served: str) -> None:
    answer = requests.get(f"{served}/api/windows", params={"block": "nowhere"}, timeout=5)
    assert (answer.status_code, answer.json()) == (404, {"detail": "there is no block 'nowhere'"})


def test_a_date_that_is_none_is_refused_with_its_name(served: str) -> None:
    answer = requests.get(f"{served}/api/windows", params={"as_of": "soon"}, timeout=5)
    assert answer.status_code == 422
    assert answer.json()["detail"][0]["loc"] == ["query", "as_of"]
