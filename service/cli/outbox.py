"""digseason outbox"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click
from sqlalchemy import Connection

from service.bounces.taking_in import take_in_bounces
from service.channels.choosing import describe_channels
from service.cli.options import (
    check_line,
    format_options,
    person_option,
    print_records,
    wrap_text,
)
from service.cli.sending_words import describe_bounces, describe_delivery
from service.delivery import deliver
from service.showing import count_text
from service.store.channel_troubles import ChannelTrouble, fetch_troubles
from service.store.engine import reading, writing
from service.store.holds import fetch_hold, let_go
from service.store.outbox import end_message, fetch_messages, find_state, send_again
from service.store.undelivered import Suspension, fetch_suspensions, lift_suspension
from service.wiring import open_store

COLUMNS = (
    *("number", "channel", "recipient", "address", "state", "attempts", "message_id"),
    *("created_at", "next_try_at", "delivered_at", "receipt", "ended_at", "ended_by", "failure"),
)
numbers_argument = click.argument("numbers", metavar="N...", type=int, nargs=-1, required=True)


@click.group("outbox", invoke_without_command=True)
@click.option("--all", "with_delivered", is_flag=True, help="Those that were delivered too.")
@format_options
@click.pass_context
def command(ctx: click.Context, with_delivered: bool, form: str | None) -> None:
    """List the messages that wait, were refused or came back, and where messages go.

    In --csv and --json a record a message; the states are waits, later (tried again), sending,
    held (its address is suspended), delivered, refused, given up, bounced, dropped.
    """
    if ctx.invoked_subcommand is not None:
        return
    settings, engine = open_store(ctx.obj)
    now = datetime.now(UTC)
    with reading(engine) as connection:
        messages = fetch_messages(connection, with_delivered=with_delivered)
        troubles = fetch_troubles(connection)
        suspensions = fetch_suspensions(connection)
        hold = fetch_hold(connection)
    if form:
        print_records((_record(row, now) for row in messages), form, COLUMNS)
        return
    for line in describe_channels(settings):
        click.echo("\n".join(wrap_text(line, 0)))
    if hold:
        click.echo("\n".join(wrap_text(str(hold), 0)))
    for trouble in troubles.values():
        click.echo("\n".join(_describe_trouble(trouble)))
    for row in messages:
        click.echo("\n".join(_describe(row, now)))
    if not messages:
        click.echo("nothing waits, and nothing was refused or came back")
    for one in suspensions.values():
        click.echo("\n".join(_describe_suspension(one)))


@command.command("show")
@click.argument("number", metavar="N", type=int)
@click.pass_obj
def show(data: Path, number: int) -> None:
    """Show message N: how it stands, and all of it as it is sent."""
    _, engine = open_store(data)
    with reading(engine) as connection:
        (row,) = _fetch(connection, (number,))
    for name, value in _record(row, datetime.now(UTC)).items():
        if value is not None:
            lines = wrap_text(f"{name.replace('_', ' ')}: {value}", 0)
            click.echo("\n".join(lines))
    click.echo(f"\n{row.message}")


@command.command("retry")
@numbers_argument
@click.pass_obj
def retry(data: Path, numbers: tuple[int, ...]) -> None:
    """Let messages be sent again, with the same Message-ID: those that wait, were refused, given
    up or dropped, or came back.
    """
    _, engine = open_store(data)
    with writing(engine) as connection:
        for row in _fetch(connection, numbers):
            if row.delivered_at and not row.ended:
                raise _refusal(row, f"it was delivered at {row.delivered_at:%Y-%m-%d %H:%M} UTC")
            if row.is_suspended:
                raise _refusal(row, f"first say `digseason outbox resume {row.address}`")
            send_again(connection, row.id)
    click.echo(f"{_count(numbers)} again; `digseason outbox send` sends at once")


@command.command("drop")
@numbers_argument
@person_option
@click.option("--why", metavar="TEXT", required=True, callback=check_line, help="The reason.")
@click.pass_obj
def drop(data: Path, numbers: tuple[int, ...], person: str, why: str) -> None:
    """Let messages wait no longer; what they told is not told again."""
    _, engine = open_store(data)
    with writing(engine) as connection:
        for row in _fetch(connection, numbers):
            if row.delivered_at or row.ended:
                raise _refusal(row, f"it does not wait, it is {find_state(row, datetime.now(UTC))}")
            end_message(connection, row.id, "dropped", why, datetime.now(UTC), person)
    click.echo(f"{_count(numbers)} no longer")


@command.command("resume")
@click.argument("address")
@person_option
@click.pass_obj
def resume(data: Path, address: str, person: str) -> None:
    """Let messages go again to an address that was suspended: it is right after all.

    A wrong one is corrected in the farm file instead, by `digseason setup`.
    """
    _, engine = open_store(data)
    with writing(engine) as connection:
        lifted = lift_suspension(connection, address, person, datetime.now(UTC))
        if not lifted:
            known = ", ".join(each for _, each in fetch_suspensions(connection)) or "none is"
            raise click.BadParameter(f"it is not suspended; {known}", param_hint="ADDRESS")
    click.echo(f"messages go to {address} again")


@command.command("release")
@click.option(
    "--drop-by",
    "person",
    metavar="NAME",
    help="Who says that all that waits was told before: it waits no longer.",
)
@click.pass_obj
def release(data: Path, person: str | None) -> None:
    """Let messages go again that are held back after a restore.

    What waits goes out next. To choose, drop single messages first (`digseason outbox drop N`).
    """
    _, engine = open_store(data)
    with writing(engine) as connection:
        count = let_go(connection, datetime.now(UTC), person)
    if count is None:
        raise click.UsageError("nothing is held back")
    counted = count_text(count, "message")
    if person:
        click.echo(f"{counted} dropped; what is told from now on is sent")
    else:
        click.echo(f"{counted} to be sent, by `digseason serve` or `digseason outbox send`")


@command.command("send")
@click.pass_context
def send(ctx: click.Context) -> None:
    """Send what waits, now; `digseason serve` and `digseason round` do so by themselves.

    Ends with 1 where a message was not taken.
    """
    settings, engine = open_store(ctx.obj)
    report = deliver(engine, settings, datetime.now(UTC))
    click.echo(f"{count_text(len(report.sent), 'message')} delivered")
    for line in describe_delivery(report):
        click.echo(line)
    ctx.exit(1 if report.not_sent or report.troubles or report.hold else 0)


@command.command("bounces")
@click.pass_context
def bounces(ctx: click.Context) -> None:
    """Take in the mails that came back, from the folder that DIGSEASON_BOUNCES names; `digseason
    serve` and `digseason round` do so by themselves.

    Ends with 1 where a message came back, or the folder cannot be read.
    """
    settings, engine = open_store(ctx.obj)
    if settings.bounces is None:
        raise click.UsageError("DIGSEASON_BOUNCES names no folder yet")
    report = take_in_bounces(engine, settings, datetime.now(UTC))
    click.echo(f"{count_text(len(report.failed), 'message')} came back")
    for line in describe_bounces(report):
        click.echo(line)
    ctx.exit(1 if report.failed or report.trouble else 0)


def _fetch(connection: Connection, numbers: tuple[int, ...]) -> list[Any]:
    rows = fetch_messages(connection, numbers)
    unknown = set(numbers) - {row.id for row in rows}
    if unknown:
        raise click.BadParameter(f"there is no message {min(unknown)}", param_hint="N")
    return rows


def _refusal(row: Any, why: str) -> click.BadParameter:
    return click.BadParameter(f"message {row.id}: {why}", param_hint="N")


def _count(numbers: tuple[int, ...]) -> str:
    count = len(set(numbers))
    return f"{count_text(count, 'message')} wait{'s' * (count == 1)}"


def _record(row: Any, now: datetime) -> dict[str, Any]:
    return {
        "number": row.id,
        "channel": row.channel,
        "recipient": row.recipient_name,
        "address": row.address,
        "state": find_state(row, now),
        "attempts": row.attempts,
        "message_id": row.message_id,
        "created_at": _instant(row.created_at),
        "next_try_at": _instant(row.next_try_at),
        "delivered_at": _instant(row.delivered_at),
        "receipt": row.receipt,
        "ended_at": _instant(row.ended_at),
        "ended_by": row.ended_by,
        "failure": row.failure,
    }


def _instant(at: datetime | None) -> str | None:
    return at and f"{at:%Y-%m-%dT%H:%M:%SZ}"


def _describe(row: Any, now: datetime) -> Iterator[str]:
    state = find_state(row, now)
    if state == "later":
        state += f", {row.next_try_at:%Y-%m-%d %H:%M} UTC"
    head = f"{row.id:>6}  {row.channel:<5}{row.recipient_name}, {row.address}: {state}"
    yield from wrap_text(head, 0)
    by = f"{row.ended_by}: " if row.ended_by else ""
    if row.failure:
        yield from wrap_text(f"{by}{row.failure}", 8)


def _describe_trouble(one: ChannelTrouble) -> list[str]:
    then = f"tried again at {one.next_try_at:%Y-%m-%d %H:%M} UTC"
    since = f"{one.since:%Y-%m-%d %H:%M} UTC"
    return wrap_text(f"no {one.channel} since {since}, {then}: {one.failure}", 0)


def _describe_suspension(one: Suspension) -> list[str]:
    since = f"{one.noticed_at:%Y-%m-%d}"
    head = f"suspended since {since}: {one.channel} to {one.recipient_name}, {one.address}"
    return [*wrap_text(head, 0), *wrap_text(one.why, 8)]
