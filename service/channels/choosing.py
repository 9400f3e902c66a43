"""Which channel each kind of message takes, by the settings."""

from __future__ import annotations

from urllib.parse import urlsplit

from service.channels.contract import Channel
from service.channels.files import FileChannel
from service.settings import Settings

CHANNELS = ("mail", "sms")


def open_channel(name: str, settings: Settings) -> Channel:
    """Return the channel of "mail" or "sms"; files where none is set up.

    Nothing is asked of a server before there is a message.
    """
    if name == "mail" and settings.smtp_host:
        from service.channels.smtp import SmtpChannel

        return SmtpChannel(settings)
    if name == "sms" and settings.sms_url:
        from service.channels.gateway import GatewayChannel

        return GatewayChannel(settings)
    if name == "sms" and settings.sms_mail_to:
        from service.channels.mail_to_sms import MailToSmsChannel

        return MailToSmsChannel(settings)
    return FileChannel(settings.outbox)


def is_real(name: str, settings: Settings) -> bool:
    """Whether the messages of a channel reach anyone."""
    return bool(settings.smtp_host if name == "mail" else settings.sms_url or settings.sms_mail_to)


def describe_channels(settings: Settings) -> list[str]:
    """Return where mails go and where texts go, a sentence each."""
    files = f"are written to files in {settings.outbox} and reach no one"
    mails, texts = files, files
    if settings.smtp_host:
        server = f"{settings.smtp_host}:{settings.smtp_port_used}"
        mails = f"go out through {server}, from {settings.mail_from}"
    if settings.sms_url:
        texts = f"go out through {urlsplit(settings.sms_url).hostname}"
    elif settings.sms_mail_to:
        texts = f"go out as mails to {settings.sms_mail_to}"
    return [f"mails {mails}", f"texts {texts}"]
