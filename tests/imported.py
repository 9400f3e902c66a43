"""What the tests of importing share: a farm in a store, files for its logger, what is kept."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, delete, select

from service.farm.apply import apply_farm
from service.farm.read import farm_from_tables
from service.intake.files import import_file
from service.intake.reports import ImportReport
from service.store import tables
from service.store.engine import reading, writing
from tests.farms import farm_text

LOGGER = "u1"
DEPTHS_CM = (15, 30)
HEADER = "time,T15,T30"
NOW = datetime(2025, 12, 1, tzinfo=UTC)
START = datetime(2025, 10, 1, 0, 0)  # noqa: DTZ001 (as the logger's clock shows it, UTC+10:00)

Values = Mapping[int, tuple[float | None, float | None]]
"""Hours after START -> what T15 and T30 say then; None: an empty cell."""


def set_up(
    engine: Engine, logger: Mapping[str, Any] | None = None, layout: Mapping[str, Any] | None = None
) -> None:
    """Put a farm with the one logger into a store, some keys of it or its layout otherwise."""
    raw = tomllib.loads(farm_text(depths_cm=DEPTHS_CM))
    raw["logger"][0] |= logger or {}
    raw["layout"]["plain"] |= layout or {}
    with writing(engine) as connection:
        apply_farm(connection, farm_from_tables(raw), NOW, retire=False)


def row(hour: int, cells: Sequence[float | None]) -> str:
    """Return a line of a file."""
    stamp = START + timedelta(hours=hour)
    return ",".join([f"{stamp:%Y-%m-%d %H:%M}", *("" if c is None else f"{c}" for c in cells)])


def write_log(path: Path, values: Values) -> Path:
    """Write a logger file, its rows in time order."""
    return write_lines(path, [row(hour, values[hour]) for hour in sorted(values)])


def write_lines(path: Path, lines: Iterable[str]) -> Path:
    """Write a logger file line by line."""
    path.write_text("\n".join([HEADER, *lines, ""]))
    return path


def import_log(engine: Engine, path: Path, dry_run: bool = False) -> ImportReport:
    """Import a file of the one logger."""
    return import_file(engine, LOGGER, path, NOW, dry_run)


def counts(report: ImportReport) -> tuple[int, int, int, int, int]:
    """Return inserted, identical, conflicting, rejected, missing."""
    return (
        report.inserted,
        report.identical,
        report.conflicting,
        report.rejected,
        report.missing,
    )


def kept(engine: Engine) -> dict[str, list[Any]]:
    """Return what a store keeps of readings, less which import brought it and what checks said."""
    with reading(engine) as connection:
        return {
            name: _rows(connection, tables.metadata.tables[name])
            for name in ("reading", "conflict", "daily_mean")
        }


def _rows(connection: Connection, table: Any) -> list[Any]:
    columns = [column for column in table.columns if column.name not in ("import_id", "checks")]
    return [tuple(found) for found in connection.execute(select(*columns).order_by(*columns))]


def forget(engine: Engine) -> None:
    """Take all readings out of a store, and what came with them."""
    with writing(engine) as connection:
        for name in (
            *("reading", "conflict", "settlement", "shifted_stamp", "daily_mean"),
            *("import_reject", "import_content", "import_pack", "import_batch"),
        ):
            connection.execute(delete(tables.metadata.tables[name]))
