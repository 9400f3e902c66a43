"""digseason person"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click
from sqlalchemy import Connection, select

from service.cli.options import out_file, wrap_text, write_out
from service.forgetting import fetch_held, forget, write_held
from service.showing import count_text
from service.store.engine import reading, writing
from service.store.forgetting import find_reader
from service.store.tables import recipient
from service.wiring import open_store


@click.group("person")
def command() -> None:
    """Hand a person what is held of them, or forget them."""


@command.command("export")
@click.argument("name")
@click.option(
    "--out",
    "path",
    type=out_file,
    metavar="FILE",
    help="Write it to a file; else it is printed.",
)
@click.pass_obj
def export(data: Path, name: str, path: Path | None) -> None:
    """Write all that the store holds of NAME, as JSON: addresses, consents, messages, texts.

    NAME may be the mail address of someone who signs in.
    """
    _, engine = open_store(data)
    with reading(engine) as connection:
        text = write_held(_fetch(connection, name))
    if path is None:
        click.echo(text)
        return
    write_out(path, text + "\n")


@command.command("forget")
@click.argument("name")
@click.option("--yes", is_flag=True, help="Do it; without this, only say what would be done.")
@click.pass_obj
def forget_(data: Path, name: str, yes: bool) -> None:
    """Take NAME out of the store for good; their addresses are never written to again unasked.

    NAME may be the mail address of someone who signs in.
    """
    settings, engine = open_store(data)
    with writing(engine) as connection:
        found = _fetch(connection, name)
        rows = count_text(sum(map(len, found.values())), "row")
        if not yes:
            told = f"{rows} of {len(found)} tables are about {name}; nothing is done without --yes"
            click.echo("\n".join(wrap_text(told, 0)))
            return
        reader = find_reader(connection, name)
        nobody, files = forget(connection, settings, name, datetime.now(UTC))
    for path in files:
        path.unlink(missing_ok=True)
    file = f" Take {reader} out of the farm file too." if reader else ""
    told = (
        f"{name} is forgotten, and is '{nobody}' where something hangs on it.{file} Older backups "
        "still hold them."
    )
    click.echo("\n".join(wrap_text(told, 0)))


def _fetch(connection: Connection, name: str) -> Any:
    found = fetch_held(connection, name)
    if found:
        return found
    names = connection.scalars(select(recipient.c.name).order_by(recipient.c.name)).all()
    known = ", ".join(names) or "none yet, run setup first"
    said = f"there is no person '{name}', and no account of that address; known: {known}"
    raise click.BadParameter(said, param_hint="NAME")
