"""/imports: what came in of a visitor's sites, what became of it, and taking it back."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from sqlalchemy import Engine

from alerts.lines import bind_numbers
from service.intake.reports import group_rejects
from service.intake.undoing import ImportStandsError
from service.store.engine import reading, writing
from service.store.frozen import FrozenError
from service.store.imports import Batch, fetch_latest_batches, fetch_rejects
from service.store.loggers import fetch_logger_places
from service.store.sharing import fetch_site_names
from service.web.access import LONGEST_WHY, Owner, Visitor
from service.web.api.parts import Number
from service.web.import_words import tell_changes, tell_counts, tell_span
from service.web.own_imports import find_import, let_count, take_back
from service.web.own_uploads import MOST_BYTES
from service.web.pages import Fields, Filled, answer_page, choose_language
from service.web.writing import run_writing

AT_ONCE = 50


def imports_page_routes(engine: Engine) -> APIRouter:
    """Return the routes of the pages."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/imports")
    def show(
        request: Request,
        who: Owner,
        logger: str = "",
        before: Annotated[int | None, Query(ge=1, le=2**31 - 1)] = None,
        wrong: str = "",
    ) -> Response:
        """Show what came in, the latest first, of all loggers or one; and where to send a file."""
        site_ids, language = who.reach.own_site_ids, choose_language(request)
        with reading(engine) as connection:
            places, names = fetch_logger_places(connection, site_ids), fetch_site_names(connection)
            found = fetch_latest_batches(connection, site_ids, AT_ONCE + 1, logger, before)
        site_of = {one.id: names[one.site_id] for one in places}
        return answer_page(
            request,
            "imports.html",
            HTTPStatus.UNPROCESSABLE_ENTITY if wrong else HTTPStatus.OK,
            choices=[(one.id, site_of[one.id]) for one in places if one.takes_files],
            sites=sorted((names[one], one) for one in site_ids),
            loggers=[one.id for one in places],
            logger=logger,
            imports=[
                (one, site_of[one.logger_id], _tell(one, language)) for one in found[:AT_ONCE]
            ],
            older=found[AT_ONCE - 1].id if len(found) > AT_ONCE else None,
            wrong=wrong,
            most_mb=MOST_BYTES // 1_000_000,
        )

    @routes.get("/imports/{import_id}")
    def show_one(request: Request, import_id: Number, who: Owner) -> Response:
        """Show what became of one delivery."""
        return page(request, who, import_id)

    @routes.post("/imports/{import_id}")
    async def undo(request: Request, import_id: Number, fields: Filled, who: Owner) -> Response:
        """Take an import back, or let it count again."""
        return await run_writing(_undo, request, import_id, fields, who)

    def page(
        request: Request, who: Visitor, import_id: int, told: Iterable[str] = (), wrong: str = ""
    ) -> Response:
        language = choose_language(request)
        with reading(engine) as connection:
            batch = find_import(connection, import_id, who)
            rejects = fetch_rejects(connection, import_id)
        return answer_page(
            request,
            "import.html",
            HTTPStatus.UNPROCESSABLE_ENTITY if wrong else HTTPStatus.OK,
            batch=batch,
            words=_tell(batch, language),
            rejects=group_rejects(rejects),
            told=[*told],
            wrong=wrong,
            longest=LONGEST_WHY,
        )

    def _undo(request: Request, import_id: int, fields: Fields, who: Visitor) -> Response:
        now, why = datetime.now(UTC), fields.get("why", "")[:LONGEST_WHY]
        if not why:
            return page(request, who, import_id, wrong="why")
        try:
            with writing(engine) as connection:
                change = let_count if fields.get("say") == "restore" else take_back
                retold = change(connection, import_id, who, why, now)
        except (ImportStandsError, FrozenError) as error:
            return page(request, who, import_id, wrong=str(error))
        told = tell_changes(retold, choose_language(request))
        return page(request, who, import_id, told)

    return routes


def _tell(batch: Batch, language: str) -> str:
    """Return what an import came to."""
    said = tell_counts(batch, language)
    span = tell_span(batch.first_at, batch.last_at, language, batch.imported_at.date())
    return bind_numbers(f"{said} {span}".strip())
