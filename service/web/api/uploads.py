"""/api/imports/uploads: a file of a logger, seen before anything of it is kept."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from http import HTTPStatus
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import Engine

from probes.frames import LoggerFile
from probes.logger_files import FileRefused
from probes.proposing.proposal import Certainty, Finding
from service.farm.problems import FarmFileError
from service.intake.known import WithdrawnError
from service.intake.new_loggers import check_layout
from service.intake.reports import COUNTS
from service.store.engine import reading, writing
from service.store.uploads import Upload, drop_upload
from service.web.access import REFUSALS, Owner, Visitor
from service.web.api.forms import Record
from service.web.api.parts import DONE, ONE, Number, answer_one, read_file
from service.web.own_uploads import (
    MOST_BYTES,
    ROWS_SHOWN,
    Look,
    Seen,
    SentFile,
    find_aside,
    keep_aside,
    look_at,
    put_aside,
    state_reading,
)
from service.web.problems import Problem, describe_refusals
from service.web.writing import run_looking, run_writing

MOST_REJECTS = 100
BINARY: dict[str, Any] = {"schema": {"type": "string", "format": "binary"}}
FILE: dict[str, Any] = {
    "text/csv": {"schema": {"type": "string"}},
    "text/plain": {"schema": {"type": "string"}},
    "application/zip": BINARY,
    "application/gzip": BINARY,
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet": BINARY,
    "application/octet-stream": BINARY,
}
UploadNumber = Annotated[Number, Path(description="number of a file that is put aside")]
Codes = list[str | float]
LayoutValue = str | bool | float | Codes | dict[str, str | float | Codes]


class ProposedKey(BaseModel):
    """One key of a layout, as the file says it of itself."""

    key: str
    value: Annotated[Any, Field(description="what was taken for a trial, or null")]
    certainty: Annotated[
        Certainty,
        Field(description="likely: confirm it; yours: only who set the logger up knows"),
    ]
    evidence: Annotated[str, Field(description="what in the file says so, or why nothing does")]


class SeenRow(BaseModel):
    """A row as it is read."""

    observed_at: Annotated[datetime, Field(description="[UTC]")]
    soil_temp_c: Annotated[
        list[float | None], Field(description="in the order of `columns`; null: no reading [°C]")
    ]


class SeenReject(BaseModel):
    """A row or cell that would not count, and why."""

    line: int | None
    reason: str
    text: Annotated[str, Field(description="as it stands there")]


class SeenFile(BaseModel):
    """What keeping a file would do."""

    inserted: Annotated[int, Field(description="readings that are new")]
    identical: Annotated[int, Field(description="readings that are there already")]
    conflicting: Annotated[
        int, Field(description="readings of which another value is kept, which stays")
    ]
    rejected: Annotated[int, Field(description="readings that are not read")]
    missing: Annotated[int, Field(description="readings that it says are missing")]
    others: Annotated[int, Field(description="rows of other loggers")]
    known_import: Annotated[
        int | None, Field(description="number of the import that held the very same")
    ]
    notes: list[str]
    signs: Annotated[list[str], Field(description="signs of a wrong clock or unit")]
    columns: list[str]
    rows: Annotated[list[SeenRow], Field(description=f"the first {ROWS_SHOWN}")]
    rejects: Annotated[list[SeenReject], Field(description=f"the first {MOST_REJECTS}")]


class UploadRecord(Record):
    """A file that is put aside for a day; nothing of it is kept yet."""

    number: int
    file: str
    site: Annotated[str, Field(description="its id")]
    logger: Annotated[str | None, Field(description="its id; null: not stated yet")]
    is_new: Annotated[bool, Field(description="whether that logger is not there yet")]
    layout: Annotated[
        dict[str, Any] | None, Field(description="of a new logger, once it is stated")
    ]
    refused: Annotated[str | None, Field(description="why it is not read")]
    seen: Annotated[
        SeenFile | None, Field(description="null: it is not read, or its layout is not stated yet")
    ]
    proposed: Annotated[
        list[ProposedKey],
        Field(description="a layout: of a new logger, or where that of its logger does not do"),
    ]


class PutAside(BaseModel):
    """The number of a file that is put aside."""

    number: int


class StatedLogger(BaseModel):
    """A logger that is not there yet, and how its files are read."""

    model_config = ConfigDict(extra="forbid")

    name: Annotated[str, Field(max_length=64, description="letters, digits and hyphens")]
    layout: Annotated[
        dict[str, LayoutValue],
        Field(
            description="the keys of [layout.NAME] in the farm file: `proposed`, and what that "
            "leaves open",
            examples=[
                {
                    "clock": "UTC+10:00",
                    "time": "time",
                    "time_format": "%Y-%m-%d %H:%M",
                    "stamp": "end",
                    "interval_min": 60,
                    "unit": "C",
                    "columns": {"T15": 15, "T30": 30},
                    "missing": [""],
                }
            ],
        ),
    ]


class KeptUpload(BaseModel):
    """The number of the import that a file is kept as."""

    import_id: Annotated[int, Field(serialization_alias="import")]


def uploads_routes(engine: Engine) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["imports"])

    @routes.post(
        "/imports/uploads",
        openapi_extra={"requestBody": {"required": True, "content": FILE}},
        response_model=PutAside,
        responses={
            **DONE,
            **describe_refusals(
                REQUEST_ENTITY_TOO_LARGE="too many bytes",
                UNSUPPORTED_MEDIA_TYPE="no file of a logger",
            ),
        },
    )
    async def take(
        request: Request,
        who: Owner,
        logger: Annotated[str | None, Query(description="id of the logger it is of")] = None,
        site: Annotated[
            str | None, Query(description="instead: id of the site of a logger not there yet")
        ] = None,
        file: Annotated[str, Query(max_length=200, description="its name")] = "file",
    ) -> PutAside:
        """Put a file of a logger aside for a day, to be seen before it is kept; the last few stay.

        CSV and other text, spreadsheets, and either packed as zip or gzip.
        """
        if (logger is None) == (site is None):
            said = "say logger, or of one that is not there yet site: one of the two"
            raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, said)
        body = await read_file(request, FILE)
        if len(body) > MOST_BYTES:
            said = f"more than {MOST_BYTES:,} bytes; pack it as .zip or .gz, or split it"
            raise Problem(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, said)
        if not body:
            raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, "the file is empty; export it again")
        return await run_writing(_take, SentFile(logger, site, file, body), who)

    @routes.get("/imports/uploads/{number}", response_model=UploadRecord, responses=ONE)
    async def look(request: Request, number: UploadNumber, who: Owner) -> Response:
        """Return what keeping a file would do, or the layout that is proposed for it."""
        return answer_one(request, await run_looking(_look, number, who))

    @routes.post(
        "/imports/uploads/{number}/state",
        status_code=204,
        responses={**DONE, **describe_refusals(CONFLICT="its logger is there already")},
    )
    async def state(number: UploadNumber, said: StatedLogger, who: Owner) -> None:
        """State how a file of a logger that is not there yet is read; then see it once more."""
        await run_writing(_state, number, said, who)

    @routes.post(
        "/imports/uploads/{number}/keep",
        response_model=KeptUpload,
        responses={**REFUSALS, **describe_refusals(CONFLICT="it is not read: see why")},
    )
    async def keep(number: UploadNumber, who: Owner) -> KeptUpload:
        """Keep a file as an import, and add its logger where that is not there yet."""
        return KeptUpload(import_id=await run_writing(_keep, number, who))

    @routes.post("/imports/uploads/{number}/drop", status_code=204, responses=REFUSALS)
    async def drop(number: UploadNumber, who: Owner) -> None:
        """Put a file aside no longer; nothing of it was kept."""

        def take_away() -> None:
            with writing(engine) as connection:
                find_aside(connection, number, who)
                drop_upload(connection, number)

        await run_writing(take_away)

    def _take(sent: SentFile, who: Visitor) -> PutAside:
        with writing(engine) as connection:
            number = put_aside(connection, sent, who, datetime.now(UTC))
        if number is None:
            said = "no logger in use, or no site, of yours has this id; /api/loggers lists them"
            raise Problem(HTTPStatus.NOT_FOUND, said)
        return PutAside(number=number)

    def _look(number: int, who: Visitor) -> UploadRecord:
        with reading(engine) as connection:
            one = find_aside(connection, number, who)
        return _tell(one, look_at(engine, one, datetime.now(UTC)))

    def _state(number: int, said: StatedLogger, who: Visitor) -> None:
        try:
            with writing(engine) as connection:
                one = find_aside(connection, number, who)
                if not one.is_new:
                    raise Problem(HTTPStatus.CONFLICT, f"'{one.logger_id}' is there already")
                layout = check_layout(said.layout)
                state_reading(connection, one, said.name, layout, datetime.now(UTC))
        except FarmFileError as error:
            raise _refuse(error) from None

    def _keep(number: int, who: Visitor) -> int:
        try:
            return keep_aside(engine, number, who, datetime.now(UTC))
        except FarmFileError as error:
            raise _refuse(error) from None
        except (FileRefused, WithdrawnError) as error:
            raise Problem(HTTPStatus.CONFLICT, f"nothing of it was kept: {error}") from None

    return routes


def _refuse(error: FarmFileError) -> Problem:
    said = "there can be no such logger; nothing was kept"
    return Problem(HTTPStatus.UNPROCESSABLE_ENTITY, said, error.lines)


def _tell(one: Upload, found: Look) -> UploadRecord:
    findings = found.proposal.findings if found.proposal else ()
    return UploadRecord(
        number=one.id,
        file=one.file,
        site=one.site_id,
        logger=one.logger_id,
        is_new=one.is_new,
        layout=None if one.layout is None else dict(one.layout),
        refused=found.refused or None,
        seen=found.seen and _tell_seen(found.seen),
        proposed=[_tell_key(finding) for finding in findings],
    )


def _tell_key(one: Finding) -> ProposedKey:
    value = dict(one.value) if isinstance(one.value, Mapping) else one.value
    return ProposedKey(key=one.key, value=value, certainty=one.certainty, evidence=one.evidence)


def _tell_seen(seen: Seen) -> SeenFile:
    report = seen.report
    return SeenFile(
        **{name: getattr(report, name) for name in COUNTS},
        others=report.others,
        known_import=seen.known and seen.known.import_id,
        notes=[*report.notes],
        signs=[*report.signs],
        columns=[*seen.file.channels],
        rows=_tell_rows(seen.file),
        rejects=[
            SeenReject(line=one.line, reason=one.reason, text=one.text)
            for one in report.rejects[:MOST_REJECTS]
        ],
    )


def _tell_rows(file: LoggerFile) -> list[SeenRow]:
    first = slice(ROWS_SHOWN)
    rows = zip(file.observed_at[first].tolist(), file.soil_temp_c[first].tolist(), strict=True)
    return [
        SeenRow(
            observed_at=at.replace(tzinfo=UTC),
            soil_temp_c=[None if np.isnan(one) else one for one in values],
        )
        for at, values in rows
    ]
