"""A mail server without encryption or login, for what is not about either."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import trustme

from tests.smtp_server import SmtpServer, login_env, smtp_server


@pytest.fixture(scope="session")
def running() -> Iterator[SmtpServer]:
    """The server, as whoever used it last has left it."""
    with smtp_server(trustme.CA(), "none") as server:
        yield server


@pytest.fixture
def server(running: SmtpServer) -> SmtpServer:
    """The server as new."""
    running.reset()
    return running


@pytest.fixture
def mail_env(server: SmtpServer) -> dict[str, object]:
    """The settings with which mails go to it."""
    return login_env(server, smtp_security="none", smtp_user="", smtp_password="")
