"""How many vines of a block are to be dug by lot, and the draw that a seed gives."""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import Query
from pydantic import BaseModel, Field
from sqlalchemy import Connection

from alerts.dig.lot import MOST_SEED, Lot, draw_vines
from alerts.dig.status import USUAL, Search
from service.dig.lot import BlockLot, find_lot, find_places
from service.dig.status import today_at
from service.store.blocks import Block
from service.web.problems import Problem

Seed = Annotated[int, Query(ge=0, le=MOST_SEED)]
Count = Annotated[int, Query(ge=1, le=100_000)]
Percent = Annotated[float, Field(ge=0.1, le=100)]


class AskedLot(BaseModel):
    """What a draw is asked for: shares in percent; without a seed nothing is drawn."""

    prevalence: Percent = 100 * USUAL.prevalence
    sensitivity: Percent = 100 * USUAL.sensitivity
    confidence: Annotated[float, Field(ge=1, le=99.9)] = 95.0
    seed: Annotated[int | None, Field(ge=0, le=MOST_SEED)] = None


def find_draw(connection: Connection, block: Block, asked: AskedLot) -> tuple[BlockLot, Lot | None]:
    """Return how many vines to dig, and those still to be dug, as far as so many are known."""
    search = Search(asked.prevalence / 100, asked.sensitivity / 100, USUAL.introduction)
    today = today_at([block], datetime.now(UTC))[block.id]
    found = find_lot(connection, block, today, search, asked.confidence / 100)
    still = (found.how_many and found.how_many.still) or 0
    if asked.seed is None or not still or not found.places:
        return found, None
    return found, draw_vines(found.places, min(still, len(found.places)), asked.seed)


def draw_again(connection: Connection, block: Block, seed: int, count: int) -> Lot:
    """Return the vines of a draw, or refuse to draw more than are known."""
    places = find_places(connection, block.id)
    if count > len(places):
        said = f"only {len(places)} vines of it are known by row and number"
        raise Problem(HTTPStatus.CONFLICT, said)
    return draw_vines(places, count, seed)
