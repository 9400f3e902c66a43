"""A proxy before PostgreSQL's socket: its connections can be cut at any byte, and none let in."""

from __future__ import annotations

import socket
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import Lock, Thread

NAME = ".s.PGSQL.5432"


class SocketProxy:
    """Passes on what comes to a socket in `folder`, unless it is cut."""

    def __init__(self, server: Path) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="pgp-"))
        self.is_cut = False
        self._server = server / NAME
        self._open: set[socket.socket] = set()
        self._lock = Lock()
        self._listener = socket.socket(socket.AF_UNIX)
        self._listener.bind(str(self.folder / NAME))
        self._listener.listen(64)
        self._accepting = Thread(target=self._accept, daemon=True)
        self._accepting.start()

    def cut(self) -> None:
        """Break off every connection; let no new one in until `mend`."""
        self.is_cut = True
        with self._lock:
            for one in self._open:
                with suppress(OSError):
                    one.shutdown(socket.SHUT_RDWR)

    def mend(self) -> None:
        """Pass on again."""
        self.is_cut = False

    def close(self) -> None:
        """Take no more."""
        self.cut()
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._accepting.join()
        self._listener.close()
        (self.folder / NAME).unlink()
        self.folder.rmdir()

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                client, _ = self._listener.accept()
                server = socket.socket(socket.AF_UNIX)
                if self.is_cut or server.connect_ex(str(self._server)):
                    client.close()
                    server.close()
                    continue
                with self._lock:
                    self._open |= {client, server}
                for ends in ((client, server), (server, client)):
                    Thread(target=self._pass_on, args=ends, daemon=True).start()

    def _pass_on(self, source: socket.socket, target: socket.socket) -> None:
        with suppress(OSError):
            while content := source.recv(65536):
                if self.is_cut:
                    break
                target.sendall(content)
        for one in (source, target):
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
        with self._lock:
            self._open.discard(source)
        source.close()


@contextmanager
def socket_proxy(server: Path) -> Iterator[SocketProxy]:
    """Give a running proxy before the socket in a folder."""
    proxy = SocketProxy(server)
    try:
        yield proxy
    finally:
        proxy.close()
