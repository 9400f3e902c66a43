"""GET /api/sites and /api/blocks: where temperatures are taken and wanted."""

from __future__ import annotations

from collections.abc import Collection
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import Response
from pydantic import Field
from sqlalchemy import Connection, Engine

from service.reach import Reach
from service.store.blocks import Block, fetch_blocks
from service.store.engine import reading
from service.store.loggers import fetch_logger_ids
from service.store.sites import Site, fetch_sites
from service.web.access import Known
from service.web.api.forms import Record
from service.web.api.parts import LISTED, ONE, Part, answer_one
from service.web.problems import Problem

Latitude = Annotated[float, Field(description="degrees north, WGS 84", ge=-90, le=90)]
Longitude = Annotated[float, Field(description="degrees east, WGS 84", ge=-180, le=180)]
IsExact = Annotated[
    bool, Field(description="whether the position is exact; else it is to a tenth of a degree")
]
Depth = Annotated[float, Field(description="below the surface [cm]")]


class SiteRecord(Record):
    """A farm or the place of a station."""

    id: str
    name: str
    district: Annotated[str | None, Field(description="its id")]
    timezone: Annotated[str, Field(description="IANA name")]
    utc_offset_min: Annotated[
        int, Field(description="of its standard time, by which days begin all year [min]")
    ]
    latitude: Latitude
    longitude: Longitude
    is_exact: IsExact
    elevation_m: Annotated[
        float | None, Field(description="above sea level [m]; null unless the position is exact")
    ]


class BlockRecord(Record):
    """A vineyard block; `probes` are those that it rests on now, as LOGGER:DEPTH in cm."""

    id: str
    name: str
    site: Annotated[str, Field(description="its id")]
    site_name: str
    district: Annotated[str | None, Field(description="its id")]
    latitude: Latitude
    longitude: Longitude
    is_exact: IsExact
    root_zone_top_cm: Depth
    root_zone_bottom_cm: Depth
    weights: Annotated[str, Field(description="how depths count in the mean: even, or roots")]
    rule: Annotated[str, Field(description="name of its rule set")]
    probes: list[str]


def places_routes(engine: Engine) -> APIRouter:
    """Return the routes."""
    routes = APIRouter(prefix="/api", tags=["places"])

    @routes.get("/sites", response_model=list[SiteRecord], responses=LISTED)
    def list_sites(who: Known, part: Part) -> Response:
        """Return the sites that you see, by id."""
        with reading(engine) as connection:
            found = fetch_sites(connection, who.reach.site_ids)
        sites, next_key = part.cut_by_id(found)
        return part.answer([_site(one, who.reach) for one in sites], SiteRecord, next_key)

    @routes.get("/sites/{site_id}", response_model=SiteRecord, responses=ONE)
    def show_site(
        request: Request, site_id: Annotated[str, Path(description="id of a site")], who: Known
    ) -> Response:
        """Return one site."""
        with reading(engine) as connection:
            found = fetch_sites(connection, {site_id} & who.reach.site_ids)
        if not found:
            raise Problem(
                HTTPStatus.NOT_FOUND, "no site of yours has this id; /api/sites lists them"
            )
        return answer_one(request, _site(found[0], who.reach))

    @routes.get("/blocks", response_model=list[BlockRecord], responses=LISTED)
    def list_blocks(
        who: Known, part: Part, site: Annotated[str | None, Query(description="of one site")] = None
    ) -> Response:
        """Return the blocks that you see, by id."""
        with reading(engine) as connection:
            seen = fetch_seen(connection, who.reach)
            found = [one for one in seen if site in (None, one.site_id)]
            blocks, next_key = part.cut_by_id(found)
            records = _blocks(connection, blocks, who.reach)
        return part.answer(records, BlockRecord, next_key)

    @routes.get("/blocks/{block_id}", response_model=BlockRecord, responses=ONE)
    def show_block(
        request: Request, block_id: Annotated[str, Path(description="id of a block")], who: Known
    ) -> Response:
        """Return one block."""
        with reading(engine) as connection:
            found = fetch_seen(connection, who.reach, block_id)
            (record,) = _blocks(connection, found, who.reach)
        return answer_one(request, record)

    return routes


def fetch_seen(connection: Connection, reach: Reach, block_id: str | None = None) -> list[Block]:
    """Return the blocks that may be seen by id, or one of them; it is refused where it is none."""
    wanted = reach.block_ids if block_id is None else reach.block_ids & {block_id}
    found = fetch_blocks(connection, wanted) if wanted else []
    if block_id is not None and not found:
        said = "no block of yours has this id; /api/blocks lists them"
        raise Problem(HTTPStatus.NOT_FOUND, said)
    return sorted(found, key=lambda one: one.id)


def _site(one: Site, reach: Reach) -> SiteRecord:
    latitude, longitude = reach.place(one.id, one.latitude, one.longitude)
    is_exact = one.id in reach.exact_site_ids
    return SiteRecord(
        id=one.id,
        name=one.name,
        district=one.district_id,
        timezone=one.timezone,
        utc_offset_min=one.utc_offset_min,
        latitude=latitude,
        longitude=longitude,
        is_exact=is_exact,
        elevation_m=one.elevation_m if is_exact else None,
    )


def _blocks(connection: Connection, blocks: Collection[Block], reach: Reach) -> list[BlockRecord]:
    used = {stretch.probe_id for one in blocks for stretch in one.in_use}
    loggers = fetch_logger_ids(connection, used)
    return [
        BlockRecord(
            id=one.id,
            name=one.name,
            site=one.site_id,
            site_name=one.site_name,
            district=one.district_id,
            latitude=latitude,
            longitude=longitude,
            is_exact=one.site_id in reach.exact_site_ids,
            root_zone_top_cm=one.root_zone_cm[0],
            root_zone_bottom_cm=one.root_zone_cm[1],
            weights=one.weights,
            rule=one.rule,
            probes=[f"{loggers[it.probe_id]}:{it.depth_cm:g}" for it in one.in_use],
        )
        for one in blocks
        for latitude, longitude in [reach.place(one.site_id, one.latitude, one.longitude)]
    ]
