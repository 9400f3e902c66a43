"""Mail by SMTP: one connection for many messages, encrypted, its certificate checked."""

from __future__ import annotations

import smtplib
import socket
import ssl
from contextlib import suppress
from datetime import timedelta

from alerts.addresses import parse_address
from service.channels.contract import ChannelDownError, PassingSendError, PermanentSendError
from service.channels.smtp_replies import Stage, judge_reply
from service.settings import Settings
from service.store.outbox import Message

COMMANDS = 16  # at most, for a message: a connection that was closed, a new one, the message
SHOWN_CHARACTERS = 300

Reply = tuple[int, bytes]


class _ClosedError(ChannelDownError):
    """The server has closed the connection before it was told anything."""


class SmtpChannel:
    """Hands mails to the server that the settings name."""

    is_real = True

    def __init__(self, settings: Settings) -> None:
        self.where = f"{settings.smtp_host}:{settings.smtp_port_used}"
        self.lease = timedelta(seconds=COMMANDS * settings.smtp_timeout_s)
        self.per_min = settings.smtp_per_min
        self._settings = settings
        self._sender = parse_address(settings.mail_from).addr_spec
        self._smtp: smtplib.SMTP | None = None
        self._left = 0  # messages that may still go over this connection

    def send(self, message: Message) -> str:
        """Hand a mail over; return the server's answer."""
        return self.hand_over(message.address, message.message.encode())

    def hand_over(self, to: str, mail: bytes) -> str:
        """Hand over a mail to one address; return the server's answer."""
        smtp = self._begin(len(mail))
        try:
            reply: Reply = smtp.rcpt(to)
            if reply[0] not in (250, 251):
                raise self._refusal("address", reply)
            try:
                reply = smtp.data(mail)
            except smtplib.SMTPDataError as error:
                reply = error.smtp_code, _to_bytes(error.smtp_error)
            if reply[0] != 250:
                raise self._refusal("content", reply)
        except OSError as error:  # smtplib's own, and the network's
            self._drop()
            raise ChannelDownError(
                f"{self.where} broke off amid a message ({_reason(error)}); it is tried again, "
                "with the same Message-ID",
                in_transit=True,
            ) from None
        self._left -= 1
        if self._left <= 0:
            self.close()
        return _shown(reply)

    def describe(self) -> str:
        """Connect if need be; return how the connection is protected."""
        smtp = self._smtp or self._connect()
        security = "not encrypted"
        if isinstance(smtp.sock, ssl.SSLSocket):
            security = f"encrypted by {smtp.sock.version()}, its certificate is valid"
        user = self._settings.smtp_user
        return f"{security}, {f'logged in as {user}' if user else 'without a login'}"

    def close(self) -> None:
        """Take leave of the server."""
        if self._smtp is not None:
            try:
                self._smtp.quit()
            except OSError:  # it has gone already
                self._smtp.close()
            self._smtp = None

    def _drop(self) -> None:
        if self._smtp is not None:
            self._smtp.close()
            self._smtp = None

    def _begin(self, size: int) -> smtplib.SMTP:
        """Name the sender, over the connection there is or a new one; return it."""
        if self._smtp is not None:
            with suppress(_ClosedError):  # as a server may do with what has been idle
                return self._name_sender(self._smtp, size)
        return self._name_sender(self._connect(), size)

    def _name_sender(self, smtp: smtplib.SMTP, size: int) -> smtplib.SMTP:
        try:
            options = [f"size={size}"] if smtp.has_extn("size") else []
            reply: Reply = smtp.mail(self._sender, options)
        except OSError as error:
            self._drop()
            raise _ClosedError(f"{self.where} broke off ({_reason(error)})") from None
        if reply[0] == 421:
            self._drop()
            raise _ClosedError(f"{self.where} answers: {_shown(reply)}")
        if reply[0] != 250:
            raise self._refusal("sender", reply)
        return smtp

    def _refusal(self, stage: Stage, reply: Reply) -> Exception:
        """Return the error of a refusal; what was begun is taken back."""
        text = _shown(reply)
        verdict = judge_reply(stage, reply[0], text.partition(" ")[2])
        if self._smtp is not None:
            try:
                self._smtp.rset()
            except OSError:
                self._drop()
        said = f"{self.where} answers: {text}"
        if stage == "sender" and verdict == "provider" and reply[0] >= 500:
            return ChannelDownError(
                f"{said}; it does not take mail from {self._sender}: check DIGSEASON_MAIL_FROM and "
                "DIGSEASON_SMTP_USER"
            )
        if verdict == "provider":
            return ChannelDownError(said, in_transit=stage != "sender")
        if verdict == "passing":
            return PassingSendError(said)
        return PermanentSendError(said, address_is_bad=verdict == "address")

    def _connect(self) -> smtplib.SMTP:
        s = self._settings
        at, timeout_s = (s.smtp_host, s.smtp_port_used), s.smtp_timeout_s
        smtp: smtplib.SMTP | None = None
        try:
            context = ssl.create_default_context()
            if s.smtp_security == "tls":
                smtp = smtplib.SMTP_SSL(*at, timeout=timeout_s, context=context)
            else:
                smtp = smtplib.SMTP(*at, timeout=timeout_s)
            assert smtp.sock is not None  # noqa: S101 (it is connected)
            # The end of a mail must not wait until the server has acknowledged what came before.
            smtp.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            smtp.ehlo_or_helo_if_needed()
            if s.smtp_security == "starttls":
                smtp.starttls(context=context)
                smtp.ehlo_or_helo_if_needed()
            if s.smtp_user:
                smtp.login(s.smtp_user, s.smtp_password.get_secret_value())
        except OSError as error:
            if smtp is not None:
                smtp.close()
            raise ChannelDownError(f"{self.where} {_explain(error, s)}") from None
        self._smtp, self._left = smtp, s.smtp_per_connection
        return smtp


def _explain(error: OSError, settings: Settings) -> str:
    """Return why there is no connection, and what to do."""
    other = {"starttls": "tls", "tls": "starttls", "none": "starttls"}[settings.smtp_security]
    try_other = f"try DIGSEASON_SMTP_SECURITY={other}, and the port that goes with it"
    match error:
        case smtplib.SMTPAuthenticationError(smtp_code=code) if code >= 500:
            return (
                f"refuses the login of {settings.smtp_user} ({_shown_error(error)}); check "
                "DIGSEASON_SMTP_USER and DIGSEASON_SMTP_PASSWORD: many providers want a password "
                "made for programs"
            )
        case smtplib.SMTPNotSupportedError() if "STARTTLS" in str(error):
            return f"offers no STARTTLS; {try_other}"
        case smtplib.SMTPNotSupportedError():
            return (
                f"takes no login; {try_other}, or leave out DIGSEASON_SMTP_USER where the server "
                "knows this machine"
            )
        case smtplib.SMTPResponseException():
            return f"answers: {_shown_error(error)}"
        case ssl.SSLCertVerificationError():
            return (
                f"shows a certificate that is not valid ({error.verify_message}); write the name "
                "that stands in it as DIGSEASON_SMTP_HOST, or set SSL_CERT_FILE to the "
                "certificate of your own authority"
            )
        case ssl.SSLError():
            return f"does not speak TLS here ({_reason(error)}); {try_other}"
        case _ if _is_late(error):
            return (
                f"does not answer within {settings.smtp_timeout_s:g} s; check DIGSEASON_SMTP_HOST "
                f"and whether a firewall is in between, or {try_other}"
            )
        case smtplib.SMTPServerDisconnected():
            return f"closes the connection at once; {try_other}"
        case _:
            return (
                f"cannot be reached ({_reason(error)}); check DIGSEASON_SMTP_HOST and "
                "DIGSEASON_SMTP_PORT"
            )


def _shown(reply: Reply) -> str:
    """Return a reply in one line, the code first, as it may stand in a terminal."""
    text = " ".join(reply[1].decode("utf-8", "replace").split())
    printable = "".join(character for character in text if character.isprintable())
    return f"{reply[0]} {printable[:SHOWN_CHARACTERS]}".rstrip()


def _shown_error(error: smtplib.SMTPResponseException) -> str:
    return _shown((error.smtp_code, _to_bytes(error.smtp_error)))


def _to_bytes(text: str | bytes) -> bytes:
    return text if isinstance(text, bytes) else text.encode()


def _is_late(error: OSError) -> bool:
    """Whether nothing came in time; smtplib tells it as a connection that was closed."""
    return isinstance(error, TimeoutError) or "timed out" in str(error)


def _reason(error: OSError) -> str:
    if _is_late(error):
        return "no answer in time"
    return (error.strerror or str(error) or type(error).__name__).lower().rstrip(".")
