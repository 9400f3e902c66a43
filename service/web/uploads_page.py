"""/imports/uploads: a file of a logger, looked at before anything of it is kept."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from http import HTTPStatus
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy import Connection, Engine
from starlette.datastructures import UploadFile

from alerts.figures import show_temperature
from alerts.lines import bind_numbers
from probes.clock import format_offset
from probes.frames import LoggerFile
from probes.logger_files import FileRefused
from probes.proposing.clocks import Place
from probes.proposing.proposal import FOUND, LIKELY, Finding, Proposal
from probes.proposing.propose import propose_layout
from probes.units import Unit
from service.farm.problems import FarmFileError
from service.intake.files import import_file, ingest_file, read_file, told_name
from service.intake.known import WithdrawnError, find_known
from service.intake.new_loggers import add_logger, read_by_layout, read_layout, write_value
from service.intake.reports import FileReject, ImportReport, group_rejects
from service.store.clocks import fetch_site_places, fetch_utc_offset_min
from service.store.engine import reading, writing
from service.store.imports import fetch_latest_batches
from service.store.loggers import fetch_logger_places
from service.store.uploads import Upload, add_upload, drop_upload, find_upload, state_layout
from service.web.access import Owner, Visitor
from service.web.import_words import tell_counts
from service.web.pages import Fields, Filled, Sent, answer_page, choose_language, redirect
from service.web.problems import Problem
from service.web.writing import run_writing

MOST_BYTES = 30_000_000
ROWS_SHOWN, LONGEST_NAME_BYTES = 8, 150
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
        body = await file.read()
        return await run_writing(_put_aside, fields, who, file.filename, body)

    @routes.get("/imports/uploads/{number}")
    async def look(request: Request, number: int, who: Owner) -> Response:
        """Show what keeping a file would do, or the layout that is proposed for it."""
        return await run_writing(page, request, number, who)

    @routes.post("/imports/uploads/{number}")
    async def decide(request: Request, number: int, fields: Filled, who: Owner) -> Response:
        """Keep a file, drop it, or state how it is to be read."""
        return await run_writing(_decide, request, number, fields, who)

    def page(
        request: Request,
        number: int,
        who: Visitor,
        faults: Sequence[str] = (),
        fields: Fields | None = None,
    ) -> Response:
        now, language = datetime.now(UTC), choose_language(request)
        with reading(engine) as connection:
            one = _find(connection, number, who)
            place = fetch_site_places(connection)[one.site_id]
            offset_min = fetch_utc_offset_min(connection, one.site_id)
        is_new, refused = one.logger_id is None or one.layout is not None, ""
        seen: dict[str, Any] = {}
        proposal, at = None, Place(one.site_id, place.timezone, place.longitude_deg)
        with _laid_out(one) as path:
            try:
                seen = _read(engine, one, path, now, language)
            except (WithdrawnError, FileRefused) as error:
                refused = _why(error, path)
            if is_new or not seen:
                try:
                    proposal = propose_layout(path, now, [at])
                except FileRefused as error:
                    refused = _why(error, path)
        file = seen.pop("file", None)
        return answer_page(
            request,
            "upload.html",
            HTTPStatus.UNPROCESSABLE_ENTITY if faults else HTTPStatus.OK,
            upload=one,
            is_new=is_new,
            refused=refused,
            faults=faults,
            seen=seen,
            rows=file and _show_rows(file, offset_min, who.account.unit, language),
            clock=format_offset(offset_min),
            proposal=proposal,
            keys=proposal and _fill(proposal, one.layout, fields),
            name=(fields or {}).get("name", one.logger_id or ""),
            choices=CHOICES,
        )

    def _put_aside(fields: Fields, who: Visitor, file: str, body: bytes) -> Response:
        kind, _, key = fields.get("of", "").partition(":")
        with writing(engine) as connection:
            places = fetch_logger_places(connection, who.reach.own_site_ids)
            site_of = {one.id: one.site_id for one in places if one.takes_files}
            if kind == "logger" and key in site_of:
                of = site_of[key], key
            elif kind == "site" and key in who.reach.own_site_ids:
                of = key, None
            else:
                return redirect("/imports?wrong=of")
            now = datetime.now(UTC)
            number = add_upload(connection, who.account.id, *of, _name_file(file), body, now)
        return redirect(f"/imports/uploads/{number}")

    def _decide(request: Request, number: int, fields: Fields, who: Visitor) -> Response:
        now, said = datetime.now(UTC), fields.get("say")
        with writing(engine) as connection:
            one = _find(connection, number, who)
            if said == "drop":
                drop_upload(connection, number)
                return redirect("/imports")
            try:
                if said == "state" and (one.logger_id is None or one.layout is not None):
                    name, layout = fields.get("name", ""), read_layout(_layout_of(fields))
                    with connection.begin_nested() as trial:
                        add_logger(connection, name, one.site_id, layout, now)
                        trial.rollback()
                    state_layout(connection, number, name, layout)
                elif said == "keep" and one.logger_id and one.layout is not None:
                    add_logger(connection, one.logger_id, one.site_id, one.layout, now)
                    state_layout(connection, number, one.logger_id, None)
                    who.note(connection, "added a logger", one.logger_id, now)
            except FarmFileError as error:
                faults = error.lines
            else:
                faults = ()
        if faults:
            return page(request, number, who, faults, fields)
        if said != "keep" or one.logger_id is None:
            return redirect(f"/imports/uploads/{number}")
        with _laid_out(one) as path:
            try:
                import_file(engine, one.logger_id, path, now)
            except (FileRefused, WithdrawnError):  # the page says why
                return redirect(f"/imports/uploads/{number}")
        with writing(engine) as connection:
            drop_upload(connection, number)
            (batch,) = fetch_latest_batches(connection, [one.site_id], 1, one.logger_id)
            who.note(connection, "imported a file", f"{batch.id} of {one.logger_id}", now)
        return redirect(f"/imports/{batch.id}")

    return routes


def _name_file(file: str) -> str:
    """Return the name of a file without the folders that some browsers tell."""
    name = told_name(Path(re.split(r"[/\\]", file)[-1].lstrip(".") or "file"))
    return name.encode()[-LONGEST_NAME_BYTES:].decode("utf-8", "ignore")


def _find(connection: Connection, number: int, who: Visitor) -> Upload:
    one = find_upload(connection, number, who.account.id)
    if one is None or one.site_id not in who.reach.own_site_ids:
        said = "this file is put aside no longer; it is kept as an import, or send it again"
        raise Problem(HTTPStatus.NOT_FOUND, said)
    return one


@contextmanager
def _laid_out(one: Upload) -> Iterator[Path]:
    """Give a file in a folder of its own."""
    with TemporaryDirectory() as folder:
        path = Path(folder, one.file)
        path.write_bytes(one.body)
        yield path


def _why(error: Exception, path: Path) -> str:
    return str(error).removeprefix(f"{path.name}: ")


def _read(engine: Engine, one: Upload, path: Path, now: datetime, language: str) -> dict[str, Any]:
    """Return what keeping a file would do; nothing where its logger has no layout yet.

    FileRefused, WithdrawnError.
    """
    if one.logger_id is None:
        return {}
    known = None
    if one.layout is not None:
        file = read_by_layout(path, one.logger_id, one.layout, now)
        report = _count(file, path.name)
    else:
        source, file = read_file(engine, one.logger_id, path, now)
        with reading(engine) as connection:
            known = find_known(connection, one.logger_id, source.sha256, path.name, now)
        report = ingest_file(engine, one.logger_id, source, file, now, dry_run=True)
    return {
        "file": file,
        "known": known,
        "report": report,
        "words": bind_numbers(tell_counts(report, language)),
        "rejects": group_rejects(report.rejects),
    }


def _count(file: LoggerFile, name: str) -> ImportReport:
    """Return what a file holds, of which the store holds nothing."""
    return ImportReport(
        inserted=int(np.isfinite(file.soil_temp_c).sum()),
        rejected=sum(one.readings for one in file.rejects),
        missing=file.missing,
        rejects=tuple(FileReject(name, one.line, one.reason, one.text) for one in file.rejects),
        others=file.others,
    )


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
