"""digseason accounts"""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click
from sqlalchemy import Connection, Table, select

from service.accounts import (
    change_places,
    change_role,
    invite,
    is_address,
    mail_link,
    make_first_link,
    make_link,
    may_mail,
    needs_administrator,
    restore,
    revoke,
)
from service.cli.options import check_line, format_options, print_records, wrap_text
from service.links import Links
from service.settings import Settings
from service.store.accounts import (
    ROLES,
    Account,
    Role,
    fetch_accounts,
    find_account,
    set_places,
)
from service.store.audit import CONSOLE, Deed, fetch_deeds
from service.store.engine import reading, writing
from service.store.recipients import fetch_recipients
from service.store.tables import district, site
from service.wiring import open_store

COLUMNS = (
    *("email", "name", "role", "recipient_name", "has_password"),
    *("made_at", "signed_in_at", "revoked_at"),
)
mail_option = click.option("--mail", is_flag=True, help="Send the link by mail as well.")


@click.group("accounts", invoke_without_command=True)
@format_options
@click.pass_context
def command(ctx: click.Context, form: str | None) -> None:
    """List who may sign in where `digseason serve` answers."""
    if ctx.invoked_subcommand is not None:
        return
    _, engine = open_store(ctx.obj)
    with reading(engine) as connection:
        accounts = fetch_accounts(connection)
    if form:
        print_records(map(_record, accounts), form, COLUMNS)
        return
    for one in accounts:
        click.echo("\n".join(wrap_text(_describe(one), 0)))
    if not accounts:
        click.echo("there is no account yet; `digseason accounts first` makes the first one")


@command.command("first")
@click.pass_obj
def first(data: Path) -> None:
    """Print the link by which the first administrator's account is made, while there is none."""
    settings, engine = open_store(data)
    if not needs_administrator(engine):
        raise click.UsageError("there is an administrator; let them invite, or use `invite`")
    click.echo(write_link(settings, make_first_link(Links(settings), datetime.now(UTC))))


@command.command("invite")
@click.argument("email")
@click.option("--role", type=click.Choice(ROLES), required=True, help="What they may do.")
@click.option("--name", callback=lambda ctx, param, value: value and check_line(ctx, param, value))
@click.option("--recipient", metavar="NAME", help="Who is told as the same person.")
@click.option("--site", "sites", metavar="ID", multiple=True, help="A grower's; may be repeated.")
@click.option("--district", "districts", metavar="ID", multiple=True, help="A coordinator's.")
@mail_option
@click.pass_obj
def invite_(
    data: Path,
    email: str,
    role: Role,
    name: str | None,
    recipient: str | None,
    sites: tuple[str, ...],
    districts: tuple[str, ...],
    mail: bool,
) -> None:
    """Make an account for EMAIL, and print the link on which its password is chosen: once, within
    seven days.

    A grower sees the sites that are named here and the blocks that their recipient is told of.
    """
    settings, engine = open_store(data)
    now = datetime.now(UTC)
    if not is_address(email):
        raise click.BadParameter(f"'{email}' is no mail address", param_hint="EMAIL")
    with writing(engine) as connection:
        if find_account(connection, email) is not None:
            raise click.BadParameter(
                f"{email} has an account; `digseason accounts link {email}` makes a new link",
                param_hint="EMAIL",
            )
        _check_known(connection, recipient, sites, districts)
        account = invite(
            connection, CONSOLE, email, name or recipient or email, role, now, recipient
        )
        set_places(connection, account.id, sites, districts)
        _give_link(connection, settings, account, mail, now)


@command.command("link")
@click.argument("email")
@mail_option
@click.pass_obj
def link(data: Path, email: str, mail: bool) -> None:
    """Print a new link on which EMAIL chooses a password; an earlier one works no more."""
    settings, engine = open_store(data)
    with writing(engine) as connection:
        account = _find(connection, email)
        _give_link(connection, settings, account, mail, datetime.now(UTC))


@command.command("places")
@click.argument("email")
@click.option("--recipient", metavar="NAME", help="Who is told as the same person.")
@click.option("--site", "sites", metavar="ID", multiple=True, help="A grower's; may be repeated.")
@click.option("--district", "districts", metavar="ID", multiple=True, help="A coordinator's.")
@click.pass_obj
def places_(
    data: Path,
    email: str,
    recipient: str | None,
    sites: tuple[str, ...],
    districts: tuple[str, ...],
) -> None:
    """Let EMAIL see what is named here, and nothing of what was named before."""
    _, engine = open_store(data)
    with writing(engine) as connection:
        account = _find(connection, email)
        _check_known(connection, recipient, sites, districts)
        named = recipient, sites, districts
        change_places(connection, account, *named, CONSOLE, datetime.now(UTC))
    click.echo(f"{email} sees what is named, and no more")


@command.command("role")
@click.argument("email")
@click.argument("role", type=click.Choice(ROLES))
@click.pass_obj
def role_(data: Path, email: str, role: Role) -> None:
    """Give EMAIL another role."""
    _, engine = open_store(data)
    with writing(engine) as connection:
        change_role(connection, _find(connection, email), role, CONSOLE, datetime.now(UTC))
    click.echo(f"{email} is a {role}")


@command.command("revoke")
@click.argument("email")
@click.pass_obj
def revoke_(data: Path, email: str) -> None:
    """Let EMAIL sign in no more; their sessions and tokens end."""
    _, engine = open_store(data)
    with writing(engine) as connection:
        revoke(connection, _find(connection, email), CONSOLE, datetime.now(UTC))
    click.echo(f"{email} is revoked")


@command.command("restore")
@click.argument("email")
@click.pass_obj
def restore_(data: Path, email: str) -> None:
    """Let EMAIL sign in again."""
    _, engine = open_store(data)
    with writing(engine) as connection:
        restore(connection, _find(connection, email), CONSOLE, datetime.now(UTC))
    click.echo(f"{email} may sign in again")


@command.command("log")
@click.option("--most", type=click.IntRange(1), default=100, show_default=True)
@format_options
@click.pass_obj
def log(data: Path, most: int, form: str | None) -> None:
    """Print who did what, the latest first."""
    _, engine = open_store(data)
    with reading(engine) as connection:
        deeds = fetch_deeds(connection, most)
    if form:
        print_records(map(_write_times, map(asdict, deeds)), form, tuple(Deed.__dataclass_fields__))
        return
    for one in deeds:
        about = "" if one.about == one.who else f": {one.about}"
        told = f"{one.at:%Y-%m-%d %H:%M}  {one.who} {one.what}{about}"
        click.echo("\n".join(wrap_text(told, 0)))


def write_link(settings: Settings, path: str, served_at: str = "http://127.0.0.1:8064") -> str:
    """Return the address of a page, where readers reach it."""
    return (settings.base_url.rstrip("/") or served_at) + path


def _give_link(
    connection: Connection, settings: Settings, account: Account, mail: bool, now: datetime
) -> None:
    if mail and not may_mail(account, settings):
        raise click.UsageError(
            "mail goes to accounts with a --recipient, once DIGSEASON_BASE_URL is set; "
            "leave out --mail and hand the link over"
        )
    path = make_link(connection, Links(settings), account, CONSOLE, now)
    if mail:
        mail_link(connection, settings, account, path, now)
        click.echo("a mail with this link waits in the outbox:", err=True)
    click.echo(write_link(settings, path))


def _find(connection: Connection, email: str) -> Account:
    account = find_account(connection, email)
    if account is None:
        raise click.BadParameter(f"{email} has no account", param_hint="EMAIL")
    return account


def _check_known(
    connection: Connection,
    recipient: str | None,
    sites: tuple[str, ...],
    districts: tuple[str, ...],
) -> None:
    if recipient is not None and recipient not in fetch_recipients(connection):
        raise click.BadParameter(f"no one is told as '{recipient}'", param_hint="--recipient")
    for table, ids, option in ((site, sites, "--site"), (district, districts, "--district")):
        _check_ids(connection, table, ids, option)


def _check_ids(connection: Connection, table: Table, ids: tuple[str, ...], option: str) -> None:
    known = set(connection.scalars(select(table.c.id)))
    for one in ids:
        if one not in known:
            told = ", ".join(sorted(known)) or "none yet, run setup first"
            raise click.BadParameter(f"there is no '{one}'; known: {told}", param_hint=option)


def _record(account: Account) -> dict[str, Any]:
    known = {**asdict(account), "has_password": account.password_hash is not None}
    return _write_times({name: known[name] for name in COLUMNS})


def _write_times(record: dict[str, Any]) -> dict[str, Any]:
    return {
        name: f"{value:%Y-%m-%dT%H:%M:%SZ}" if isinstance(value, datetime) else value
        for name, value in record.items()
    }


def _describe(one: Account) -> str:
    if one.revoked_at:
        state = f"revoked on {one.revoked_at:%Y-%m-%d}"
    elif one.password_hash is None:
        state = "invited, no password yet"
    else:
        state = f"last signed in on {one.signed_in_at:%Y-%m-%d}" if one.signed_in_at else "active"
    told = f", told as {one.recipient_name}" if one.recipient_name else ""
    return f"{one.name}, {one.email}: {one.role}{told}; {state}"
