"""A real HTTP server on this machine that gives the answers a test has written: right ones, and
slow, truncated, failing and lying ones."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


@dataclass(frozen=True)
class Asked:
    """One request that came: path with its query, the headers, and what was sent."""

    path: str
    headers: Mapping[str, str]
    method: str = "GET"
    body: bytes = b""


@dataclass(frozen=True)
class Reply:
    """One answer.

    hang_s : waits so long before it says anything
    pause_s : waits so long after each byte of its body
    head_pause_s : the same for its header
    cut : says the length of the whole body and sends only so many bytes of it
    """

    body: bytes = b""
    status: int = 200
    headers: Mapping[str, str] = field(default_factory=dict)
    hang_s: float = 0
    pause_s: float = 0
    head_pause_s: float = 0
    cut: int | None = None


Answers = Callable[[Asked], Reply]


@dataclass
class HttpServer:
    """A running server; set `answers` to how it answers, read `asked` for what it was asked."""

    address: str
    answers: Answers
    asked: list[Asked] = field(default_factory=list)

    def say(self, *replies: Reply) -> None:
        """Answer with these, one after the other whatever is asked, and on with the last."""
        left = list(replies)
        self.answers = lambda _: left.pop(0) if len(left) > 1 else left[0]


@contextmanager
def http_server(answers: Answers | None = None) -> Iterator[HttpServer]:
    """Give a running server; without `answers` it answers 404."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
            asked = Asked(self.path, dict(self.headers), self.command, body)
            running.asked.append(asked)
            reply = running.answers(asked)
            time.sleep(reply.hang_s)
            try:
                self._send(reply)
            except (BrokenPipeError, ConnectionResetError):
                self.close_connection = True  # who asked has gone

        do_POST = do_PUT = do_GET  # noqa: N815 (their names)

        def _send(self, reply: Reply) -> None:
            self.send_response(reply.status)
            for name, value in reply.headers.items():
                self.send_header(name, value)
            if reply.status != 304:
                self.send_header("Content-Length", str(len(reply.body)))
            if reply.head_pause_s:
                head: list[bytes] = vars(self).pop("_headers_buffer")
                self._drip(b"".join([*head, b"\r\n"]), reply.head_pause_s)
            else:
                self.end_headers()
            body = reply.body[: reply.cut]
            if reply.pause_s:
                self._drip(body, reply.pause_s)
            else:
                self.wfile.write(body)

        def _drip(self, content: bytes, pause_s: float) -> None:
            for byte in content:
                self.wfile.write(bytes([byte]))
                time.sleep(pause_s)

        def log_message(self, format: str, *args: object) -> None:  # noqa: A002 (its name)
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    running = HttpServer(f"http://127.0.0.1:{server.server_port}", answers or _not_found)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield running
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def _not_found(_: Asked) -> Reply:
    return Reply(b"not found", 404)
