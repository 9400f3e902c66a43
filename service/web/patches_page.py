"""/blocks/ID/patches: where a block is weak, and which vines to dig there; its sheet as PDF."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime
from http import HTTPStatus
from typing import Any, Literal

from fastapi import APIRouter, Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlalchemy import Engine
from starlette.datastructures import UploadFile

from alerts.card import cautions
from alerts.dig.claims import claim_targeted, say_of_no_patch
from alerts.dig.map_svg import draw_block
from alerts.dig.patch_words import count_patches, name_patch, tell_patch, tell_where
from alerts.dig.reasons import tell_reason
from alerts.dig.sheet import describe_map, sheet_words
from alerts.dig.vigour import VigourError
from alerts.figures import show_day
from alerts.lines import bind_numbers
from alerts.news import tidy
from alerts.words import translations
from service.dig.patches import VINES_EACH, BlockPatches
from service.settings import Settings
from service.store.engine import reading, writing
from service.store.vigour import fetch_planting, fetch_surveys
from service.vigour.contract import VigourFile
from service.web.access import LONGEST_WHY, Owner, Planner, Visitor
from service.web.api.parts import Number
from service.web.file_words import tell_of_file
from service.web.own_patches import (
    LONGEST_PERSON,
    Measured,
    NamedPatch,
    find_patches,
    keep_measured,
    put_patch_aside,
    put_patch_back,
    sign_patches,
)
from service.web.pages import (
    Fields,
    Filled,
    Sent,
    answer_page,
    answer_while_it_holds,
    choose_language,
    redirect,
)
from service.web.problems import Problem
from service.web.seen_blocks import find_block
from service.web.writing import run_writing

MOST_REJECTS = 10


def patches_page_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes of the page."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/blocks/{block_id}/patches")
    def show(request: Request, block_id: str, who: Planner) -> Response:
        """Show the weak patches of a block by what was measured last."""
        return answer_while_it_holds(request, page(request, block_id, who))

    @routes.post("/blocks/{block_id}/patches")
    async def add(
        request: Request, block_id: str, who: Owner, fields: Filled, sent: Sent
    ) -> Response:
        """Keep what was measured."""
        file = sent.get("file")
        content, name = b"", ""
        if isinstance(file, UploadFile):
            content, name = await file.read(), (file.filename or "")[:200]
        return await run_writing(keep, request, block_id, who, fields, content, name)

    def keep(
        request: Request, block_id: str, who: Visitor, fields: Fields, content: bytes, name: str
    ) -> Response:
        language, now = choose_language(request), datetime.now(UTC)
        measured = Measured(fields.get("day", ""), fields.get("measure", ""), name, content)
        try:
            read = content and keep_measured(engine, block_id, measured, who, now)
            if not read:
                return page(request, block_id, who)
        except VigourError as error:
            _ = translations(language).gettext
            why = tell_of_file(f"{error}", language)
            told = [_("This file cannot be used; nothing of it was kept."), f"{why}."]
            return page(request, block_id, who, told, HTTPStatus.UNPROCESSABLE_ENTITY)
        return page(request, block_id, who, _tell_read(read, language))

    @routes.post("/blocks/{block_id}/patches/{number}/aside")
    def put_aside(block_id: str, number: Number, fields: Filled, who: Owner) -> Response:
        """Set a patch aside."""
        why, person = fields.get("why", "")[:LONGEST_WHY], fields.get("person", "")[:LONGEST_PERSON]
        if not (why and person):
            raise Problem(HTTPStatus.UNPROCESSABLE_ENTITY, "write why, and who says so")
        named = NamedPatch(block_id, number, fields.get("of", ""))
        with writing(engine) as connection:
            put_patch_aside(connection, named, person, why, who, datetime.now(UTC))
        return redirect(f"/blocks/{block_id}/patches")

    @routes.post("/blocks/{block_id}/patches/{number}/back")
    def put_back(block_id: str, number: Number, fields: Filled, who: Owner) -> Response:
        """Let a patch be dug after all."""
        named = NamedPatch(block_id, number, fields.get("of", ""))
        with writing(engine) as connection:
            put_patch_back(connection, named, who, datetime.now(UTC))
        return redirect(f"/blocks/{block_id}/patches")

    @routes.get("/blocks/{block_id}/dig-sheet.pdf")
    def print_sheet(
        request: Request, block_id: str, who: Planner, paper: Literal["a4", "letter"] = "a4"
    ) -> Response:
        """Print the sheet for the clipboard."""
        from service.sheets.dig_sheet import find_dig_sheet, print_dig_sheet

        with reading(engine) as connection:
            block = find_block(connection, who.reach, block_id)
            try:
                sheet = find_dig_sheet(connection, block, VINES_EACH, settings)
            except VigourError as error:
                raise Problem(HTTPStatus.CONFLICT, f"its vigour cannot be used: {error}") from None
        content = print_dig_sheet(sheet, choose_language(request), paper)
        return Response(content, media_type="application/pdf")

    def page(
        request: Request,
        block_id: str,
        who: Visitor,
        told: Sequence[str] = (),
        status: HTTPStatus = HTTPStatus.OK,
    ) -> Response:
        language, today = choose_language(request), datetime.now(UTC).date()
        with reading(engine) as connection:
            block = find_block(connection, who.reach, block_id)
            planting = fetch_planting(connection, block.id)
            found = find_patches(connection, block.id, planting)
            surveys = fetch_surveys(connection, block.id)
        return answer_page(
            request,
            "patches.html",
            status,
            block=block.id,
            name=tidy(block.name),
            site=tidy(block.site_name),
            told=told,
            refused=status != HTTPStatus.OK,
            has_planting=planting is not None,
            may_change=who.account.role != "coordinator",
            today=today.isoformat(),
            surveys=[(one, show_day(one.measured_on, language, today)) for one in surveys],
            found=found and _show(found, tidy(block.name), language, today),
            words=sheet_words(language),
            no_patch=say_of_no_patch(language),
            claim=claim_targeted(language),
            cautions=cautions(language),
        )

    return routes


def _tell_read(read: VigourFile, language: str) -> list[str]:
    _ = translations(language).gettext
    text = _("{read} values read, {missing} missing, {rejected} rejected.")
    told = [text.format(read=read.read, missing=read.missing, rejected=len(read.rejects))]
    line = _("Line {number}: {reason}")
    told += [
        line.format(number=one.line, reason=tell_of_file(one.reason, language))
        for one in read.rejects[:MOST_REJECTS]
    ]
    return told + ["..."] * (len(read.rejects) > MOST_REJECTS)


def _show(found: BlockPatches, name: str, language: str, today: date) -> dict[str, Any]:
    patches, last = found.survey.patches, found.last
    day = show_day(last.measured_on, language, today)
    by_patch = {
        patch.number: [
            (place, one.vine, tell_reason(one, language))
            for place, one in enumerate(found.dig, 1)
            if one.patch == patch.number
        ]
        for patch in patches
    }
    counts = len(patches), len(found.aside), len(found.dig)
    return {
        "sign": sign_patches(found),
        "counted": bind_numbers(count_patches(*counts, language)),
        "measured": describe_map(last.measure, day, language),
        "before": found.before and show_day(found.before, language, today),
        "map": Markup(draw_block(found.survey, found.dig, found.aside, name, language)),  # noqa: S704 (our own)
        "patches": [
            {
                "number": one.number,
                "name": name_patch(one.number, language),
                "where": tell_where(one, language),
                "text": bind_numbers(" ".join(tell_patch(one, found.before, language, today))),
                "score": round(one.score),
                "aside": found.aside.get(one.number),
                "vines": by_patch[one.number],
            }
            for one in patches
        ],
    }
