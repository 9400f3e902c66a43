"""/api/imports: what came in, and taking it back."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field, StringConstraints
from sqlalchemy import Connection, Engine

from service.intake.retelling import Retold
from service.intake.undoing import ImportStandsError
from service.store.engine import reading, writing
from service.store.frozen import FrozenError
from service.store.imports import Batch, fetch_latest_batches, fetch_rejects
from service.store.loggers import fetch_logger_places
from service.web.access import LONGEST_WHY, Owner, Visitor
from service.web.api.forms import Record
from service.web.api.parts import DONE, LISTED, ONE, Number, Part, answer_one
from service.web.own_imports import find_import, let_count, take_back
from service.web.problems import Problem, describe_refusals
from service.web.writing import run_writing

SEEN = "[^\\s\\x00-\\x1f\\x7f]"
ImportId = Annotated[Number, Path(description="number of an import")]
Line = Annotated[
    str,
    StringConstraints(
        strip_whitespace=True,
        min_length=1,
        max_length=LONGEST_WHY,
        pattern=f"^[^\\x00-\\x1f\\x7f]*{SEEN}[^\\x00-\\x1f\\x7f]*$",
    ),
]


class ImportRecord(Record):
    """One delivery of a logger; its counts say what it comes to beside all others that stand."""

    id: int
    logger: Annotated[str, Field(description="its id")]
    imported_at: Annotated[datetime, Field(description="[UTC]")]
    source: Annotated[str, Field(description="file, push, feed or hand")]
    file: str
    inserted: Annotated[int, Field(description="readings that were new")]
    identical: Annotated[int, Field(description="readings that were there already")]
    conflicting: Annotated[int, Field(description="readings of which another value is kept")]
    rejected: Annotated[int, Field(description="readings that were not read")]
    missing: Annotated[int, Field(description="readings that it says are missing")]
    first_at: Annotated[datetime | None, Field(description="of its first reading [UTC]")]
    last_at: Annotated[datetime | None, Field(description="of its last reading [UTC]")]
    signs: Annotated[list[str], Field(description="signs of a wrong clock or unit")]
    withdrawn_at: Annotated[datetime | None, Field(description="null: it counts [UTC]")]
    withdrawn_by: str | None
    withdrawn_why: str | None


class RejectRecord(Record):
    """A line that was not read."""

    line: int
    reason: str
    text: Annotated[str, Field(description="as it stood there")]
    readings: Annotated[int, Field(description="how many it would have held")]


class Why(BaseModel):
    """Why something is done; it is kept and shown."""

    model_config = ConfigDict(extra="forbid")

    why: Line


class RetoldRecord(Record):
    """How many readings are new, gone, or have another value; the next round corrects the rest."""

    new: int
    gone: int
    changed: int


def imports_routes(engine: Engine) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["imports"])

    @routes.get("/imports", response_model=list[ImportRecord], responses=LISTED)
    def list_imports(
        who: Owner,
        part: Part,
        logger: Annotated[str, Query(description="id of one logger")] = "",
    ) -> Response:
        """Return what came in of your sites, the latest first."""
        before = part.find_number()
        with reading(engine) as connection:
            own = {one.id for one in fetch_logger_places(connection, who.reach.own_site_ids)}
            if logger and logger not in own:
                said = "no logger of yours has this id; /api/loggers lists them"
                raise Problem(HTTPStatus.NOT_FOUND, said)
            sites, most = who.reach.own_site_ids, part.limit + 1
            found = fetch_latest_batches(connection, sites, most, logger, before)
        batches, next_key = part.cut(found, lambda one: one.id)
        return part.answer([_tell(one) for one in batches], ImportRecord, next_key)

    @routes.get("/imports/{import_id}", response_model=ImportRecord, responses=ONE)
    def show_import(request: Request, import_id: ImportId, who: Owner) -> Response:
        """Return one delivery."""
        with reading(engine) as connection:
            return answer_one(request, _tell(find_import(connection, import_id, who)))

    @routes.get("/imports/{import_id}/rejects", response_model=list[RejectRecord], responses=LISTED)
    def list_rejects(who: Owner, part: Part, import_id: ImportId) -> Response:
        """Return what was not read of a delivery, in its order."""
        first = part.find_number() or 0
        with reading(engine) as connection:
            find_import(connection, import_id, who)
            found = fetch_rejects(connection, import_id)[first:]
        records = [RejectRecord(**vars(one)) for one in found[: part.limit]]
        next_key = first + part.limit if len(found) > part.limit else None
        return part.answer(records, RejectRecord, next_key)

    @routes.post(
        "/imports/{import_id}/withdraw",
        response_model=RetoldRecord,
        responses={**DONE, **describe_refusals(CONFLICT="it is withdrawn already, or too old")},
    )
    async def withdraw(import_id: ImportId, said: Why, who: Owner) -> RetoldRecord:
        """Keep all as it would be had a delivery never come."""
        return await run_writing(_change, engine, take_back, import_id, who, said.why)

    @routes.post(
        "/imports/{import_id}/restore",
        response_model=RetoldRecord,
        responses={**DONE, **describe_refusals(CONFLICT="it is not withdrawn, or too old")},
    )
    async def restore(import_id: ImportId, said: Why, who: Owner) -> RetoldRecord:
        """Let a delivery that was withdrawn count again, in its old place."""
        return await run_writing(_change, engine, let_count, import_id, who, said.why)

    return routes


def _change(
    engine: Engine,
    change: Callable[[Connection, int, Visitor, str, datetime], Retold],
    import_id: int,
    who: Visitor,
    why: str,
) -> RetoldRecord:
    try:
        with writing(engine) as connection:
            retold = change(connection, import_id, who, why, datetime.now(UTC))
    except (ImportStandsError, FrozenError) as error:
        raise Problem(HTTPStatus.CONFLICT, str(error)) from None
    return RetoldRecord(**vars(retold))


def _tell(batch: Batch) -> ImportRecord:
    fields = {name: getattr(batch, name, None) for name in ImportRecord.model_fields}
    return ImportRecord(**{**fields, "logger": batch.logger_id})
