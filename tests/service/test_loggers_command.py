"""`digseason loggers` shows of each logger what came last, what is usual, and what is late."""

from __future__ import annotations

import csv
import io
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine

from service.store.engine import open_engine, writing
from service.store.schema import upgrade
from tests.brought import deliver
from tests.commands import digseason
from tests.farms import farm_text, set_up

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
NOW = datetime.now(UTC).replace(minute=0, second=0, microsecond=0)
SECOND = """
[[logger]]
id = "u2"
site = "upper"
layout = "plain"
"""


@pytest.fixture
def data(tmp_path: Path) -> Path:
    return tmp_path


@pytest.fixture
def farm(data: Path) -> Engine:
    engine = open_engine(f"sqlite:///{data / 'digseason.db'}")
    upgrade(engine)
    text = farm_text(more=SECOND).replace('"Terrace 7"', '"Terrace 7"\nprobes = ["u1:15"]')
    set_up(engine, text)
    return engine


def push_until(engine: Engine, last_at: datetime, **how) -> None:
    """Bring ten days, each at its end."""
    with writing(engine) as connection:
        for back in range(9, -1, -1):
            end = last_at - back * DAY
            deliver(connection, end - 23 * HOUR, end, end, **how)


def lines(data: Path) -> list[list[str]]:
    return [line.split() for line in digseason(data, "loggers").splitlines()[1:]]


def test_a_logger_that_goes_on_and_one_that_never_sent(farm: Engine, data: Path) -> None:
    push_until(farm, NOW)
    day, minute = f"{NOW:%Y-%m-%d}", f"{NOW:%H:%M}"
    assert lines(data) == [
        ["u1", "upper", day, minute, "every", "24", "h"],
        ["u2", "upper", "none", "yet", "-"],
    ]


def test_a_silent_logger_a_depth_that_stopped_and_a_download(farm: Engine, data: Path) -> None:
    with writing(farm) as connection:
        for week in range(3):
            end = NOW - (2 - week) * 7 * DAY
            cut = ["T30"] if week == 2 else []
            deliver(connection, end - 7 * DAY + HOUR, end, end, by="file", without=cut)
    push_until(farm, NOW - 8 * DAY, logger_id="u2")
    day, minute = f"{NOW - 7 * DAY:%Y-%m-%d}", f"{NOW:%H:%M}"
    due = f"{NOW + 7 * DAY:%Y-%m-%d}"
    silent = f"{NOW - 8 * DAY:%Y-%m-%d}"
    assert lines(data) == [
        ["u1", "upper", f"{NOW:%Y-%m-%d}", minute, "every", "7", "d", "empty", "by", due],
        ["30", "cm", "upper", day, minute, "every", "1", "h", "silent"],
        ["u2", "upper", silent, minute, "every", "24", "h", "silent"],
    ]


def test_json_and_csv_give_every_probe(farm: Engine, data: Path) -> None:
    push_until(farm, NOW - 8 * DAY)
    records = json.loads(digseason(data, "loggers", "--json"))
    rows = list(csv.DictReader(io.StringIO(digseason(data, "loggers", "--csv"))))
    last = f"{NOW - 8 * DAY:%Y-%m-%dT%H:%M:%SZ}"
    assert records[0] == {
        "logger": "u1",
        "site": "upper",
        "depth_cm": None,
        "last_reading_at": last,
        "usual_interval_h": 24.0,
        "silent_factor": 3.0,
        "silent_since": last,
        "download_due_at": None,
    }
    assert [(one["logger"], one["depth_cm"]) for one in records] == [
        ("u1", None), ("u1", 15.0), ("u1", 30.0), ("u1", 45.0), ("u2", None)
    ]  # fmt: skip
    assert [row["silent_since"] for row in rows] == [last, "", "", "", ""]
