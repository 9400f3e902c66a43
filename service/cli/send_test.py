"""digseason send-test"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from email.utils import make_msgid

import click
from sqlalchemy import Connection, select

from alerts.addresses import PHONE, parse_address
from alerts.mail import compose_mail
from alerts.trial import compose_trial, compose_trial_sms
from service.channels.choosing import describe_channels, open_channel
from service.channels.contract import SendError
from service.channels.smtp import SmtpChannel
from service.cli.options import wrap_text
from service.settings import Settings
from service.store.channel_troubles import end_trouble
from service.store.engine import reading, writing
from service.store.outbox import Message
from service.store.recipients import fetch_recipients
from service.store.tables import organisation
from service.wiring import open_store


@click.command("send-test")
@click.option("--to", "address", metavar="ADDRESS|PHONE", help="Where to: a@b.org, +61491570156.")
@click.option("--recipient", "name", metavar="NAME", help="Everywhere a reader of yours is told.")
@click.pass_context
def command(ctx: click.Context, address: str | None, name: str | None) -> None:
    """Send one message, and say what happened to it.

    A mail or a text, by the way that the settings give it. Ends with 1 where it was not taken.
    """
    if (address is None) == (name is None):
        raise click.UsageError("say where to: --to ADDRESS, or --recipient NAME")
    settings, engine = open_store(ctx.obj)
    with reading(engine) as connection:
        messages = list(_compose(connection, settings, address, name))
    all_taken = True
    for message in messages:
        lines, is_taken = _send(settings, message)
        all_taken = all_taken and is_taken
        for line in lines:
            click.echo("\n".join(wrap_text(line, 0)))
        if is_taken:
            with writing(engine) as connection:
                end_trouble(connection, message.channel)
    ctx.exit(0 if all_taken else 1)


def _compose(
    connection: Connection, settings: Settings, address: str | None, name: str | None
) -> Iterator[Message]:
    """Yield a message for each place."""
    now, language = datetime.now(UTC), "en"
    if address is not None:
        places = [(_find_channel(address), address)]
    else:
        recipients = fetch_recipients(connection)
        if name not in recipients:
            known = ", ".join(sorted(recipients)) or "none yet, run setup first"
            raise click.BadParameter(
                f"there is no reader '{name}'; known: {known}", param_hint="--recipient"
            )
        places, language = recipients[name].addresses, recipients[name].language
    of = connection.scalar(select(organisation.c.name)) or "Digseason"
    for channel, place in places:
        message_id = make_msgid(domain=parse_address(settings.mail_from).domain)
        text = compose_trial_sms(of, language)
        if channel == "mail":
            letter = compose_trial(of, language)
            text = compose_mail(letter, settings.mail_from, place, now, message_id).decode()
        yield Message(0, name or place, channel, place, message_id, now, 1, text)


def _find_channel(address: str) -> str:
    if re.fullmatch(PHONE, address):
        return "sms"
    try:
        parse_address(address)
    except ValueError as error:
        why = error if "@" in address else "is no address; write ada@example.org or +61491570156"
        raise click.BadParameter(f"'{address}' {why}", param_hint="--to") from None
    return "mail"


def _send(settings: Settings, message: Message) -> tuple[list[str], bool]:
    """Send a message; return what happened, in lines, and whether it was taken."""
    mails, texts = describe_channels(settings)
    lines = [f"{message.address}: {mails if message.channel == 'mail' else texts}"]
    with closing(open_channel(message.channel, settings)) as channel:
        try:
            if isinstance(channel, SmtpChannel):
                lines.append(f"connected: {channel.describe()}")
            receipt = channel.send(message)
        except SendError as error:
            return [*lines, f"not taken: {error}"], False
        if not channel.is_real:
            return [*lines, f"written to {receipt}; set up a mail server or a gateway"], True
    taken = f"taken: {receipt}"
    return [*lines, taken, "Now look whether it arrives, among what is held for spam too."], True
