"""/api/advisories: what a region is told, drafted, noted, released or dropped."""

from __future__ import annotations

from datetime import UTC, date, datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, BackgroundTasks, Path, Query, Request
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import Engine

from alerts.gsm import count_parts
from service.advisories.releasing import compose_released, find_cost
from service.settings import Settings
from service.store.advisories import KeptAdvisory, State
from service.store.engine import reading
from service.store.outbox import End
from service.web.access import Coordinator, Visitor
from service.web.advising import (
    ALSO_FOR_OTHERS,
    LONGEST_NOTE,
    Decision,
    UndecidedError,
    decide_on,
    decides,
    draft_one,
    find_advisory,
    find_readable,
    find_told,
    foresee_release,
    read_as,
    write_text,
)
from service.web.advisory_words import tell_differences
from service.web.api.account import Language
from service.web.api.forms import Record
from service.web.api.imports import Line
from service.web.api.parts import DONE, LISTED, ONE, Number, Part, answer_one
from service.web.pages import choose_language
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


class NoteRecord(BaseModel):
    """A word that was put on top of it; an empty one took the last away."""

    language: Annotated[str | None, Field(description="null: of each without its own")]
    text: str
    person: str
    noted_at: Annotated[datetime, Field(description="[UTC]")]


class ShownAdvisory(AdvisoryRecord):
    """The same, its notes with who put them, and as the text that a member gets."""

    noted: list[NoteRecord]
    language: Annotated[str, Field(description="of the text")]
    sms: str
    parts: Annotated[int, Field(description="that the text counts as")]


class LeftOut(BaseModel):
    """A member to whom it goes nowhere."""

    member: Annotated[str, Field(description="their name")]
    why: str


class ReleaseRecord(Record):
    """What releasing it now would come to."""

    members: Annotated[int, Field(description="to whom it goes")]
    mails: int
    texts: int
    parts: Annotated[
        int, Field(description="of texts that leave for a phone; none where they are files")
    ]
    without_note: Annotated[int, Field(description="texts that have no room for the note")]
    cost: Annotated[
        float | None, Field(description="of the texts, about; null: no price is set", ge=0)
    ]
    currency: str | None
    left_out: list[LeftOut]
    changes: Annotated[
        list[str],
        Field(description="districts that stand otherwise than it says, in your language"),
    ]


class MemberRecord(Record):
    """A message to a member, or why there is none."""

    place: Annotated[int, Field(description="in the list, from 1")]
    member: Annotated[str, Field(description="their name")]
    channel: Annotated[str | None, Field(description="mail or sms; null: none is written yet")]
    address: str | None
    delivered_at: Annotated[datetime | None, Field(description="handed over [UTC]")]
    ended: Annotated[End | None, Field(description="how it is sent no more")]
    left_out: Annotated[str | None, Field(description="why it goes nowhere")]


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

    @routes.get("/advisories/{number}", response_model=ShownAdvisory, responses=ONE)
    def show(
        request: Request,
        number: AdvisoryNumber,
        who: Coordinator,
        language: Annotated[
            Language, Query(description="of the text: en or es; yours unless given")
        ] = None,
    ) -> Response:
        """Return one; /mail behind it shows it as a member reads it."""
        read_in = language or choose_language(request)
        with reading(engine) as connection:
            one = find_advisory(connection, number, who)
            text = write_text(one, read_as(connection, who, read_in))
        noted = [NoteRecord(**vars(note)) for note in one.notes]
        said = {"noted": noted, "language": read_in, "sms": text, "parts": count_parts(text)}
        return answer_one(request, ShownAdvisory(**vars(_tell(one)), **said))

    @routes.get(
        "/advisories/{number}/release",
        response_model=ReleaseRecord,
        responses={**ONE, **describe_refusals(CONFLICT="it does not wait for your word")},
    )
    async def foresee(request: Request, number: AdvisoryNumber, who: Coordinator) -> Response:
        """Return what releasing it now would come to: to how many it goes, and what that costs."""
        language = choose_language(request)
        return answer_one(request, await run_writing(find_run, who, number, language))

    @routes.get("/advisories/{number}/members", response_model=list[MemberRecord], responses=LISTED)
    def list_members(number: AdvisoryNumber, who: Coordinator, part: Part) -> Response:
        """Return for whom it was released, and what became of each message."""
        after = part.find_number() or 0
        with reading(engine) as connection:
            rows = find_told(connection, find_advisory(connection, number, who), who)
        if rows is None:
            raise Problem(HTTPStatus.FORBIDDEN, ALSO_FOR_OTHERS)
        every = [
            MemberRecord(
                place=place,
                member=row.recipient_name,
                channel=row.channel,
                address=row.address,
                delivered_at=row.delivered_at,
                ended=row.ended,
                left_out=row.left_out,
            )
            for place, row in enumerate(rows, 1)
        ]
        records, next_key = part.cut(every[after:], lambda one: one.place)
        return part.answer(records, MemberRecord, next_key)

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

    def find_run(who: Visitor, number: int, language: str) -> ReleaseRecord:
        with reading(engine) as connection:
            one = find_advisory(connection, number, who)
            if not decides(connection, one, who):
                said = "it does not wait for your word; read it to see how it stands"
                raise Problem(HTTPStatus.CONFLICT, said)
        run, figures = foresee_release(engine, settings, one, datetime.now(UTC))
        cost, currency = find_cost(run, settings) or (None, None)
        return ReleaseRecord(
            **{
                **vars(run),
                "left_out": [LeftOut(member=name, why=why) for name, why in run.left_out],
            },
            cost=None if cost is None else float(cost),
            currency=currency,
            changes=[*tell_differences(one.figures, figures, language)],
        )

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
