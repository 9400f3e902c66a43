"""Who may send readings: a token, at a bounded rate, with a body of bounded size."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime
from http import HTTPStatus
from math import ceil
from threading import Lock

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from sqlalchemy import Engine

from service.settings import Settings
from service.store.engine import reading
from service.store.tokens import PushToken, find_push_token
from service.web.problems import Problem


class RateLimit:
    """How often each token may come: a burst of a minute's worth, then evenly.

    Kept in this process: several processes beside each other allow as many times as much.
    """

    def __init__(self, per_min: int, clock: Callable[[], float] = time.monotonic) -> None:
        self._per_min, self._clock, self._lock = per_min, clock, Lock()
        self._left: dict[int, tuple[float, float]] = {}

    def wait_s(self, token_id: int) -> float:
        """Take one off what a token may; return how long it has to wait first, 0 if not at all."""
        with self._lock:
            now = self._clock()
            left, at = self._left.get(token_id, (float(self._per_min), now))
            left = min(self._per_min, left + (now - at) * self._per_min / 60)
            taken = left >= 1
            self._left[token_id] = (left - taken, now)
        return 0.0 if taken else (1 - left) * 60 / self._per_min


class Door:
    """What every request that brings readings goes through."""

    def __init__(self, engine: Engine, settings: Settings) -> None:
        self._engine, self._max_bytes = engine, settings.push_max_bytes
        self._rate = RateLimit(settings.push_per_min)

    async def admit(self, request: Request) -> PushToken:
        """Return the token of a request's Authorization header, or refuse it."""
        scheme, _, secret = request.headers.get("authorization", "").partition(" ")
        return await self.admit_secret(secret if scheme.lower() == "bearer" else "")

    async def admit_secret(self, secret: str) -> PushToken:
        """Return the token of a secret, or refuse it."""
        token = await run_in_threadpool(self._find, secret.strip())
        if token is None:
            raise Problem(
                HTTPStatus.UNAUTHORIZED,
                "send a valid token, as Authorization: Bearer TOKEN",
                headers={"WWW-Authenticate": "Bearer"},
            )
        wait_s = self._rate.wait_s(token.id)
        if wait_s:
            raise Problem(
                HTTPStatus.TOO_MANY_REQUESTS,
                "too many requests with this token; send more readings in each",
                headers={"Retry-After": f"{ceil(wait_s)}"},
            )
        return token

    def _find(self, secret: str) -> PushToken | None:
        with reading(self._engine) as connection:
            return find_push_token(connection, secret, datetime.now(UTC))

    async def read_body(self, request: Request) -> bytes:
        """Return the body of a request, or refuse it as soon as it is too long."""
        body = bytearray()
        async for chunk in request.stream():
            body += chunk
            if len(body) > self._max_bytes:
                raise Problem(
                    HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
                    f"more than {self._max_bytes:,} bytes; send fewer readings at once",
                    headers={"Connection": "close"},
                )
        return bytes(body)
