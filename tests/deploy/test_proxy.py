"""The reverse proxy's file, read and served by the proxy itself."""

from __future__ import annotations

import os
import sqlite3
import subprocess
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path

import pytest
import requests
from requests.adapters import HTTPAdapter

from tests.processes import find_free_port, serving, wait_until

CADDYFILE = Path(__file__).parents[2] / "deploy/Caddyfile"
pytestmark = pytest.mark.long


def environment(home: Path, **more: str) -> dict[str, str]:
    admin = f"127.0.0.1:{find_free_port()}"
    return {**os.environ, "HOME": str(home), "CADDY_ADMIN": admin, **more}


class FromAnotherAddress(HTTPAdapter):
    """Sends from 127.0.0.2, as a reader elsewhere would."""

    def init_poolmanager(self, *words: object, **more: object) -> None:
        """Bind each connection to the address."""
        super().init_poolmanager(*words, source_address=("127.0.0.2", 0), **more)  # pyright: ignore


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    """The address of the proxy before a running service, and the data folder of that one."""
    data = tmp_path_factory.mktemp("proxy") / "data"
    site = f"http://127.0.0.1:{find_free_port()}"
    with serving(data, "", {"DIGSEASON_BASE_URL": site}, "--pages-only") as address:
        proxy = subprocess.Popen(  # noqa: S603
            ["caddy", "run", "--config", str(CADDYFILE)],  # noqa: S607 (that of the PATH)
            env=environment(data, SITE=site, UPSTREAM=address.removeprefix("http://")),
            stderr=subprocess.DEVNULL,
        )
        try:
            wait_until(lambda: answers(site), 300)
            yield site, data
        finally:
            proxy.terminate()
            proxy.wait(120)


def answers(site: str) -> bool:
    with suppress(requests.RequestException):
        return requests.get(f"{site}/health", timeout=5).ok
    return False


def test_the_proxy_takes_its_file_with_tls(tmp_path: Path) -> None:
    words = "caddy", "validate", "--config", str(CADDYFILE)
    read = subprocess.run(  # noqa: S603
        words, env=environment(tmp_path), capture_output=True, text=True, check=False
    )
    assert (read.returncode, "automatic HTTP->HTTPS redirects" in read.stderr) == (0, True)
    assert "not formatted" not in read.stderr


def test_a_form_comes_through_and_its_sender_is_known(served: tuple[str, Path]) -> None:
    site, data = served
    with requests.Session() as session:
        session.mount("http://", FromAnotherAddress())
        page = session.get(f"{site}/sign-in", timeout=300)
        assert "frame-ancestors 'none'" in page.headers["Content-Security-Policy"]
        filled = {"email": "ada@example.org", "password": "not this one"}
        headers = {"Accept": "text/html", "Origin": site, "X-Forwarded-For": "203.0.113.9"}
        answer = session.post(f"{site}/sign-in", filled, headers=headers, timeout=300)
    assert "The address and the password do not match." in answer.text
    with closing(sqlite3.connect(data / "digseason.db")) as store:
        tried = {of for (of,) in store.execute('select "of" from attempt')}
    assert tried == {"ada@example.org", "127.0.0.2"}
