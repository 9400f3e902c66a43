"""digseason restore"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from textwrap import wrap

import click

from service.backups import NoBackupError, clear_unpacked, restore_backup
from service.cli.comparisons import show_comparisons
from service.cli.options import WIDTH
from service.cli.progress import progress_bar
from service.store.copying import is_set_up
from service.store.engine import name_store, reading
from service.store.schema import StoreTooNewError
from service.wiring import open_store

HERE = (
    "stop what runs with it, which would go on writing to it, and move it away; or name another "
    "--data"
)
NAMED = (
    "DIGSEASON_DATABASE_URL names it. To try a backup out, unset that, which fills the folder of "
    "--data, or let it name an empty database"
)
AFTERWARDS = (
    "Accounts, tokens and persons that were revoked or forgotten since the backup are back, and "
    "passwords are those of then: revoke and forget them again.",
    "Nothing is sent from this store until you say so: what was told after the backup would be "
    "told again, and who has stopped messages since is not known. First bring in what was read "
    "since: move the files of each done/, without their reports, back into the inbox, then run "
    "`digseason inbox`, `digseason fetch` and `digseason round`. See what waits by `digseason "
    "outbox`, drop what was told before by `digseason outbox drop`, then run `digseason outbox "
    "release`.",
)


@click.command("restore")
@click.argument(
    "file", metavar="FILE", type=click.Path(exists=True, dir_okay=False, path_type=Path)
)
@click.pass_context
def command(ctx: click.Context, file: Path) -> None:
    """Fill an empty store from the backup FILE, and compare both.

    The store is that of --data, or the one that DIGSEASON_DATABASE_URL names; it takes the backup
    of either kind. Nothing is sent from it until you say so (`digseason outbox release`): it does
    not know what was told after the backup was made, and who has stopped messages since.
    """
    settings, engine = open_store(ctx.obj)
    clear_unpacked(settings.data)
    with reading(engine) as connection:
        if is_set_up(connection):
            remedy = NAMED if settings.database_url else HERE
            raise click.UsageError(
                f"there is a store in {name_store(engine)}, and nothing of it is overwritten: "
                f"{remedy}"
            )
    try:
        with progress_bar(file.name) as progress:
            comparisons = restore_backup(file, engine, settings.data, datetime.now(UTC), progress)
    except (NoBackupError, StoreTooNewError) as error:
        raise click.BadParameter(str(error), param_hint="FILE") from None
    except OSError as error:
        raise click.ClickException(
            f"{file} is not restored: {error.strerror}. A copy of {file.stat().st_size / 1e6:,.1f} "
            f"MB lies in {settings.data} meanwhile, and {name_store(engine)} takes as much or "
            "more: see that there is room and that both may be written to, and run this again"
        ) from None
    code = show_comparisons(comparisons)
    for paragraph in AFTERWARDS:
        click.echo("\n".join(["", *wrap(paragraph, WIDTH)]))
    ctx.exit(code)
