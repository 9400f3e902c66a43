"""GET /health: whether the store answers, and the age of the last good round."""

from __future__ import annotations

from datetime import UTC, datetime

from fastapi import APIRouter
from pydantic import BaseModel
from sqlalchemy import Engine

from service.store.engine import reading
from service.store.rounds import fetch_last_round_at
from service.web.access import anyone


class Health(BaseModel):
    """Whether the store answers, and the age of the last good round."""

    status: str
    last_round_at: datetime | None
    last_round_age_s: float | None


def health_routes(engine: Engine) -> APIRouter:
    """Return the route."""
    routes = APIRouter()

    @routes.get("/health", dependencies=[anyone])
    def health() -> Health:
        """Say whether the store answers and when the last good round was."""
        with reading(engine) as connection:
            last = fetch_last_round_at(connection)
        age_s = (datetime.now(UTC) - last).total_seconds() if last else None
        return Health(status="ok", last_round_at=last, last_round_age_s=age_s)

    return routes
