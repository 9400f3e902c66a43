"""/blocks/ID/vigour/N/drop: what was measured of a block, taken away by who speaks for it."""

from __future__ import annotations

from datetime import UTC, datetime

from fastapi import APIRouter
from fastapi.responses import Response
from sqlalchemy import Engine

from service.store.engine import writing
from service.web.access import Owner
from service.web.api.parts import Number
from service.web.own_patches import drop_measured
from service.web.pages import redirect


def surveys_page_routes(engine: Engine) -> APIRouter:
    """Return the route."""
    routes = APIRouter(include_in_schema=False)

    @routes.post("/blocks/{block_id}/vigour/{number}/drop")
    def drop(block_id: str, number: Number, who: Owner) -> Response:
        """Take a survey away: of another block, or wrong."""
        with writing(engine) as connection:
            drop_measured(connection, block_id, number, who, datetime.now(UTC))
        return redirect(f"/blocks/{block_id}/patches")

    return routes
