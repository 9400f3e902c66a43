"""digseason backup"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click

from service.backups import (
    NAME,
    NoBackupError,
    clear_broken_off,
    prune_backups,
    write_backup,
)
from service.cli.progress import progress_bar
from service.store.backup_notes import note_backup
from service.wiring import open_store


@click.command("backup")
@click.argument("file", metavar="[FILE]", required=False, type=click.Path(path_type=Path))
@click.option(
    "--into",
    "folder",
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    help="Name the file by the time, in this folder.",
)
@click.option(
    "--keep",
    "kept",
    metavar="COUNT",
    type=click.IntRange(min=1),
    help="Once it is written, delete all but the newest COUNT of such files there.",
)
@click.pass_obj
def command(data: Path, file: Path | None, folder: Path | None, kept: int | None) -> None:
    """Write the whole store to FILE, which must be new, while the service goes on.

    The file has one form whichever database the store lies in, and holds the addresses of people:
    keep it where only you can read it. What lies in the folders inbox and outbox is not part of it.
    """
    match file, folder:
        case Path(), None if kept is None:
            pass
        case None, Path():
            file = folder / datetime.now(UTC).strftime(NAME)
            if folder.is_dir():
                clear_broken_off(folder, datetime.now(UTC))
        case _:
            raise click.UsageError("name a new file, or a folder by --into, which --keep needs")
    _, engine = open_store(data)
    try:
        with progress_bar(file.name) as progress:
            write_backup(engine, file, progress)
    except FileExistsError:
        raise click.BadParameter(f"{file} is there already; name a new file") from None
    except OSError as error:
        raise click.BadParameter(
            f"{file} cannot be written: {error.strerror}. See that its folder is there, may be "
            "written to and has room: older backups leave it by --keep only once a new one is whole"
        ) from None
    except NoBackupError as error:
        raise click.ClickException(f"the store may be damaged. {error}") from None
    note_backup(engine, file, datetime.now(UTC))
    click.echo(f"{file}: {file.stat().st_size / 1e6:,.1f} MB")
    if folder and kept:
        for old in prune_backups(file, kept):
            click.echo(f"{old}: deleted")
