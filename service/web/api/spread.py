"""GET /api/spread: how blocks stand by what was dug, how far it has spread, what to decide by."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import Field
from sqlalchemy import Engine

from alerts.dig.spread import Growth, Pace
from alerts.dig.status import Standing
from alerts.dig.status_words import tell_status
from service.dig.spread import BlockSpread, find_spread
from service.dig.status import today_at
from service.store.engine import reading
from service.web.access import Known
from service.web.api.forms import Record
from service.web.api.parts import LISTED, Part
from service.web.pages import choose_language
from service.web.seen_blocks import find_told_blocks

BlockId = Annotated[str, Field(description="its id")]
Year = Annotated[
    int | None, Field(description="as if it went on at the middle pace in print; null: unknown")
]
From = Annotated[int | None, Field(description="the same at the fastest pace in print")]
Until = Annotated[int | None, Field(description="the same at the slowest pace in print")]
PACES = {"": "middle", "_from": "fast", "_until": "slow"}
"""By the end of the name of a year."""


class SpreadRecord(Record):
    """A block as one decides on replanting it; no share is no word that it has none."""

    block: BlockId
    standing: Annotated[Standing, Field(description="what digging showed so far")]
    confidence_percent: Annotated[
        int | None,
        Field(description="that fewer than 5 % of its vines are infested, by vines drawn by lot"),
    ]
    age_years: Annotated[int | None, Field(description="since it was planted [years]")]
    roots: Annotated[str | None, Field(description="its rootstock, or own roots")]
    vines: Annotated[int | None, Field(description="of the block; null: not known")]
    affected: Annotated[
        int, Field(description="vines that are weak, or have a find or a suspicion")
    ]
    share: Annotated[float | None, Field(description="of its vines, from 0 to 1; null: unknown")]
    year_10_percent: Year
    year_10_percent_from: From
    year_10_percent_until: Until
    year_25_percent: Year
    year_25_percent_from: From
    year_25_percent_until: Until
    year_50_percent: Year
    year_50_percent_from: From
    year_50_percent_until: Until
    text: Annotated[str, Field(description="how it stands, in your language")]


class GrowthRecord(Record):
    """What became of weak or infested vines from one day to a later one."""

    block: BlockId
    what: Annotated[
        Literal["weak", "patch", "found"],
        Field(description="weak: all weak vines; patch: of one patch; found: a find or suspicion"),
    ]
    patch: Annotated[int | None, Field(description="its number; null: it is of no one patch")]
    before_on: date
    after_on: date
    vines_before: int
    vines_after: int
    times_a_year: Annotated[float | None, Field(description="null: too soon to say")]
    reach_m: Annotated[
        float | None, Field(description="of the farthest new vine, in a year; null: unknown [m]")
    ]
    pace: Annotated[Pace | None, Field(description="beside the published range")]


def spread_routes(engine: Engine) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["digging"])

    @routes.get("/spread", response_model=list[SpreadRecord], responses=LISTED)
    def list_spread(request: Request, who: Known, part: Part) -> Response:
        """Return the blocks of which you may know what was found, by id."""
        language = choose_language(request)
        found, next_key = find(who, part, None)
        return part.answer([_tell(one, language) for one in found], SpreadRecord, next_key)

    @routes.get("/growth", response_model=list[GrowthRecord], responses=LISTED)
    def list_growth(
        who: Known,
        part: Part,
        block: Annotated[str | None, Query(description="id of one block")] = None,
    ) -> Response:
        """Return how what is weak or infested has grown in them; `limit` is how many blocks."""
        found, next_key = find(who, part, block)
        records = [record for one in found for record in _grow(one)]
        return part.answer(records, GrowthRecord, next_key)

    def find(who: Known, part: Part, block: str | None) -> tuple[list[BlockSpread], str | None]:
        with reading(engine) as connection:
            every, _ = find_told_blocks(connection, who)
            wanted = sorted(every, key=lambda one: one.id)
            of_one = [one for one in wanted if block in (None, one.id)]
            blocks, next_key = part.cut_by_id(of_one)
            today = today_at(blocks, datetime.now(UTC))
            return find_spread(connection, blocks, today), next_key

    return routes


def _tell(one: BlockSpread, language: str) -> SpreadRecord:
    return SpreadRecord(
        block=one.block.id,
        standing=one.status.standing,
        confidence_percent=one.status.percent,
        age_years=one.age,
        roots=one.stand.roots,
        vines=one.vines,
        affected=len(one.affected),
        share=one.share,
        **_find_years(one),
        text=tell_status(one.status, language),
    )


def _find_years(one: BlockSpread) -> dict[str, int | None]:
    found = {percent: one.find_years(percent / 100) for percent in (10, 25, 50)}
    return {
        f"year_{percent}_percent{end}": years[pace] if years else None
        for percent, years in found.items()
        for end, pace in PACES.items()
    }


def _grow(one: BlockSpread) -> Iterator[GrowthRecord]:
    for growth in one.weak_growth:
        yield _tell_growth(one.block.id, "weak", None, growth)
    for number, of_patch in one.patch_growth.items():
        for growth in of_patch:
            yield _tell_growth(one.block.id, "patch", number, growth)
    for growth in one.found_growth:
        yield _tell_growth(one.block.id, "found", None, growth)


def _tell_growth(
    block_id: str, what: Literal["weak", "patch", "found"], patch: int | None, growth: Growth
) -> GrowthRecord:
    return GrowthRecord(
        block=block_id,
        what=what,
        patch=patch,
        before_on=growth.before.day,
        after_on=growth.after.day,
        vines_before=len(growth.before.vines),
        vines_after=len(growth.after.vines),
        times_a_year=growth.times_a_year,
        reach_m=growth.reach_m,
        pace=growth.pace,
    )
