"""Lines of the log: for a person or as JSON, one for each thing, and nothing that names anyone."""

from __future__ import annotations

import json
import logging
import sys
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from threading import Event

import pytest
import requests
from sqlalchemy import Engine

from service.scheduler import run_job, tick
from service.settings import Settings
from service.store.engine import open_engine, writing
from service.store.schema import upgrade
from service.watching.logs import REQUEST_ID, JsonLines, Lines, start_log, tell
from tests.planted import plant_block, plant_days, plant_recipient
from tests.serving import serving_here

log = logging.getLogger("service.test")


@pytest.fixture
def lines(caplog: pytest.LogCaptureFixture) -> Iterator[pytest.LogCaptureFixture]:
    """What is logged, each as it is told."""
    with caplog.at_level(logging.INFO):
        yield caplog


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Engine]:
    engine = open_engine(f"sqlite:///{tmp_path / 'digseason.db'}")
    upgrade(engine)
    yield engine
    engine.dispose()


def as_json(caplog: pytest.LogCaptureFixture) -> list[dict[str, object]]:
    return [json.loads(JsonLines().format(one)) for one in caplog.records]


def test_a_round_is_one_line_with_its_figures_and_a_tick_without_one_is_none(
    store: Engine, lines: pytest.LogCaptureFixture, tmp_path: Path
) -> None:
    yesterday = datetime.now(UTC).date() - timedelta(days=1)
    with writing(store) as connection:
        plant_block(connection)
        plant_recipient(connection, "Ada Example", hour=0)
        plant_days(connection, yesterday - timedelta(days=60), [62.0] * 55 + [66.0] * 6)
    for _ in range(2):
        run_job("round", tick, store, Settings(data=tmp_path), Event())
    (told,) = as_json(lines)
    assert told["event"] == "round"
    assert (told["blocks"], told["notices"], told["digests"], told["silences"]) == (1, 1, 1, 0)
    assert float(str(told["seconds"])) > 0
    assert date.fromisoformat(str(told["as_of"])) >= yesterday - timedelta(days=1)
    (line,) = [Lines().format(one) for one in lines.records]
    assert "round: 1 block, 1 notice, 1 digest in " in line


def test_a_job_that_fails_is_one_line_of_json_with_its_traceback(
    store: Engine, lines: pytest.LogCaptureFixture, tmp_path: Path
) -> None:
    def fail(*_: object) -> None:
        raise ConnectionError("ada@example.org is not reached")

    run_job("outbox", fail, store, Settings(data=tmp_path), Event())
    (told,) = as_json(lines)
    assert (told["event"], told["level"], told["outcome"]) == ("outbox", "error", "failed")
    assert "ConnectionError: a...@example.org is not reached" in str(told["traceback"])


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("550 <ada.example+dig@mail.example.org>: no", "550 <a...@mail.example.org>: no"),
        ("to +61491570156 and 61491570156", "to +61...56 and 61...56"),
        ("Authorization: Bearer abc.def-g", "Authorization: Bearer ..."),
        ("at /told/12.QWxhZGRpbjpvcGVuIHNlcw now", "at /told/... now"),
        (f"token {'aB3_-' * 9} came", "token ... came"),
        ("postgresql://digseason:hush@db/x", "postgresql://...@db/x"),
        ("2026-11-26 09:12:11 SM-1_2024-25.csv 1.25 s 250000", None),
        ("river-row of upper-valley, 1,200,000 readings", None),
    ],
    ids=["mail", "phone", "header", "link", "token", "login", "figures", "names"],
)
@pytest.mark.parametrize("form", [Lines(), JsonLines()], ids=["lines", "json"])
def test_what_names_a_person_or_lets_someone_in_is_cut_short(
    form: logging.Formatter, said: str, told: str | None
) -> None:
    try:
        raise ValueError(said)
    except ValueError:
        cause = sys.exc_info()
    record = log.makeRecord("service.test", 40, "", 0, "%s", (said,), cause)
    line = form.format(record)
    assert line.count(told or said) == 2  # what is said, and the traceback
    assert (said in line) == (told is None)


def test_a_line_is_one_line_whoever_wrote_it(lines: pytest.LogCaptureFixture) -> None:
    tell(log, "inbox", "a.csv\n2026-01-01 00:00:00 ERROR   round: forged", file="a\nb")
    (record,) = lines.records
    assert "\n" not in Lines().format(record)
    assert "\n" not in JsonLines().format(record)


def test_a_job_that_is_still_at_it_at_the_next_tick_is_no_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(logging.root, "handlers", [])
    monkeypatch.setattr(logging.root, "level", logging.WARNING)
    start_log("json")
    logging.getLogger("apscheduler.scheduler").warning("skipped: maximum number of instances")
    tell(log, "round", "1 block", blocks=1)
    (line,) = capsys.readouterr().err.splitlines()
    told = json.loads(line)
    assert (next(iter(told)), told["event"], told["blocks"]) == ("at", "round", 1)


def test_a_request_has_a_number_in_its_answer_and_in_its_line(
    store: Engine, lines: pytest.LogCaptureFixture, tmp_path: Path
) -> None:
    with serving_here(store, Settings(data=tmp_path)) as here:
        made = requests.get(f"{here}/hand/SECRET?token=SECRET", timeout=10)
        given = {"X-Request-ID": "from-the-proxy-7"}
        kept = requests.get(f"{here}/sign-in", headers=given, timeout=10)
        forged = {"X-Request-ID": "x y\t{}"}
        other = requests.get(f"{here}/health", headers=forged, timeout=10)
    numbers = [one.headers["X-Request-ID"] for one in (made, kept, other)]
    assert (len(numbers[0]), numbers[1], len(numbers[2])) == (16, "from-the-proxy-7", 16)
    told = [one for one in as_json(lines) if one["event"] == "request"]
    assert [(one["route"], one["status"]) for one in told] == [
        ("/hand/{secret}", 404),
        ("/sign-in", 200),
    ]
    assert "SECRET" not in lines.text
    assert REQUEST_ID.get() == ""
