"""Texts by mail: a service turns a mail to NUMBER@its.domain into an SMS."""

from __future__ import annotations

from alerts.mail import compose_text_mail
from service.channels.smtp import SmtpChannel
from service.channels.templates import fill
from service.settings import Settings
from service.store.outbox import Message


class MailToSmsChannel(SmtpChannel):
    """Mails each text to the address that the settings make of its number."""

    def __init__(self, settings: Settings) -> None:
        super().__init__(settings)
        self._settings = settings

    def send(self, message: Message) -> str:
        """Hand over the mail of a text; return the server's answer."""
        number = message.address
        places = {"to": number, "digits": number.removeprefix("+")}
        to = fill(self._settings.sms_mail_to, places)
        sender, at, message_id = self._settings.mail_from, message.created_at, message.message_id
        return self.hand_over(to, compose_text_mail(message.message, sender, to, at, message_id))
