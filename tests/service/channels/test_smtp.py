"""Mails go out by SMTP, and what a server does instead of taking one is told apart."""

from __future__ import annotations

import socket
import ssl
from collections.abc import Iterator
from pathlib import Path

import pytest
import trustme

from service.channels.contract import (
    ChannelDownError,
    PassingSendError,
    PermanentSendError,
    SendError,
)
from service.channels.mail_to_sms import MailToSmsChannel
from service.channels.smtp import SmtpChannel
from service.settings import Settings
from tests.outbox_messages import make_mail, make_text
from tests.smtp_server import DROP, HANG, PASSWORD, SmtpServer, login_env, smtp_server


@pytest.fixture(scope="module")
def server(authority: trustme.CA, trusted: None) -> Iterator[SmtpServer]:  # noqa: ARG001
    with smtp_server(authority) as running:
        yield running


@pytest.fixture
def channel(server: SmtpServer) -> Iterator[SmtpChannel]:
    server.reset()
    opened = open_channel(server)
    yield opened
    opened.close()


def open_channel(server: SmtpServer, **changes: object) -> SmtpChannel:
    return SmtpChannel(Settings(data=Path(), **login_env(server, **changes)))  # type: ignore[arg-type]


def fail(channel: SmtpChannel) -> SendError:
    with pytest.raises(SendError) as raised:
        channel.send(make_mail())
    return raised.value


def test_a_mail_arrives_as_it_was_written(channel: SmtpChannel, server: SmtpServer) -> None:
    message = make_mail(paragraphs=("La raíz.", ".", "From here on: 64 °F."))
    assert "\r\n=2E\r\n" in message.message  # a dot of its own would end the mail
    receipt = channel.send(message)
    (taken,) = server.taken
    assert receipt == "250 2.0.0 OK: queued as 4F1A"
    assert taken.content == message.message.encode()
    assert (taken.sender, taken.to) == ("dig@alder.example", "ada@example.org")
    assert taken.tls in ("TLSv1.2", "TLSv1.3")


def test_a_connection_says_how_it_is_protected(channel: SmtpChannel) -> None:
    assert channel.describe() == (
        "encrypted by TLSv1.3, its certificate is valid, logged in as dig@alder.example"
    )


def test_one_connection_serves_many_mails_and_is_left_after_so_many(server: SmtpServer) -> None:
    server.reset()
    channel = open_channel(server, smtp_per_connection=3)
    for _ in range(4):
        channel.send(make_mail())
    channel.close()
    assert (len(server.taken), server.connections) == (4, 2)


def test_the_end_of_a_mail_does_not_wait_for_what_came_before(channel: SmtpChannel) -> None:
    connection = channel._connect()
    assert connection.sock is not None
    assert connection.sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
    connection.quit()


def test_a_connection_that_was_closed_meanwhile_is_opened_anew(
    channel: SmtpChannel, server: SmtpServer
) -> None:
    channel.send(make_mail())
    replies = iter(["421 4.4.2 idle for too long"])
    server.script = lambda stage, _: next(replies, None) if stage == "MAIL" else None
    channel.send(make_mail())
    assert (len(server.taken), server.connections) == (2, 2)


def test_tls_from_the_first_byte_on(authority: trustme.CA, trusted: None) -> None:  # noqa: ARG001
    with smtp_server(authority, "tls") as server:
        channel = open_channel(server, smtp_security="tls")
        channel.send(make_mail())
        channel.close()
        plain = open_channel(server, smtp_security="starttls")
        error = fail(plain)
    assert server.taken[0].tls in ("TLSv1.2", "TLSv1.3")
    assert "try DIGSEASON_SMTP_SECURITY=tls" in str(error)


def test_without_tls_only_within_this_machine(authority: trustme.CA) -> None:
    with smtp_server(authority, "none") as server:
        channel = open_channel(server, smtp_security="none", smtp_user="", smtp_password="")
        channel.send(make_mail())
        channel.close()
        encrypted = open_channel(server)
        error = fail(encrypted)
    assert server.taken[0].tls is None
    assert "offers no STARTTLS; try DIGSEASON_SMTP_SECURITY=tls" in str(error)


def test_tls_spoken_to_a_server_that_begins_without_is_told(server: SmtpServer) -> None:
    server.reset()
    error = fail(open_channel(server, smtp_security="tls"))
    assert isinstance(error, ChannelDownError)
    assert "does not speak TLS here" in str(error)
    assert "try DIGSEASON_SMTP_SECURITY=starttls" in str(error)


def test_a_certificate_of_someone_else_is_refused(
    server: SmtpServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    server.reset()
    monkeypatch.setenv("SSL_CERT_FILE", ssl.get_default_verify_paths().openssl_cafile)
    error = fail(open_channel(server))
    assert isinstance(error, ChannelDownError)
    assert "shows a certificate that is not valid" in str(error)
    assert "SSL_CERT_FILE" in str(error)
    assert "AUTH" not in server.asked


def test_a_name_that_the_certificate_does_not_bear_is_refused(server: SmtpServer) -> None:
    server.reset()
    error = fail(open_channel(server, smtp_host="localhost"))  # it is for 127.0.0.1
    assert "shows a certificate that is not valid" in str(error)
    assert "AUTH" not in server.asked


def test_a_wrong_password_is_told_without_it(server: SmtpServer) -> None:
    server.reset()
    error = fail(open_channel(server, smtp_password=f"no {PASSWORD}"))
    assert isinstance(error, ChannelDownError)
    assert "refuses the login of dig@alder.example (535" in str(error)
    assert PASSWORD not in str(error)


def test_a_server_that_is_not_there_is_down(server: SmtpServer) -> None:
    error = fail(open_channel(server, smtp_port=1))
    assert isinstance(error, ChannelDownError)
    assert "127.0.0.1:1 cannot be reached (connection refused)" in str(error)


@pytest.mark.parametrize(
    ("stage", "act", "kind"),
    [
        # source: [RFC-5321] 4.2.1 (4yz passing, 5yz permanent) and 4.3.2 (by command), from memory
        ("greeting", "554 5.3.2 no service", ChannelDownError),
        ("greeting", DROP, ChannelDownError),
        ("greeting", HANG, ChannelDownError),
        ("STARTTLS", "454 4.7.0 no TLS for now", ChannelDownError),
        ("AUTH", "454 4.7.0 no login for now", ChannelDownError),
        ("MAIL", "421 4.3.2 shutting down", ChannelDownError),
        ("MAIL", "451 4.3.0 no room", ChannelDownError),
        ("MAIL", "550 5.7.1 not your address", ChannelDownError),
        ("MAIL", "552 5.3.4 too long", PermanentSendError),
        ("MAIL", DROP, ChannelDownError),
        ("RCPT", "450 4.2.0 greylisted", PassingSendError),
        ("RCPT", "452 4.2.2 mailbox full", PassingSendError),
        ("RCPT", "550 5.1.1 no such user", PermanentSendError),
        ("RCPT", "421 4.7.0 too many", ChannelDownError),
        ("RCPT", DROP, ChannelDownError),
        ("RCPT", HANG, ChannelDownError),
        ("DATA", "451 4.3.0 try later", PassingSendError),
        ("DATA", "554 5.6.0 what is that", PermanentSendError),
        ("DATA", "554 5.7.1 looks like spam", PassingSendError),
        ("DATA", DROP, ChannelDownError),
        ("TAKEN", HANG, ChannelDownError),
    ],
)
def test_what_a_server_does_instead_of_taking_a_mail(
    channel: SmtpChannel, server: SmtpServer, stage: str, act: str, kind: type[SendError]
) -> None:
    server.say(**{stage: act})
    error = fail(channel)
    assert isinstance(error, kind)
    assert act in (DROP, HANG) or act in str(error)
    if isinstance(error, ChannelDownError):
        assert error.in_transit == (stage in ("RCPT", "DATA", "TAKEN"))


def test_after_a_refusal_the_next_mail_goes_over_the_same_connection(
    channel: SmtpChannel, server: SmtpServer
) -> None:
    server.script = lambda _, said: "550 5.1.1 no such user" if "bad@" in said else None
    with pytest.raises(PermanentSendError) as raised:
        channel.send(make_mail("bad@example.org"))
    channel.send(make_mail())
    assert raised.value.address_is_bad
    assert (len(server.taken), server.connections) == (1, 1)


def test_a_text_goes_as_a_mail_without_a_subject(server: SmtpServer) -> None:
    server.reset()
    settings = login_env(server, sms_mail_to="{digits}@sms.example.org")
    channel = MailToSmsChannel(Settings(data=Path(), **settings))  # type: ignore[arg-type]
    for text in ("Dig. Mind heat, lines.", "Zona de raíces: 18,1 C"):
        channel.send(make_text(text=text))
    channel.close()
    plain, accented = server.taken
    assert plain.to == "61491570156@sms.example.org"
    assert plain.mail["Subject"] is None
    assert plain.mail["Message-ID"] == "<2@alder.example>"
    assert plain.mail["Auto-Submitted"] == "auto-generated"
    assert plain.mail.get_content().rstrip() == "Dig. Mind heat, lines."
    assert accented.mail.get_content().rstrip() == "Zona de raíces: 18,1 C"
