"""Messages as the outbox holds them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from sqlalchemy import Engine, update

from alerts.letter import Letter, Part
from alerts.mail import compose_mail
from service.store.engine import writing
from service.store.outbox import Message
from service.store.tables import outbox

AT = datetime(2026, 3, 2, 12, tzinfo=UTC)
SENDER = "Alder Bench <dig@alder.example>"


def make_mail(to: str = "ada@example.org", paragraphs: tuple[str, ...] = ("Dig.",)) -> Message:
    """Return a mail to an address."""
    message_id = f"<{to}.1@alder.example>"
    mail = compose_mail(
        Letter("Terrace 7: dig", "en", (Part(paragraphs=paragraphs),), "For Ada."),
        SENDER,
        to,
        AT,
        message_id,
    )
    return Message(1, "Ada Example", "mail", to, message_id, AT, 1, mail.decode())


def make_text(to: str = "+61491570156", text: str = "Dig. Mind heat, lines.") -> Message:
    """Return a text to a number."""
    return Message(2, "Ada Example", "sms", to, "<2@alder.example>", AT, 1, text)


def let_leases_lapse(engine: Engine) -> None:
    """Let what is in flight be claimed again, as if its lease were over."""
    lapsed = datetime.now(UTC) - timedelta(seconds=1)
    in_flight = outbox.c.leased_until.is_not(None)
    with writing(engine) as connection:
        connection.execute(update(outbox).where(in_flight).values(leased_until=lapsed))
