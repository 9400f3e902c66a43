"""Everything at once, in real processes: files, pushes, a feed, hands, rounds, and who reads."""

from __future__ import annotations

import json
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest
import requests
from sqlalchemy import Engine, event, func, insert, select

from service.settings import Settings
from service.store import tables
from service.store.busy import StoreBusyError
from service.store.engine import reading, writing
from service.store.tokens import add_token
from tests.farms import farm_text, set_up
from tests.http_server import Reply, http_server
from tests.imported import START
from tests.processes import serving, start
from tests.serving import serving_here
from tests.signed_in import plant_token

NOW = datetime.now(UTC)
DEPTHS_CM = (15, 30, 45)
PUSH_FROM = NOW.replace(minute=0, second=0, microsecond=0) - timedelta(days=120)
FED = 200
MORE = """
[[logger]]
id = "pushed"
site = "upper"
layout = "plain"

[[thermometer]]
id = "by-hand"
site = "upper"
name = "Terrace thermometer"
depths_cm = [30]
unit = "C"

[[station]]
id = "fed"
site = "upper"
feed = "plain"
layout = "plain"
url = "{address}/fed.csv"
allow_hosts = ["127.0.0.1"]
"""


def row(stamp: datetime) -> str:
    cells = (f"{15 + (stamp.hour + depth_cm) % 7 / 2}" for depth_cm in DEPTHS_CM)
    return ",".join([f"{stamp:%Y-%m-%d %H:%M}", *cells])


def hours(first: int, last: int) -> str:
    """Return a logger file of these hours from START on."""
    rows = [row(START + timedelta(hours=hour)) for hour in range(first, last)]
    return "\n".join(["time,T15,T30,T45", *rows, ""])


def feed() -> Reply:
    begun = datetime.now(UTC).replace(minute=0, second=0, microsecond=0) + timedelta(hours=10)
    rows = [row(begun - timedelta(hours=hour)) for hour in range(FED, 0, -1)]
    return Reply("\n".join(["time,T15,T30,T45", *rows, ""]).encode())


def push(address: str, token: str, number: int, hours: int = 24) -> requests.Response:
    """Push a day, of which the first hour was in the push before."""
    readings = [
        {
            "observed_at": (PUSH_FROM + timedelta(hours=23 * number + hour)).isoformat(),
            "depth_cm": 30,
            "soil_temp_c": 15 + (23 * number + hour) % 5,
        }
        for hour in range(hours)
    ]
    return post(f"{address}/api/readings", token, readings)


def note(address: str, token: str, number: int) -> requests.Response:
    at = (PUSH_FROM + timedelta(days=number)).isoformat()
    noted = {"observed_at": at, "depth_cm": 30, "soil_temp_c": 16.5}
    return post(f"{address}/api/hand-readings", token, [noted])


def post(url: str, token: str, readings: list[dict[str, Any]]) -> requests.Response:
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
    body = json.dumps({"readings": readings})
    return requests.post(url, body, headers=headers, timeout=120)


def look(address: str, reader: dict[str, str], _: int) -> requests.Response:
    return requests.get(f"{address}/api/windows", headers=reader, timeout=120)


def kept(engine: Engine) -> dict[str, int]:
    """Return how many readings each logger has."""
    reads = tables.probe.c.id == tables.reading.c.probe_id
    query = select(tables.probe.c.logger_id, func.count()).join(tables.reading, reads)
    with reading(engine) as connection:
        return dict(connection.execute(query.group_by(tables.probe.c.logger_id)).all())  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("size", "pushes"),
    [(6_000, 8), pytest.param(60_000, 100, marks=pytest.mark.long)],
)
def test_all_who_write_at_once_get_through_and_lose_nothing(
    engine: Engine, store_url: str, tmp_path: Path, size: int, pushes: int
) -> None:
    with http_server(lambda _: feed()) as feeds:
        set_up(engine, farm_text(depths_cm=DEPTHS_CM, more=MORE.format(address=feeds.address)))
        with writing(engine) as connection:
            token, hand = (add_token(connection, one, NOW) for one in ("pushed", "by-hand"))
        middle = size // 2
        files = {"a.csv": hours(-size, 10 - middle), "b.csv": hours(-middle, 0)}
        for name, text in files.items():
            (tmp_path / name).write_text(text)
        env = {"DIGSEASON_TICK_S": "1", "DIGSEASON_PUSH_PER_MIN": "10000"}
        with serving(tmp_path, store_url, env) as address, ThreadPoolExecutor(3) as beside:
            processes = [
                start(tmp_path, "import", "--logger", "u1", name, database_url=store_url)
                for name in (f"{tmp_path / one}" for one in files)
            ]
            processes.append(start(tmp_path, "round", database_url=store_url))
            kinds = [partial(push, address, token), partial(note, address, hand)]
            kinds.append(partial(look, address, plant_token(engine)))
            answers = [beside.submit(ask, n) for n in range(pushes) for ask in kinds]
            outputs = [process.communicate(timeout=400)[0] for process in processes]
            end = time.monotonic() + 60
            while "fed" not in kept(engine):
                assert time.monotonic() < end, "nothing was fetched"
                time.sleep(0.1)

    codes = [process.returncode for process in processes]
    assert codes[:2] == [0, 0], outputs
    assert codes[2] == 0 or "has been running a round since" in outputs[2]
    refused = [one.result().text for one in answers if one.result().status_code != 200]
    assert refused == []
    # by hand: pushes overlap in one hour, the two files in ten
    assert kept(engine) == {
        "u1": size * len(DEPTHS_CM),
        "pushed": 23 * pushes + 1,
        "by-hand": pushes,
        "fed": FED * len(DEPTHS_CM),
    }


def test_readers_do_not_wait_for_who_writes(engine: Engine) -> None:
    set_up(engine, farm_text())
    with writing(engine) as connection:
        connection.execute(insert(tables.district).values(id="new", name="New"))
        with reading(engine) as other:
            seen = other.scalars(select(tables.district.c.id)).all()
    assert seen == ["merrin"]


def test_who_has_waited_long_enough_is_told_that_the_store_is_busy(
    engine: Engine,
) -> None:
    set_up(engine, farm_text())
    hasty = engine.execution_options(digseason_patience_s=1)
    touch = tables.site.update().values(name="Other")
    with writing(engine) as connection:
        connection.execute(touch)
        with pytest.raises(StoreBusyError, match="Try again"), writing(hasty) as other:
            other.execute(touch)


def test_a_push_behind_a_long_import_is_asked_to_come_again(
    engine: Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    set_up(engine, farm_text(depths_cm=DEPTHS_CM, more=MORE.format(address="http://127.0.0.1:1")))
    with writing(engine) as connection:
        token = add_token(connection, "pushed", NOW)
    monkeypatch.setattr("service.store.engine.BRIEF_PATIENCE_S", 0.3)
    with serving_here(engine, Settings(data=tmp_path)) as address:
        with writing(engine) as connection:
            connection.execute(tables.logger.update().values(id=tables.logger.c.id))
            late = push(address, token, 1)
        again = push(address, token, 1)
    # source: [RFC-9110] 15.6.4 with 10.2.3, seconds
    assert (late.status_code, late.headers["Retry-After"]) == (503, "60")
    assert "nothing of it was kept" in late.json()["detail"]
    assert (again.status_code, again.json()["inserted"]) == (200, 24)


@pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)
def test_a_push_that_there_is_no_room_for_is_asked_to_come_again(
    engine: Engine, tmp_path: Path
) -> None:
    set_up(engine, farm_text(depths_cm=DEPTHS_CM, more=MORE.format(address="http://127.0.0.1:1")))
    with writing(engine) as connection:
        token = add_token(connection, "pushed", NOW)
    pages = [1]  # SQLite takes no fewer than there are

    @event.listens_for(engine, "connect")
    def limit(connection: Any, _: object) -> None:
        connection.execute(f"pragma max_page_count = {pages[0]}")

    engine.dispose()
    with serving_here(engine, Settings(data=tmp_path)) as address:
        late = push(address, token, 1, hours=1000)
        pages[0] = 1_000_000
        engine.dispose()
        again = push(address, token, 1, hours=1000)
    # source: [RFC-9110] 15.6.4 with 10.2.3, seconds
    assert (late.status_code, late.headers["Retry-After"]) == (503, "60")
    assert "Make room" in late.json()["detail"]
    assert (again.status_code, again.json()["inserted"]) == (200, 1000)


def test_pushes_that_wait_leave_room_for_who_reads(engine: Engine, tmp_path: Path) -> None:
    set_up(engine, farm_text(depths_cm=DEPTHS_CM, more=MORE.format(address="http://127.0.0.1:1")))
    with writing(engine) as connection:
        token = add_token(connection, "pushed", NOW)
    with (
        serving_here(engine, Settings(data=tmp_path)) as address,
        ThreadPoolExecutor(20) as beside,
    ):
        with writing(engine) as connection:
            connection.execute(tables.logger.update().values(id=tables.logger.c.id))
            answers = [beside.submit(push, address, token, number) for number in range(20)]
            time.sleep(1)
            seen = requests.get(f"{address}/health", timeout=10)
            waiting = sum(not answer.done() for answer in answers)
        codes = {answer.result().status_code for answer in answers}
    assert (seen.status_code, waiting, codes) == (200, 20, {200})
