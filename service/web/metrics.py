"""GET /metrics: how the service runs, in OpenMetrics, to who has a token for that.

Figures of the store are those of all processes, counters those of this one. Where a request comes
from lets no one in: behind a server that speaks TLS all come from near.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from http import HTTPStatus

from fastapi import APIRouter, Request
from fastapi.responses import Response
from prometheus_client.core import Metric
from prometheus_client.openmetrics.exposition import CONTENT_TYPE_LATEST, generate_latest
from prometheus_client.registry import Collector
from sqlalchemy import Engine

from service.settings import Settings
from service.store.engine import reading
from service.store.tokens import find_token
from service.watching.counters import OF_PROCESS
from service.watching.figures import find_figures
from service.web.access import by_secret
from service.web.problems import Problem


class _Together(Collector):
    """Figures of the store, then those of this process."""

    def __init__(self, figures: Iterable[Metric]) -> None:
        self._figures = figures

    def collect(self) -> Iterator[Metric]:
        yield from self._figures
        yield from OF_PROCESS.collect()


def metrics_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the route."""
    routes = APIRouter(include_in_schema=False, dependencies=[by_secret])

    @routes.get("/metrics")
    def show(request: Request) -> Response:
        """Show what the store says now, and what this process has counted."""
        now = datetime.now(UTC)
        scheme, _, secret = request.headers.get("authorization", "").partition(" ")
        with reading(engine) as connection:
            token = find_token(connection, secret.strip(), now)
            if scheme.lower() != "bearer" or token is None:
                raise Problem(
                    HTTPStatus.UNAUTHORIZED,
                    "send a token of `digseason tokens add --metrics`, as Authorization: Bearer "
                    "TOKEN",
                    headers={"WWW-Authenticate": "Bearer"},
                )
            if token.scope != "metrics":
                raise Problem(HTTPStatus.FORBIDDEN, "this token is not for /metrics")
            figures = list(find_figures(connection, settings, now))
        return Response(generate_latest(_Together(figures)), media_type=CONTENT_TYPE_LATEST)

    return routes
