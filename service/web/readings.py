"""POST /api/readings: a logger pushes its readings."""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import JSONResponse
from sqlalchemy import Engine

from service.intake.known import WithdrawnError
from service.intake.pushes import READERS, Body, BodyError, keep_push
from service.intake.reports import COUNTS, ImportReport
from service.store.engine import writing
from service.store.tokens import Token, mark_used
from service.web.bearer import Door
from service.web.problems import Problem

EXAMPLE = {
    "application/json": {
        "example": {
            "readings": [
                {"observed_at": "2025-10-02T07:30:00+10:00", "depth_cm": 30, "soil_temp_c": 16.4}
            ]
        }
    },
    "text/csv": {"example": "observed_at,depth_cm,soil_temp_c\n2025-10-02T07:30:00Z,30,16.4\n"},
}


def readings_routes(engine: Engine, door: Door) -> APIRouter:
    """Return the route of pushes."""
    routes = APIRouter()

    @routes.post(
        "/api/readings",
        openapi_extra={"requestBody": {"required": True, "content": EXAMPLE}},
        response_class=JSONResponse,
    )
    async def push(request: Request) -> JSONResponse:
        """Take readings, each once: 200 when all of them are in, 207 when some were rejected."""
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

        return answer_report(await run_in_threadpool(keep))

    return routes


def _keep(engine: Engine, token: Token, body: bytes, content: Body) -> ImportReport:
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
        {"index": (reject.line or 1) - 1, "reason": reject.reason, "text": reject.text}
        for reject in report.rejects
    ]
    content: dict[str, Any] = {count: getattr(report, count) for count in COUNTS}
    status = HTTPStatus.MULTI_STATUS if rejects else HTTPStatus.OK
    return JSONResponse({**content, "rejects": rejects, "signs": report.signs}, status)
