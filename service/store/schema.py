"""Bring the schema of a store up to date: alembic, run within one write transaction of ours."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from service.store.engine import reading, writing
from service.store.tables import metadata

MIGRATIONS = Path(__file__).parent.parent / "migrations"
_UPGRADE_LOCK = 20151123  # any number: what two processes that upgrade at once agree on


class StoreTooNewError(Exception):
    """The store was written by a newer Digseason than this one."""


def upgrade(engine: Engine) -> None:
    """Create or migrate the tables; does nothing where they are up to date.

    Revisions are numbered 0001, 0002 .. in one line, so that this needs no alembic, whose import
    takes longer than most commands.
    """
    known = sorted(path.name[:4] for path in (MIGRATIONS / "versions").glob("[0-9]*.py"))
    with reading(engine) as connection:
        current = find_revision(connection)
    if current == known[-1]:
        return
    if current is not None and current not in known:
        raise StoreTooNewError(
            f"the store is at schema {current}, this Digseason knows up to {known[-1]}: "
            "install the Digseason that wrote it, or a newer one"
        )
    with writing(engine) as connection:
        _migrate(connection)


def find_revision(connection: Connection) -> str | None:
    """Return the schema revision of a store, None where it has no tables yet."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("select version_num from alembic_version")).scalar_one_or_none()


def _migrate(connection: Connection) -> None:
    """Run the migrations that are missing, after those of another process, if it is at it.

    A new SQLite file gets at once what they come to, to the letter; PostgreSQL's partitions are
    theirs alone.
    """
    from alembic import command
    from alembic.config import Config

    if connection.dialect.name == "postgresql":
        connection.execute(text("select pg_advisory_xact_lock(:key)"), {"key": _UPGRADE_LOCK})
    config = Config(attributes={"connection": connection})
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    if connection.dialect.name == "sqlite" and not inspect(connection).get_table_names():
        metadata.create_all(connection)
        command.stamp(config, "head")
    else:
        command.upgrade(config, "head")
