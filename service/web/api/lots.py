"""GET /api/blocks/ID/lot: how many vines of a block to dig by lot, and which ones."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import Field
from sqlalchemy import Engine

from alerts.dig.records import Vine
from alerts.dig.status import Standing
from service.store.engine import reading
from service.web.access import Owner
from service.web.api.forms import Record
from service.web.api.parts import ONE, answer_one
from service.web.lots import AskedLot, find_draw
from service.web.seen_blocks import find_block

Share = Annotated[float | None, Field(description="from 0 to 1; null: nothing was dug by lot")]


class VineRecord(Record):
    """A vine by its row and its number in it."""

    row: int
    vine: int


class LotRecord(Record):
    """What vines dug by lot can show of a block; a find among them decides, none says never that
    there is none.
    """

    block: Annotated[str, Field(description="its id")]
    standing: Annotated[Standing, Field(description="what digging showed so far")]
    vines: Annotated[int | None, Field(description="of the block; null: not known")]
    places: Annotated[int, Field(description="vines of it that are known by row and number")]
    wanted: Annotated[
        int | None,
        Field(description="vines to dig with nothing dug so far; null: all would not do"),
    ]
    still: Annotated[int | None, Field(description="to dig this season; null as `wanted`")]
    dug: Annotated[int | None, Field(description="by lot this season")]
    confidence_before: Share
    confidence_now: Share
    seed: Annotated[int | None, Field(description="gives the same draw again; null: none made")]
    drawn: Annotated[list[VineRecord], Field(description="as one walks")]
    spare: Annotated[
        list[VineRecord], Field(description="in this order, for drawn vines that are not there")
    ]


def lots_routes(engine: Engine) -> APIRouter:
    """Return the route."""
    routes = APIRouter(prefix="/api", tags=["digging"])

    @routes.get("/blocks/{block_id}/lot", response_model=LotRecord, responses=ONE)
    def show_lot(
        request: Request, block_id: str, who: Owner, asked: Annotated[AskedLot, Query()]
    ) -> Response:
        """Return how many vines to dig by lot; with a seed, which ones."""
        with reading(engine) as connection:
            block = find_block(connection, who.reach, block_id)
            found, lot = find_draw(connection, block, asked)
        many = found.how_many
        record = LotRecord(
            block=block.id,
            standing=found.status.standing,
            vines=found.vines,
            places=len(found.places),
            wanted=many and many.wanted,
            still=many and many.still,
            dug=many and many.dug_now,
            confidence_before=many and many.at_start,
            confidence_now=many and many.now,
            seed=lot and lot.seed,
            drawn=_tell(lot.drawn) if lot else [],
            spare=_tell(lot.spare) if lot else [],
        )
        return answer_one(request, record)

    return routes


def _tell(vines: Iterable[Vine]) -> list[VineRecord]:
    return [VineRecord(row=row, vine=vine) for row, vine in vines]
