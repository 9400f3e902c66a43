"""From the store to the pictures of a region."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from sqlalchemy import Connection, select

from alerts.region.marks import MapBlock
from alerts.region.shares import Shares, find_shares
from alerts.state_words import TEXTURES
from service.evaluation import BlockEvaluation
from service.showing import find_season
from service.store.tables import district


def fetch_district_names(connection: Connection) -> dict[str, str]:
    """Return what each district is called."""
    rows = connection.execute(select(district.c.id, district.c.name).order_by(district.c.name))
    return {row.id: row.name for row in rows}


def place_blocks(
    evaluations: Sequence[BlockEvaluation], names: Mapping[str, str]
) -> list[MapBlock]:
    """Return blocks as they stand on a map."""
    return [
        MapBlock(
            name=one.block.name,
            site=one.block.site_name,
            district=names.get(one.block.district_id or "", ""),
            latitude=one.block.latitude,
            longitude=one.block.longitude,
            texture=TEXTURES[one.state],
        )
        for one in evaluations
    ]


def share_open(evaluations: Sequence[BlockEvaluation], names: Mapping[str, str]) -> Shares:
    """Return which share of the blocks of each district was open on each day of the season."""
    seasons = [
        (names.get(one.block.district_id or "", ""), find_season(one)) for one in evaluations
    ]
    return find_shares(seasons, max(one.as_of for one in evaluations))
