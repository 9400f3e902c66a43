"""/blocks/ID/vigour/N/drop: what was measured of a block, taken away by who speaks for it."""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus

from fastapi import APIRouter
from fastapi.responses import Response
from sqlalchemy import Engine

from service.store.engine import writing
from service.store.vigour import drop_survey, fetch_surveys
from service.web.access import Owner
from service.web.pages import redirect
from service.web.problems import Problem


def surveys_page_routes(engine: Engine) -> APIRouter:
    """Return the route."""
    routes = APIRouter(include_in_schema=False)

    @routes.post("/blocks/{block_id}/vigour/{number}/drop")
    def drop(block_id: str, number: int, who: Owner) -> Response:
        """Take a survey away: of another block, or wrong."""
        with writing(engine) as connection:
            kept = fetch_surveys(connection, block_id) if block_id in who.reach.block_ids else []
            (survey,) = [one for one in kept if one.id == number] or (None,)
            if survey is None:
                raise Problem(HTTPStatus.NOT_FOUND, "there is no such survey of vigour")
            drop_survey(connection, survey)
            about = f"{block_id}, {survey.measure} of {survey.measured_on}, {survey.file}"
            who.note(connection, "took vigour away", about, datetime.now(UTC))
        return redirect(f"/blocks/{block_id}/patches")

    return routes
