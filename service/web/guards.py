"""What every request goes through and every answer has, whichever route it is for."""

from __future__ import annotations

from contextlib import AsyncExitStack
from http import HTTPStatus
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.watching.logs import REQUEST_ID
from service.web.problems import Problem
from service.web.refusals import answer_refusal

LARGEST_BYTES = 32_000_000
"""Of any body; what a form or a push may hold is less."""

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; "
        "connect-src 'self'; frame-src 'self'; form-action 'self'; base-uri 'none'; "
        "frame-ancestors 'none'"
    ),
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(self), microphone=()",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}
HTTPS_ONLY = "max-age=31536000"
FOR_GOOD = "public, max-age=31536000, immutable"
CHANGES_NOTHING = ("GET", "HEAD", "OPTIONS")


class Guards:
    """Refuses what another site makes a browser send and what is too long; adds the headers.

    An answer may have a Content-Security-Policy of its own: service/web/letters.py. What fails
    unforeseen is answered too, and still raised: the log has it.
    Answers are kept by no cache unless they say so, or their address names one version for good.
    """

    def __init__(self, app: ASGIApp, base_url: str = "") -> None:
        self._app, self._is_https = app, base_url.startswith("https:")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or answer that it is refused."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        has_begun = False
        is_for_good = scope["path"].startswith("/static/") and b"v=" in scope["query_string"]

        async def send_guarded(message: Message) -> None:
            nonlocal has_begun
            has_begun = True
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                if self._is_https:
                    headers["Strict-Transport-Security"] = HTTPS_ONLY
                is_there = message["status"] == HTTPStatus.OK
                headers.setdefault(
                    "Cache-Control", FOR_GOOD if is_for_good and is_there else "no-store"
                )
            await send(message)

        taken = 0

        async def receive_bounded() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > LARGEST_BYTES:
                raise _too_long()
            return message

        async def refuse(refusal: Problem) -> None:
            await answer_refusal(Request(scope), refusal)(scope, receive, send_guarded)

        refusal = _find_refusal(scope)
        if refusal is not None:
            await refuse(refusal)
            return
        try:
            async with AsyncExitStack() as scope["at_the_end"]:
                await self._app(scope, receive_bounded, send_guarded)
        except Exception:
            if not has_begun:
                said = f"this failed here; the log says why, under number {REQUEST_ID.get()}"
                await refuse(Problem(HTTPStatus.INTERNAL_SERVER_ERROR, said))
            raise


def _find_refusal(scope: Scope) -> Problem | None:
    headers = Headers(scope=scope)
    length = headers.get("content-length", "0")
    if not length.isdecimal() or int(length) > LARGEST_BYTES:
        return _too_long()
    if scope["method"] not in CHANGES_NOTHING and not _is_from_here(headers):
        return Problem(HTTPStatus.FORBIDDEN, "another web site sent this; open the page yourself")
    return None


def _is_from_here(headers: Headers) -> bool:
    """Whether no other site sends it; programs that are no browsers do not say where from."""
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site in ("same-origin", "none")
    origin = headers.get("origin", "null")  # a browser says "null" where it tells no referrer
    return origin == "null" or urlsplit(origin).netloc == headers.get("host")


def _too_long() -> Problem:
    return Problem(
        HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
        f"more than {LARGEST_BYTES // 1_000_000} MB; send less at once",
        headers={"Connection": "close"},
    )
