"""GET /health: whether this process serves; GET /health/rounds: whether rounds are in time.

The status code tells: 200 or 503. The first is for what sends requests to one of several processes,
the second for what watches over all of them: rounds that are late are no fault of who serves pages.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from http import HTTPStatus

from anyio import fail_after, to_thread
from fastapi import APIRouter
from pydantic import BaseModel
from sqlalchemy import Engine
from sqlalchemy.exc import SQLAlchemyError

from service.store.engine import reading
from service.store.rounds import fetch_last_round_at
from service.watching.checkup import LATE_ROUND
from service.web.access import anyone
from service.web.problems import Problem, describe_refusals

PATIENCE_S = 5
"""A store that takes longer to answer does not."""


class Health(BaseModel):
    """That the store answers, and the age of the last good round."""

    status: str
    last_round_at: datetime | None
    last_round_age_s: float | None


def health_routes(engine: Engine) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(dependencies=[anyone])

    async def health() -> Health:
        """Say that the store answers, and when the last good round was."""
        return await _ask(partial(_find_health, engine))

    async def rounds() -> Health:
        """Say when the last good round was: it is late after 26 hours."""
        found = await _ask(partial(_find_health, engine))
        if found.last_round_age_s is None:
            raise _unwell("there has been no round")
        if found.last_round_age_s > LATE_ROUND.total_seconds():
            raise _unwell(f"the last round was at {found.last_round_at:%Y-%m-%d %H:%M} UTC")
        return found

    for path, answer, meaning in (
        ("/health", health, "the store does not answer"),
        ("/health/rounds", rounds, "the last round is late, or the store does not answer"),
    ):
        refusals = describe_refusals(SERVICE_UNAVAILABLE=meaning)
        routes.add_api_route(path, answer, methods=["GET"], responses=refusals)
        routes.add_api_route(path, answer, methods=["HEAD"], include_in_schema=False)
    return routes


def _find_health(engine: Engine) -> Health:
    with reading(engine) as connection:
        last = fetch_last_round_at(connection)
    age_s = (datetime.now(UTC) - last).total_seconds() if last else None
    return Health(status="ok", last_round_at=last, last_round_age_s=age_s)


async def _ask(function: Callable[[], Health]) -> Health:
    try:
        with fail_after(PATIENCE_S):
            return await to_thread.run_sync(function, abandon_on_cancel=True)
    except (SQLAlchemyError, TimeoutError):
        raise _unwell("the store does not answer") from None


def _unwell(why: str) -> Problem:
    return Problem(HTTPStatus.SERVICE_UNAVAILABLE, why)
