"""POST /api/readings: a logger pushes its readings."""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse
from pydantic import BaseModel
from sqlalchemy import Engine

from service.intake.json_bodies import BodyError, describe_body
from service.intake.known import WithdrawnError
from service.intake.pushes import READERS, Body, PushedReading, keep_push
from service.intake.reports import COUNTS, ImportReport
from service.store.engine import writing
from service.store.tokens import PushToken, mark_used
from service.web.access import by_secret
from service.web.api.description import LOGGER
from service.web.bearer import Door
from service.web.problems import Problem, describe_refusals
from service.web.writing import run_writing

BODY = {
    "application/json": {
        "schema": describe_body(PushedReading),
        "example": {
            "readings": [
                {"observed_at": "2025-10-02T07:30:00+10:00", "depth_cm": 30, "soil_temp_c": 16.4}
            ]
        },
    },
    "text/csv": {
        "schema": {"type": "string"},
        "example": "observed_at,depth_cm,soil_temp_c\n2025-10-02T07:30:00Z,30,16.4\n",
    },
}
SENDING = {
    "UNAUTHORIZED": "no valid token",
    "REQUEST_ENTITY_TOO_LARGE": "too many bytes at once",
    "UNSUPPORTED_MEDIA_TYPE": "another kind of body",
    "UNPROCESSABLE_ENTITY": "the body as a whole is not of this form: nothing was taken",
    "TOO_MANY_REQUESTS": "this token comes too often; Retry-After says when it may again",
}


class RejectedReading(BaseModel):
    """A reading that was not taken: which, the first being 0; why; as it was sent."""

    index: int
    reason: str
    text: str


class PushAnswer(BaseModel):
    """How many readings were new, there already, against another value, rejected or missing."""

    inserted: int
    identical: int
    conflicting: int
    rejected: int
    missing: int
    rejects: list[RejectedReading]
    signs: list[str]


def pushes_routes(engine: Engine, door: Door) -> APIRouter:
    """Return the route of pushes."""
    routes = APIRouter(dependencies=[by_secret])

    @routes.post(
        "/api/readings",
        openapi_extra={
            "requestBody": {"required": True, "content": BODY},
            "security": [{LOGGER: []}],
        },
        response_class=JSONResponse,
        response_description="all readings are in",
        response_model=PushAnswer,
        responses={
            207: {"model": PushAnswer, "description": "some were rejected, the rest is in"},
            **describe_refusals(**SENDING, CONFLICT="the same body was withdrawn"),
        },
    )
    async def push(request: Request) -> JSONResponse:
        """Take readings, each once and each on its own."""
        token = await door.admit(request)
        read = READERS.get(media_type(request))
        if read is None or request.headers.get("content-encoding", "identity") != "identity":
            raise Problem(
                HTTPStatus.UNSUPPORTED_MEDIA_TYPE,
                f"send {' or '.join(READERS)}, not compressed",
                headers={"Accept": ", ".join(READERS)},
            )
        body = await door.read_body(request)

        def keep() -> ImportReport:
            try:
                return _keep(engine, token, body, read(body))
            except BodyError as error:
                raise Problem(
                    HTTPStatus.UNPROCESSABLE_ENTITY, "nothing was taken", error.lines
                ) from None
            except WithdrawnError as error:
                raise Problem(HTTPStatus.CONFLICT, f"nothing was taken: {error}") from None

        return answer_report(await run_writing(keep))

    return routes


def _keep(engine: Engine, token: PushToken, body: bytes, content: Body) -> ImportReport:
    now = datetime.now(UTC)
    with writing(engine) as connection:
        report = keep_push(connection, token.logger_id, body, content, now)
        mark_used(connection, token.id, now)
    return report


def media_type(request: Request) -> str:
    """Return the media type that a request says its body has, without parameters."""
    return request.headers.get("content-type", "").partition(";")[0].strip().lower()


def answer_report(report: ImportReport) -> JSONResponse:
    """Return what became of each reading, the first being of index 0."""
    rejects = [
        RejectedReading(index=(one.line or 1) - 1, reason=one.reason, text=one.text)
        for one in report.rejects
    ]
    answer = PushAnswer(
        **{count: getattr(report, count) for count in COUNTS},
        rejects=rejects,
        signs=list(report.signs),
    )
    status = HTTPStatus.MULTI_STATUS if rejects else HTTPStatus.OK
    return JSONResponse(answer.model_dump(), status)
