"""/api/advisories: what a region is told, drafted, noted, released or dropped."""

from __future__ import annotations

from datetime import UTC, date, datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, BackgroundTasks, Path, Request
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import Engine

from service.advisories.releasing import compose_released
from service.settings import Settings
from service.store.advisories import KeptAdvisory, State
from service.store.engine import reading
from service.web.access import Coordinator, Visitor
from service.web.advising import (
    LONGEST_NOTE,
    Decision,
    UndecidedError,
    decide_on,
    draft_one,
    find_advisory,
    find_readable,
)
from service.web.api.forms import Record
from service.web.api.imports import Line
from service.web.api.parts import DONE, LISTED, ONE, Number, Part, answer_one
from service.web.problems import Problem, describe_refusals
from service.web.writing import run_writing

AdvisoryNumber = Annotated[Number, Path(description="number of an advisory")]
Notes = Annotated[int, Field(ge=0, description="how many notes it had when you read it")]
WRONG = {
    "other": (HTTPStatus.CONFLICT, "it is no longer as you read it; read it again"),
    "changed": (
        HTTPStatus.CONFLICT,
        "how blocks stand has changed since it was drafted; draft another, or send as_drafted",
    ),
    "why": (HTTPStatus.UNPROCESSABLE_ENTITY, "why: say why it is dropped"),
}
DECIDED = {**DONE, **describe_refusals(CONFLICT="it is no longer as you read it")}


class AdvisoryRecord(Record):
    """An advisory: how blocks of a region stood on a day."""

    number: int
    as_of: Annotated[date, Field(description="the last day that counted")]
    state: State
    districts: Annotated[
        list[str] | None, Field(description="ids of those it is of; null: the whole region")
    ]
    blocks: int
    open: int
    opening: Annotated[int, Field(description="likely to open within two weeks")]
    drafted_at: Annotated[datetime, Field(description="[UTC]")]
    drafted_by: Annotated[str | None, Field(description="null: a round")]
    released_at: Annotated[datetime | None, Field(description="[UTC]")]
    released_by: str | None
    dropped_at: Annotated[datetime | None, Field(description="[UTC]")]
    dropped_by: str | None
    dropped_why: str | None
    notes: Annotated[list[str], Field(description="put on top of it, in their order")]


class Drafted(BaseModel):
    """The number of a draft."""

    number: int


class SaidNote(BaseModel):
    """A word on top of it; of one language, or of each without its own."""

    model_config = ConfigDict(extra="forbid")

    notes: Notes
    language: str | None = None
    text: Annotated[str, Field(max_length=LONGEST_NOTE)]


class SaidRelease(BaseModel):
    """That it goes out, though how blocks stand may have changed since."""

    model_config = ConfigDict(extra="forbid")

    notes: Notes
    as_drafted: bool = False


class SaidDrop(BaseModel):
    """Why it does not go out."""

    model_config = ConfigDict(extra="forbid")

    notes: Notes
    why: Line


def advisories_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["advisories"])

    @routes.get("/advisories", response_model=list[AdvisoryRecord], responses=LISTED)
    def list_advisories(who: Coordinator, part: Part) -> Response:
        """Return the advisories of your districts, the latest first."""
        before = part.find_number()
        with reading(engine) as connection:
            every = find_readable(connection, who)
        later = [one for one in every if before is None or one.id < before]
        later.sort(key=lambda one: -one.id)
        found, next_key = part.cut(later, lambda one: one.id)
        return part.answer([_tell(one) for one in found], AdvisoryRecord, next_key)

    @routes.get("/advisories/{number}", response_model=AdvisoryRecord, responses=ONE)
    def show(request: Request, number: AdvisoryNumber, who: Coordinator) -> Response:
        """Return one; /mail behind it shows it as a member reads it."""
        with reading(engine) as connection:
            return answer_one(request, _tell(find_advisory(connection, number, who)))

    @routes.post(
        "/advisories",
        response_model=Drafted,
        responses={**DONE, **describe_refusals(CONFLICT="there are no blocks yet")},
    )
    async def draft(who: Coordinator) -> Drafted:
        """Draft one now, instead of the one that waits."""
        number = await run_writing(draft_one, engine, settings, who, datetime.now(UTC))
        return Drafted(number=number)

    @routes.post("/advisories/{number}/note", status_code=204, responses=DECIDED)
    async def note(number: AdvisoryNumber, said: SaidNote, who: Coordinator) -> None:
        """Put a word on top of it, as long as it waits."""
        decision = Decision("note", said.notes, language=said.language, text=said.text)
        await run_writing(decide, who, number, decision, datetime.now(UTC))

    @routes.post("/advisories/{number}/release", status_code=204, responses=DECIDED)
    async def release(
        number: AdvisoryNumber, said: SaidRelease, who: Coordinator, after: BackgroundTasks
    ) -> None:
        """Let it go out, once."""
        now = datetime.now(UTC)
        decision = Decision("release", said.notes, as_drafted=said.as_drafted)
        await run_writing(decide, who, number, decision, now)
        after.add_task(compose_released, engine, settings, now)

    @routes.post("/advisories/{number}/drop", status_code=204, responses=DECIDED)
    async def drop(number: AdvisoryNumber, said: SaidDrop, who: Coordinator) -> None:
        """Let it not go out."""
        decision = Decision("drop", said.notes, why=said.why)
        await run_writing(decide, who, number, decision, datetime.now(UTC))

    def decide(who: Visitor, number: int, decision: Decision, now: datetime) -> None:
        try:
            decide_on(engine, settings, who, number, decision, now)
        except UndecidedError as error:
            raise Problem(*WRONG[error.wrong]) from None

    return routes


def _tell(one: KeptAdvisory) -> AdvisoryRecord:
    region = one.figures.region
    return AdvisoryRecord(
        number=one.id,
        as_of=one.as_of,
        state=one.state,
        districts=None if one.district_ids is None else sorted(one.district_ids),
        blocks=region.blocks,
        open=region.open,
        opening=region.opening,
        drafted_at=one.drafted_at,
        drafted_by=one.drafted_by,
        released_at=one.released_at,
        released_by=one.released_by,
        dropped_at=one.dropped_at,
        dropped_by=one.dropped_by,
        dropped_why=one.dropped_why,
        notes=[note.text for note in one.notes],
    )
