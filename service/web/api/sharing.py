"""/api/sharing: whether others see your sites, and a coordinator what was found there."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Path
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import Engine

from service.store.engine import reading, writing
from service.web.access import Grower
from service.web.api.forms import Record
from service.web.api.parts import DONE, LISTED, Part
from service.web.own_sharing import OwnSite, Shared, find_own_sites, say_finds, say_sharing
from service.web.writing import run_writing

SiteId = Annotated[str, Path(description="id of a site")]


class SharingRecord(Record):
    """What its grower agreed to of a site."""

    site: Annotated[str, Field(description="its id")]
    shared: Annotated[
        Shared, Field(description="about: others see it without its exact place; exact: with it")
    ]
    shared_at: Annotated[datetime | None, Field(description="[UTC]")]
    finds: Annotated[bool, Field(description="whether the coordinator is told of finds")]
    finds_at: Annotated[datetime | None, Field(description="[UTC]")]


class SaidShared(BaseModel):
    """Whether others see a site."""

    model_config = ConfigDict(extra="forbid")

    shared: Shared


class SaidFinds(BaseModel):
    """Whether the coordinator is told of finds."""

    model_config = ConfigDict(extra="forbid")

    finds: bool


def sharing_routes(engine: Engine) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["places"])

    @routes.get("/sharing", response_model=list[SharingRecord], responses=LISTED)
    def list_sharing(who: Grower, part: Part) -> Response:
        """Return what you agreed to of each of your sites, by id."""
        with reading(engine) as connection:
            every = sorted(find_own_sites(connection, who))
        sites, next_key = part.cut_by_id(every)
        return part.answer([_tell(one) for one in sites], SharingRecord, next_key)

    @routes.post("/sharing/{site_id}", status_code=204, responses=DONE)
    async def say(site_id: SiteId, said: SaidShared, who: Grower) -> None:
        """Say whether others see a site of yours."""

        def keep() -> None:
            with writing(engine) as connection:
                say_sharing(connection, who, site_id, said.shared, datetime.now(UTC))

        await run_writing(keep)

    @routes.post("/sharing/{site_id}/finds", status_code=204, responses=DONE)
    async def say_of_finds(site_id: SiteId, said: SaidFinds, who: Grower) -> None:
        """Say whether the coordinator is told of finds at a site of yours."""

        def keep() -> None:
            with writing(engine) as connection:
                say_finds(connection, who, site_id, said.finds, datetime.now(UTC))

        await run_writing(keep)

    return routes


def _tell(one: OwnSite) -> SharingRecord:
    return SharingRecord(
        site=one.id,
        shared="no" if one.sharing is None else "exact" if one.sharing.is_exact else "about",
        shared_at=one.sharing and one.sharing.agreed_at,
        finds=one.finds is not None,
        finds_at=one.finds and one.finds.agreed_at,
    )
