"""POST /api/hand-readings: readings by hand, as JSON."""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator
from sqlalchemy import Engine

from alerts.hand_words import Noted, refuse
from service.intake.hand import HandReport, Written, find_thermometer, keep_hand_readings
from service.intake.pushes import describe_faults
from service.store.engine import writing
from service.store.loggers import fetch_logger
from service.store.tokens import Token, mark_used
from service.web.bearer import Door
from service.web.problems import Problem
from service.web.readings import media_type

LONGEST_PERSON, LONGEST_NOTE, MOST_AT_ONCE = 100, 300, 1000
EXAMPLE = {
    "application/json": {
        "example": {
            "readings": [
                {
                    "observed_at": "2026-04-12 08:30",
                    "depth_cm": 30,
                    "soil_temp_f": 61.5,
                    "by": "Ada",
                }
            ]
        }
    }
}


class _Strict(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False, frozen=True)


class _Given(_Strict):
    """One reading; a time without offset is by the clock of the place."""

    observed_at: str
    depth_cm: float | None = None
    soil_temp_c: float | None = None
    soil_temp_f: float | None = None
    by: str = Field(default="", max_length=LONGEST_PERSON)
    note: str = Field(default="", max_length=LONGEST_NOTE)

    @model_validator(mode="after")
    def _check_choice(self) -> _Given:
        if (self.soil_temp_c is None) == (self.soil_temp_f is None):
            raise ValueError("give soil_temp_c or soil_temp_f, one of the two")
        return self

    def written(self) -> Written:
        temperature = (
            f"{self.soil_temp_c:.10g}C" if self.soil_temp_f is None else f"{self.soil_temp_f:.10g}F"
        )
        return Written(self.observed_at, self.depth_cm, temperature, self.by, self.note)


class _Body(_Strict):
    readings: list[_Given] = Field(min_length=1, max_length=MOST_AT_ONCE)


def hand_api_routes(engine: Engine, door: Door) -> APIRouter:
    """Return the route of readings by hand."""
    routes = APIRouter()

    @routes.post(
        "/api/hand-readings",
        openapi_extra={"requestBody": {"required": True, "content": EXAMPLE}},
        response_class=JSONResponse,
    )
    async def post(request: Request) -> JSONResponse:
        """Take readings by hand: 200 when all of them are noted, 207 when some were refused."""
        token = await door.admit(request)
        if media_type(request) != "application/json":
            raise Problem(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "send application/json")
        body = await door.read_body(request)
        try:
            given = _Body.model_validate_json(body).readings
        except ValidationError as error:
            lines = describe_faults(error)
            raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, "nothing was taken", lines) from None
        written = [one.written() for one in given]
        return _answer(await run_in_threadpool(_keep, engine, token, written))

    return routes


def _keep(engine: Engine, token: Token, written: list[Written]) -> HandReport:
    now = datetime.now(UTC)
    with writing(engine) as connection:
        if fetch_logger(connection, token.logger_id).by_hand is None:
            raise Problem(
                HTTPStatus.FORBIDDEN,
                "this token is of a logger; push its readings to /api/readings",
            )
        thermometer = find_thermometer(connection, token.logger_id)
        report = keep_hand_readings(connection, thermometer, written, "api", now)
        mark_used(connection, token.id, now)
    return report


def _answer(report: HandReport) -> JSONResponse:
    """Return what became of each reading, the first being of index 0."""
    content: dict[str, Any] = {
        "import": report.import_id,
        "noted": [{"index": number - 1, **_record(noted)} for number, noted in report.noted],
        "refused": [
            {"index": number - 1, "reason": refuse(refusal, "en")}
            for number, refusal in report.refused
        ],
    }
    return JSONResponse(content, HTTPStatus.MULTI_STATUS if report.refused else HTTPStatus.OK)


def _record(noted: Noted) -> dict[str, Any]:
    return {
        "observed_at": noted.observed_at.astimezone(UTC).isoformat().replace("+00:00", "Z"),
        "depth_cm": noted.depth_cm,
        "soil_temp_c": noted.temp_c,
        "again": noted.again,
        "day_c": noted.day_c,
        "error_c": noted.error_c,
        "beside": [vars(one) for one in noted.beside],
    }
