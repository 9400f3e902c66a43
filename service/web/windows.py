"""Health, and the windows as JSON."""

from __future__ import annotations

from datetime import UTC, date, datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import BaseModel
from sqlalchemy import Engine

from service.evaluation import as_of_day, evaluate_blocks
from service.settings import Settings
from service.showing import Record, window_records
from service.store.blocks import fetch_blocks
from service.store.engine import reading
from service.store.rounds import fetch_last_round_at
from service.web.access import REFUSALS, Known, anyone
from service.web.problems import Problem


class Health(BaseModel):
    """Whether the store answers, and the age of the last good round."""

    status: str
    last_round_at: datetime | None
    last_round_age_s: float | None


def windows_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes that read."""
    routes = APIRouter()

    @routes.get("/health", dependencies=[anyone])
    def health() -> Health:
        """Say whether the store answers and when the last good round was."""
        with reading(engine) as connection:
            last = fetch_last_round_at(connection)
        age_s = (datetime.now(UTC) - last).total_seconds() if last else None
        return Health(status="ok", last_round_at=last, last_round_age_s=age_s)

    @routes.get("/api/windows", responses=REFUSALS)
    def windows(
        who: Known,
        block: Annotated[str | None, Query(description="id of one block")] = None,
        as_of: Annotated[date | None, Query(description="last day that counts")] = None,
    ) -> list[Record]:
        """Return the scouting windows of the blocks that you see, or of one, over all seasons."""
        with reading(engine) as connection:
            found = fetch_blocks(connection, [block] if block else ())
            blocks = [one for one in found if one.id in who.reach.block_ids]
            if block and not blocks:
                raise Problem(HTTPStatus.NOT_FOUND, f"there is no block '{block}'")
            now = datetime.now(UTC)
            days = [as_of or as_of_day(one, now) for one in blocks]
            evaluations = evaluate_blocks(
                connection, blocks, days, None, settings.sensor_accuracy_c
            )
        return list(window_records(evaluations))

    return routes
