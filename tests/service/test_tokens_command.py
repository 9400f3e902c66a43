"""digseason tokens: shown once, kept as a hash, revoked by number."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import Engine, select, text

from service.store import tables
from service.store.engine import open_engine, reading, writing
from service.store.schema import MIGRATIONS, upgrade
from service.store.tokens import (
    PushToken,
    add_token,
    fetch_tokens,
    find_push_token,
    find_token,
    hash_secret,
)
from tests.commands import run
from tests.imported import set_up

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)


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


def test_tokens_of_before_there_were_accounts_hold_as_they_did(empty_url: str) -> None:
    engine = open_engine(empty_url)
    made_at = 1_700_000_000_000_000 if engine.dialect.name == "sqlite" else NOW
    with writing(engine) as connection:
        config = Config(attributes={"connection": connection})
        config.set_main_option("script_location", str(MIGRATIONS))
        config.set_main_option("path_separator", "os")
        command.upgrade(config, "0029")
        rows = (
            "insert into site values "
            "('s', 'S', 'UTC', 0, 45, 0, null, null, 'standard', false, null)",
            "insert into layout (name, spec) values ('plain', '{}')",
            "insert into logger (id, site_id, kind, layout_name) "
            "values ('u1', 's', 'files', 'plain')",
        )
        for row in rows:
            connection.execute(text(row))
        old = "insert into push_token (id, logger_id, sha256, made_at) values (7, 'u1', :sha, :at)"
        connection.execute(text(old), {"sha": hash_secret("x" * 43), "at": made_at})
    upgrade(engine)
    with writing(engine) as connection:
        found = find_push_token(connection, "x" * 43, NOW)
        add_token(connection, "u1", NOW)
        numbers = [one.id for one in fetch_tokens(connection)]
    engine.dispose()
    assert found == PushToken(7, "u1")
    assert numbers == [7, 8]
