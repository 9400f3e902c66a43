"""How long readers and other writers wait while one process imports a large file.

Run: python -m tests.benchmarks.bench_waiting
"""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path

import requests
from sqlalchemy import Engine

from service.settings import Settings
from service.store.engine import open_engine, reading, writing
from service.store.imports import fetch_batches
from service.store.schema import upgrade
from service.store.tokens import add_token
from tests.farms import farm_text, set_up
from tests.imported import START
from tests.pg import cluster
from tests.processes import start
from tests.serving import serving_here
from tests.signed_in import plant_token

ROWS, DEPTHS_CM = 250_000, (15, 30, 45)
MORE = '[[logger]]\nid = "pushed"\nsite = "upper"\nlayout = "plain"\n'
NOW = datetime.now(UTC)


def write_log(path: Path, rows: int, before: datetime) -> None:
    """Write hours up to one."""
    stamps = (before - timedelta(hours=hour) for hour in range(rows, 0, -1))
    lines = (f"{at:%Y-%m-%d %H:%M},{15 + at.hour % 7 / 2},15.5,15.0" for at in stamps)
    path.write_text("\n".join(["time,T15,T30,T45", *lines, ""]))


def measure(engine: Engine, url: str, data: Path) -> None:
    """Print one line: the longest waits before the import, and while it runs."""
    set_up(engine, farm_text(depths_cm=DEPTHS_CM, more=MORE))
    with writing(engine) as connection:
        token = add_token(connection, "pushed", NOW)
    reader = plant_token(engine)
    write_log(data / "small.csv", 17_520, START)
    start(data, "import", "--logger", "u1", str(data / "small.csv"), database_url=url).wait()
    write_log(data / "large.csv", ROWS, START - timedelta(hours=17_520))
    with serving_here(engine, Settings(data=data, push_per_min=100_000)) as here:
        pushed_at = iter(NOW - timedelta(hours=hour) for hour in range(100, 100_000))

        def look() -> requests.Response:
            return requests.get(f"{here}/api/windows?block=terrace-7", headers=reader, timeout=600)

        def push() -> requests.Response:
            reading_of = {"observed_at": next(pushed_at).isoformat(), "depth_cm": 30}
            body = {"readings": [{**reading_of, "soil_temp_c": 15.0}]}
            headers = {"Authorization": f"Bearer {token}"}
            return requests.post(f"{here}/api/readings", json=body, headers=headers, timeout=600)

        before = [max(_time(ask) for _ in range(20)) for ask in (look, push)]
        process = start(data, "import", "--logger", "u1", str(data / "large.csv"), database_url=url)
        begun = time.monotonic()
        waits: list[list[float]] = [[], []]
        while process.poll() is None:
            for ask, of_kind in zip((look, push), waits, strict=True):
                of_kind.append(_time(ask))
        took_s = time.monotonic() - begun
    with reading(engine) as connection:
        inserted = max(batch.inserted for batch in fetch_batches(connection))
    assert inserted == ROWS * len(DEPTHS_CM)
    during = [max(of_kind) for of_kind in waits]
    waits_s = [one for pair in zip(before, during, strict=True) for one in pair]
    cells = [f"{1000 * wait_s:,.0f}" for wait_s in waits_s]
    print(f"| {engine.dialect.name} | {took_s:.0f} | {' | '.join(cells)} |")


def _time(ask: Callable[[], requests.Response]) -> float:
    begun = time.monotonic()
    answer = ask()
    assert answer.status_code == 200, answer.text
    return time.monotonic() - begun


def main() -> None:
    """Measure on either database."""
    print("| database | import, s | page, ms | page meanwhile | push, ms | push meanwhile |")
    print("|---|---|---|---|---|---|")
    with ExitStack() as stack:
        server = stack.enter_context(cluster())
        name = stack.enter_context(server.database())
        for kind in ("sqlite", "postgresql"):
            data = Path(tempfile.mkdtemp(prefix="waiting-"))
            stack.callback(shutil.rmtree, data)
            url = f"sqlite:///{data / 'digseason.db'}" if kind == "sqlite" else server.url(name)
            engine = open_engine(url)
            upgrade(engine)
            measure(engine, "" if kind == "sqlite" else url, data)
            engine.dispose()


if __name__ == "__main__":
    main()
