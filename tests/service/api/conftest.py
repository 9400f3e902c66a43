"""A served store with two growers' sites, and programs that read it: ada owns one site of two."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import requests
from sqlalchemy import Engine

from service.settings import Settings
from service.store.accounts import Role, set_places
from service.store.engine import open_engine, writing
from service.store.tokens import Scope, add_account_token
from tests.planted import plant_block, plant_days, plant_place
from tests.serving import serving_here
from tests.signed_in import plant_account

Ask = Callable[..., requests.Response]
"""Ask for a path, as someone, with parameters and headers."""


Send = Callable[[str, str, Any], requests.Response]
"""Send to a path, as someone, a body of JSON."""


@pytest.fixture(scope="module")
def engine(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    engine = open_engine(
        f"sqlite:///{shutil.copy(sqlite_template, tmp_path_factory.mktemp('api'))}"
    )
    with writing(engine) as connection:
        plant_block(connection, name="=Terrace 7")
        plant_place(connection, "ledge", longitude=0.0512, probe_id=2)
        plant_place(connection, "brook", longitude=-0.1, elevation_m=310.0)
        for probe_id in (1, 2):
            warm = [50.0] * 30 + [70.0] * 5
            plant_days(connection, date(2025, 4, 1), warm, probe_id=probe_id)
    yield engine
    engine.dispose()


@pytest.fixture(scope="module")
def tokens(engine: Engine) -> dict[str, str]:
    """Headers by whose they are: an address' name."""

    def make(name: str, role: Role, scope: Scope, site_ids: list[str]) -> str:
        account = plant_account(engine, f"{name}@example.org", role)
        now = datetime.now(UTC)
        with writing(engine) as connection:
            set_places(connection, account.id, site_ids, [])
            until = now + timedelta(days=1)
            return add_account_token(connection, account.id, scope, now, "", until)

    return {
        "ada": make("ada", "grower", "write", ["upper"]),
        "rea": make("rea", "researcher", "read", []),
        "cora": make("cora", "coordinator", "write", []),
        "root": make("root", "administrator", "write", []),
        "reader": make("reader", "administrator", "read", []),
    }


@pytest.fixture(scope="module")
def here(engine: Engine) -> Iterator[str]:
    with serving_here(engine, Settings(data=Path(f"{engine.url.database}").parent)) as here:
        yield here


@pytest.fixture(scope="module")
def ask(here: str, tokens: dict[str, str]) -> Ask:
    def ask(
        path: str, who: str = "root", headers: Mapping[str, str] | None = None, **query: str | int
    ) -> requests.Response:
        known = {"Authorization": f"Bearer {tokens[who]}"}
        return requests.get(
            here + path, params=query, headers={**known, **(headers or {})}, timeout=30
        )

    return ask


@pytest.fixture(scope="module")
def send(here: str, tokens: dict[str, str]) -> Send:
    def send(path: str, who: str, body: Any) -> requests.Response:
        headers = {"Authorization": f"Bearer {tokens[who]}"}
        return requests.post(here + path, json=body, headers=headers, timeout=30)

    return send
