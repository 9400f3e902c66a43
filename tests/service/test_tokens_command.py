"""digseason tokens: shown once, kept as a hash, revoked by number."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import Engine, select

from service.store import tables
from service.store.engine import reading
from service.store.tokens import find_token
from tests.commands import run
from tests.imported import set_up


@pytest.fixture
def token(engine: Engine, store_url: str, tmp_path: Path) -> str:
    set_up(engine)
    code, output = run(tmp_path, "tokens", "add", "--logger", "u1", database_url=store_url)
    assert code == 0, output
    return output.strip()


def test_the_store_does_not_hold_the_token(engine: Engine, token: str) -> None:
    with reading(engine) as connection:
        (row,) = connection.execute(select(tables.token)).all()
        found = find_token(connection, token, datetime.now(UTC))
    assert len(token) >= 43  # by hand: 256 bits, 6 a character
    assert token not in str(row)
    assert found is not None
    assert found.logger_id == "u1"


def test_a_revoked_token_holds_no_longer(
    engine: Engine, store_url: str, tmp_path: Path, token: str
) -> None:
    first = run(tmp_path, "tokens", "revoke", "1", database_url=store_url)
    second = run(tmp_path, "tokens", "revoke", "1", database_url=store_url)
    _, listed = run(tmp_path, "tokens", "list", "--json", database_url=store_url)
    with reading(engine) as connection:
        assert find_token(connection, token, datetime.now(UTC)) is None
    _, shown = run(tmp_path, "tokens", "list", database_url=store_url)
    assert max(map(len, shown.splitlines())) <= 80
    assert (first[0], second[0]) == (0, 2)
    assert [(one["id"], one["revoked_at"] is None) for one in json.loads(listed)] == [(1, False)]


@pytest.mark.usefixtures("engine")
def test_a_token_of_no_logger_is_refused(store_url: str, tmp_path: Path) -> None:
    code, output = run(tmp_path, "tokens", "add", "--logger", "u9", database_url=store_url)
    assert (code, "no logger 'u9'" in output) == (2, True)
