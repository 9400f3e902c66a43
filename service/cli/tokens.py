"""digseason tokens"""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

import click

from service.cli.options import format_options, print_records
from service.store.engine import reading, writing
from service.store.loggers import UnknownLoggerError, fetch_logger
from service.store.tokens import Token, add_token, fetch_tokens, revoke_token
from service.wiring import open_store

COLUMNS = tuple(Token.__dataclass_fields__)


@click.group("tokens")
def command() -> None:
    """Tokens with which loggers push their readings and people send theirs."""


@command.command("add")
@click.option("--logger", "logger_id", metavar="ID", required=True, help="Whose token it is.")
@click.pass_obj
def add(data: Path, logger_id: str) -> None:
    """Make a token and print it: only now, since no one keeps it."""
    _, engine = open_store(data)
    with writing(engine) as connection:
        try:
            logger = fetch_logger(connection, logger_id)
        except UnknownLoggerError as error:
            raise click.BadParameter(str(error), param_hint="--logger") from None
        secret = add_token(connection, logger_id, datetime.now(UTC))
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
    if form:
        print_records(
            ({name: _text(v) for name, v in asdict(t).items()} for t in tokens), form, COLUMNS
        )
        return
    click.echo(f"{'no.':>4}  {'logger':<20}{'made':<18}{'last used':<18}{'revoked':<16}")
    for token in tokens:
        times = (token.made_at, token.last_used_at, token.revoked_at)
        shown = "".join(f"{f'{at:%Y-%m-%d %H:%M}' if at else '-':<18}" for at in times)
        click.echo(f"{token.id:>4}  {token.logger_id:<20}{shown}".rstrip())


@command.command("revoke")
@click.argument("number", metavar="N", type=int)
@click.pass_obj
def revoke(data: Path, number: int) -> None:
    """Let token N, as `digseason tokens list` numbers it, hold no longer."""
    _, engine = open_store(data)
    with writing(engine) as connection:
        if not revoke_token(connection, number, datetime.now(UTC)):
            raise click.BadParameter(f"no token {number} holds", param_hint="N")
    click.echo(f"token {number} is revoked")


def _text(value: object) -> object:
    return f"{value:%Y-%m-%dT%H:%M:%SZ}" if isinstance(value, datetime) else value
