"""Each request: numbered, timed, counted, and told in a line of the log.

An address may hold a secret, and what follows its question mark too: what is told of it is its
form, as `/hand/{secret}`.
"""

from __future__ import annotations

import logging
import re
import time
from http import HTTPStatus
from secrets import token_hex

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.watching.counters import REQUEST_SECONDS, REQUESTS
from service.watching.logs import REQUEST_ID, tell

REQUEST_ID_HEADER = "X-Request-ID"
GIVEN_ID = re.compile(r"[A-Za-z0-9._-]{8,64}")
QUIET = ("/health", "/health/rounds", "/metrics", "/static")
"""Asked so often that the log would hold little else; told where they fail."""
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")

log = logging.getLogger(__name__)


class RequestsSeen:
    """Sees every request, and what came of it."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, with a number that its answer and its lines of the log have."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        given = Headers(scope=scope).get(REQUEST_ID_HEADER, "")
        request_id = given if GIVEN_ID.fullmatch(given) else token_hex(8)
        REQUEST_ID.set(request_id)  # of this task alone, and of what it starts
        status: int = HTTPStatus.INTERNAL_SERVER_ERROR
        begun_s = time.perf_counter()

        async def send_numbered(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)[REQUEST_ID_HEADER] = request_id
            await send(message)

        try:
            await self._app(scope, receive, send_numbered)
        finally:
            _keep(scope, status, time.perf_counter() - begun_s)


def _keep(scope: Scope, status: int, seconds: float) -> None:
    method = scope["method"] if scope["method"] in METHODS else "other"
    route = _find_form(scope)
    REQUESTS.labels(method, route, str(status)).inc()
    REQUEST_SECONDS.labels(method, route).observe(seconds)
    is_fault = status >= HTTPStatus.INTERNAL_SERVER_ERROR
    if route in QUIET and not is_fault:
        return
    tell(
        log,
        "request",
        f"{method} {route} {status} in {1000 * seconds:.0f} ms",
        logging.WARNING if is_fault else logging.INFO,
        method=method,
        route=route,
        status=status,
        seconds=round(seconds, 4),
    )


def _find_form(scope: Scope) -> str:
    """Return the form of an address; what is there for no route is of one form."""
    if scope["path"].startswith("/static/"):
        return "/static"
    return getattr(scope.get("route"), "path", "other")
