"""digseason export"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click
from sqlalchemy import Engine

from service.archive.folder import NoArchiveError, Selection, select_sites, write_archive
from service.archive.netcdf import write_site
from service.cli.options import DAY
from service.cli.progress import progress_bar
from service.showing import count_text
from service.store.engine import reading
from service.wiring import open_store


@click.command("export")
@click.option(
    "--parquet",
    "folder",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="A new or empty folder, or an earlier export, which is replaced.",
)
@click.option(
    "--netcdf",
    "netcdf",
    metavar="DIR",
    type=click.Path(file_okay=False, path_type=Path),
    help="A folder for a NetCDF file of each site, by the CF conventions.",
)
@click.option(
    "--site", "site_ids", metavar="ID", multiple=True, help="One site; may be given again."
)
@click.option("--since", type=DAY, metavar="DATE", default=date.min, help="The first day.")
@click.option("--until", type=DAY, metavar="DATE", default=date.max, help="The last day.")
@click.pass_obj
def command(
    data: Path,
    folder: Path | None,
    netcdf: Path | None,
    site_ids: tuple[str, ...],
    since: date,
    until: date,
) -> None:
    """Write all readings and daily means to a folder of Parquet files, by site and year.

    Days are those of each site's standard time. A README.md in the folder says what each column
    means and how to read them. The folder is there when all of it is written, or is as it was. With
    --netcdf the readings are written as NetCDF files instead, or as well.
    """
    if not (folder or netcdf):
        raise click.UsageError("say where to: --parquet DIR, --netcdf DIR, or both")
    _, engine = open_store(data)
    selection = Selection(site_ids, since, until)
    if netcdf:
        _write_netcdf(engine, netcdf.absolute(), selection)
    if folder:
        _write_parquet(engine, folder.absolute(), selection)


def _write_parquet(engine: Engine, folder: Path, selection: Selection) -> None:
    try:
        with reading(engine) as connection, progress_bar(folder.name) as progress:
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


def _write_netcdf(engine: Engine, folder: Path, selection: Selection) -> None:
    try:
        with reading(engine) as connection, progress_bar(folder.name) as progress:
            sites = select_sites(connection, selection)
            written: list[Path] = []
            for number, site in enumerate(sites):
                path = write_site(connection, folder, site, selection)
                written += [path] if path else []
                progress((number + 1) / len(sites))
    except NoArchiveError as error:
        raise click.UsageError(str(error)) from None
    except OSError as error:
        text = f"{folder} cannot be written: {error.strerror}"
        raise click.BadParameter(text, param_hint="--netcdf") from None
    if not written:
        raise click.UsageError(f"there is nothing to export of {selection}; nothing is written")
    size = sum(path.stat().st_size for path in written)
    click.echo(f"{folder}: {count_text(len(written), 'site')}, {size / 1e6:,.2f} MB")
