"""Whole stores, to be held against each other; those of an earlier Digseason."""

from __future__ import annotations

from alembic import command
from alembic.config import Config
from sqlalchemy import Engine, select

from service.store.engine import reading, writing
from service.store.schema import MIGRATIONS
from service.store.tables import metadata

NEWEST = max(path.name[:4] for path in (MIGRATIONS / "versions").glob("[0-9]*.py"))


def migrate_to(engine: Engine, revision: str) -> None:
    """Bring a store to a revision, as the Digseason did whose last it was."""
    with writing(engine) as connection:
        config = Config(attributes={"connection": connection})
        config.set_main_option("script_location", str(MIGRATIONS))
        config.set_main_option("path_separator", "os")
        command.upgrade(config, revision)


def rows_of(engine: Engine) -> dict[str, set[tuple[object, ...]]]:
    """Return every row of every table; lists and dicts as text."""
    with reading(engine) as connection:
        return {
            table.name: {
                tuple(repr(v) if isinstance(v, list | dict) else v for v in row)
                for row in connection.execute(select(table))
            }
            for table in metadata.sorted_tables
        }
