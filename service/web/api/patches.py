"""/api/blocks/ID/patches and dig-vines: where a block is weak, and which vines to dig there."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime
from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import Connection, Engine

from alerts.dig.patch_words import tell_patch, tell_where
from alerts.dig.patches import Patch
from alerts.dig.reasons import tell_reason
from alerts.dig.records import Vine
from alerts.dig.vines import DigVine, Place
from service.dig.patches import BlockPatches
from service.store.engine import reading, writing
from service.store.vigour import fetch_planting
from service.web.access import Owner, Planner, Visitor
from service.web.api.forms import Record
from service.web.api.imports import Line
from service.web.api.parts import DONE, LISTED, Number, Part
from service.web.own_patches import (
    LONGEST_PERSON,
    NamedPatch,
    find_patches,
    put_patch_aside,
    put_patch_back,
    sign_patches,
)
from service.web.pages import choose_language
from service.web.problems import describe_refusals
from service.web.seen_blocks import find_block
from service.web.writing import run_writing

BlockId = Annotated[str, Path(description="id of a block")]
PatchNumber = Annotated[Number, Path(description="number of a patch")]
Of = Annotated[
    str, Field(description="what the numbers of patches go by; give it back to name one")
]


class PatchRecord(Record):
    """A weak patch by what was measured last; something else may explain it, as none may."""

    number: Annotated[int, Field(description="by score, from 1")]
    of: Of
    measured_on: date
    measure: str
    before_on: Annotated[date | None, Field(description="measured before, which growth is against")]
    vines: Annotated[list[str], Field(description="all that stand in it, as ROW:VINE")]
    loss: Annotated[float, Field(description="by which share it is weaker than around it")]
    length_m: Annotated[float, Field(description="[m]")]
    width_m: Annotated[float, Field(description="[m]")]
    angle_deg: Annotated[float, Field(description="from the rows to its longer axis, 0 to 90")]
    grown_by: Annotated[float | None, Field(description="a share; null: nothing was before")]
    is_new: bool
    score: float
    aside_at: Annotated[datetime | None, Field(description="null: it is to be dug [UTC]")]
    aside_by: str | None
    aside_why: str | None
    where: str
    text: str


class DigVineRecord(Record):
    """A vine to dig at a patch, and why."""

    place: Annotated[int, Field(description="in the order of digging, from 1")]
    patch: int
    row: int
    vine: int
    lies: Annotated[Place, Field(description="along: in a row of the patch; across: beside it")]
    steps: Annotated[int, Field(description="vines or rows from the patch, or from its edge")]
    contrast: Annotated[float, Field(description="by which share it is stronger than around it")]
    reason: Annotated[str, Field(description="in your language")]


class Aside(BaseModel):
    """What explains a patch, and who says so."""

    model_config = ConfigDict(extra="forbid")

    of: Of
    why: Line
    person: Annotated[Line, Field(max_length=LONGEST_PERSON)]


class Back(BaseModel):
    """Of which patches one is named."""

    model_config = ConfigDict(extra="forbid")

    of: Of


def patches_routes(engine: Engine) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["digging"])
    stale = describe_refusals(CONFLICT="what was measured cannot be used")
    changed = {**DONE, **describe_refusals(CONFLICT="the patches were found anew meanwhile")}

    @routes.get(
        "/blocks/{block_id}/patches",
        response_model=list[PatchRecord],
        responses={**LISTED, **stale},
    )
    def list_patches(request: Request, block_id: BlockId, who: Planner, part: Part) -> Response:
        """Return the weak patches of a block; none where nothing was measured."""
        after = part.find_number() or 0
        with reading(engine) as connection:
            found = find(connection, block_id, who)
        later = [one for one in (found.survey.patches if found else ()) if one.number > after]
        patches, next_key = part.cut(later, lambda one: one.number)
        language, today = choose_language(request), datetime.now(UTC).date()
        records = [_tell(found, one, language, today) for one in patches] if found else []
        return part.answer(records, PatchRecord, next_key)

    @routes.get(
        "/blocks/{block_id}/dig-vines",
        response_model=list[DigVineRecord],
        responses={**LISTED, **stale},
    )
    def list_vines(request: Request, block_id: BlockId, who: Planner, part: Part) -> Response:
        """Return the vines to dig at the patches of a block that are not set aside."""
        language, after = choose_language(request), part.find_number() or 0
        with reading(engine) as connection:
            found = find(connection, block_id, who)
        vines = _tell_vines(found.dig if found else (), language)[after:]
        records, next_key = part.cut(vines, lambda one: one.place)
        return part.answer(records, DigVineRecord, next_key)

    @routes.post("/blocks/{block_id}/patches/{number}/aside", status_code=204, responses=changed)
    async def put_aside(block_id: BlockId, number: PatchNumber, said: Aside, who: Owner) -> None:
        """Set a patch aside: something else explains it."""

        def put() -> None:
            with writing(engine) as connection:
                named = NamedPatch(block_id, number, said.of)
                now = datetime.now(UTC)
                put_patch_aside(connection, named, said.person, said.why, who, now)

        await run_writing(put)

    @routes.post("/blocks/{block_id}/patches/{number}/back", status_code=204, responses=changed)
    async def put_back(block_id: BlockId, number: PatchNumber, said: Back, who: Owner) -> None:
        """Let a patch be dug after all."""

        def put() -> None:
            with writing(engine) as connection:
                named = NamedPatch(block_id, number, said.of)
                put_patch_back(connection, named, who, datetime.now(UTC))

        await run_writing(put)

    def find(connection: Connection, block_id: str, who: Visitor) -> BlockPatches | None:
        block = find_block(connection, who.reach, block_id)
        return find_patches(connection, block.id, fetch_planting(connection, block.id))

    return routes


def _tell(found: BlockPatches, one: Patch, language: str, today: date) -> PatchRecord:
    aside = found.aside.get(one.number)
    return PatchRecord(
        number=one.number,
        of=sign_patches(found),
        measured_on=found.last.measured_on,
        measure=found.last.measure,
        before_on=found.before,
        vines=_name(one.vines),
        loss=one.loss,
        length_m=one.length_m,
        width_m=one.width_m,
        angle_deg=one.angle_deg,
        grown_by=one.grown_by,
        is_new=one.is_new,
        score=one.score,
        aside_at=aside and aside.set_at,
        aside_by=aside and aside.person,
        aside_why=aside and aside.why,
        where=tell_where(one, language),
        text=" ".join(tell_patch(one, found.before, language, today)),
    )


def _name(vines: Iterable[Vine]) -> list[str]:
    return [f"{row}:{vine}" for row, vine in sorted(vines)]


def _tell_vines(dig: Iterable[DigVine], language: str) -> list[DigVineRecord]:
    return [
        DigVineRecord(
            place=place,
            patch=one.patch,
            row=one.vine[0],
            vine=one.vine[1],
            lies=one.place,
            steps=one.steps,
            contrast=one.contrast,
            reason=tell_reason(one, language),
        )
        for place, one in enumerate(dig, 1)
    ]
