"""Whether a column holds one of any number of values.

A plain IN takes a parameter each, of which SQLite allows 32,766 and PostgreSQL 65,535: fewer than a
region has probes. Here all values are one parameter.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from sqlalchemy import ARRAY, Column, Text, literal
from sqlalchemy.engine import Dialect
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.functions import FunctionElement
from sqlalchemy.types import TypeDecorator, TypeEngine


class _Values(TypeDecorator[list[Any]]):
    """Values of one type: an array on PostgreSQL, JSON on SQLite."""

    impl = Text
    cache_ok = True

    def __init__(self, of: type[TypeEngine[Any]]) -> None:
        super().__init__()
        self.of = of

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        return Text() if dialect.name == "sqlite" else ARRAY(self.of())

    def process_bind_param(self, value: list[Any] | None, dialect: Dialect) -> Any:
        return json.dumps(value) if dialect.name == "sqlite" else value


class _Among(FunctionElement[bool]):
    """Of no type: SQLite would be asked whether a Boolean is 1, and then uses no index."""

    inherit_cache = True


def among(column: Column[Any], values: Iterable[Any]) -> FunctionElement[bool]:
    """Return what is true where a column of numbers or text holds one of these values."""
    return _Among(column, literal(list(values), _Values(type(column.type))))


@compiles(_Among)
def _compile(element: _Among, compiler: Any, **words: Any) -> str:
    column, values = (compiler.process(clause, **words) for clause in element.clauses)
    return f"{column} IN (SELECT value FROM json_each({values}))"  # noqa: S608 (compiled)


@compiles(_Among, "postgresql")
def _on_postgresql(element: _Among, compiler: Any, **words: Any) -> str:
    column, values = (compiler.process(clause, **words) for clause in element.clauses)
    return f"{column} = ANY ({values})"
