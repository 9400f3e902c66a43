"""/imports/uploads: a file of a logger, looked at before anything of it is kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from http import HTTPStatus
from typing import Any

import numpy as np
from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy import Engine
from starlette.datastructures import UploadFile

from alerts.figures import show_temperature
from alerts.lines import bind_numbers
from probes.clock import format_offset
from probes.frames import LoggerFile
from probes.logger_files import FileRefused
from probes.proposing.proposal import FOUND, LIKELY, Finding, Proposal
from probes.units import Unit
from service.farm.problems import FarmFileError
from service.intake.known import WithdrawnError
from service.intake.new_loggers import read_layout, write_value
from service.intake.reports import group_rejects
from service.store.clocks import fetch_utc_offset_min
from service.store.engine import reading, writing
from service.store.uploads import drop_upload
from service.web.access import Owner, Visitor
from service.web.api.parts import Number
from service.web.import_words import tell_counts
from service.web.own_uploads import (
    MOST_BYTES,
    ROWS_SHOWN,
    Seen,
    SentFile,
    find_aside,
    keep_aside,
    look_at,
    put_aside,
    state_reading,
)
from service.web.pages import Fields, Filled, Sent, answer_page, choose_language, redirect
from service.web.writing import run_looking, run_writing

CHOICES = {"stamp": ("end", "start", "instant"), "unit": ("F", "C")}
OF_KEY = "key."
"""Begins the names of fields that hold a key of a layout."""


def uploads_page_routes(engine: Engine) -> APIRouter:
    """Return the routes of the page."""
    routes = APIRouter(include_in_schema=False)

    @routes.post("/imports/uploads")
    async def take(fields: Filled, sent: Sent, who: Owner) -> Response:
        """Put a file aside, to be looked at."""
        file = sent.get("file")
        if not isinstance(file, UploadFile) or not file.filename:
            return redirect("/imports?wrong=file")
        if not file.size or file.size > MOST_BYTES:
            return redirect(f"/imports?wrong={'large' if file.size else 'file'}")
        kind, _, key = fields.get("of", "").partition(":")
        logger_id, site_id = (key if kind == one else None for one in ("logger", "site"))
        file_of = SentFile(logger_id, site_id, file.filename, await file.read())
        return await run_writing(_put_aside, file_of, who)

    @routes.get("/imports/uploads/{number}")
    async def look(request: Request, number: Number, who: Owner) -> Response:
        """Show what keeping a file would do, or the layout that is proposed for it."""
        return await run_looking(page, request, number, who)

    @routes.post("/imports/uploads/{number}")
    async def decide(request: Request, number: Number, fields: Filled, who: Owner) -> Response:
        """Keep a file, drop it, or state how it is to be read."""
        done = await run_writing(_decide, number, fields, who)
        if isinstance(done, Response):
            return done
        return await run_looking(page, request, number, who, done, fields)

    def page(
        request: Request,
        number: int,
        who: Visitor,
        faults: Sequence[str] = (),
        fields: Fields | None = None,
    ) -> Response:
        now, language = datetime.now(UTC), choose_language(request)
        with reading(engine) as connection:
            one = find_aside(connection, number, who)
            offset_min = fetch_utc_offset_min(connection, one.site_id)
        found = look_at(engine, one, now)
        seen, proposal = found.seen, found.proposal
        return answer_page(
            request,
            "upload.html",
            HTTPStatus.UNPROCESSABLE_ENTITY if faults else HTTPStatus.OK,
            upload=one,
            refused=found.refused,
            faults=faults,
            seen=seen and _show(seen, language),
            rows=seen and _show_rows(seen.file, offset_min, who.account.unit, language),
            clock=format_offset(offset_min),
            proposal=proposal,
            keys=proposal and _fill(proposal, one.layout, fields),
            name=(fields or {}).get("name", one.logger_id or ""),
            choices=CHOICES,
        )

    def _put_aside(sent: SentFile, who: Visitor) -> Response:
        with writing(engine) as connection:
            number = put_aside(connection, sent, who, datetime.now(UTC))
        return redirect("/imports?wrong=of" if number is None else f"/imports/uploads/{number}")

    def _decide(number: int, fields: Fields, who: Visitor) -> Response | Sequence[str]:
        """Return where to go on, or what is wrong with what was filled in."""
        now, said = datetime.now(UTC), fields.get("say")
        try:
            if said == "keep":
                return redirect(f"/imports/{keep_aside(engine, number, who, now)}")
            with writing(engine) as connection:
                one = find_aside(connection, number, who)
                if said == "drop":
                    drop_upload(connection, number)
                    return redirect("/imports")
                if said == "state" and one.is_new:
                    layout = read_layout(_layout_of(fields))
                    state_reading(connection, one, fields.get("name", ""), layout, now)
        except FarmFileError as error:
            return error.lines
        except (FileRefused, WithdrawnError):
            pass  # the page says why
        return redirect(f"/imports/uploads/{number}")

    return routes


def _show(seen: Seen, language: str) -> dict[str, Any]:
    return {
        "known": seen.known,
        "report": seen.report,
        "words": bind_numbers(tell_counts(seen.report, language)),
        "rejects": group_rejects(seen.report.rejects),
    }


def _show_rows(
    file: LoggerFile, offset_min: int, unit: Unit, language: str
) -> tuple[Sequence[str], list[tuple[str, list[str]]]]:
    """Return the columns and the first rows that are read, by the standard time of the site."""
    first = slice(ROWS_SHOWN)
    rows = zip(file.observed_at[first].tolist(), file.soil_temp_c[first].tolist(), strict=True)
    return file.channels, [
        (
            f"{at + timedelta(minutes=offset_min):%Y-%m-%d %H:%M}",
            [
                "" if np.isnan(one) else bind_numbers(show_temperature(one, unit, language))
                for one in values
            ],
        )
        for at, values in rows
    ]


def _fill(
    proposal: Proposal, layout: Mapping[str, Any] | None, fields: Fields | None
) -> list[tuple[Finding, str]]:
    """Return what is proposed, what a person has to state first, each with what is filled in."""

    def fill(one: Finding) -> str:
        if fields is not None:
            return fields.get(f"{OF_KEY}{one.key}", "")
        if layout is not None:
            return write_value(layout[one.key]) if layout.get(one.key) is not None else ""
        is_sure = one.certainty in (FOUND, LIKELY) and one.value is not None
        return write_value(one.value) if is_sure else ""

    every = sorted(proposal.findings, key=lambda one: one.certainty == FOUND)
    return [(one, fill(one)) for one in every]


def _layout_of(fields: Fields) -> dict[str, str]:
    return {
        name.removeprefix(OF_KEY): text for name, text in fields.items() if name.startswith(OF_KEY)
    }
