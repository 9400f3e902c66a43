"""/api/blocks/ID/vigour: what was measured of a block, kept and taken away."""

from __future__ import annotations

from datetime import UTC, date, datetime
from http import HTTPStatus
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import Response
from pydantic import BaseModel, Field
from sqlalchemy import Engine

from alerts.dig.vigour import VigourError
from service.store.engine import reading, writing
from service.store.vigour import fetch_surveys
from service.web.access import REFUSALS, Owner, Planner, Visitor
from service.web.api.forms import Record
from service.web.api.parts import DONE, LISTED, Number, Part, read_file
from service.web.own_patches import Measured, drop_measured, keep_measured
from service.web.problems import Problem, describe_refusals
from service.web.seen_blocks import find_block
from service.web.writing import run_writing

BlockId = Annotated[str, Path(description="id of a block")]
FORMS: dict[str, Any] = {
    "text/csv": {
        "schema": {"type": "string"},
        "example": "row,vine,ndvi\n1,1,0.71\n1,2,0.69\n",
    },
    "image/tiff": {"schema": {"type": "string", "format": "binary"}},
}


class SurveyRecord(Record):
    """What was measured of a block on a day."""

    number: int
    measured_on: date
    measure: str
    file: Annotated[str, Field(description="its name")]


class RejectedLine(BaseModel):
    """A line that does not count, and why."""

    line: int | None
    reason: str


class VigourAnswer(BaseModel):
    """What was read of a file of vigour, and kept."""

    measure: str
    read: int
    missing: int
    rejects: list[RejectedLine]


def vigour_routes(engine: Engine) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["digging"])

    @routes.get("/blocks/{block_id}/vigour", response_model=list[SurveyRecord], responses=LISTED)
    def list_surveys(block_id: BlockId, who: Planner, part: Part) -> Response:
        """Return what was measured of a block, the latest first."""
        after = part.find_number() or 0
        with reading(engine) as connection:
            block = find_block(connection, who.reach, block_id)
            found = fetch_surveys(connection, block.id)[after:]
        surveys = [
            SurveyRecord(
                number=one.id, measured_on=one.measured_on, measure=one.measure, file=one.file
            )
            for one in found[: part.limit]
        ]
        next_key = after + part.limit if len(found) > part.limit else None
        return part.answer(surveys, SurveyRecord, next_key)

    @routes.post(
        "/blocks/{block_id}/vigour",
        openapi_extra={"requestBody": {"required": True, "content": FORMS}},
        response_model=VigourAnswer,
        responses={
            **DONE,
            **describe_refusals(
                CONFLICT="how the vines of the block stand is not known",
                REQUEST_ENTITY_TOO_LARGE="too many bytes",
                UNSUPPORTED_MEDIA_TYPE="neither CSV nor GeoTIFF",
            ),
        },
    )
    async def keep(
        request: Request,
        block_id: BlockId,
        who: Owner,
        measured_on: Annotated[date, Query(description="the day, up to today")],
        measure: Annotated[
            str, Query(max_length=100, description="its column or band, of several")
        ] = "",
        file: Annotated[str, Query(max_length=200, description="its name, to be kept")] = "",
    ) -> VigourAnswer:
        """Keep what was measured in a block: the vigour of its vines, as CSV or GeoTIFF."""
        measured = Measured(f"{measured_on}", measure, file, await read_file(request, FORMS))
        return await run_writing(_keep, block_id, measured, who)

    @routes.post("/blocks/{block_id}/vigour/{number}/drop", status_code=204, responses=REFUSALS)
    async def drop(
        block_id: BlockId,
        number: Annotated[Number, Path(description="as /vigour lists it")],
        who: Owner,
    ) -> None:
        """Take away what was measured: of another block, or wrong. It is gone for good."""

        def take_away() -> None:
            with writing(engine) as connection:
                drop_measured(connection, block_id, number, who, datetime.now(UTC))

        await run_writing(take_away)

    def _keep(block_id: str, measured: Measured, who: Visitor) -> VigourAnswer:
        try:
            read = keep_measured(engine, block_id, measured, who, datetime.now(UTC))
        except VigourError as error:
            said = "this file cannot be used; nothing of it was kept"
            raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, said, [f"{error}"]) from None
        if read is None:
            said = "the farm file does not say how the vines of this block stand; let it say so"
            raise Problem(HTTPStatus.CONFLICT, said)
        rejects = [RejectedLine(line=one.line, reason=one.reason) for one in read.rejects]
        return VigourAnswer(
            measure=read.measure, read=read.read, missing=read.missing, rejects=rejects
        )

    return routes
