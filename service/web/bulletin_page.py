"""/bulletin: the sheet for the notice board, to be printed."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import partial
from http import HTTPStatus

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy import Engine

from service.bulletins import write_blocks
from service.evaluation import as_of_day, evaluate_blocks
from service.settings import Settings
from service.store.engine import reading
from service.web.access import Known
from service.web.pages import answer_while_it_holds, choose_language
from service.web.problems import Problem
from service.web.seen_blocks import find_blocks, unname_expected

POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
"""Its style stands within it, so that it may be saved and sent as one file."""


def bulletin_page_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the route of the sheet."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/bulletin")
    def show(request: Request, who: Known, district: str = "") -> Response:
        """Show the sheet of the visitor's blocks, or of those in a district."""
        language, now = choose_language(request), datetime.now(UTC)
        with reading(engine) as connection:
            every = find_blocks(connection, who.reach)
            chosen = [one for one in every if district in ("", one.district_id)]
            if not chosen:
                raise Problem(HTTPStatus.NOT_FOUND, "no block of yours is there")
            days = [as_of_day(one, now) for one in chosen]
            found = evaluate_blocks(connection, chosen, days, 1, settings.sensor_accuracy_c)
            names = {one.name for one in every}
            adapt = partial(unname_expected, names=names, language=language)
            text = write_blocks(connection, found, language, who.account.unit, adapt)
        sheet = HTMLResponse(text, headers={"Content-Security-Policy": POLICY})
        return answer_while_it_holds(request, sheet)

    return routes
