"""digseason backup"""

from __future__ import annotations

from pathlib import Path

import click

from service.backups import NoBackupError, write_backup
from service.cli.progress import progress_bar
from service.wiring import open_store


@click.command("backup")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.pass_obj
def command(data: Path, file: Path) -> None:
    """Write the whole store to FILE, which must be new, while the service goes on.

    The file has one form whichever database the store lies in, and holds the addresses of people:
    keep it where only you can read it. What lies in the folders inbox and outbox is not part of it.
    """
    _, engine = open_store(data)
    try:
        with progress_bar(file.name) as progress:
            write_backup(engine, file, progress)
    except FileExistsError:
        raise click.BadParameter(f"{file} is there already; name a new file") from None
    except OSError as error:
        raise click.BadParameter(f"{file} cannot be written: {error.strerror}") from None
    except NoBackupError as error:
        raise click.ClickException(f"the store may be damaged. {error}") from None
    click.echo(f"{file}: {file.stat().st_size / 1e6:,.1f} MB")
