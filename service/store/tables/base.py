"""What all tables share."""

from __future__ import annotations

from sqlalchemy import Column, MetaData

from service.store.types import UtcInstant

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def retired() -> Column[object]:
    return Column("retired_at", UtcInstant)
