"""Whatever the description allows to be asked, and much that it does not, is answered as it says.

[SCHEMATHESIS] makes the requests, of each operation some that fit and some that do not, and checks
what comes back; they reach the application in this process, over ASGI.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given
from hypothesis import settings as held_to
from hypothesis.errors import Unsatisfiable
from schemathesis.checks import not_a_server_error
from schemathesis.core.result import Ok
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)
from sqlalchemy import Engine, insert, select, update

from service.settings import Settings
from service.store import tables
from service.store.engine import writing
from service.store.outbox import add_digest, add_message
from service.store.tokens import add_token
from service.store.uploads import add_upload
from service.web.api.description import LOGGER
from service.web.app import make_app
from service.web.bearer import RateLimit
from tests.brought import deliver
from tests.laws import law
from tests.planted import plant_recipient

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]
KNOWN = {
    "block_id": "terrace-7",
    "site_id": "upper",
    "logger_id": "p1",
    "import_id": 1,
    "account_id": 2,
    "token_id": 99,
    "number": 1,
    "logger": "p1",
    "block": "terrace-7",
    "site": "upper",
}
LAYOUT = {
    "clock": "UTC-08:00",
    "time": ["time"],
    "time_format": "%Y-%m-%d %H:%M",
    "stamp": "end",
    "interval_min": 60.0,
    "unit": "C",
    "columns": {"T30": 30.0},
}
EXAMPLES = 4
UNCHECKED = HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.large_base_example
PATIENCE_S = 60.0
DONE = {"root": 40, "ada": 1, "logger": 1}
"""Of how many operations something is done at least."""


@pytest.fixture(scope="module")
def app(engine: Engine, tokens: dict[str, str]) -> Any:
    assert tokens  # with them the accounts are there
    with writing(engine) as connection:
        connection.execute(update(tables.layout).values(spec=LAYOUT))
        connection.execute(insert(tables.layout), {"name": "hours", "spec": LAYOUT})
        of = {"id": "p1", "site_id": "upper", "layout_name": "hours"}
        connection.execute(insert(tables.logger), of)
        connection.execute(insert(tables.probe), {"id": 21, "logger_id": "p1", "channel": "T30"})
        stretch = {"depth_cm": 30.0, "calibration_offset_c": 0.0, "valid_from": date.min}
        connection.execute(insert(tables.probe_stretch), stretch | {"probe_id": 21})
        end = datetime(2026, 3, 1, 9, tzinfo=UTC)
        first = end - timedelta(days=3)
        deliver(connection, first, end, end, logger_id="p1", channels=("T30",))
        of_root = select(tables.account.c.id).where(tables.account.c.email == "root@example.org")
        sent = "upper", None, "new.csv", b"time,T30\n2026-03-01 09:00,14\n", datetime.now(UTC)
        add_upload(connection, connection.execute(of_root).scalar_one(), *sent)
        plant_recipient(connection, "Ada Example")
        digest_id = add_digest(connection, "Ada Example", end)
        add_message(connection, digest_id, "sms", "+15550100", "<1@x>", "Open", end)
    settings = Settings(data=Path(f"{engine.url.database}").parent)
    app = make_app(engine, settings, with_rounds=False)
    app.state.rate = RateLimit(1_000_000)
    return app


@pytest.fixture(scope="module")
def operations(app: Any) -> list[Any]:
    described = schemathesis.openapi.from_asgi("/openapi.json", app, timeout=PATIENCE_S)
    without_mails = described.exclude(path="/api/bounces")  # which it cannot make
    without_rounds = without_mails.exclude(path="/health/rounds")  # of which none has run here
    every = [*without_rounds.get_all_operations()]
    found = [one.ok() for one in every if isinstance(one, Ok)]
    assert len(found) == len(every)
    return found


@pytest.mark.parametrize("who", ["ada", "root", "logger"])
def test_what_is_asked_by_the_description_is_answered_by_it(
    operations: list[Any], engine: Engine, tokens: dict[str, str], who: str
) -> None:
    secret = tokens.get(who)
    if secret is None:
        with writing(engine) as connection:
            secret = add_token(connection, "p1", datetime.now(UTC))
    operations = [one for one in operations if choose_asker(one) == who]
    headers = {"Authorization": f"Bearer {secret}"}
    answered = {
        (operation.label, status)
        for operation in operations
        for strategy in find_strategies(operation)
        for status in ask_some(strategy, headers)
    }
    assert {label for label, _ in answered} == {one.label for one in operations}
    done = {label for label, status in answered if status < 300}
    assert len(done) >= DONE[who], answered


def choose_asker(operation: Any) -> str:
    """Return who may ask most of an operation; tests/service/test_roles.py asks as the others."""
    described = operation.definition.raw
    if described.get("security") == [{LOGGER: []}]:
        return "logger"
    return "root" if "administrator" in described.get("x-roles", ["administrator"]) else "ada"


def find_strategies(operation: Any) -> Iterator[Any]:
    """Yield what is to be asked: of what is there, whatever fits, and what does not."""
    known: dict[str, dict[str, Any]] = {"path": {}, "query": {}}
    for one in operation.iter_parameters():
        if one.name in KNOWN:
            known[one.location.value][one.name] = KNOWN[one.name]
    yield operation.as_strategy(path_parameters=known["path"], query=known["query"])
    yield from (operation.as_strategy(mode) for mode in schemathesis.GenerationMode)


def ask_some(strategy: Any, headers: dict[str, str]) -> set[int]:
    """Ask some times; return with which statuses that is answered."""
    statuses: set[int] = set()

    some = law(EXAMPLES, *UNCHECKED, fewest=3)

    @held_to(some, phases=[Phase.generate], derandomize=True, database=None)
    @given(strategy)
    def ask(case: Any) -> None:
        response = case.call(headers=headers, timeout=PATIENCE_S)
        statuses.add(response.status_code)
        case.validate_response(response, checks=CHECKS)

    with suppress(Unsatisfiable):  # what takes nothing fits always
        ask()
    return statuses
