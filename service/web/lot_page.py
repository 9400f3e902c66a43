"""/blocks/ID/lot: how many vines of a block to dig by lot, what that shows, and which ones."""

from __future__ import annotations

import csv
from datetime import UTC, datetime
from http import HTTPStatus
from io import StringIO
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from sqlalchemy import Connection, Engine

from alerts.card import cautions
from alerts.dig.claims import claim_by_lot, claim_targeted
from alerts.dig.lot import MOST_SEED, Lot, draw_vines
from alerts.dig.lot_words import (
    tell_draw,
    tell_how_many,
    tell_left_out,
    tell_so_far,
    tell_spare,
)
from alerts.dig.sheet import sheet_words
from alerts.dig.status import USUAL, Search
from alerts.dig.status_words import tell_status
from alerts.lines import bind_numbers
from alerts.news import tidy
from service.csv_cells import guard_cell
from service.dig_lot import BlockLot, choose_seed, find_lot, find_places
from service.dig_status import today_at
from service.settings import Settings
from service.store.blocks import Block, fetch_blocks
from service.store.engine import reading
from service.web.access import Owner, Visitor
from service.web.pages import answer_page, choose_language
from service.web.problems import Problem

Percent = Annotated[float, Query(ge=0.1, le=100)]
Confidence = Annotated[float, Query(ge=1, le=99.9)]
Seed = Annotated[int, Query(ge=0, le=MOST_SEED)]
Count = Annotated[int, Query(ge=1, le=100_000)]


def lot_page_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes of the page and its files."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/blocks/{block_id}/lot")
    def show(
        request: Request,
        block_id: str,
        who: Owner,
        prevalence: Percent = 100 * USUAL.prevalence,
        sensitivity: Percent = 100 * USUAL.sensitivity,
        confidence: Confidence = 95.0,
        seed: Seed | None = None,
    ) -> Response:
        """Show how many vines to dig; with a seed, which ones."""
        language = choose_language(request)
        search = Search(prevalence / 100, sensitivity / 100, USUAL.introduction)
        with reading(engine) as connection:
            block = _find_block(connection, block_id, who)
            today = today_at([block], datetime.now(UTC))[block.id]
            found = find_lot(connection, block, today, search, confidence / 100)
        lot = _draw(found, seed)
        return answer_page(
            request,
            "lot.html",
            block=block.id,
            name=tidy(block.name),
            site=tidy(block.site_name),
            told=[bind_numbers(one) for one in _tell(found, language)],
            asked={"prevalence": prevalence, "sensitivity": sensitivity, "confidence": confidence},
            seed=choose_seed() if seed is None else seed,
            can_draw=bool(found.places),
            lot=lot,
            drawn=lot and bind_numbers(tell_draw(lot, language)),
            left_out=[*tell_left_out(lot, found.vines, language)] if lot else [],
            in_reserve=tell_spare(language),
            words=sheet_words(language),
            claims=[claim_by_lot(language), claim_targeted(language)],
            cautions=cautions(language),
        )

    @routes.get("/blocks/{block_id}/lot.csv")
    def write(block_id: str, who: Owner, seed: Seed, count: Count) -> Response:
        """Write the vines of a draw as a table."""
        _, lot = again(block_id, who, seed, count)
        written = StringIO()
        lines = csv.writer(written)
        lines.writerow(("block", "seed", "place", "row", "vine", "spare"))
        for is_spare, vines in enumerate((lot.drawn, lot.spare)):
            for place, vine in enumerate(vines, 1):
                lines.writerow((guard_cell(block_id), seed, place, *vine, is_spare))
        return Response(written.getvalue(), media_type="text/csv; charset=utf-8")

    @routes.get("/blocks/{block_id}/lot.pdf")
    def print_sheet(
        request: Request,
        block_id: str,
        who: Owner,
        seed: Seed,
        count: Count,
        paper: Literal["a4", "letter"] = "a4",
    ) -> Response:
        """Print the sheet of a draw."""
        from service.sheets.lot_sheet import print_lot_sheet

        block, lot = again(block_id, who, seed, count)
        content = print_lot_sheet(block, lot, settings, choose_language(request), paper)
        return Response(content, media_type="application/pdf")

    def again(block_id: str, who: Visitor, seed: int, count: int) -> tuple[Block, Lot]:
        with reading(engine) as connection:
            block = _find_block(connection, block_id, who)
            places = find_places(connection, block.id)
        if count > len(places):
            said = f"only {len(places)} vines of it are known by row and number"
            raise Problem(HTTPStatus.CONFLICT, said)
        return block, draw_vines(places, count, seed)

    return routes


def _find_block(connection: Connection, block_id: str, who: Visitor) -> Block:
    if block_id not in who.reach.block_ids:
        raise Problem(HTTPStatus.NOT_FOUND, "no block of yours has this id")
    (block,) = fetch_blocks(connection, [block_id])
    return block


def _tell(found: BlockLot, language: str) -> list[str]:
    told = [tell_status(found.status, language)]
    if found.how_many is None:
        return told
    told.append(tell_how_many(found.how_many, language))
    if not found.is_settled:
        by_lot, introduction = found.status.by_lot, found.status.search.introduction
        told += tell_so_far(found.how_many, by_lot, introduction, language)
    return told


def _draw(found: BlockLot, seed: int | None) -> Lot | None:
    """Return the vines that are still to be dug, as far as so many are known."""
    still = (found.how_many and found.how_many.still) or 0
    if seed is None or not still or not found.places:
        return None
    return draw_vines(found.places, min(still, len(found.places)), seed)
