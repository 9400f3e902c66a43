"""digseason recipients"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click
from sqlalchemy import Connection, select

from service.channels.choosing import is_real
from service.cli.options import (
    check_line,
    format_options,
    print_records,
    wrap_text,
)
from service.consents import ask
from service.links import Links
from service.store.consents import Consent, confirm, ensure_consent, fetch_consents
from service.store.dug import fetch_dug
from service.store.engine import reading, writing
from service.store.recipients import Recipient, fetch_recipients
from service.store.tables import organisation
from service.wiring import open_store

COLUMNS = (
    *("recipient", "channel", "address", "state", "asked_at", "confirmed_at", "confirmed_by"),
    *("confirmed_why", "stopped_at", "stopped_how"),
)


def _check_given(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    return None if value is None else check_line(ctx, param, value)


channel_option = click.option(
    "--channel", type=click.Choice(["mail", "sms"]), help="Only this; all of theirs otherwise."
)


@click.group("recipients", invoke_without_command=True)
@format_options
@click.pass_context
def command(ctx: click.Context, form: str | None) -> None:
    """List who is told and where, and whether they want to be: not asked, asked, confirmed or
    stopped. A message that leaves for real goes to confirmed addresses alone.
    """
    if ctx.invoked_subcommand is not None:
        return
    settings, engine = open_store(ctx.obj)
    with reading(engine) as connection:
        recipients, consents = fetch_recipients(connection), fetch_consents(connection)
    places = [(n, *place) for n in sorted(recipients) for place in recipients[n].addresses]
    if form:
        print_records((_record(place, consents.get(place)) for place in places), form, COLUMNS)
        return
    for place in places:
        lines = _describe(place, consents.get(place), is_real(place[1], settings))
        click.echo("\n".join(lines))
    with reading(engine) as connection:
        for name in sorted(recipients):
            for window, at in fetch_dug(connection, name).items():
                said = f"{name} has dug {window.block_id} ({window.kind} {window.season})"
                told = f"{said}, said on {at:%Y-%m-%d}: hears only of its close"
                click.echo("\n".join(wrap_text(told, 0)))
    if not places:
        click.echo("no one is told yet; run `digseason setup` with a farm file")


@command.command("confirm")
@click.argument("name")
@channel_option
@click.option("--code", help="The code that they were sent and have told you.")
@click.option("--by", "person", metavar="NAME", callback=_check_given, help="Who says so.")
@click.option("--why", metavar="TEXT", callback=_check_given, help="On what it rests.")
@click.pass_obj
def confirm_(
    data: Path,
    name: str,
    channel: str | None,
    code: str | None,
    person: str | None,
    why: str | None,
) -> None:
    """Keep that NAME wants to be told: by the code that they were sent, or because they have said
    so on paper, with who says it and why.
    """
    if (code is None) == (person is None or why is None):
        raise click.UsageError("give --code, or --by and --why")
    settings, engine = open_store(data)
    now = datetime.now(UTC)
    with writing(engine) as connection:
        consents = _find(connection, name, channel)
        if code is not None:
            links = Links(settings)
            consents = [one for one in consents if links.is_code(code, one)]
            if not consents:
                raise click.BadParameter(
                    "it is not the code that they were sent", param_hint="--code"
                )
        for one in consents:
            confirm(connection, one, person or one.recipient_name, why or "by the code", now)
            click.echo(f"{one.address} is confirmed")


@command.command("ask")
@click.argument("name")
@channel_option
@click.pass_obj
def ask_(data: Path, name: str, channel: str | None) -> None:
    """Ask NAME again; the request waits in the outbox."""
    settings, engine = open_store(data)
    with writing(engine) as connection:
        recipient = _find_recipient(connection, name)
        of = connection.scalar(select(organisation.c.name)) or ""
        for consent in _find(connection, name, channel):
            if consent.state in ("confirmed", "stopped"):
                click.echo(f"{consent.address} is not asked: it is {consent.state}")
                continue
            place = consent.channel, consent.address
            ask(connection, recipient, *place, of, settings, datetime.now(UTC))
            click.echo(f"{consent.address} is asked")


def _find_recipient(connection: Connection, name: str) -> Recipient:
    recipients = fetch_recipients(connection)
    if name not in recipients:
        known = ", ".join(sorted(recipients)) or "none yet, run setup first"
        raise click.BadParameter(f"there is no reader '{name}'; known: {known}", param_hint="NAME")
    return recipients[name]


def _find(connection: Connection, name: str, channel: str | None) -> list[Consent]:
    places = _find_recipient(connection, name).addresses
    found = [ensure_consent(connection, name, *p) for p in places if channel in (None, p[0])]
    if not found:
        raise click.BadParameter(f"{name} is told by no {channel}", param_hint="--channel")
    return found


def _record(place: tuple[str, str, str], consent: Consent | None) -> dict[str, Any]:
    told: dict[str, Any] = dict(zip(COLUMNS, (*place, "not asked"), strict=False))
    for name in COLUMNS[3:]:
        value = getattr(consent, name, told.get(name))
        told[name] = f"{value:%Y-%m-%dT%H:%M:%SZ}" if isinstance(value, datetime) else value
    return told


def _describe(place: tuple[str, str, str], consent: Consent | None, leaves: bool) -> Iterator[str]:
    name, channel, address = place
    state = consent.state if consent else "not asked"
    at = consent and (consent.stopped_at or consent.confirmed_at or consent.asked_at)
    since = f" on {at:%Y-%m-%d}" if at else ""
    held = "" if leaves else " (messages are files)"
    yield from wrap_text(f"{name}, {channel} to {address}: {state}{since}{held}", 0)
    if consent and consent.stopped_at:
        yield from wrap_text(f"{consent.stopped_how}", 4)
    elif consent and consent.confirmed_at:
        yield from wrap_text(f"{consent.confirmed_by}: {consent.confirmed_why}", 4)
