"""A real mail server on this machine that follows a script: it takes mails, and refuses, drops and
hangs where a test says so. With TLS by a certificate of its own authority, and a login."""

from __future__ import annotations

import asyncio
import logging
import ssl
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from functools import cached_property
from pathlib import Path
from threading import Event, Thread
from typing import Any, Literal

import trustme
from aiosmtpd.smtp import SMTP, AuthResult

logging.getLogger("mail.log").setLevel(logging.CRITICAL)  # clients that are refused are meant

USER, PASSWORD = "dig@alder.example", "a pass word"
DROP, HANG = "drop", "hang"
STAGES = ("greeting", "EHLO", "STARTTLS", "AUTH", "MAIL", "RCPT", "DATA", "TAKEN")
"""What the script is asked at, in order; TAKEN: the mail is kept, and nothing said of it yet."""

Script = Callable[[str, str], str | None]
"""What to do at a stage, given what the command says: a reply, DROP, HANG, or None, as usual."""


def as_usual(stage: str, said: str) -> str | None:  # noqa: ARG001 (a Script)
    """Take everything."""
    return None


@dataclass(frozen=True)
class Taken:
    """A mail that was taken, the protection of its connection, and who had logged in."""

    sender: str
    to: str
    content: bytes
    tls: str | None

    @cached_property
    def mail(self) -> EmailMessage:
        """It, read; not while the server answers."""
        return message_from_bytes(self.content, policy=policy.default)  # type: ignore[return-value]


@dataclass
class SmtpServer:
    """A running server; set `script`, read `taken`, `connections` and `asked` (the stages met)."""

    port: int = 0
    script: Script = as_usual
    taken: list[Taken] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)
    connections: int = 0
    hanging: Event = field(default_factory=Event)

    def say(self, **replies: str) -> None:
        """Answer so at these stages, always."""
        self.script = lambda stage, _: replies.get(stage)

    def reset(self) -> None:
        """Be as new."""
        self.script, self.connections = as_usual, 0
        self.taken.clear()
        self.asked.clear()
        self.hanging.clear()


Mode = Literal["starttls", "tls", "none"]


@contextmanager
def smtp_server(authority: trustme.CA, mode: Mode = "starttls") -> Iterator[SmtpServer]:
    """Give a running server; with STARTTLS it wants a login."""
    running = SmtpServer()
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    authority.issue_cert("127.0.0.1").configure_cert(context)
    loop = asyncio.new_event_loop()
    options: dict[str, Any] = {"hostname": "mail.example", "loop": loop}
    if mode != "none":
        options |= {"authenticator": _check_login, "auth_require_tls": mode == "starttls"}
    if mode == "starttls":
        options |= {"tls_context": context, "require_starttls": True, "auth_required": True}

    def make() -> SMTP:
        return _Scripted(running, _Taker(running), **options)

    of_socket = context if mode == "tls" else None
    server = loop.run_until_complete(loop.create_server(make, "127.0.0.1", 0, ssl=of_socket))
    running.port = server.sockets[0].getsockname()[1]
    thread = Thread(target=loop.run_forever)
    thread.start()
    try:
        yield running
    finally:
        asyncio.run_coroutine_threadsafe(_end(server), loop).result(10)
        loop.call_soon_threadsafe(loop.stop)
        thread.join()
        loop.close()


def trust(authority: trustme.CA, folder: Path) -> dict[str, str]:
    """Return the environment in which the certificates of an authority hold."""
    path = folder / "authority.pem"
    authority.cert_pem.write_to_path(path)
    return {"SSL_CERT_FILE": str(path)}


def login_env(server: SmtpServer, **more: object) -> dict[str, object]:
    """Return the settings with which mails go to the server."""
    return {
        "mail_from": "Alder Bench <dig@alder.example>",
        "smtp_host": "127.0.0.1",
        "smtp_port": server.port,
        "smtp_user": USER,
        "smtp_password": PASSWORD,
        "smtp_timeout_s": 0.5,
        "smtp_per_min": 100_000,
        **more,
    }


async def _end(server: asyncio.Server) -> None:
    server.close()
    tasks = [task for task in asyncio.all_tasks() if task is not asyncio.current_task()]
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
    await asyncio.sleep(0.01)  # the transports end


def _check_login(_server: Any, _session: Any, _envelope: Any, _mechanism: str, data: Any) -> Any:
    is_right = (data.login, data.password) == (USER.encode(), PASSWORD.encode())
    return AuthResult(success=is_right, handled=False)


class _Taker:
    def __init__(self, running: SmtpServer) -> None:
        self._running = running

    async def handle_DATA(self, server: SMTP, _session: Any, envelope: Any) -> str:  # noqa: N802
        """Keep a mail."""
        assert isinstance(server, _Scripted)
        if reply := await server.play("DATA", ""):
            return reply
        tls = server.find_tls()
        (to,) = envelope.rcpt_tos
        self._running.taken.append(Taken(envelope.mail_from, to, envelope.content, tls))
        return await server.play("TAKEN", "") or "250 2.0.0 OK: queued as 4F1A"


class _Scripted(SMTP):
    def __init__(self, running: SmtpServer, handler: _Taker, **options: Any) -> None:
        super().__init__(handler, **options)
        self._running = running

    def find_tls(self) -> str | None:
        """The TLS of the connection; None: it is not encrypted."""
        assert self.transport is not None
        tls = self.transport.get_extra_info("ssl_object")
        return tls and tls.version()

    async def play(self, stage: str, said: str) -> str | None:
        """Do what the script says; return the reply that it gives, if it does."""
        self._running.asked.append(stage)
        act = self._running.script(stage, said)
        if act == DROP:
            assert self.transport is not None
            self.transport.abort()  # type: ignore[attr-defined]
        if act in (DROP, HANG):
            self._running.hanging.set()
            await asyncio.sleep(60)  # until the client has gone
        return act

    async def _handle_client(self) -> None:
        self._running.connections += 1
        try:
            if reply := await self.play("greeting", ""):
                await self.push(reply)
            await super()._handle_client()
        finally:
            if self.transport is not None:
                self.transport.abort()  # type: ignore[attr-defined]

    async def _scripted(self, stage: str, arg: str | None, usual: Any) -> None:
        if reply := await self.play(stage, arg or ""):
            await self.push(reply)
        else:
            await usual(arg)

    async def smtp_EHLO(self, arg: str) -> None:  # noqa: N802
        await self._scripted("EHLO", arg, super().smtp_EHLO)

    async def smtp_STARTTLS(self, arg: str) -> None:  # noqa: N802
        await self._scripted("STARTTLS", arg, super().smtp_STARTTLS)

    async def smtp_AUTH(self, arg: str) -> None:  # noqa: N802
        await self._scripted("AUTH", arg, super().smtp_AUTH)

    async def smtp_MAIL(self, arg: str) -> None:  # noqa: N802
        await self._scripted("MAIL", arg, super().smtp_MAIL)

    async def smtp_RCPT(self, arg: str) -> None:  # noqa: N802
        await self._scripted("RCPT", arg, super().smtp_RCPT)
