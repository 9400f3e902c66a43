"""What a process without pages answers: whether it runs, and how."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Thread

import uvicorn
from fastapi import FastAPI
from sqlalchemy import Engine

from service.settings import Settings
from service.web.access import check_rules
from service.web.guards import Guards
from service.web.health import health_routes
from service.web.metrics import metrics_routes
from service.web.refusals import add_refusals
from service.web.requests_seen import RequestsSeen


def make_watch_app(engine: Engine, settings: Settings) -> FastAPI:
    """Return an application that answers /health and /metrics alone."""
    app = FastAPI(title="Digseason", docs_url=None, redoc_url=None, openapi_url=None)
    app.add_middleware(Guards, base_url=settings.base_url)
    app.add_middleware(RequestsSeen)
    add_refusals(app)
    routers = health_routes(engine), metrics_routes(engine, settings)
    app.state.engine, app.state.settings = engine, settings
    app.state.roles_of = check_rules(routers)
    for routes in routers:
        app.include_router(routes)
    return app


@contextmanager
def answering(app: FastAPI, host: str, port: int) -> Iterator[None]:
    """Answer on a port of this process, beside what it does; OSError where that cannot be."""
    config = uvicorn.Config(app, host=host, port=port, log_config=None, access_log=False)
    server = uvicorn.Server(config)
    thread = Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        if not thread.is_alive():
            raise OSError(f"no one can answer on {host}:{port}")
        time.sleep(0.01)
    try:
        yield
    finally:
        server.should_exit = True
        thread.join()
