"""/blocks/ID/chart.svg: the chart of a block, of its last months or of one season."""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from sqlalchemy import Engine

from service.drawing import find_or_draw
from service.settings import Settings
from service.store.block_pictures import LAST_MONTHS, PictureForm
from service.store.blocks import fetch_blocks
from service.store.engine import reading
from service.web.access import Known
from service.web.pages import answer_while_it_holds, choose_language
from service.web.problems import Problem
from service.web.writing import run_writing

Season = Annotated[int, Query(ge=0, le=2200)]
"""Of which a chart is; 0: the last months."""


def chart_page_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the route of the picture."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/blocks/{block_id}/chart.svg")
    async def show(
        request: Request, block_id: str, who: Known, season: Season = LAST_MONTHS
    ) -> Response:
        """Show the chart in the language and unit of the visitor."""
        form = PictureForm(block_id, season, choose_language(request), who.account.unit)
        if block_id not in who.reach.block_ids:
            raise Problem(HTTPStatus.NOT_FOUND, "no block of yours has this id")
        picture = await run_writing(_find, form)
        return answer_while_it_holds(request, Response(picture, media_type="image/svg+xml"))

    def _find(form: PictureForm) -> bytes:
        with reading(engine) as connection:
            (block,) = fetch_blocks(connection, [form.block_id])
        return find_or_draw(engine, settings, block, form, datetime.now(UTC)).svg

    return routes
