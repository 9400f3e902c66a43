"""digseason export"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from service.archive.folder import NoArchiveError, Selection, write_archive
from service.cli.options import DAY
from service.cli.progress import progress_bar
from service.store.engine import reading
from service.wiring import open_store


@click.command("export")
@click.option(
    "--parquet",
    "folder",
    metavar="DIR",
    required=True,
    type=click.Path(path_type=Path),
    help="A new or empty folder, or an earlier export, which is replaced.",
)
@click.option(
    "--site", "site_ids", metavar="ID", multiple=True, help="One site; may be given again."
)
@click.option("--since", type=DAY, metavar="DATE", default=date.min, help="The first day.")
@click.option("--until", type=DAY, metavar="DATE", default=date.max, help="The last day.")
@click.pass_obj
def command(data: Path, folder: Path, site_ids: tuple[str, ...], since: date, until: date) -> None:
    """Write all readings and daily means to a folder of Parquet files, by site and year.

    Days are those of each site's standard time. A README.md in the folder says what each column
    means and how to read them. The folder is there when all of it is written, or is as it was.
    """
    _, engine = open_store(data)
    folder = folder.absolute()
    try:
        with reading(engine) as connection, progress_bar(folder.name) as progress:
            selection = Selection(site_ids, since, until)
            rows = write_archive(connection, folder, selection, progress)
    except NoArchiveError as error:
        raise click.UsageError(str(error)) from None
    except OSError as error:
        raise click.BadParameter(
            f"{folder} cannot be written: {error.strerror}", param_hint="--parquet"
        ) from None
    size = sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())
    written = f"{rows['readings']:,} readings, {rows['daily']:,} daily means"
    click.echo(f"{folder}: {written}, {size / 1e6:,.2f} MB")
