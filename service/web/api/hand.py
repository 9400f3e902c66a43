"""POST /api/hand-readings: readings by hand, as JSON."""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field, model_validator
from sqlalchemy import Engine

from alerts.hand_words import Noted
from probes.frames import Reject
from service.intake.hand import HandReport, Written, find_thermometer, keep_hand_readings
from service.intake.json_bodies import BodyError, Strict, describe_body, read_readings
from service.store.engine import writing
from service.store.loggers import fetch_logger
from service.store.tokens import PushToken, mark_used
from service.web.access import by_secret
from service.web.api.description import LOGGER
from service.web.api.pushes import SENDING, media_type
from service.web.bearer import Door
from service.web.problems import Problem, describe_refusals
from service.web.writing import run_writing

LONGEST_PERSON, LONGEST_NOTE, MOST_AT_ONCE = 100, 300, 1000


class HandReading(Strict):
    """One reading by hand; a time without offset is by the clock of the place."""

    observed_at: str
    depth_cm: float | None = None
    soil_temp_c: float | None = None
    soil_temp_f: float | None = None
    by: str = Field(default="", max_length=LONGEST_PERSON)
    note: str = Field(default="", max_length=LONGEST_NOTE)

    @model_validator(mode="after")
    def _check_choice(self) -> HandReading:
        if (self.soil_temp_c is None) == (self.soil_temp_f is None):
            raise ValueError("give soil_temp_c or soil_temp_f, one of the two")
        return self

    def written(self) -> Written:
        temperature = (
            f"{self.soil_temp_c:.10g}C" if self.soil_temp_f is None else f"{self.soil_temp_f:.10g}F"
        )
        return Written(self.observed_at, self.depth_cm, temperature, self.by, self.note)


BODY = {
    "application/json": {
        "schema": describe_body(HandReading, MOST_AT_ONCE),
        "example": {
            "readings": [
                {
                    "observed_at": "2026-04-12 08:30",
                    "depth_cm": 30,
                    "soil_temp_f": 61.5,
                    "by": "Ada",
                }
            ]
        },
    }
}


class BesideReading(BaseModel):
    """A logger's reading beside it; the thermometer's less it."""

    logger: str
    depth_cm: float
    difference_c: float


class NotedReading(BaseModel):
    """A reading that was noted: which, the first being 0; what it makes of its day, in °C."""

    index: int
    observed_at: str
    depth_cm: float
    soil_temp_c: float
    again: bool
    counts: bool
    day_c: float | None
    error_c: float | None
    beside: list[BesideReading]


class RefusedReading(BaseModel):
    """A reading that was not noted, and why."""

    index: int
    reason: str


class HandAnswer(BaseModel):
    """What became of each reading, and the import that holds what was noted."""

    import_id: int | None = Field(serialization_alias="import")
    noted: list[NotedReading]
    refused: list[RefusedReading]


def hand_api_routes(engine: Engine, door: Door) -> APIRouter:
    """Return the route of readings by hand."""
    routes = APIRouter(dependencies=[by_secret])

    @routes.post(
        "/api/hand-readings",
        openapi_extra={
            "requestBody": {"required": True, "content": BODY},
            "security": [{LOGGER: []}],
        },
        response_class=JSONResponse,
        response_description="all readings are noted",
        response_model=HandAnswer,
        responses={
            207: {"model": HandAnswer, "description": "some were refused, the rest is noted"},
            **describe_refusals(**SENDING, FORBIDDEN="the token is of a logger"),
        },
    )
    async def post(request: Request) -> JSONResponse:
        """Take readings by hand, each on its own."""
        token = await door.admit(request)
        if media_type(request) != "application/json":
            raise Problem(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "send application/json")
        body = await door.read_body(request)
        try:
            readings = read_readings(body, HandReading, MOST_AT_ONCE)
        except BodyError as error:
            raise Problem(
                HTTPStatus.UNPROCESSABLE_ENTITY, "nothing was taken", error.lines
            ) from None
        written = [one if isinstance(one, Reject) else one.written() for one in readings]
        return _answer(await run_writing(_keep, engine, token, written))

    return routes


def _keep(engine: Engine, token: PushToken, written: list[Written | Reject]) -> HandReport:
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
    answer = HandAnswer(
        import_id=report.import_id,
        noted=[_noted(number - 1, noted) for number, noted in report.noted],
        refused=[RefusedReading(index=n - 1, reason=why) for n, why in report.not_taken],
    )
    status = HTTPStatus.MULTI_STATUS if report.not_taken else HTTPStatus.OK
    return JSONResponse(answer.model_dump(by_alias=True), status)


def _noted(index: int, noted: Noted) -> NotedReading:
    return NotedReading(
        index=index,
        observed_at=noted.observed_at.astimezone(UTC).isoformat().replace("+00:00", "Z"),
        depth_cm=noted.depth_cm,
        soil_temp_c=noted.temp_c,
        again=noted.again,
        counts=noted.counts,
        day_c=noted.day_c,
        error_c=noted.error_c,
        beside=[BesideReading(**vars(one)) for one in noted.beside],
    )
