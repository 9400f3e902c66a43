"""/blocks/ID/chart.svg: the chart of a block, of its last months or of one season; and chart.json,
from which a browser draws one to point at.
"""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import JSONResponse, Response
from pydantic import AfterValidator
from sqlalchemy import Engine

from service.charts.kept import find_kept, find_or_draw, make_chart
from service.charts.pointed import embed
from service.settings import Settings
from service.store.block_pictures import LAST_MONTHS, KeptPicture, PictureForm
from service.store.blocks import fetch_blocks
from service.store.engine import reading
from service.web.access import Known
from service.web.pages import answer_while_it_holds, choose_language
from service.web.problems import Problem
from service.web.writing import run_looking

EARLIEST = 1900


def _check_season(season: int) -> int:
    if season != LAST_MONTHS and season < EARLIEST:
        raise ValueError(f"write {LAST_MONTHS} for the last months, or a year from {EARLIEST} on")
    return season


Season = Annotated[int, Query(ge=0, le=2200), AfterValidator(_check_season)]
"""Of which a chart is; 0: the last months."""


def _check_reach(block_id: str, who: Known) -> None:
    """Refuse a block that the visitor may not see."""
    if block_id not in who.reach.block_ids:
        raise Problem(HTTPStatus.NOT_FOUND, "no block of yours has this id")


def chart_page_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes of the picture, and of what a browser draws itself."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/blocks/{block_id}/chart.svg")
    async def show(
        request: Request, block_id: str, who: Known, season: Season = LAST_MONTHS
    ) -> Response:
        """Show the chart in the language and unit of the visitor."""
        form = PictureForm(block_id, season, choose_language(request), who.account.unit)
        _check_reach(block_id, who)
        now = datetime.now(UTC)
        picture = await run_in_threadpool(_find, form, now) or await run_looking(
            find_or_draw, engine, settings, form, now
        )
        return answer_while_it_holds(request, Response(picture.svg, media_type="image/svg+xml"))

    @routes.get("/blocks/{block_id}/chart.json")
    def show_pointed(
        request: Request,
        block_id: str,
        who: Known,
        season: Season = LAST_MONTHS,
        night: bool = False,
    ) -> Response:
        """Give the same as a specification, which says of each day what it was."""
        _check_reach(block_id, who)
        with reading(engine) as connection:
            (block,) = fetch_blocks(connection, [block_id])
            chart = make_chart(connection, settings, block, season, datetime.now(UTC))
        pointed = embed(chart, choose_language(request), who.account.unit, night)
        return answer_while_it_holds(request, JSONResponse(pointed))

    def _find(form: PictureForm, now: datetime) -> KeptPicture | None:
        with reading(engine) as connection:
            return find_kept(connection, form, now)

    return routes
