"""GET /api/order: in which order to go to blocks, and what to clean in between."""

from __future__ import annotations

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import Field
from sqlalchemy import Engine

from alerts.dig.order import Cleaning, Visit
from alerts.dig.status import Standing
from alerts.dig.status_words import tell_status
from service.dig.order import read_place
from service.store.engine import reading
from service.web.access import Known
from service.web.api.forms import Record
from service.web.api.parts import LISTED, Part
from service.web.pages import choose_language
from service.web.problems import Problem
from service.web.visits import find_visits


class VisitRecord(Record):
    """A block in its place in the order, which carries the insect least; what stands in it is no
    word that a block has none.
    """

    place: Annotated[int, Field(description="from 1")]
    block: Annotated[str, Field(description="its id")]
    site: Annotated[str, Field(description="its id")]
    way_km: Annotated[
        float | None,
        Field(description="from the block before, or where you begin; null: you begin here [km]"),
    ]
    cleaning: Annotated[Cleaning, Field(description="of boots, tools and machines, before it")]
    standing: Annotated[Standing, Field(description="what digging showed so far")]
    confidence_percent: Annotated[
        int | None,
        Field(description="that fewer than 5 % of its vines are infested, by vines drawn by lot"),
    ]
    text: Annotated[str, Field(description="the same in your language")]


def order_routes(engine: Engine) -> APIRouter:
    """Return the route."""
    routes = APIRouter(prefix="/api", tags=["digging"])

    @routes.get("/order", response_model=list[VisitRecord], responses=LISTED)
    def list_visits(
        request: Request,
        who: Known,
        part: Part,
        begin: Annotated[
            str | None,
            Query(alias="from", max_length=60, description="latitude,longitude to begin at"),
        ] = None,
    ) -> Response:
        """Return the blocks in their order; those alone of which you may know what was found."""
        start = read_place(begin) if begin else None
        if begin and start is None:
            said = f"from: '{begin}' is no place; write latitude,longitude in degrees: 45.1,0.05"
            raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, said)
        language, after = choose_language(request), part.find_number() or 0
        with reading(engine) as connection:
            _, _, visits = find_visits(connection, who, start)
        found = [_tell(place, one, language) for place, one in enumerate(visits, 1)][after:]
        records, next_key = part.cut(found, lambda one: one.place)
        return part.answer(records, VisitRecord, next_key)

    return routes


def _tell(place: int, visit: Visit, language: str) -> VisitRecord:
    stop = visit.stop
    return VisitRecord(
        place=place,
        block=stop.block_id,
        site=stop.site_id,
        way_km=visit.way_km,
        cleaning=visit.cleaning,
        standing=stop.status.standing,
        confidence_percent=stop.status.percent,
        text=tell_status(stop.status, language),
    )
