"""POST /api/texts: the gateway brings a text that came from a phone, signed."""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus

from fastapi import APIRouter, Request
from pydantic import BaseModel, Field, ValidationError
from sqlalchemy import Engine

from alerts.addresses import PHONE
from service.intake.json_bodies import Strict
from service.intake.texts import take_text
from service.settings import Settings
from service.store.engine import writing
from service.web.access import by_secret
from service.web.bearer import Door
from service.web.problems import Problem
from service.web.signed import PARAMETER, REFUSALS, read_signed
from service.web.writing import run_writing


class IncomingText(Strict):
    """A text: the gateway's own number of it, the phone it came from, what it says."""

    id: str = Field(min_length=1, max_length=200)
    phone: str = Field(alias="from", pattern=PHONE)
    text: str = Field(max_length=2000)


class TextAnswer(BaseModel):
    """What is answered, by a text of its own; null: nothing is."""

    answer: str | None


def texts_routes(engine: Engine, settings: Settings, door: Door) -> APIRouter:
    """Return the route of texts that come."""
    routes = APIRouter(dependencies=[by_secret])
    example = {"id": "7f3a", "from": "+61491570156", "text": "STOP"}
    content = {"schema": IncomingText.model_json_schema(), "example": example}

    @routes.post(
        "/api/texts",
        openapi_extra={
            "requestBody": {"required": True, "content": {"application/json": content}},
            "parameters": [PARAMETER],
        },
        response_model=TextAnswer,
        responses=REFUSALS,
    )
    async def post(request: Request) -> TextAnswer:
        """Take a text: STOP, START, a code, or a reading by hand; the same id once."""
        secret = settings.texts_secret
        body = await read_signed(request, door, secret, "DIGSEASON_TEXTS_SECRET")
        try:
            one = IncomingText.model_validate_json(body)
        except ValidationError as error:
            lines = [f"{'.'.join(map(str, e['loc']))}: {e['msg']}" for e in error.errors()]
            raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, "nothing was taken", lines) from None
        return await run_writing(take, one)

    def take(one: IncomingText) -> TextAnswer:
        with writing(engine) as connection:
            now = datetime.now(UTC)
            taken = take_text(connection, one.id, one.phone, one.text, settings, now)
            return TextAnswer(answer=taken.answer)

    return routes
