"""digseason tokens"""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from pathlib import Path

import click

from service.cli.options import format_options, print_records
from service.store.accounts import fetch_accounts, find_account
from service.store.audit import CONSOLE, note_deed
from service.store.engine import reading, writing
from service.store.loggers import UnknownLoggerError, fetch_logger
from service.store.tokens import (
    Token,
    add_account_token,
    add_metrics_token,
    add_token,
    fetch_tokens,
    revoke_token,
)
from service.wiring import open_store

DAYS = 90
COLUMNS = tuple(Token.__dataclass_fields__)


@click.group("tokens")
def command() -> None:
    """Tokens with which loggers push their readings, and programs of people and operators come."""


@command.command("add")
@click.option("--logger", "logger_id", metavar="ID", help="Whose token it is: it pushes readings.")
@click.option("--account", "email", metavar="EMAIL", help="Or whose: it sees what they see.")
@click.option("--write", is_flag=True, help="It also does what its account may do.")
@click.option("--metrics", is_flag=True, help="Or it reads /metrics, and is of no one.")
@click.option("--name", default="", help="What it is for.")
@click.option("--days", type=click.IntRange(1, 3650), help="How long it is valid.")
@click.pass_obj
def add(
    data: Path,
    logger_id: str | None,
    email: str | None,
    write: bool,
    metrics: bool,
    name: str,
    days: int | None,
) -> None:
    """Make a token and print it: only now, since no one keeps it.

    That of an account is valid for 90 days unless --days says how long, others until revoked.
    """
    if (logger_id, email, metrics or None).count(None) != 2 or (write and email is None):
        raise click.UsageError(
            "give --logger ID, --account EMAIL with or without --write, or --metrics"
        )
    _, engine = open_store(data)
    now = datetime.now(UTC)
    until = now + timedelta(days=days) if days else None
    with writing(engine) as connection:
        if metrics:
            secret = add_metrics_token(connection, now, name, until)
            note_deed(connection, CONSOLE, "made a token to read metrics", name, now)
            click.echo(secret)
            return
        if logger_id is None:
            account = find_account(connection, email or "")
            if account is None:
                raise click.BadParameter(f"{email} has no account", param_hint="--account")
            until = until or now + timedelta(days=DAYS)
            scope = "write" if write else "read"
            secret = add_account_token(connection, account.id, scope, now, name, until)
            note_deed(connection, CONSOLE, f"made a token to {scope}", account.email, now)
            click.echo(secret)
            return
        try:
            logger = fetch_logger(connection, logger_id)
        except UnknownLoggerError as error:
            raise click.BadParameter(str(error), param_hint="--logger") from None
        secret = add_token(connection, logger_id, now, name, until)
        note_deed(connection, CONSOLE, "made a token to push", logger_id, now)
    click.echo(secret)
    if logger.by_hand is not None:
        click.echo(f"Its page, where `digseason serve` answers: /hand/{secret}", err=True)


@command.command("list")
@format_options
@click.pass_obj
def list_(data: Path, form: str | None) -> None:
    """List the tokens, each with the last time it brought something."""
    _, engine = open_store(data)
    with reading(engine) as connection:
        tokens = fetch_tokens(connection)
        emails = {one.id: one.email for one in fetch_accounts(connection)}
    if form:
        print_records(
            ({name: _text(v) for name, v in asdict(t).items()} for t in tokens), form, COLUMNS
        )
        return
    click.echo(f"{'no.':>4}  {'of':<24}{'may':<9}{'until':<12}{'last used':<18}{'revoked':<10}")
    for token in tokens:
        of = token.logger_id or emails.get(token.account_id or 0, "-")
        until = f"{token.expires_at:%Y-%m-%d}" if token.expires_at else "-"
        used = f"{token.last_used_at:%Y-%m-%d %H:%M}" if token.last_used_at else "-"
        revoked = f"{token.revoked_at:%Y-%m-%d}" if token.revoked_at else "-"
        shown = f"{token.scope:<9}{until:<12}{used:<18}{revoked}"
        click.echo(f"{token.id:>4}  {of[:23]:<24}{shown}")


@command.command("revoke")
@click.argument("number", metavar="N", type=int)
@click.pass_obj
def revoke(data: Path, number: int) -> None:
    """Revoke token N, as `digseason tokens list` numbers it."""
    _, engine = open_store(data)
    with writing(engine) as connection:
        if not revoke_token(connection, number, datetime.now(UTC)):
            raise click.BadParameter(f"there is no valid token {number}", param_hint="N")
        note_deed(connection, CONSOLE, "revoked a token", f"{number}", datetime.now(UTC))
    click.echo(f"token {number} is revoked")


def _text(value: object) -> object:
    return f"{value:%Y-%m-%dT%H:%M:%SZ}" if isinstance(value, datetime) else value
