"""digseason finds agree"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click

from service.cli.options import format_options, person_option, print_records
from service.showing import day_text
from service.store.engine import reading, writing
from service.store.finds_consents import (
    FindsConsent,
    agree_to_finds,
    fetch_finds_consents,
    take_finds_back,
)
from service.store.sharing import fetch_site_names
from service.wiring import open_store

COLUMNS = ("site", *FindsConsent.__dataclass_fields__)


@click.command("agree")
@click.argument("site_id", metavar="SITE")
@person_option
@click.option("--take-back", is_flag=True, help="They agree no longer.")
@click.pass_obj
def agree_command(data: Path, site_id: str, person: str, take_back: bool) -> None:
    """Keep that a grower lets the coordinator be told of what is found at SITE.

    Without it only those who grow there are told.
    """
    _, engine = open_store(data)
    now = datetime.now(UTC)
    with writing(engine) as connection:
        names = fetch_site_names(connection)
        if site_id not in names:
            known = ", ".join(sorted(names)) or "none yet, run setup first"
            raise click.BadParameter(
                f"there is no site '{site_id}'; known: {known}", param_hint="SITE"
            )
        keep = take_finds_back if take_back else agree_to_finds
        is_new = keep(connection, site_id, person, now)
    told = "is not told of finds any more" if take_back else "is told of finds from now on"
    stood = "" if is_new else ", as before"
    click.echo(f"{names[site_id]}: the coordinator {told}{stood}")


@click.command("agreed")
@format_options
@click.pass_obj
def agreed_command(data: Path, form: str | None) -> None:
    """List where the coordinator is told of finds, and who agreed."""
    _, engine = open_store(data)
    with reading(engine) as connection:
        names, agreed = fetch_site_names(connection), fetch_finds_consents(connection)
    if form:
        rows = (
            {**vars(one), "site": names[one.site_id], "agreed_at": one.agreed_at.isoformat()}
            for one in agreed.values()
        )
        print_records(rows, form, COLUMNS)
        return
    for site_id, name in sorted(names.items()):
        one = agreed.get(site_id)
        told = f"yes, {one.agreed_by}, {day_text(one.agreed_at.date())}" if one else "no"
        click.echo(f"{name} ({site_id}): {told}")
