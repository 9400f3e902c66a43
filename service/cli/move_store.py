"""digseason move-store"""

from __future__ import annotations

import click
from sqlalchemy import Engine
from sqlalchemy.exc import OperationalError

from service.cli.comparisons import show_comparisons
from service.cli.progress import progress_bar
from service.settings import check_database_url
from service.store.copying import copy_store, is_set_up
from service.store.engine import name_store, open_engine, reading
from service.store.schema import StoreTooNewError, upgrade
from service.wiring import open_store


@click.command("move-store")
@click.argument("url", metavar="URL")
@click.option(
    "--catch-up",
    is_flag=True,
    help="URL holds a copy from before: make it equal again. What it has of its own is lost.",
)
@click.pass_context
def command(ctx: click.Context, url: str, catch_up: bool) -> None:
    """Copy the whole store to another database, and compare both by count and checksum.

    URL is as in DIGSEASON_DATABASE_URL, of a database that is there and empty; leave its password
    to ~/.pgpass, since anyone on this machine may list what runs and by which words. The store
    that is copied stays as it is. A copy that broke off is taken up when the command is run again.
    The service may go on meanwhile; then stop it, run the command again with --catch-up, and start
    it with the new URL.
    """
    _, engine = open_store(ctx.obj)
    target = _open_target(url)
    if target.url == engine.url:
        raise click.BadParameter("that is the store itself; name another", param_hint="URL")
    with reading(engine) as source:
        if not is_set_up(source):
            raise click.UsageError(f"there is no farm in {name_store(engine)}: nothing to move")
        with reading(target) as connection:
            if is_set_up(connection) and not catch_up:
                raise click.BadParameter(
                    "that database holds a farm already. Name an empty one; where it is a copy of "
                    "this store, --catch-up makes it equal again",
                    param_hint="URL",
                )
        with progress_bar("store") as progress:
            comparisons = copy_store(source, target, progress)
    code = show_comparisons(comparisons)
    if code == 0:
        click.echo("\nFrom now on start Digseason with DIGSEASON_DATABASE_URL set to")
        click.echo(f"  {name_store(target)}")
    ctx.exit(code)


def _open_target(url: str) -> Engine:
    try:
        check_database_url(url)
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint="URL") from None
    target = open_engine(url)
    click.get_current_context().call_on_close(target.dispose)
    try:
        upgrade(target)
    except OperationalError as error:
        raise click.BadParameter(f"it does not open: {error.orig}", param_hint="URL") from None
    except StoreTooNewError as error:
        raise click.BadParameter(str(error), param_hint="URL") from None
    return target
