"""A file of a logger over the API: seen before it is kept, its new logger stated, by its owner."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from threading import Event, Semaphore
from typing import Any

import pytest
import requests
from sqlalchemy import Engine, event, func, select

from service.store import tables
from service.store.engine import open_engine, reading, writing
from service.store.schema import upgrade
from service.store.tokens import add_token
from service.web.writing import LOOKS_AT_ONCE
from tests.farms import farm_text, set_up
from tests.service.api.conftest import Ask, Send
from tests.service.test_imports_page import BROKEN, GOOD, LEDGE, UNKNOWN

UPLOADS = "/api/imports/uploads"
Put = Callable[..., requests.Response]
"""Send a file as ada, of a logger or a site."""


@pytest.fixture(scope="module")
def engine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    engine = open_engine(f"sqlite:///{tmp_path_factory.mktemp('api') / 'digseason.db'}")
    upgrade(engine)
    set_up(engine, farm_text(more=LEDGE))
    yield engine
    engine.dispose()


@pytest.fixture(scope="module")
def put(here: str, tokens: dict[str, str]) -> Put:
    def put(body: str | bytes, media: str = "text/csv", **of: str) -> requests.Response:
        headers = {"Authorization": f"Bearer {tokens['ada']}", "Content-Type": media}
        return requests.post(here + UPLOADS, body, headers=headers, params=of, timeout=30)

    return put


def count(engine: Engine, table: str) -> int:
    with reading(engine) as connection:
        of = tables.metadata.tables[table]
        return connection.execute(select(func.count()).select_from(of)).scalar_one()


def test_a_file_is_seen_then_kept_and_the_log_says_so(
    engine: Engine, put: Put, ask: Ask, send: Send
) -> None:
    there = f"{UPLOADS}/{put(GOOD, logger='u1', file='may.csv').json()['number']}"
    shown = ask(there, "ada").json()
    seen = shown.pop("seen")
    assert (shown["file"], shown["logger"], shown["is_new"]) == ("may.csv", "u1", False)
    assert (seen["inserted"], seen["rejected"], seen["columns"]) == (6, 0, ["T15", "T30", "T45"])
    first = {"observed_at": "2025-10-01T23:00:00Z", "soil_temp_c": [14.0, 15.0, 16.0]}
    assert seen["rows"][0] == first  # by hand: 09:00 at UTC+10:00
    assert count(engine, "reading") == 0
    kept = send(f"{there}/keep", "ada", None)
    assert kept.status_code == 200, kept.text
    batch = ask(f"/api/imports/{kept.json()['import']}", "ada").json()
    assert (batch["file"], batch["inserted"], count(engine, "reading")) == ("may.csv", 6, 6)
    assert ask(there, "ada").status_code == 404  # it is put aside no longer
    deed = ask("/api/deeds", limit=1).json()[0]
    assert (deed["who"], deed["what"]) == ("ada@example.org", "imported a file")
    again = ask(f"{UPLOADS}/{put(GOOD, logger='u1').json()['number']}", "ada").json()["seen"]
    assert (again["identical"], again["known_import"]) == (6, batch["id"])


def test_what_is_rejected_is_told_with_its_line(put: Put, ask: Ask, send: Send) -> None:
    there = f"{UPLOADS}/{put(BROKEN, logger='u1').json()['number']}"
    seen = ask(there, "ada").json()["seen"]
    assert (seen["inserted"], seen["rejected"]) == (2, 4)  # by hand: a cell, and a row of three
    reason = "'odd' in column 'T30' is no number"
    assert (seen["rejects"][0]["line"], reason in seen["rejects"][0]["reason"]) == (2, True)
    assert send(f"{there}/drop", "ada", None).status_code == 204
    assert ask(there, "ada").status_code == 404


def test_a_new_logger_is_proposed_stated_tried_and_added(
    engine: Engine, put: Put, ask: Ask, send: Send
) -> None:
    there = f"{UPLOADS}/{put(UNKNOWN, 'text/plain', site='upper').json()['number']}"
    shown = ask(there, "ada").json()
    assert (shown["logger"], shown["seen"], shown["is_new"]) == (None, None, True)
    assert send(f"{there}/keep", "ada", None).status_code == 409  # how it is read is open
    found = {one["key"]: one["value"] for one in shown["proposed"] if one["value"] is not None}
    layout: dict[str, Any] = {**found, "stamp": "end", "unit": "F", "clock": "UTC+10:00"}
    wrong = {"name": "u1", "layout": layout}, {"name": "u2", "layout": {**layout, "clock": "noon"}}
    refused = [send(f"{there}/state", "ada", one) for one in wrong]
    assert [one.status_code for one in refused] == [422] * 2
    taken, faulty = (one.json()["errors"][0] for one in refused)
    assert taken.startswith("'u1' is there already")
    assert faulty.startswith('layout: clock = "noon"')
    said = {"name": "u2", "layout": layout}
    assert send(f"{there}/state", "ada", said).status_code == 204
    shown = ask(there, "ada").json()
    assert (shown["logger"], shown["seen"]["inserted"]) == ("u2", 72)
    before = count(engine, "reading")
    assert send(f"{there}/keep", "ada", None).status_code == 200
    assert count(engine, "reading") == before + 72
    assert "u2" in {one["id"] for one in ask("/api/loggers", "ada").json()}


def test_a_file_that_its_layout_does_not_read_says_why_and_is_not_kept(
    put: Put, ask: Ask, send: Send
) -> None:
    there = f"{UPLOADS}/{put(UNKNOWN, logger='u1').json()['number']}"
    shown = ask(there, "ada").json()
    assert (shown["seen"], "no column" in shown["refused"]) == (None, True)
    assert "columns" in {one["key"] for one in shown["proposed"]}
    refused = send(f"{there}/keep", "ada", None)
    assert (refused.status_code, "no column" in refused.json()["detail"]) == (409, True)


@pytest.mark.parametrize(
    ("of", "status"),
    [
        ({"logger": "of-ledge"}, 404),
        ({"site": "at-ledge"}, 404),
        ({"logger": "nowhere"}, 404),
        ({}, 422),
        ({"logger": "u1", "site": "upper"}, 422),
    ],
)
def test_a_file_is_taken_only_for_what_is_ones_own(
    put: Put, of: dict[str, str], status: int
) -> None:
    answer = put(GOOD, **of)
    media = answer.headers["Content-Type"]
    assert (answer.status_code, media) == (status, "application/problem+json")  # [RFC-9457]


def test_what_is_empty_too_large_or_no_file_is_not_put_aside(
    engine: Engine, put: Put, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = count(engine, "upload")
    monkeypatch.setattr("service.web.api.uploads.MOST_BYTES", 100)
    statuses = [put(body, logger="u1").status_code for body in ("", "x" * 101)]
    assert statuses == [422, 413]
    assert put("a=1", "application/x-www-form-urlencoded", logger="u1").status_code == 415
    assert count(engine, "upload") == before


def test_no_one_else_finds_a_file_that_is_put_aside(put: Put, ask: Ask, send: Send) -> None:
    there = f"{UPLOADS}/{put(GOOD, logger='u1').json()['number']}"
    asked = [ask(there), send(f"{there}/keep", "root", None), send(f"{there}/drop", "root", None)]
    assert [one.status_code for one in asked] == [404] * 3
    assert [ask(there, one).status_code for one in ("rea", "cora")] == [403] * 2


def test_looks_that_take_long_keep_no_push_waiting(
    engine: Engine, here: str, put: Put, ask: Ask
) -> None:
    there = f"{UPLOADS}/{put(GOOD, logger='u1').json()['number']}"
    with writing(engine) as connection:
        token = add_token(connection, "u1", datetime.now(UTC))
    headers = {"Authorization": f"Bearer {token}"}
    one = {"observed_at": "2025-11-01T00:00:00Z", "depth_cm": 15, "soil_temp_c": 15.5}
    begun, go_on = Semaphore(0), Event()

    def hold(_c: object, _u: object, statement: str, *_: object) -> None:
        if "FROM upload" in statement and not go_on.is_set():
            begun.release()
            go_on.wait(60)

    event.listen(engine, "before_cursor_execute", hold)
    try:
        with ThreadPoolExecutor(4) as beside:
            looks = [beside.submit(ask, there, "ada") for _ in range(4)]
            try:
                for _ in range(LOOKS_AT_ONCE):
                    assert begun.acquire(timeout=30)
                url = f"{here}/api/readings"
                answer = requests.post(url, json={"readings": [one]}, headers=headers, timeout=10)
            finally:
                go_on.set()
    finally:
        event.remove(engine, "before_cursor_execute", hold)
    assert (answer.status_code, answer.json()["inserted"]) == (200, 1)
    assert [look.result().status_code for look in looks] == [200] * 4
