"""The one column type for instants: aware UTC in Python, whichever database keeps it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import BigInteger, DateTime
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator, TypeEngine

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class UtcInstant(TypeDecorator[datetime]):
    """An instant: timestamptz on PostgreSQL, microseconds since 1970 on SQLite.

    SQLite has no zones (a plain DateTime would drop the offset without a word); integers sort,
    compare and load in bulk.
    """

    impl = DateTime(timezone=True)
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Return the type the database holds."""
        return BigInteger() if dialect.name == "sqlite" else DateTime(timezone=True)

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> Any:
        """Refuse a naive datetime; return what the database takes."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"naive datetime {value!r}; the store keeps aware instants only")
        return to_epoch_us(value) if dialect.name == "sqlite" else value.astimezone(UTC)

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        """Return an aware datetime in UTC."""
        if value is None:
            return None
        return from_epoch_us(value) if dialect.name == "sqlite" else value.astimezone(UTC)


def to_epoch_us(instant: datetime) -> int:
    """Return microseconds since 1970 of an aware datetime, exactly."""
    return (instant - _EPOCH) // timedelta(microseconds=1)


def from_epoch_us(epoch_us: int) -> datetime:
    """Return the aware UTC datetime of microseconds since 1970."""
    return _EPOCH + timedelta(microseconds=epoch_us)
