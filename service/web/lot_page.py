"""/blocks/ID/lot: how many vines of a block to dig by lot, what that shows, and which ones."""

from __future__ import annotations

import csv
from io import StringIO
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from sqlalchemy import Engine

from alerts.card import cautions
from alerts.dig.claims import claim_by_lot, claim_targeted
from alerts.dig.lot_words import (
    tell_draw,
    tell_how_many,
    tell_left_out,
    tell_so_far,
    tell_spare,
)
from alerts.dig.sheet import sheet_words
from alerts.dig.status_words import tell_status
from alerts.lines import bind_numbers
from alerts.news import tidy
from service.csv_cells import guard_cell
from service.dig.lot import BlockLot, choose_seed
from service.settings import Settings
from service.store.engine import reading
from service.web.access import Owner
from service.web.lots import AskedLot, Count, Seed, draw_again, find_draw
from service.web.pages import answer_page, choose_language
from service.web.seen_blocks import find_block


def lot_page_routes(engine: Engine, settings: Settings) -> APIRouter:
    """Return the routes of the page and its files."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/blocks/{block_id}/lot")
    def show(
        request: Request,
        block_id: str,
        who: Owner,
        asked: Annotated[AskedLot, Query()],
    ) -> Response:
        """Show how many vines to dig; with a seed, which ones."""
        language = choose_language(request)
        with reading(engine) as connection:
            block = find_block(connection, who.reach, block_id)
            found, lot = find_draw(connection, block, asked)
        return answer_page(
            request,
            "lot.html",
            block=block.id,
            name=tidy(block.name),
            site=tidy(block.site_name),
            told=[bind_numbers(one) for one in _tell(found, language)],
            asked=asked,
            seed=choose_seed() if asked.seed is None else asked.seed,
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
        with reading(engine) as connection:
            lot = draw_again(connection, find_block(connection, who.reach, block_id), seed, count)
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

        with reading(engine) as connection:
            block = find_block(connection, who.reach, block_id)
            lot = draw_again(connection, block, seed, count)
        content = print_lot_sheet(block, lot, settings, choose_language(request), paper)
        return Response(content, media_type="application/pdf")

    return routes


def _tell(found: BlockLot, language: str) -> list[str]:
    told = [tell_status(found.status, language)]
    if found.how_many is None:
        return told
    told.append(tell_how_many(found.how_many, language))
    if not found.is_settled:
        by_lot, introduction = found.status.by_lot, found.status.search.introduction
        told += tell_so_far(found.how_many, by_lot, introduction, language)
    return told
