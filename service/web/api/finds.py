"""POST and GET /api/finds: what digging at vines showed."""

from __future__ import annotations

from datetime import UTC, date, datetime
from http import HTTPStatus
from typing import Annotated
from uuid import UUID

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import Engine

from alerts.dig.record_words import advise
from alerts.dig.records import Insects, Outcome, Roots, Specimen, Swellings
from alerts.dig.written import DEEPEST_CM, MOST_VINES, WrittenError, read_written
from service.dig.status import find_told
from service.finds.keeping import OthersRecordError, check_id, keep_find
from service.finds.photos import FORMS, PhotoError
from service.finds.showing import show_find
from service.store.dig_photos import fetch_photo_ids
from service.store.dig_records import Kept, fetch_dig_records
from service.store.engine import reading, writing
from service.web.access import Owner, Planner, Visitor
from service.web.api.forms import Record
from service.web.api.parts import DONE, LISTED, Part, read_file
from service.web.own_finds import add_photos, take_back_find
from service.web.pages import choose_language
from service.web.problems import Problem, describe_refusals
from service.web.writing import run_writing

MOST_AT_ONCE = 1000

PHOTO = {media: {"schema": {"type": "string", "format": "binary"}} for media in FORMS.values()}
RecordId = Annotated[str, Path(description="record_id of a find")]
Number = Annotated[int, Field(ge=1, le=MOST_VINES)]
Depth = Annotated[float | None, Field(ge=0, le=DEEPEST_CM, description="how deep was dug [cm]")]
DeadRoots = Annotated[bool, Field(description="dead roots were in the hole too")]
ByLot = Annotated[bool, Field(description="the vine was drawn by lot over its block")]
Mark = Annotated[str, Field(max_length=100, description="what was left on the vine")]
Latitude = Annotated[float | None, Field(ge=-90, le=90)]
Longitude = Annotated[float | None, Field(ge=-180, le=180)]


class WrittenFind(BaseModel):
    """What digging at one vine showed; without an id one is made of block, vine, day and person."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)

    record_id: UUID | None = None
    block: Annotated[str, Field(min_length=1, description="its id")]
    row: Number
    vine: Number
    dug_on: date
    person: Annotated[str, Field(min_length=1, max_length=100)]
    depth_cm: Depth = None
    roots: Roots
    dead_roots: DeadRoots = False
    swellings: Swellings
    insects: Insects
    specimen: Specimen = Specimen.NOT_TAKEN
    by_lot: ByLot = False
    mark: Mark = ""
    note: Annotated[str, Field(max_length=300)] = ""
    latitude: Latitude = None
    longitude: Longitude = None

    def write(self) -> dict[str, str]:
        """Return it cell by cell."""
        return {
            name: ("yes" if value else "no") if isinstance(value, bool) else f"{value}"
            for name, value in self
            if value is not None
        }


class WrittenFinds(BaseModel):
    """Finds, each on its own."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    finds: Annotated[list[WrittenFind], Field(min_length=1, max_length=MOST_AT_ONCE)]


class KeptFind(BaseModel):
    """A find that was kept: which, the first being 0, and what became of it."""

    index: int
    record_id: str
    kept: Kept
    outcome: Outcome
    advice: Annotated[list[str], Field(description="what follows from it, in your language")]


class RefusedFind(BaseModel):
    """A find that was not kept, and why."""

    index: int
    reason: str


class FindsAnswer(BaseModel):
    """What became of each find."""

    kept: list[KeptFind]
    refused: list[RefusedFind]


class FindRecord(Record):
    """What digging at one vine showed, and what it comes to."""

    record_id: str
    block: Annotated[str, Field(description="its id")]
    row: int
    vine: int
    dug_on: date
    person: str
    depth_cm: Depth
    roots: Roots
    dead_roots: DeadRoots
    swellings: Swellings
    insects: Insects
    specimen: Specimen
    by_lot: ByLot
    mark: Mark
    note: str
    latitude: Latitude
    longitude: Longitude
    outcome: Outcome
    photos: Annotated[int, Field(description="how many are kept with it")]
    photo_numbers: Annotated[list[int], Field(description="of /api/finds/photos/NUMBER")]


def finds_routes(engine: Engine) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["finds"])

    @routes.post(
        "/finds",
        response_model=FindsAnswer,
        response_description="all finds are kept",
        responses={
            207: {"model": FindsAnswer, "description": "some were refused, the rest is kept"},
            **describe_refusals(REQUEST_ENTITY_TOO_LARGE="more bytes than are taken at once"),
            **DONE,
        },
    )
    async def keep(request: Request, body: WrittenFinds, who: Owner) -> JSONResponse:
        """Keep finds in blocks of yours; the same sent again is kept once, another one corrects."""
        answer = await run_writing(_keep, body, who, choose_language(request))
        status = HTTPStatus.MULTI_STATUS if answer.refused else HTTPStatus.OK
        return JSONResponse(answer.model_dump(mode="json"), status)

    @routes.get("/finds", response_model=list[FindRecord], responses=LISTED)
    def list_finds(
        who: Planner,
        part: Part,
        block: Annotated[str | None, Query(description="of one block")] = None,
        season: Annotated[
            int | None, Query(ge=1950, le=2200, description="of one season, by its first year")
        ] = None,
    ) -> Response:
        """Return what was found, by id: in blocks of yours, or whose growers let you see it."""
        after = part.find_start(str)
        with reading(engine) as connection:
            told = find_told(connection, who.account, who.reach)
            wanted = told if block is None else told & {block}
            records = fetch_dig_records(connection, wanted, season)
            ordered = sorted(records, key=lambda one: one.record_id)
            found = [one for one in ordered if after is None or one.record_id > after]
            finds, next_key = part.cut(found, lambda one: one.record_id)
            photos = fetch_photo_ids(connection, [one.record_id for one in finds])
        shown = [
            FindRecord.model_validate({**show_find(one, len(numbers)), "photo_numbers": numbers})
            for one in finds
            for numbers in [photos.get(one.record_id, [])]
        ]
        return part.answer(shown, FindRecord, next_key)

    @routes.post("/finds/{record_id}/withdraw", status_code=204, responses=DONE)
    async def withdraw(record_id: RecordId, who: Owner) -> None:
        """Let a find count no more."""

        def take_back() -> None:
            with writing(engine) as connection:
                take_back_find(connection, record_id, who, datetime.now(UTC))

        await run_writing(take_back)

    @routes.post(
        "/finds/{record_id}/photos",
        openapi_extra={"requestBody": {"required": True, "content": PHOTO}},
        status_code=204,
        responses={
            **DONE,
            **describe_refusals(
                CONFLICT="the find was taken back",
                REQUEST_ENTITY_TOO_LARGE="too many bytes",
                UNSUPPORTED_MEDIA_TYPE="no photo",
            ),
        },
    )
    async def add_photo(request: Request, record_id: RecordId, who: Owner) -> None:
        """Keep a photo with a find; the same sent again is kept once."""
        content = await read_file(request, PHOTO)

        def keep_photo() -> None:
            try:
                add_photos(engine, record_id, [content], who, datetime.now(UTC))
            except PhotoError as error:
                said = f"this is no photo that is taken: {error}"
                raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, said) from None

        await run_writing(keep_photo)

    def _keep(body: WrittenFinds, who: Visitor, language: str) -> FindsAnswer:
        now, answer = datetime.now(UTC), FindsAnswer(kept=[], refused=[])
        with writing(engine) as connection:
            for index, one in enumerate(body.finds):
                try:
                    record = read_written(one.write(), who.reach.block_ids, now.date())
                    check_id(connection, record, who.reach.block_ids)
                except (WrittenError, OthersRecordError) as error:
                    answer.refused.append(RefusedFind(index=index, reason=str(error)))
                    continue
                kept = keep_find(connection, record, who.account.email, now)
                answer.kept.append(
                    KeptFind(
                        index=index,
                        record_id=record.record_id,
                        kept=kept,
                        outcome=record.outcome,
                        advice=advise(record.outcome, language),
                    )
                )
        return answer

    return routes
