"""POST /api/bounces: a mail server brings a mail that came back, signed."""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus

from fastapi import APIRouter, Request
from pydantic import BaseModel
from sqlalchemy import Engine

from service.bounces.taking_in import BounceReport, take_in_letter
from service.settings import Settings
from service.web.access import by_secret
from service.web.api.pushes import media_type
from service.web.bearer import Door
from service.web.problems import Problem
from service.web.signed import PARAMETER, REFUSALS, read_signed
from service.web.writing import run_writing


class BounceAnswer(BaseModel):
    """Of how many of our mails it says that they failed, are late, or are none of ours."""

    failed: int
    late: int
    unknown: int


def bounces_routes(engine: Engine, settings: Settings, door: Door) -> APIRouter:
    """Return the route of mails that come back."""
    routes = APIRouter(dependencies=[by_secret])

    @routes.post(
        "/api/bounces",
        openapi_extra={
            "requestBody": {
                "required": True,
                "content": {"message/rfc822": {"schema": {"type": "string"}}},
            },
            "parameters": [PARAMETER],
        },
        response_model=BounceAnswer,
        responses=REFUSALS,
    )
    async def post(request: Request) -> BounceAnswer:
        """Take a delivery report [RFC-3464], the whole mail as it came."""
        secret = settings.bounces_secret
        body = await read_signed(request, door, secret, "DIGSEASON_BOUNCES_SECRET")
        if media_type(request) != "message/rfc822":
            raise Problem(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "send message/rfc822")
        return await run_writing(take, body)

    def take(body: bytes) -> BounceAnswer:
        taken = BounceReport()
        if not take_in_letter(engine, body, datetime.now(UTC), taken):
            raise Problem(
                HTTPStatus.UNPROCESSABLE_ENTITY,
                "this is no delivery report (multipart/report with message/delivery-status); "
                "let someone read it",
            )
        return BounceAnswer(failed=len(taken.failed), late=len(taken.late), unknown=taken.unknown)

    return routes
