"""A proxy on loopback that breaks connections off where a phone in a field loses them.

Only the requests that a test names are cut, each at a point that chance chooses: before anything
is passed on, within the request, after the server has answered and before any of it arrives,
within the answer.
"""

from __future__ import annotations

import socket
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from random import Random
from selectors import EVENT_READ, DefaultSelector
from threading import Thread
from typing import Literal
from urllib.parse import urlsplit

Point = Literal["before", "in the request", "after the commit", "in the answer", "passed"]
POINTS: tuple[Point, ...] = (
    "before",
    "in the request",
    "after the commit",
    "in the answer",
    "passed",
)
_AT_ONCE = 65536


@dataclass
class CuttingProxy:
    """Passes bytes on to a server; `cuts` counts what was broken off, and where.

    begins : how a request begins that may be cut
    is_cutting : whether it is
    """

    server: tuple[str, int]
    begins: bytes
    random: Random
    is_cutting: bool = False
    cuts: Counter[Point] = field(default_factory=Counter)
    _listener: socket.socket = field(
        default_factory=lambda: socket.create_server(("127.0.0.1", 0)), repr=False
    )

    @property
    def here(self) -> str:
        """Where it is reached."""
        host, port = self._listener.getsockname()
        return f"http://{host}:{port}"

    def accept(self) -> None:
        """Take connections, a thread each, until the listener is closed."""
        with suppress(OSError):
            while True:
                client, _ = self._listener.accept()
                Thread(target=self._pass_on, args=(client,), daemon=True).start()

    def close(self) -> None:
        """Take no more."""
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()

    def _pass_on(self, client: socket.socket) -> None:
        with client, socket.create_connection(self.server) as server, suppress(OSError):
            selector = DefaultSelector()
            for one in (client, server):
                selector.register(one, EVENT_READ)
            point: Point = "passed"
            left = 0
            while True:
                for key, _ in selector.select():
                    content = key.fileobj.recv(_AT_ONCE)  # type: ignore[union-attr]
                    if not content:
                        return
                    is_request = key.fileobj is client
                    if is_request and content.startswith(self.begins) and self.is_cutting:
                        point = self.random.choice(POINTS)
                        left = self.random.randrange(1, 2000 if point == "in the request" else 300)
                    if is_request and point == "before":
                        self._cut(point)
                        return
                    if is_request and point == "in the request":
                        server.sendall(content[:left])
                        left -= len(content)
                        if left <= 0:
                            self._cut(point)
                            return
                        continue
                    if not is_request and point == "after the commit":
                        self._cut(point)
                        return
                    if not is_request and point == "in the answer":
                        client.sendall(content[: min(left, len(content) - 1)])
                        self._cut(point)
                        return
                    (server if is_request else client).sendall(content)

    def _cut(self, point: Point) -> None:
        self.cuts[point] += 1


@contextmanager
def cutting_proxy(address: str, begins: bytes, seed: int) -> Iterator[CuttingProxy]:
    """Give a running proxy before a server."""
    server = urlsplit(address)
    assert server.hostname is not None
    assert server.port is not None
    proxy = CuttingProxy((server.hostname, server.port), begins, Random(seed))  # noqa: S311
    thread = Thread(target=proxy.accept)
    thread.start()
    try:
        yield proxy
    finally:
        proxy.close()
        thread.join()
