"""Bring the schema of a store up to date."""

from __future__ import annotations

from sqlalchemy import Engine

from service.store.engine import writing
from service.store.tables import metadata


def upgrade(engine: Engine) -> None:
    """Create or migrate the tables; does nothing where they are up to date."""
    with writing(engine) as connection:
        metadata.create_all(connection)
