"""An end to how long a server may take to answer: its header, its body, and agreeing on TLS.

The timeouts of a client are each for the next bytes: whoever sends one now and then keeps within
them for weeks. A deadline ends every connection that was used within it.
"""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from threading import Lock, Timer
from typing import Any

from requests.adapters import HTTPAdapter
from requests.exceptions import ConnectTimeout, ReadTimeout
from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.connectionpool import HTTPConnectionPool, HTTPSConnectionPool


class AnswerTooLateError(ReadTimeout):
    """An answer was not whole at its deadline."""


class _Deadline:
    """Sockets of its own beside those of connections: these change hands, and lose theirs."""

    def __init__(self) -> None:
        self.is_over = False
        self._sockets: list[socket.socket] = []
        self._lock = Lock()

    def hold(self, connected: socket.socket) -> None:
        with self._lock:
            beside = socket.fromfd(connected.fileno(), connected.family, connected.type)
            self._sockets.append(beside)
            if self.is_over:
                _end(beside)

    def end(self) -> None:
        with self._lock:
            self.is_over = True
            for one in self._sockets:
                _end(one)

    def close(self) -> None:
        with self._lock:
            for one in self._sockets:
                one.close()
            self._sockets.clear()


def _end(one: socket.socket) -> None:
    with suppress(OSError):  # it has ended already
        one.shutdown(socket.SHUT_RDWR)


_deadline: ContextVar[_Deadline | None] = ContextVar("deadline", default=None)


@contextmanager
def within(seconds: float) -> Iterator[None]:
    """End what sessions with a `TimedAdapter` ask for meanwhile, if that takes longer.

    AnswerTooLateError: what had come by then is no whole answer, even where it looks like one.
    ConnectTimeout as it is: nothing was asked yet.
    """
    deadline = _Deadline()
    timer = Timer(seconds, deadline.end)
    timer.daemon = True
    token = _deadline.set(deadline)
    timer.start()
    try:
        yield
    except ConnectTimeout:
        raise
    except Exception as error:
        if deadline.is_over:
            raise AnswerTooLateError(f"not answered within {seconds:g} s") from error
        raise
    else:
        if deadline.is_over:
            raise AnswerTooLateError(f"not answered within {seconds:g} s")
    finally:
        timer.cancel()
        _deadline.reset(token)
        deadline.close()


def _hold(connected: socket.socket | None) -> None:
    deadline = _deadline.get()
    if deadline is not None and connected is not None and connected.fileno() >= 0:
        deadline.hold(connected)


class Timed:
    """A connection of urllib3 that a deadline reaches, from its first byte on."""

    sock: socket.socket | None

    def _new_conn(self) -> socket.socket:
        connected = super()._new_conn()  # pyright: ignore[reportAttributeAccessIssue]
        _hold(connected)
        return connected

    def request(self, *args: Any, **options: Any) -> None:
        _hold(self.sock)  # it may have been opened within another deadline
        super().request(*args, **options)  # pyright: ignore[reportAttributeAccessIssue]


def make_pools(kind: type[Timed]) -> dict[str, Any]:
    """Return the pools of a kind of connection, by scheme."""

    class Plain(kind, HTTPConnection):
        pass

    class Secure(kind, HTTPSConnection):
        pass

    class PlainPool(HTTPConnectionPool):
        ConnectionCls = Plain  # pyright: ignore[reportAssignmentType]

    class SecurePool(HTTPSConnectionPool):
        ConnectionCls = Secure  # pyright: ignore[reportAssignmentType]

    return {"http": PlainPool, "https": SecurePool}


class TimedAdapter(HTTPAdapter):
    """Opens connections that a deadline reaches, through a proxy too."""

    def init_poolmanager(self, *args: Any, **options: Any) -> None:
        """Let pools be made of such connections."""
        super().init_poolmanager(*args, **options)
        self.poolmanager.pool_classes_by_scheme = make_pools(Timed)

    def proxy_manager_for(self, *args: Any, **options: Any) -> Any:
        """Let those of a proxy be made of them."""
        manager = super().proxy_manager_for(*args, **options)
        manager.pool_classes_by_scheme = make_pools(Timed)
        return manager
