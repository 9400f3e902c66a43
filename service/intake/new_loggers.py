"""A logger that is not there yet: its layout as a person states it, and the logger itself."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from sqlalchemy import Connection

from probes.frames import LoggerFile
from probes.logger_files import read_logger_file
from service.farm.apply import apply_farm
from service.farm.export import farm_from_store
from service.farm.layout_tables import LayoutTable
from service.farm.layouts import layout_from_spec, layout_spec
from service.farm.logger_tables import Logger
from service.farm.problems import FarmFileError, describe_errors
from service.farm.text import value_text
from service.farm.values import check_id
from service.intake.content import believe


def write_value(value: Any) -> str:
    """Return a value of a layout as a person fills it in: as TOML, a plain text without quotes."""
    is_plain = isinstance(value, str) and value.isprintable() and value.strip() == value
    return value if is_plain and _read_value(value) == value else value_text(value)


def read_layout(filled: Mapping[str, str]) -> dict[str, Any]:
    """Return the layout that is filled in, by the keys of the farm file; FarmFileError."""
    return check_layout({key: _read_value(text) for key, text in filled.items() if text})


def check_layout(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return a layout as it is kept, of what the farm file says of it; FarmFileError."""
    try:
        return layout_spec(LayoutTable.model_validate(dict(values)))
    except ValidationError as error:
        raise FarmFileError(describe_errors("layout", "layout", LayoutTable, error)) from None


def read_by_layout(
    path: Path, logger_id: str, layout: Mapping[str, Any], now: datetime
) -> LoggerFile:
    """Return what a file holds by a layout; FileRefused."""
    file = read_logger_file(
        path,
        layout_from_spec(logger_id, layout),
        logger_id=logger_id,
        latest_year=now.year + 1,
    )
    return believe(file, "file", now)


def add_logger(
    connection: Connection, logger_id: str, site_id: str, layout: Mapping[str, Any], now: datetime
) -> None:
    """Put in a logger with a layout of its own name; FarmFileError where there can be none such."""
    try:
        check_id(logger_id)
    except ValueError as error:
        raise FarmFileError([str(error)]) from None
    farm = farm_from_store(connection)
    if logger_id in farm.logger or logger_id in farm.layout:
        raise FarmFileError([f"'{logger_id}' is there already; write another name"])
    table = LayoutTable.model_validate(dict(layout))
    logger = Logger(id=logger_id, site=site_id, layout=logger_id)
    more = replace(
        farm,
        layout={**farm.layout, logger_id: table},
        logger={**farm.logger, logger_id: logger},
    )
    apply_farm(connection, more, now, retire=False)


def _read_value(text: str) -> Any:
    try:
        return tomllib.loads(f"x = {text}")["x"]
    except (tomllib.TOMLDecodeError, RecursionError):
        return text
