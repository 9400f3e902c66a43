"""The composition root: settings to an open store."""

from __future__ import annotations

from pathlib import Path

import click
from pydantic import SecretStr, ValidationError
from pydantic_core import ErrorDetails
from sqlalchemy import Engine
from sqlalchemy.exc import DatabaseError

from service.settings import Settings
from service.store.engine import name_store, open_engine
from service.store.schema import StoreTooNewError, upgrade


def open_store(data: Path) -> tuple[Settings, Engine]:
    """Return the settings for a data folder and its store, created or brought up to date.

    The store is closed as the command ends that opened it.
    """
    settings = _read_settings(data)
    settings.data.mkdir(mode=0o700, parents=True, exist_ok=True)  # it holds addresses
    engine = open_engine(settings.store_url)
    click.get_current_context().call_on_close(engine.dispose)
    try:
        upgrade(engine)
    except StoreTooNewError as error:
        raise click.UsageError(str(error)) from None
    except DatabaseError as error:
        said = f"the store does not open: {name_store(engine)}: {error.orig}"
        raise click.UsageError(said) from None
    return settings, engine


def has_store(data: Path) -> bool:
    """Return whether there is a store to open, without making one."""
    settings = _read_settings(data)
    return bool(settings.database_url) or settings.store_file.exists()


def _read_settings(data: Path) -> Settings:
    try:
        return Settings(data=data)
    except ValidationError as error:
        raise click.UsageError("; ".join(map(_fault, error.errors()))) from None


def _fault(fault: ErrorDetails) -> str:
    message = fault["msg"].removeprefix("Value error, ")
    if not fault["loc"]:  # of several settings: it names them
        return message
    field = str(fault["loc"][0])
    name = f"DIGSEASON_{field}".upper()
    if fault["type"] != "value_error":
        message = message.lower()
    setting = Settings.model_fields[field]
    is_shown = setting.repr and setting.annotation is not SecretStr
    value = f" = {fault['input']!r}" if is_shown else ""
    return f"{name}{value}: {message}"
