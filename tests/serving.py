"""The HTTP application on a port of this process, for a real client: quicker than `serve`."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Thread

import uvicorn
from sqlalchemy import Engine

from service.settings import Settings
from service.web.app import make_app


@contextmanager
def serving_here(engine: Engine, settings: Settings, port: int = 0) -> Iterator[str]:
    """Give the address of the application, without the rounds, on any port or this one."""
    app = make_app(engine, settings, with_rounds=False)
    server = uvicorn.Server(uvicorn.Config(app, port=port, log_level="warning"))
    thread = Thread(target=server.run)
    thread.start()
    while not server.started:
        assert thread.is_alive(), "the application did not start"
        time.sleep(0.01)
    host, port = server.servers[0].sockets[0].getsockname()
    yield f"http://{host}:{port}"
    server.should_exit = True
    thread.join()
